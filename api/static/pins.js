// Says what is expected of a pin once its value is typed, and asks to look again; the server decides, also without this.
//
// <form data-look="/address">  [data-brake] is one position: its fields go there when one of them has changed, and what
//                              comes back is told in [data-said] of each pin, [data-governs] and [data-limit]. A pin to
//                              look at again is hidden, and its [data-look-at] shown, so that it is typed blind.
"use strict";

const form = document.querySelector("form[data-look]");
const asked = new Map();

function fieldsFor(brake) {
  const fields = new URLSearchParams({ at: brake.dataset.brake });
  for (const [name, value] of new FormData(form)) {
    const place = /^(?:pin|again|why|words|within|cold|applied)-(\d+)/.exec(name);
    const ours = place ? place[1] === brake.dataset.brake : !["form_token", "write_key", "sheet"].includes(name);
    if (ours && value) fields.append(name, value);
  }
  return fields;
}

const ANSWER_MS = 3000;

async function ask(brake) {
  const turn = (asked.get(brake) ?? 0) + 1;
  asked.set(brake, turn);
  try {
    const answer = await fetch(`${form.dataset.look}?${fieldsFor(brake)}`, { headers: { Accept: "application/json" }, signal: AbortSignal.timeout(ANSWER_MS) });
    if (answer.ok && asked.get(brake) === turn) tell(brake, await answer.json());
  } catch {
    // Without a connection nothing is said by now; the server says it when the sheet arrives.
  }
}

function tell(brake, told) {
  brake.querySelector("[data-governs]").textContent = told.governs;
  const limit = brake.querySelector("[data-limit]");
  limit.textContent = told.limit;
  limit.hidden = !told.limit;
  for (const pin of told.pins) {
    const said = document.getElementById(`said-${pin.at}`);
    said.textContent = pin.error || pin.said;
    said.classList.toggle("wrong", Boolean(pin.error));
    said.classList.toggle("look-again", pin.asks || pin.stays);
    const look = brake.querySelector(`[data-look-at="${pin.at}"]`);
    if (pin.looked && look.hidden) lookAgain(document.getElementById(`pin-${pin.at}`), look);
    if (pin.stays) show(look.querySelectorAll("[data-why]"));
  }
}

function lookAgain(first, look) {
  first.type = "hidden";
  look.querySelectorAll("[data-why]").forEach((each) => (each.hidden = true));
  show([look]);
}

// What is shown anew takes the focus, but nobody who types on already is torn away: the sheet is not saved without it.
function show(parts) {
  const here = document.activeElement, shown = [...parts].filter((each) => each.hidden);
  shown.forEach((each) => (each.hidden = false));
  const typing = here.matches("input") && form.contains(here) && here.value && !here.readOnly;
  if (shown.length && !typing) shown[0].querySelector("[data-step]").focus();
}

// After a blind retype the keys wait for the answer: a reason's number must never land in the next pin's field.
let answered = null;

async function waitForAnswer(event) {
  const field = event.target;
  if (event.key !== "Enter" || event.shiftKey || !field.matches("[data-again]") || !field.value || answered === field) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (field.readOnly) return;
  field.readOnly = true;
  await ask(field.closest("[data-brake]"));
  field.readOnly = false;
  if (document.activeElement !== field) return;
  answered = field;
  field.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true }));
  answered = null;
}

function mark(event) {
  const brake = event.target.closest("[data-brake]");
  document.querySelectorAll("[data-place]").forEach((each) => each.classList.toggle("in-hand", each.dataset.place === brake?.dataset.brake));
}

const typed = (brake) => [...brake.querySelectorAll("[data-pin], [data-again]")].some((each) => each.value);

if (form) {
  form.addEventListener("change", (event) => {
    const brake = event.target.closest("[data-brake]");
    if (brake) ask(brake);
    else form.querySelectorAll("[data-brake]").forEach((each) => typed(each) && ask(each));
  });
  form.addEventListener("keydown", waitForAnswer, true);
  form.addEventListener("focusin", mark);
  // The script before this one has put the focus where typing begins.
  mark({ target: document.activeElement });
}
