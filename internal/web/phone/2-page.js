const $ = (q, of) => (of || document).querySelector(q),
  each = (q, f, of) => (of || document).querySelectorAll(q).forEach(f);
const root = document.documentElement, lang = root.lang;
root.classList.add("js");

// now is the service's time: the phone's, or that which a demonstration is set to.
let ahead = +(sessionStorage.getItem("ahead") || 0),
  timed = !document.body.dataset.clock || sessionStorage.getItem("ahead") !== null;
const now = () => new Date(Date.now() + ahead);
const clock = (t) => t.toLocaleTimeString(lang,
  {hour: "numeric", minute: "2-digit", timeZone: document.body.dataset.zone || undefined}).toLowerCase();
if (document.body.dataset.clock) fetch("/healthz", {method: "HEAD"}).then((r) => {
  const set = Date.parse(r.headers.get("Dryslot-Clock"));
  if (set) sessionStorage.setItem("ahead", ahead = set - Date.now());
  timed = true;
}).catch(() => {});

// What waits and what was refused stands in the notice above the page.
const notice = $("#waits");
const show = async () => {
  if (!notice) return;
  const list = await all().catch(() => []), w = notice.dataset, ul = $("ul", notice), made = Date.parse(w.made);
  const waiting = list.filter((e) => !e.why);
  const old = !navigator.onLine || timed && now() - made > 15 * 60000;
  $("p", notice).textContent = (waiting.length === 1 ? w.one :
    waiting.length ? w.many.replace("[n]", waiting.length) : "") +
    (old ? " " + (made ? w.old.replace("[time]", clock(new Date(made))).replace("..", ".") : w.off) : "");
  ul.textContent = "";
  for (const e of list) {
    const li = document.createElement("li"), b = document.createElement("button");
    li.append(clock(new Date(e.at)) + " " + e.words + (e.why ? ": " + w.refused + " " + e.why : " ") , b);
    if (e.why) li.className = "wrong";
    b.className = "quiet"; b.type = "button"; b.textContent = e.why ? w.ok : w.undo;
    b.onclick = async () => { await alone(() => drop(e.n)); show(); };
    ul.append(li);
  }
  notice.hidden = !list.length && !old;
};
const trySending = async () => {
  const sent = await alone(flush);
  await show();
  if (sent && !(await all()).some((e) => !e.why) && $("[data-steps]")) location.reload();
};
const later = async () => {
  const w = navigator.serviceWorker && await navigator.serviceWorker.getRegistration();
  if (w && w.sync) await w.sync.register("log").catch(() => {});
};

// A tap on a form of the log is an entry with the tap's own time.
let tap = null;
document.addEventListener("click", (e) => { if (e.target.closest && e.target.closest("button")) tap = now(); }, true);
const uuid = () => crypto.randomUUID ? crypto.randomUUID() :
  "10000000-1000-4000-8000-100000000000".replace(/[018]/g,
    (c) => (c ^ crypto.getRandomValues(new Uint8Array(1))[0] & 15 >> c / 4).toString(16));
// smaller is a photo as it is sent: upright, its longer side at most 1600 px, in JPEG, without place, time and camera.
// One that this phone can't read goes as it is.
const smaller = async (file) => {
  const img = await createImageBitmap(file).catch(() => null);
  if (!img) return file;
  const by = Math.min(1, 1600 / Math.max(img.width, img.height)), c = document.createElement("canvas");
  c.width = Math.max(1, Math.round(img.width * by)); c.height = Math.max(1, Math.round(img.height * by));
  const on = c.getContext("2d");
  on.fillStyle = "#fff";
  on.fillRect(0, 0, c.width, c.height);
  on.drawImage(img, 0, 0, c.width, c.height);
  img.close();
  return new Promise((done) => c.toBlob((b) => done(b || file), "image/jpeg", 0.82));
};
const fields = async (data) => {
  const out = [];
  for (const [name, value] of data)
    if (!(value instanceof File)) out.push([name, value]);
    else if (value.size) out.push([name, await smaller(value)]);
  return out;
};
document.addEventListener("submit", async (e) => {
  const f = e.target, by = e.submitter, photos = f.enctype === "multipart/form-data";
  if (!/^\/p\/[^/]+\/(log|photos)$/.test(new URL(f.action).pathname) || !by || f.dataset.sent) return;
  e.preventDefault();
  const data = new FormData(f, by), at = tap || now(), id = uuid();
  tap = null;
  for (const x of f.elements) if (x.type === "datetime-local" && x.value === x.defaultValue) data.delete(x.name);
  data.set("id", id);
  data.set("tapped", at.toISOString());
  const entry = {id, url: new URL(f.action).pathname, at: at.toISOString(),
    words: by.dataset.words || by.textContent.trim()};
  by.disabled = true;
  entry.body = photos ? await fields(data) : new URLSearchParams(data).toString();
  if (!(await all()).some((x) => !x.why) && navigator.onLine) {
    try {
      const r = await send(entry);
      if (r.status < 300) { location.assign(r.at); return; }
      if (r.status < 500) { again(f, by, {id, tapped: entry.at}); return; }
    } catch { /* no signal: it waits */ }
  }
  try { await put(entry); } catch { again(f, by, {id, tapped: entry.at}); return; } // a phone without room
  by.disabled = false;
  if (photos) f.reset();
  step(data.get("kind"), data.getAll("pads"), f.matches(".care"));
  await show();
  await later();
});
// again posts the form as one without a script would, so that its page says what is wrong.
const again = (f, by, more) => {
  for (const name in more) {
    const x = document.createElement("input");
    x.type = "hidden"; x.name = name; x.value = more[name];
    f.append(x);
  }
  f.dataset.sent = "1"; by.disabled = false;
  f.requestSubmit(by);
};

// The numeral counts down to when a step can be done, then to when it must be, then how late it is. The list of
// what follows holds the words, and after a tap without signal the next step.
const near = (t) => Math.abs(t - now()) <= 90 * 60000;
const tick = () => {
  const el = $(".big[data-count]"), w = el && ($("[data-steps]") || {}).dataset, h = $("h1");
  if (!el) return;
  const s = el.dataset, from = Date.parse(s.count), until = Date.parse(s.then), due = from <= now();
  const to = due && until ? until : from;
  const which = due ? !until ? "now" : until < now() ? near(until) ? "late" : "now" : near(until) ? "within" : "by" :
    near(from) ? "in" : "at";
  const [figure, ...unit] = which === "now" ? [""] :
    near(to) ? [String(Math.ceil(Math.abs(to - now()) / 60000)), w ? w.unit : "min"] : clock(new Date(to)).split(/\s/);
  const small = $("small", el) || el.appendChild(document.createElement("small"));
  if (el.firstChild === small) el.prepend("");
  el.firstChild.data = figure + " "; small.textContent = unit.join(" ").toLowerCase();
  el.classList.toggle("long", figure.length > 4);
  el.hidden = !figure;
  if (w && s.act && h && h.firstChild.nodeType === 3) h.firstChild.data = w[which].replace("[act]", s.act) + " ";
};
const step = (kind, pads, besides) => {
  // What is asked of pads placed before has a button of its own, which goes when it was tapped.
  const asked = (kind, done) => each(".care", (f) => {
    if ($("button", f).value !== kind) return;
    each("[name=pads]", (x) => { if (done.includes(x.value)) x.remove(); }, f);
    if (!$("[name=pads]", f)) f.remove();
  });
  asked(kind, pads);
  for (const li of document.querySelectorAll("[data-steps] [data-kind]")) if (li.dataset.kind === kind) {
    const left = li.dataset.pads.split("\t").filter((p) => p && !pads.includes(p));
    if (!left.length || !pads.length) li.remove(); else li.dataset.pads = left.join("\t");
  }
  const h = $("h1"), slab = $(".under .slab");
  if (besides || !h || !slab || !$("[data-steps]")) return;
  // A finish that can be done now comes before the next pad, and that before all else.
  const rank = (d) => Date.parse(d.from) > now() ? 3 : d.kind === "finished" ? 0 :
    d.kind === "placed" || d.kind === "started" ? 1 : 2;
  const when = (d) => Date.parse(rank(d) ? d.from : d.until || d.from);
  const next = [...document.querySelectorAll("[data-steps] [data-button]")].map((li) => li.dataset)
    .sort((a, b) => rank(a) - rank(b) || when(a) - when(b))[0];
  // What the head said besides was of the step before.
  while (h.nextElementSibling && !h.nextElementSibling.matches("form")) h.nextElementSibling.remove();
  let also = $(".also");
  if (!next) { slab.remove(); if (also) also.remove(); h.textContent = ""; return; }
  const offer = (f, b, d) => {
    each(".tick,input[name=pads],input[name=all],input[name=cover]", (x) => x.remove(), f);
    b.textContent = d.button; b.value = d.kind;
    asked(d.kind, d.pads.split("\t"));
    for (const p of d.pads.split("\t").filter(Boolean)) {
      const x = document.createElement("input");
      x.type = "hidden"; x.name = "pads"; x.value = p;
      f.append(x);
    }
    if (d.cover) {
      const x = document.createElement("input");
      x.type = "hidden"; x.name = "cover"; x.value = d.cover;
      f.append(x);
    }
  };
  // While a finish is due, the slab stays the next pad's that is placed.
  const placed = [...document.querySelectorAll("[data-steps] [data-kind=placed][data-button]")];
  const pad = rank(next) === 0 && placed.map((li) => li.dataset)
    .find((d) => Date.parse(d.from) <= +now() + 30 * 60000);
  if (!pad && also) also.remove();
  if (pad && !also) {
    const b = document.createElement("button"), back = document.createElement("input");
    b.name = "kind"; back.type = "hidden"; back.name = "back"; back.value = "today";
    also = slab.form.cloneNode(false);
    also.className = "also"; also.append(back, b);
    slab.form.before(also);
  }
  if (pad) offer(also, $("button", also), next);
  const span = document.createElement("span");
  span.className = "big num";
  Object.assign(span.dataset, {count: next.from, act: next.act}, next.until && {then: next.until});
  h.replaceChildren(" ", span);
  offer(slab.form, slab, pad || next);
  tick();
};

// A form that is read back while it is typed. The service reads it: there is one reader.
const live = (f) => {
  let late, turn = 0;
  const ask = async (button) => {
    const body = new URLSearchParams(new FormData(f)), mine = ++turn;
    body.set("do", button);
    const r = await fetch(f.action, {method: "POST", body, credentials: "same-origin",
      headers: {"Content-Type": formType}}).catch(() => null);
    if (!r || mine !== turn || r.redirected) return null;
    return new DOMParser().parseFromString(await r.text(), "text/html");
  };
  // While the bill is read back its lines move the button below; once that is pressed nothing moves.
  const busy = (yes) => { const t = $(".take", f); if (t) t.ariaBusy = yes ? "true" : null; };
  const look = async () => {
    busy(true);
    const asked = ask("look"), mine = turn, page = await asked, take = page && $(".take", page);
    if (mine === turn) busy(false);
    if (!take) return;
    each(".take>:not(button):not(.noscript)", (x) => x.remove(), f);
    $(".take", f).prepend(...[...take.children].filter((x) => !x.matches("button,.noscript")));
    each("[id^=h-],[id^=e-]", (x) => {
      const y = page.getElementById(x.id);
      if (y) { x.textContent = y.textContent; x.className = y.className; }
    }, f);
    each("input,select", (x) => {
      const y = page.getElementById(x.id);
      if (y) x.toggleAttribute("aria-invalid", false), y.ariaInvalid && x.setAttribute("aria-invalid", "true");
    }, f);
    const spots = page.getElementById("n-spot"), had = $("#n-spot", f);
    if (had && !spots) had.closest("div").remove();
    else if (spots && (!had || had.textContent !== spots.textContent)) {
      if (had) had.closest(".field").parentNode.remove();
      $("#n-place", f).closest(".field").parentNode.after(spots.closest(".field").parentNode);
    }
  };
  f.addEventListener("input", () => { busy(true); clearTimeout(late); late = setTimeout(look, 500); });
  f.addEventListener("pointerdown", (e) => {
    if (!e.target.closest(".take button")) return;
    clearTimeout(late);
    turn++;
    busy(false);
  });
  f.addEventListener("click", async (e) => {
    const b = e.target.closest && e.target.closest("button[name=do]");
    if (!b || !/^(add|drop) /.test(b.value)) return;
    e.preventDefault();
    clearTimeout(late);
    const at = b.closest(".step").id, page = await ask(b.value), step = page && page.getElementById(at);
    if (!step) { f.requestSubmit(b); return; }
    const y = scrollY;
    $("#" + at).replaceWith(step);
    scrollTo(0, y);
    const added = /^add/.test(b.value) && [...step.querySelectorAll("fieldset.rowpad")].pop(),
      first = $("input:not([type=hidden])", added || step);
    if (first) first.focus({preventScroll: true});
    look();
  });
  const at = $("[data-here]", f);
  if (at && navigator.geolocation) {
    at.hidden = false;
    $("button", at).onclick = () => navigator.geolocation.getCurrentPosition((p) => {
      $("#n-place", f).value = p.coords.latitude.toFixed(4) + ", " + p.coords.longitude.toFixed(4);
      look();
    }, () => { $(".hint", at).hidden = false; }, {timeout: 15000, maximumAge: 600000});
  }
};

// Alerts on this phone, where the browser and the service have them.
const pushing = $("[data-push]");
if (pushing && pushing.dataset.push && "PushManager" in self && "Notification" in self && navigator.serviceWorker) {
  pushing.hidden = false;
  $("button", pushing).onclick = async (e) => {
    e.preventDefault();
    const failed = () => { $(".wrong", pushing).hidden = false; };
    if (await Notification.requestPermission() !== "granted") return failed();
    const key = Uint8Array.from(atob(pushing.dataset.push.replace(/-/g, "+").replace(/_/g, "/")),
      (c) => c.charCodeAt(0));
    const worker = await navigator.serviceWorker.ready;
    const sub = await Promise.race([worker.pushManager.subscribe({userVisibleOnly: true, applicationServerKey: key}),
      new Promise((_, no) => setTimeout(no, 20000))]).catch(() => null);
    if (!sub) return failed();
    $("input[name=address]", pushing).value = JSON.stringify(sub);
    pushing.requestSubmit();
  };
}

// Passkeys: the browser signs what the service asks for, and its answer goes with the form. Where the browser has
// none the form stays hidden.
each("form[data-passkey]", (f) => {
  const kind = self.PublicKeyCredential, make = !!f.dataset.make;
  if (!kind || !kind.parseCreationOptionsFromJSON || !kind.parseRequestOptionsFromJSON) return;
  f.hidden = false;
  f.addEventListener("submit", async (e) => {
    const by = e.submitter, wrong = $("[role=alert]", f);
    if (f.dataset.sent) return;
    e.preventDefault();
    wrong.hidden = by.disabled = true;
    try {
      const r = await fetch(f.dataset.passkey,
        {method: "POST", credentials: "same-origin", headers: {Accept: jsonType}});
      if (!r.ok) throw r;
      const asked = await r.json(), publicKey = make ? kind.parseCreationOptionsFromJSON(asked) :
        kind.parseRequestOptionsFromJSON(asked);
      const key = await navigator.credentials[make ? "create" : "get"]({publicKey});
      $("input[name=passkey]", f).value = JSON.stringify(key);
      f.dataset.sent = "1"; by.disabled = false;
      f.requestSubmit(by);
      delete f.dataset.sent;
    } catch { wrong.hidden = false; }
    by.disabled = false;
  });
});

// Signing out takes the pages kept on this phone along, and what waits only if the builder says so.
each("form[action='/sign-out']", (f) => f.addEventListener("submit", async (e) => {
  if (f.dataset.sent) return;
  e.preventDefault();
  await alone(flush).catch(() => 0);
  const waiting = (await all().catch(() => [])).filter((x) => !x.why).length;
  if (waiting && notice && !confirm(notice.dataset.leave.replace("[n]", waiting))) return show();
  for (const name of await caches.keys()) await caches.delete(name);
  await store("readwrite", (s) => s.clear()).catch(() => 0);
  const w = navigator.serviceWorker && await navigator.serviceWorker.getRegistration();
  if (w && w.pushManager) {
    const s = await w.pushManager.getSubscription().catch(() => null);
    if (s) await s.unsubscribe();
  }
  f.dataset.sent = "1";
  f.requestSubmit();
}));

each("form[data-live]", live);
tick();
setInterval(tick, 5000);
addEventListener("online", trySending);
addEventListener("offline", show);
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) { tick(); if (navigator.onLine) trySending(); }
});
if (navigator.serviceWorker) {
  navigator.serviceWorker.register("/worker.js").catch(() => {});
  navigator.serviceWorker.addEventListener("message", (e) => { if (e.data === "log") show(); });
}
show().then(() => navigator.onLine && trySending());
})();
