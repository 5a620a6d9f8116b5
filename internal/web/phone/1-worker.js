// The one script of the pages, and their service worker: taps keep their own time and wait in the phone
// while there is no signal. Pages work without it.
"use strict";
(() => {
const version = "VERSION", keep = "pages-" + version, look = "LOOK", here = "APP";
const inPage = typeof document !== "undefined";
const jsonType = "application/json", formType = "application/x-www-form-urlencoded";

// Entries that wait, or were refused, in the order of their taps.
const open = () => new Promise((done, fail) => {
  const ask = indexedDB.open("dryslot", 1);
  ask.onupgradeneeded = () => ask.result.createObjectStore("log", {keyPath: "n", autoIncrement: true});
  ask.onsuccess = () => done(ask.result);
  ask.onerror = () => fail(ask.error);
});
const store = async (mode, use) => {
  const db = await open();
  try {
    return await new Promise((done, fail) => {
      const tx = db.transaction("log", mode), ask = use(tx.objectStore("log"));
      tx.oncomplete = () => done(ask && ask.result);
      tx.onabort = tx.onerror = () => fail(tx.error);
    });
  } finally { db.close(); }
};
const all = () => store("readonly", (s) => s.getAll());
const put = (e) => store("readwrite", (s) => s.put(e));
const drop = (n) => store("readwrite", (s) => s.delete(n));

// Photos wait as the fields of their form, other entries as a text.
const ofPhotos = (e) => typeof e.body !== "string";

// send posts one entry. Its id makes it one entry, however often it is sent. Photos take longer.
const send = async (e) => {
  const stop = new AbortController(), late = setTimeout(() => stop.abort(), ofPhotos(e) ? 180000 : 15000);
  const headers = {Accept: jsonType, "Idempotency-Key": e.id};
  let body = e.body;
  if (ofPhotos(e)) {
    body = new FormData();
    for (const [name, value] of e.body) value instanceof Blob ? body.append(name, value, "photo") :
      body.append(name, value);
  } else headers["Content-Type"] = formType;
  try {
    const r = await fetch(e.url, {method: "POST", body, credentials: "same-origin", redirect: "follow",
      signal: stop.signal, headers});
    const told = (r.headers.get("Content-Type") || "").startsWith(jsonType) ? await r.json() : null;
    return {status: r.redirected ? 401 : r.status, at: r.headers.get("Location"), wrong: told && told.wrong};
  } finally { clearTimeout(late); }
};

// flush sends what waits, each after the one before it, and stops where nobody answers. Photos go last: no entry waits
// for their long way.
const flush = async () => {
  const waiting = (await all()).filter((e) => !e.why).sort((a, b) => ofPhotos(a) - ofPhotos(b));
  let sent = 0;
  for (const e of waiting) {
    let r;
    try { r = await send(e); } catch { break; }
    if (r.status < 300) { await drop(e.n); sent++; }
    else if (r.wrong && r.status < 500 && ![401, 408, 429].includes(r.status))
      await put({...e, why: r.wrong.join(" ") || " "});
    else break;
  }
  return sent;
};
const alone = (work) => self.navigator.locks ? navigator.locks.request("dryslot-log", work) : work();

if (!inPage) {
  const shell = [look, here, "/offline"];
  self.addEventListener("install", (e) =>
    e.waitUntil(caches.open(keep).then((c) => c.addAll(shell)).then(() => self.skipWaiting())));
  self.addEventListener("activate", (e) => e.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== keep) await caches.delete(name);
    await self.clients.claim();
  })()));
  const kept = async (request) => {
    const c = await caches.open(keep), url = new URL(request.url), project = url.pathname.match(/^\/p\/[^/]+/);
    return await c.match(request, {ignoreVary: true}) || project && await c.match(project[0], {ignoreVary: true}) ||
      await c.match("/offline", {ignoreVary: true}) || Response.error();
  };
  const page = async (request) => {
    const late = new Promise((_, fail) => setTimeout(fail, 6000, new Error("late")));
    const asked = fetch(request).then(async (r) => {
      const path = new URL(r.url).pathname;
      if (r.ok && !/^\/(sign-in|account)/.test(path)) {
        const c = await caches.open(keep), copy = r.clone();
        await c.put(r.redirected ? path : request,
          copy.redirected ? new Response(await copy.blob(), {headers: copy.headers}) : copy);
      }
      return r;
    });
    asked.catch(() => {});
    try { return await Promise.race([asked, late]); } catch { return kept(request); }
  };
  self.addEventListener("fetch", (e) => {
    const r = e.request, url = new URL(r.url);
    if (r.method !== "GET" || url.origin !== location.origin) return;
    if (r.mode === "navigate") e.respondWith(page(r));
    else if (/^\/(look|app)-|^\/icon|^\/manifest/.test(url.pathname))
      e.respondWith(caches.match(r, {ignoreVary: true}).then((c) => c || fetch(r)));
  });
  const tell = async () => { for (const c of await self.clients.matchAll()) c.postMessage("log"); };
  self.addEventListener("sync", (e) => { if (e.tag === "log") e.waitUntil(alone(flush).then(tell)); });
  self.addEventListener("push", (e) => {
    let m = {};
    try { m = e.data.json(); } catch { m = {body: e.data ? e.data.text() : ""}; }
    e.waitUntil(self.registration.showNotification(m.title || "dryslot",
      {body: m.body || m.text || "", tag: m.tag || m.key || m.id, renotify: !!(m.tag || m.key || m.id),
        requireInteraction: !!m.urgent, vibrate: m.urgent ? [400, 200, 400, 200, 400] : undefined,
        icon: "/icon-192.png", data: {url: m.url || "/"}}));
  });
  self.addEventListener("notificationclick", (e) => {
    e.notification.close();
    const url = new URL(e.notification.data && e.notification.data.url || "/", location.origin);
    if (url.origin !== location.origin) return;
    e.waitUntil((async () => {
      for (const c of await self.clients.matchAll({type: "window"}))
        if (new URL(c.url).pathname === url.pathname) return c.focus();
      return self.clients.openWindow(url.href);
    })());
  });
  return;
}
