// The Landings sheet: tells at once what a line comes to, and takes a paste of several lines to be matched by the service.
"use strict";

const sheet = document.querySelector("form.entry");
const THIN = "\u202f";
const grouped = (count) => String(count).replace(/\B(?=(\d{3})+$)/g, THIN);

function echo(line) {
  const [main, ...more] = line.querySelectorAll("[data-field]"), output = line.querySelector("[data-echo]");
  const typed = main.value.trim(), before = line.dataset.before === undefined ? null : Number(line.dataset.before);
  if (!/^\d{1,9}$/.test(typed)) {
    output.textContent = typed ? "no whole number" : "";
    return;
  }
  const touches = more.find((each) => each.dataset.field === "touch_and_gos")?.value.trim() ?? "";
  const count = main.dataset.field === "full_stops" ? Number(typed) + (/^\d+$/.test(touches) ? Number(touches) : 0) : Number(typed) - before;
  if (before === null) output.textContent = main.dataset.field === "full_stops" ? `+${grouped(count)}` : "";
  else if (count < 0) output.textContent = `falls below ${grouped(before)}`;
  else output.textContent = `+${grouped(count)} \u2192 ${grouped(before + count)}`;
}

function paste(event) {
  const text = event.clipboardData?.getData("text/plain") ?? "";
  if (!event.target.matches("[data-field]") || !/[\t\n]/.test(text.trim())) return;
  event.preventDefault();
  sheet.querySelector("[name=pasted]").value = text;
  sheet.requestSubmit(sheet.querySelector("[data-paste]"));
}

sheet.querySelectorAll("[data-line]").forEach(echo);
sheet.addEventListener("input", (event) => {
  const line = event.target.closest("[data-line]");
  if (line) echo(line);
});
sheet.addEventListener("paste", paste);
