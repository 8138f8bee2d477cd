/*
 * Serves the page where there is no signal. A classic script: module workers came late to Firefox. The server puts the line
 * before it that says what the page is made of: `const PAGE = {"version", "files"}`.
 *
 * Whole or nothing: the files are fetched into a store of their own, named by their content, before this worker takes over. It
 * answers for the page's own files alone; what goes to the base's API never passes here.
 */
/* global PAGE */
const STORE = `entry ${PAGE.version}`;
const scope = new URL(self.registration.scope);

self.addEventListener("install", (event) => {
  // Past the browser's own store, which may hold a file of before.
  const wanted = PAGE.files.map((file) => new Request(new URL(file, scope), { cache: "reload" }));
  event.waitUntil(caches.open(STORE).then((store) => store.addAll(wanted)));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(forgetOthers().then(() => self.clients.claim()));
});

async function forgetOthers() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("entry ") && name !== STORE).map((name) => caches.delete(name)));
}

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "version") event.source.postMessage({ version: PAGE.version });
});

self.addEventListener("fetch", (event) => {
  const { method, url, mode } = event.request;
  const address = new URL(url);
  if (method !== "GET" || address.origin !== scope.origin || !address.pathname.startsWith(scope.pathname)) return;
  event.respondWith(answer(event.request, mode === "navigate" ? scope.href : address.origin + address.pathname));
});

async function answer(request, file) {
  const store = await caches.open(STORE);
  const held = await store.match(file);
  if (held) return held;
  const fresh = await fetch(request);
  // A protocol's example pictures are the base's, not the page's: they are kept as they are first seen.
  if (fresh.ok && file.startsWith(`${scope.href}examples/`)) await store.put(file, fresh.clone());
  return fresh;
}
