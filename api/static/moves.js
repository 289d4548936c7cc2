// Says which brake the end of a serial means, as soon as the field is left; the form decides, also without this.
//
// <form data-serials="/address"> [data-serial="position"][data-side="on" or "off"] is a field; what the server says stands
// in the <output> for it.
// The focus stays where it went.
"use strict";

const form = document.querySelector("form[data-serials]");
const field = (name) => form.elements[name]?.value ?? "";

async function tell(input) {
  const said = form.querySelector(`output[for="${input.id}"]`), tail = input.value.trim();
  said.textContent = "";
  if (!tail) return;
  const asked = new URLSearchParams({
    registration: field("registration"), positions: field("positions"), day: field("day"), position: input.dataset.serial, side: input.dataset.side, tail,
  });
  try {
    const answer = await fetch(`${form.dataset.serials}?${asked}`, { headers: { Accept: "application/json" } });
    if (answer.ok && input.value.trim() === tail) said.textContent = (await answer.json()).told;
  } catch {
    // Without a connection nothing is said by now; the next step says it.
  }
}

form?.querySelectorAll("[data-serial]").forEach((each) => each.addEventListener("change", () => tell(each)));
