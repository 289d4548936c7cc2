// Makes entry forms quick and keeps what is typed until the server has it. Every form works without this script.
//
// <form data-entry>           Enter goes to the next [data-step], Shift+Enter back, the last one posts.
// <form data-draft="key">     each named field is kept here as typed, until a page with data-done="key" says it is saved.
// <form data-lines="/address"> each [data-line="place"] is sent there when it is left: its [data-field] inputs (data-kept:
//                             what the server has), a key of its own, data-seen (keys of the lines it saw standing) and
//                             the form's [data-with] inputs. Hidden [data-carries=key] and [=seen] go with the whole form.
// <form data-worker="/address"> a service worker there keeps the pages of issued sheets for when there is no network.
// [data-outbox]               a live region that tells what is not yet sent; [data-told] in a line: what stands beside it.
"use strict";

const OURS = "pinledger";
const person = encodeURIComponent(document.body.dataset.person ?? "");
const RETRY_MS = { first: 1000, most: 20000 };
// What is on its way for less than this is nobody's worry.
const QUIET_MS = 2000;
const PATIENCE_MS = 15000;

// What one person leaves on a device is theirs: another person's pages neither show nor send it.
const nameOf = (kind, ...parts) => [OURS, kind, person, ...parts].join("|");
const stored = (start) => Object.keys(localStorage).filter((name) => name.startsWith(start)).sort();
const waiting = () => stored(nameOf("line", ""));
const waitingOfOthers = () => stored(`${OURS}|line|`).length - waiting().length;
const read = (name) => JSON.parse(localStorage.getItem(name));
const keep = (name, value) => localStorage.setItem(name, JSON.stringify(value));

// Drafts
const draftName = (form, field) => nameOf("draft", form.dataset.draft, field.name);
const drafted = (form) =>
  [...form.elements].filter((each) => each.name && /^(text|textarea|select-one)$/.test(each.type) && !each.readOnly);

function forgetDrafts(key) {
  stored(nameOf("draft", key, "")).forEach((name) => localStorage.removeItem(name));
}

function restoreDrafts(form) {
  for (const field of drafted(form)) {
    const draft = localStorage.getItem(draftName(form, field));
    if (draft !== null && draft !== field.value) {
      field.value = draft;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
}

function dropDraft(form, field) {
  if (form.dataset.draft) localStorage.removeItem(draftName(form, field));
}

// Lines
const fieldsOf = (line) => [...line.querySelectorAll("[data-field]")];
const valueOf = (field) => field.value.trim();
const changed = (line) => fieldsOf(line).some((each) => valueOf(each) !== (each.dataset.kept ?? ""));
const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((each) => each.toString(16).padStart(2, "0")).join("");

function finish(line) {
  if (!changed(line)) return;
  const form = line.closest("form"), key = newKey(), seen = line.dataset.seen ?? "";
  const typed = Object.fromEntries(fieldsOf(line).map((each) => [each.dataset.field, valueOf(each)]));
  const more = Object.fromEntries([...form.querySelectorAll("[data-with]")].map((each) => [each.name, each.value]));
  const body = { ...more, place: line.dataset.line, typed: JSON.stringify(typed), seen, key, write_key: key };
  keep(nameOf("line", String(Date.now()).padStart(15, "0"), key), { to: form.dataset.lines, body });
  fieldsOf(line).forEach((each) => (each.dataset.kept = valueOf(each)));
  line.dataset.seen = key;
  // The form carries the same key, so that a line sent before it is posted is not kept twice.
  line.querySelectorAll("[data-carries]").forEach((each) => (each.value = { key, seen }[each.dataset.carries]));
  setTimeout(tell, QUIET_MS + 100);
  send();
}

// A page opened again goes on from the lines of it that wait here.
function adopt(line) {
  const left = waiting().map(read).filter((each) => each && each.body.place === line.dataset.line && belongs(line, each.body));
  if (!left.length) return;
  const { typed, key, seen } = left[left.length - 1].body, values = JSON.parse(typed);
  for (const field of fieldsOf(line).filter((each) => each.dataset.field in values)) {
    field.dataset.kept = values[field.dataset.field];
    if (!valueOf(field)) field.value = field.dataset.kept;
  }
  line.dataset.seen = key;
  line.querySelectorAll("[data-carries]").forEach((each) => (each.value = { key, seen }[each.dataset.carries]));
}

function heard(body, answer) {
  const line = [...document.querySelectorAll("[data-line]")].find((each) => each.dataset.line === body.place && belongs(each, body));
  if (!line) return;
  issued(line.closest("form"), answer.sheet);
  const typed = JSON.parse(body.typed), keys = answer.lines.map((each) => each.key);
  fieldsOf(line).filter((each) => typed[each.dataset.field] === valueOf(each)).forEach((each) => dropDraft(line.closest("form"), each));
  // What a later line of this page has replaced already is told by that line's own answer.
  if (!keys.includes(line.dataset.seen)) return;
  line.dataset.seen = keys.join(" ");
  const others = answer.lines.filter((each) => each.key !== body.key);
  const told = line.querySelector("[data-told]");
  if (told && answer.late) tellLate(told, answer.late);
  else if (told) told.textContent = others.map((each) => `Elsewhere ${inWords(each)}: type the right one here.`).join(" ");
}

// The place is on record: the line waits, and is ruled on where the record is corrected or the line dropped.
function tellLate(told, late) {
  const link = document.createElement("a");
  [link.href, link.className, link.textContent] = [late.correct_at, "mend", `record ${late.record}`];
  told.replaceChildren(`${late.told} `, link);
}

const inWords = (other) => `${Object.values(other.typed).filter(Boolean).join(", ") || "nothing"} was typed by ${other.person}`;

function belongs(line, body) {
  return [...line.closest("form").querySelectorAll("[data-with]")].every((each) => body[each.name] === each.value);
}

// The outbox
const late = new Set();
let sending = false, trouble = "", stopped = "", retry = RETRY_MS.first, timer = 0, sentHere = 0;

async function sendOne(name) {
  const line = read(name);
  if (!line || line.refused) return;
  const token = document.querySelector("input[name=form_token]")?.value ?? "";
  const answer = await fetch(line.to, {
    method: "POST",
    body: new URLSearchParams(line.body),
    headers: { "X-Form-Token": token, Accept: "application/json" },
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  if (answer.status === 401 || answer.status === 403) throw new Error("sign in again to send");
  if (answer.status >= 500) throw new Error("the service does not answer");
  if (answer.ok) {
    localStorage.removeItem(name);
    const told = await answer.json();
    sentHere += told.lines.some((each) => each.state === "standing");
    if (told.late) late.add(line.body.place);
    else late.delete(line.body.place);
    heard(line.body, told);
  } else {
    const problem = await answer.json().catch(() => ({}));
    keep(name, { ...line, refused: problem.detail ?? `status ${answer.status}` });
  }
}

async function send() {
  if (sending) return;
  sending = true;
  clearTimeout(timer);
  try {
    for (let left = toSend(); left.length; left = toSend()) {
      await sendOne(left[0]);
      tell();
    }
    [trouble, stopped, retry] = ["", "", RETRY_MS.first];
  } catch (fault) {
    trouble = fault instanceof TypeError || fault.name === "TimeoutError" ? "no connection" : fault.message;
    timer = setTimeout(send, retry);
    retry = Math.min(2 * retry, RETRY_MS.most);
  }
  sending = false;
  tell();
}

const toSend = () => waiting().filter((name) => read(name) && !read(name).refused);

function tell() {
  const names = toSend(), oldest = Number(names[0]?.split("|")[3] ?? Infinity);
  const left = trouble || Date.now() - oldest > QUIET_MS ? names.length : 0, refused = waiting().map(read).filter((each) => each?.refused), others = waitingOfOthers();
  const said = [
    stopped,
    left ? `${left} not yet sent${trouble ? `: ${trouble}` : ""}.` : "",
    !names.length && sentHere ? "All sent, not posted yet." : "",
    late.size ? `Typed against the record, kept and not posted: ${[...late].join(", ")}.` : "",
    refused.length ? `${refused.length} refused: ${refused[0].refused}` : "",
    others ? `${others} of another person wait on this device until they sign in here.` : "",
  ].filter(Boolean).join(" ");
  document.querySelectorAll("[data-outbox]").forEach((each) => {
    if (each.textContent !== said) each.textContent = said;
  });
}

// Keys
const stepsOf = (form) => [...form.querySelectorAll("[data-step]")].filter((each) => !each.disabled && each.checkVisibility());

function step(event) {
  if (event.key !== "Enter" || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  if (!event.target.matches("input[data-step], select[data-step]")) return;
  event.preventDefault();
  const form = event.currentTarget, steps = stepsOf(form), at = steps.indexOf(event.target);
  const line = event.target.closest("[data-line]");
  if (line && form.dataset.lines) finish(line);
  const next = steps[at + (event.shiftKey ? -1 : 1)];
  if (next) next.focus();
  else if (!event.shiftKey) form.requestSubmit(form.querySelector("[data-post]"));
}

// A post that cannot arrive is not begun: the page with what was typed stays, and its keys with it.
async function post(event) {
  const form = event.target;
  if (form.dataset.lines) form.querySelectorAll("[data-line]").forEach(finish);
  if (form.dataset.reached) return;
  event.preventDefault();
  try {
    await fetch("/health", { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    form.dataset.reached = "yes";
    form.requestSubmit(event.submitter);
  } catch {
    // It stands until a line is sent again: a retry that fails must not wipe it away.
    stopped = "No connection: nothing is posted, nothing is lost. Post again when it is back.";
    tell();
  }
}

// The page of an issued sheet, with its files, for when there is no network.
async function keepPage(form) {
  if (!form.dataset.sheet || !form.dataset.worker || !("serviceWorker" in navigator)) return;
  const files = [...document.querySelectorAll("script[src], link[rel=stylesheet], link[rel=icon]")].map((each) => each.src || each.href);
  const address = new URL(form.action);
  address.searchParams.set("sheet", form.dataset.sheet);
  (await navigator.serviceWorker.ready).active.postMessage({ address: address.href, files });
}

function issued(form, code) {
  if (form.dataset.sheet || !form.dataset.worker) return;
  form.dataset.sheet = code;
  history.replaceState(null, "", `${new URL(form.action).pathname}?sheet=${encodeURIComponent(code)}`);
  keepPage(form);
}

function enter(form) {
  if (form.dataset.draft) {
    form.addEventListener("input", (event) => {
      if (drafted(form).includes(event.target)) localStorage.setItem(draftName(form, event.target), event.target.value);
    });
    restoreDrafts(form);
  }
  if (form.dataset.lines) {
    form.addEventListener("focusout", (event) => {
      const line = event.target.closest("[data-line]");
      if (line && event.target.matches("[data-field]")) finish(line);
    });
    form.querySelectorAll("[data-line]").forEach((line) => {
      adopt(line);
      finish(line);
    });
  }
  if (form.dataset.worker && "serviceWorker" in navigator) {
    navigator.serviceWorker.register(form.dataset.worker, { scope: new URL(form.action).pathname });
    if (!navigator.serviceWorker.controller) keepPage(form);
  }
  form.addEventListener("keydown", step);
  form.addEventListener("focusin", (event) => event.target.matches("input[data-step]") && event.target.select());
  if (form.method === "post") form.addEventListener("submit", post);
  const first = stepsOf(form).find((each) => !each.value);
  if (first && !document.querySelector("[autofocus]")) first.focus();
}

document.querySelectorAll("[data-done]").forEach((each) => {
  forgetDrafts(each.dataset.done);
  const here = new URL(location.href);
  here.searchParams.delete("posted");
  history.replaceState(null, "", here);
});
document.querySelectorAll("form[data-entry]").forEach(enter);
window.addEventListener("online", send);
window.addEventListener("pageshow", () => document.querySelectorAll("form[data-entry]").forEach((form) => delete form.dataset.reached));
tell();
send();
