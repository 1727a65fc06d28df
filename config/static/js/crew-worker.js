// The crew's pages without signal: the newest copy that this phone has seen, of one person only. `begin` stands above.
"use strict";
const SHELL = `crew-shell-${begin.mark}`;
const PAGES = "crew-pages";
const WHO = "crew-who";

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(begin.shell)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("crew-shell-") && name !== SHELL) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data.keep) event.waitUntil(prune(new Set(event.data.keep)));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (begin.shell.includes(url.pathname)) event.respondWith(shell(request));
  else if (url.pathname.startsWith(begin.today) && !begin.never.includes(url.pathname)) event.respondWith(page(request));
});

async function shell(request) {
  return (await caches.match(request, { cacheName: SHELL, ignoreVary: true })) ?? fetch(request);
}

async function page(request) {
  try {
    const answer = await fetch(request);
    const who = answer.headers.get("X-Crew-User");
    if (answer.ok && !answer.redirected && who) {
      await own(who);
      await (await caches.open(PAGES)).put(bare(request.url), answer.clone());
    }
    return answer;
  } catch (fault) {
    const kept = await caches.match(bare(request.url), { cacheName: PAGES, ignoreVary: true });
    if (kept) return kept;
    if (request.mode !== "navigate") throw fault;
    const words = `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>No signal</title></head><body><h1>No signal</h1><p>This page is not kept on this phone.</p><p><a href="${begin.today}">Today</a></p></body></html>`;
    return new Response(words, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
  }
}

const bare = (address) => new URL(address).origin + new URL(address).pathname;

// Pages of one person are gone before those of another are kept.
async function own(who) {
  const marks = await caches.open(WHO);
  const before = await marks.match(begin.today);
  if (before && (await before.text()) === who) return;
  await caches.delete(PAGES);
  await marks.put(begin.today, new Response(who));
}

// Houses that are neither today's nor tomorrow's any more leave the phone.
async function prune(keep) {
  const cache = await caches.open(PAGES);
  for (const request of await cache.keys()) if (!keep.has(new URL(request.url).pathname)) await cache.delete(request);
}
