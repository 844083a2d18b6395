// Pages for the field without a network. The server writes VERSION and SHELL in front of this text.
// It keeps pages and never entries: those are the outbox's, which is not touched here.
/* global VERSION, SHELL */
const SHELF = `shelf-${VERSION}`; // style, scripts, the card that stands in for a page that was not kept
const PAGES = 'pages'; // field pages as they were last seen; cleared at the sign-in page
const PATIENCE = 3500; // ms that a page may take before the kept one is shown

addEventListener('install', (event) => {
  event.waitUntil((async () => {
    const shelf = await caches.open(SHELF);
    await shelf.addAll(SHELL.map((path) => new Request(path, { cache: 'no-cache' })));
    await skipWaiting();
  })());
});

addEventListener('activate', (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith('shelf-') && name !== SHELF) await caches.delete(name);
    await clients.claim();
  })());
});

const fieldPage = (path) => /^\/quads\/[^/]+\/field$/.test(path);

async function keep(request, answer) {
  if (answer.ok && !answer.redirected && answer.type === 'basic') await (await caches.open(PAGES)).put(request, answer.clone());
  return answer;
}

async function fromNetwork(request) {
  const answer = fetch(request);
  const late = new Promise((_, no) => { setTimeout(() => no(new Error('late')), PATIENCE); });
  return Promise.race([answer, late]);
}

async function pageOrKept(event, path) {
  const kept = await caches.match(path, { cacheName: PAGES });
  try {
    // A page that was not kept may take its time: much is computed when it is first asked for.
    const answer = await (kept ? fromNetwork(event.request) : fetch(event.request));
    if (answer.status < 500) return fieldPage(path) ? await keep(path, answer) : answer;
    return kept ?? answer;
  } catch {
    return kept ?? (await caches.match('/static/offline.html')) ?? Response.error();
  }
}

async function assetOrKept(event) {
  try { return await fromNetwork(event.request); } catch {
    return (await caches.match(event.request, { cacheName: SHELF, ignoreSearch: true })) ?? Response.error();
  }
}

addEventListener('fetch', (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== location.origin) return;
  if (request.mode === 'navigate') event.respondWith(pageOrKept(event, url.pathname));
  else if (url.pathname.startsWith('/static/')) event.respondWith(assetOrKept(event));
});

// A page that is open asks for the field pages of the other quads to be kept too.
addEventListener('message', (event) => {
  event.waitUntil((async () => {
    for (const path of event.data?.keep ?? []) {
      if (!fieldPage(path)) continue;
      try { await keep(path, await fetch(path)); } catch { /* no network: what was kept stays */ }
    }
    event.source?.postMessage({ kept: (await (await caches.open(PAGES)).keys()).map((r) => new URL(r.url).pathname) });
  })());
});
