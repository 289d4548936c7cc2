// On the page to sign in: nothing that was kept of anybody's sheets stays. Lines not yet sent wait for their person.
"use strict";

if ("caches" in window) {
  caches.keys().then((names) => names.filter((name) => name.startsWith("sheets of ")).forEach((name) => caches.delete(name)));
}
