// Keeps the pages of issued sheets on the device, so that a sheet can be typed where there is no network.
//
// The network comes first; a kept page is shown only where it does not answer. Pages are kept for one person at a time,
// at most as long as a session may last; signing out and the page to sign in throw them away (leave.js).
"use strict";

const OURS = "sheets of ";
const FILES = "files of sheets";
const LONGEST_MS = 12 * 3600 * 1000;
const PATIENCE_MS = 8000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") event.respondWith(page(event.request));
  else if (address.pathname.startsWith("/static/")) event.respondWith(file(event.request));
});

async function page(request) {
  let answer;
  try {
    answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
  } catch (fault) {
    const found = await caches.match(request.url);
    if (found && Date.now() - Date.parse(found.headers.get("date")) < LONGEST_MS) return found;
    throw fault;
  }
  await keep(request.url, answer);
  return answer;
}

async function keep(address, answer) {
  const holder = answer.headers.get("sheet-holder"), name = OURS + holder;
  if (!answer.ok || !holder) return;
  for (const other of await caches.keys()) {
    if (other.startsWith(OURS) && other !== name) await caches.delete(other);
  }
  if (answer.headers.get("sheet-code") && !answer.redirected) await (await caches.open(name)).put(address, answer.clone());
}

// A page that was opened before this worker ran, or before its sheet was issued, asks to be kept.
self.addEventListener("message", (event) => event.waitUntil(asked(event.data)));

async function asked({ address, files }) {
  await keep(address, await fetch(address));
  await Promise.all(files.map((each) => file(new Request(each))));
}

async function file(request) {
  const kept = await caches.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) await (await caches.open(FILES)).put(request, answer.clone());
  return answer;
}
