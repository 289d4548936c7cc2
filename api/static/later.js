// What takes a while is fetched after the page is shown; without this script a link asks for it.
//
// <section id="name" data-later="/address"> becomes the section of that name of the page there. [data-working] is shown
// meanwhile, [data-asked] (the link) where the answer does not come.
"use strict";

async function fetchLater(section) {
  const working = section.querySelector("[data-working]"), asked = section.querySelector("[data-asked]");
  [working.hidden, asked.hidden] = [false, true];
  try {
    const answer = await fetch(section.dataset.later);
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    section.replaceChildren(...page.getElementById(section.id).childNodes);
  } catch (fault) {
    [working.hidden, asked.hidden] = [true, false];
    console.warn(`${section.dataset.later}: ${fault.message}`);
  }
}

document.querySelectorAll("[data-later]").forEach(fetchLater);
