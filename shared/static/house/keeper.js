/*
 * Keeps batch pages, and what they are drawn with, on the device: a page that was opened once opens
 * again without a network. The newest answer is used whenever there is one.
 */
"use strict";

const STORE = "shop-pages-1";
const kept = (address) => address.pathname.startsWith("/bundles/") || address.pathname.startsWith("/static/house/") || /^\/batches\/\d+\/$/.test(address.pathname) || address.pathname.startsWith("/static/django_htmx/");

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function freshOrKept(request) {
  const store = await caches.open(STORE);
  try {
    const response = await fetch(request);
    if (response.ok && !response.redirected) await store.put(request, response.clone());
    return response;
  } catch (error) {
    const found = await store.match(request, { ignoreVary: true });
    if (found) return found;
    throw error;
  }
}

self.addEventListener("fetch", (event) => {
  if (event.request.method === "GET" && kept(new URL(event.request.url))) event.respondWith(freshOrKept(event.request));
});
