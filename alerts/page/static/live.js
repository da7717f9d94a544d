// The cellar view stays as the cellar is: pieces of the page are replaced when the server sends newer ones, ages count
// on, and the page says so when it is cut off. Without this script the page loads again every ten seconds.

const view = document.getElementById("live");
const link = document.getElementById("link");
const linkTime = document.getElementById("link-time");
const siteTitle = document.title.slice(document.title.lastIndexOf(" · "));

// Events come every 10 s at least.
const CUT_OFF_MS = 25_000;
const TRY_AGAIN_MS = 5_000;
// A window that nobody looks at gives its place to others.
const HIDDEN_MS = 30_000;

let source = null;
let since = view.dataset.since;
// The server's clock counts, whatever this device's says: performance.now() never jumps.
let serverMs = Number(view.dataset.at);
let heardMs = performance.now();
let again = 0;
let hidden = 0;

function nowMs() {
  return serverMs + performance.now() - heardMs;
}

function age(spanMs) {
  const seconds = Math.floor(Math.max(0, spanMs) / 1000);
  for (const [size, unit] of [[86_400, "d"], [3_600, "h"], [60, "min"]]) {
    if (seconds >= 2 * size || (unit === "min" && seconds >= 90)) return `${Math.floor(seconds / size)} ${unit}`;
  }
  return `${seconds} s`;
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function showAges() {
  const now = nowMs();
  for (const element of view.querySelectorAll("time[data-at]")) {
    setText(element, age(now - Number(element.dataset.at)));
  }
}

function hear(event) {
  const data = JSON.parse(event.data);
  serverMs = Date.parse(data.at);
  heardMs = performance.now();
  since = event.lastEventId;
  return data;
}

// What a person has opened stays open.
function keepOpen(old, newer) {
  const opened = [...old.querySelectorAll("details")].map((each) => each.open);
  newer.querySelectorAll("details").forEach((each, index) => { if (index < opened.length) each.open = opened[index]; });
}

function replace(id, html) {
  const old = document.getElementById(id);
  const holder = document.createElement("template");
  holder.innerHTML = html;
  const piece = holder.content.firstElementChild;
  if (!old || !piece) return false;
  const focused = old.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  keepOpen(old, piece);
  old.replaceWith(piece);
  if (focused) [...piece.querySelectorAll("a")].find((each) => each.getAttribute("href") === focused)?.focus();
  return true;
}

// On a card, what is worked out more slowly is asked for again when what it follows from has changed.
const SLOW_FOLLOWS = /-(wine|notes|judged)$/;
let restAsked = 0;

function renewRest() {
  const rest = document.getElementById("rest");
  if (!rest || restAsked) return;
  restAsked = setTimeout(async () => {
    restAsked = 0;
    const answer = await fetch(location.href).catch(() => null);
    if (!answer || !answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const newer = page.getElementById("rest");
    if (newer && !rest.contains(document.activeElement)) {
      keepOpen(rest, newer);
      rest.replaceWith(newer);
    }
    showAges();
  }, 1500);
}

function showLink(words, time, off) {
  setText(link, words);
  setText(linkTime, time);
  view.classList.toggle("cut-off", off);
}

let lastTime = linkTime.textContent;
let madeMs = Number(view.dataset.at);
let troubled = false;

function onPieces(event) {
  const data = hear(event);
  const changed = Object.entries(data.pieces).filter(([id, html]) => replace(id, html));
  if (data.layout !== view.dataset.layout) {
    location.reload();
    return;
  }
  if (data.title && !view.dataset.only) document.title = data.title + siteTitle;
  if (changed.some(([id]) => SLOW_FOLLOWS.test(id))) renewRest();
  lastTime = data.time;
  madeMs = data.now;
  troubled = data.trouble !== "";
  if (troubled) showLink(`The store cannot be read (${data.trouble}). What you see is from`, data.time, true);
  else showLink("live,", data.time, false);
  showAges();
}

function onBeat(event) {
  hear(event);
  if (troubled) return;
  // The server is there, but may have had nothing to show for longer than it ever takes.
  if (serverMs - madeMs > CUT_OFF_MS) showLink("not renewed since", `${lastTime}: what you see is from that time`, true);
  else showLink("live,", lastTime, false);
}

function open() {
  close();
  const only = view.dataset.only || "";
  source = new EventSource(`/events?since=${encodeURIComponent(since)}&only=${encodeURIComponent(only)}`);
  source.addEventListener("pieces", onPieces);
  source.addEventListener("beat", onBeat);
  source.addEventListener("open", () => { heard(); });
  source.addEventListener("error", () => {
    // What the browser does not try again by itself.
    if (source && source.readyState === EventSource.CLOSED) tryAgain();
  });
}

function heard() {
  if (again) { clearTimeout(again); again = 0; }
}

function close() {
  if (source) { source.close(); source = null; }
}

function tryAgain() {
  close();
  if (!again) again = setTimeout(openIfLoggedIn, TRY_AGAIN_MS);
}

// A session that has ended is begun again where the password is asked for: by loading the page.
async function openIfLoggedIn() {
  again = 0;
  if (document.hidden) return;
  const answer = await fetch("/api/session", { signal: AbortSignal.timeout(TRY_AGAIN_MS) }).catch(() => null);
  const session = answer && answer.ok ? await answer.json().catch(() => null) : null;
  if (session && session.password_needed && !session.logged_in) location.reload();
  else if (!source) open();
}

setInterval(() => {
  showAges();
  if (performance.now() - heardMs > CUT_OFF_MS && !document.hidden) {
    showLink("not connected since", `${lastTime}: what you see is from that time`, true);
    if (!again && (!source || source.readyState !== EventSource.CONNECTING)) tryAgain();
  }
}, 1000);

document.addEventListener("visibilitychange", () => {
  clearTimeout(hidden);
  if (document.hidden) hidden = setTimeout(close, HIDDEN_MS);
  else if (!source) open();
});
addEventListener("pagehide", close);
addEventListener("pageshow", (event) => { if (event.persisted) open(); });

open();
