// Adds to a form that writes entries: questions come and go with the answers, what is half filled in is kept in the
// browser until it is saved, and a lost connection is said instead of losing the page. Without it the form works, too.

import { drop, keep, kept, timeText } from "./kept-forms.js";

const PATIENCE_MS = 20000;
const NEVER_KEPT = new Set(["token", "_step", "_seen", "_now", "_warned", "_with_later"]);
const touched = new Set();
let wasServed = new Map(); // each field as the server gave it, to see what a new answer changes
let formBefore = null; // the filled form, while its result is looked at
let refreshing = null;
let isPressed = false;
addEventListener("pointerdown", () => (isPressed = true), true);
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => (isPressed = false), true);

const main = document.getElementById("main");
const currentForm = () => main.querySelector("form[data-form]");
const formName = currentForm()?.dataset.form; // under which it is kept, also once it is answered
const fieldOf = (element) => element.closest(".field");

// ---- what is sent ---------------------------------------------------------------------------------------------------

function pairsOf(form, submitter) {
  const data = new FormData(form, submitter);
  const gone = new Set();
  for (const field of form.querySelectorAll('.field[data-asked="no"]')) {
    for (const control of field.querySelectorAll("[name]")) gone.add(control.name);
  }
  return [...data].filter(([name, value]) => typeof value === "string" && !gone.has(name));
}

async function send(form, pairs) {
  return fetch(form.action, {
    method: "POST",
    body: new URLSearchParams(pairs),
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
}

function say(form, text) {
  const trouble = form.querySelector(".trouble");
  trouble.textContent = text;
  trouble.hidden = !text;
  if (text) trouble.scrollIntoView({ block: "center" });
}

async function submit(event) {
  const form = event.currentTarget;
  const button = event.submitter;
  event.preventDefault();
  if (form.dataset.busy) return;
  if (button?.value === "change" && formBefore) {
    showNodes(formBefore);
    return;
  }
  form.dataset.busy = "yes";
  say(form, "");
  const pairs = pairsOf(form, button);
  const buttons = [...form.querySelectorAll(".do button")];
  for (const each of buttons) each.disabled = true;
  try {
    const answer = await send(form, pairs);
    if (answer.redirected && new URL(answer.url).pathname === "/written") {
      drop(formName);
      location.assign(answer.url);
      return; // the buttons stay off until the next page is there
    }
    const text = await answer.text();
    if ((answer.headers.get("content-type") ?? "").startsWith("text/html")) {
      showPage(text, form, button);
      return;
    }
    say(form, `Leeside cannot take this now: ${reasonIn(text)} What you filled in is kept in this browser.`);
    if (answer.status === 401) offerLogIn(form);
  } catch {
    say(form, "Leeside does not answer. What you filled in is kept in this browser: try again when the connection is back. It is written once, however often you try.");
  }
  delete form.dataset.busy;
  for (const each of buttons) each.disabled = false;
}

function reasonIn(text) {
  try {
    const reason = JSON.parse(text);
    return String(reason.error ?? reason.detail ?? "").replace(/[^.]$/, "$&.");
  } catch {
    return "";
  }
}

function offerLogIn(form) {
  const link = document.createElement("a");
  link.href = `/login?next=${encodeURIComponent(formName)}`;
  link.textContent = "Log in";
  form.querySelector(".trouble").append(" ", link);
}

// ---- what comes back ------------------------------------------------------------------------------------------------

function showPage(text, from, button) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const isLook = page.querySelector('form[data-step="look"]') !== null;
  if (isLook && from.dataset.step === "fill") {
    formBefore = [...main.childNodes];
    delete from.dataset.busy;
    for (const each of from.querySelectorAll(".do button")) each.disabled = false;
  }
  document.querySelector('meta[name="leeside-token"]').content = page.querySelector('meta[name="leeside-token"]').content;
  main.replaceChildren(...document.importNode(page.getElementById("main"), true).childNodes);
  setUp();
  const first = main.querySelector(".problems, .result");
  const form = currentForm();
  if (button?.value === "take" && form) {
    // A reading was taken, or cannot be yet: the hands stay where they are.
    touched.add("reads");
    keepNow(form);
    form.querySelector(`[name="${button.name}"][value="take"]`)?.focus({ preventScroll: true });
    return;
  }
  scrollTo(0, 0);
  (first ?? main.querySelector("h1")).focus?.({ preventScroll: true });
}

function showNodes(nodes) {
  main.replaceChildren(...nodes);
  formBefore = null;
  scrollTo(0, 0);
  main.querySelector("input:not([type=hidden]), select")?.focus({ preventScroll: true });
}

// ---- questions come and go ------------------------------------------------------------------------------------------

async function refresh() {
  const form = currentForm();
  if (!form || form.dataset.step !== "fill" || form.dataset.busy || !("live" in form.dataset)) return;
  const pairs = pairsOf(form).filter(([name]) => name !== "_step");
  pairs.push(["_step", "fields"], ...[...touched].map((name) => ["_touched", name]));
  let page;
  try {
    const answer = await send(form, pairs);
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return; // the form stays as it is, and the server says what is missing
  }
  // A form that moves under a finger would lose its tap.
  if (isPressed) await new Promise((resolve) => addEventListener("pointerup", resolve, { once: true }));
  if (form !== currentForm() || form.dataset.busy) return;
  for (const served of page.querySelectorAll(".field")) {
    const there = document.getElementById(served.id);
    if (!there || wasServed.get(served.id) === served.outerHTML) continue;
    wasServed.set(served.id, served.outerHTML);
    if (touched.has(served.dataset.name) || there.contains(document.activeElement)) {
      there.dataset.asked = served.dataset.asked;
    } else {
      const fresh = document.importNode(served, true);
      there.replaceWith(fresh);
      setUpRows(fresh);
    }
  }
}

function onChange(event) {
  const form = event.currentTarget;
  const field = fieldOf(event.target);
  if (field) touched.add(field.dataset.name);
  keepNow(form);
  if (event.type !== "change") return;
  clearTimeout(refreshing);
  refreshing = setTimeout(refresh, 60);
}

// ---- what is kept ---------------------------------------------------------------------------------------------------

function keepNow(form) {
  const pairs = pairsOf(form).filter(([name]) => !NEVER_KEPT.has(name));
  keep(formName, { at: Date.now(), title: titleOf(pairs), pairs, touched: [...touched] });
}

function titleOf(pairs) {
  const vessel = pairs.find(([name, value]) => (name === "vessel" || name === "from") && value);
  return main.querySelector("h1").textContent + (vessel ? ` (${vessel[1]})` : "");
}

async function restore(form) {
  const before = kept(formName);
  if (!before) return;
  for (const name of before.touched) touched.add(name);
  const token = ["token", form.querySelector("[name=token]").value];
  const touchedPairs = before.touched.map((name) => ["_touched", name]);
  try {
    const answer = await send(form, [...before.pairs, token, ["_step", "fields"], ...touchedPairs]);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("form[data-form]");
    if (!fresh) return;
    form.replaceChildren(...document.importNode(fresh, true).childNodes);
  } catch {
    return;
  }
  setUpForm(form);
  const note = form.querySelector(".kept");
  const words = document.createElement("p");
  words.textContent = `This is as you left it ${timeText(before.at)}; it was not saved. If it happened then, say so at the time below.`;
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Drop it and begin again";
  button.addEventListener("click", () => {
    drop(formName);
    location.reload();
  });
  note.replaceChildren(words, button);
  note.hidden = false;
}

// ---- set up ---------------------------------------------------------------------------------------------------------

function setUpRows(root) {
  for (const button of root.querySelectorAll(".more-rows")) {
    button.hidden = false;
    // Without a script there are rows to spare.
    for (const row of [...button.parentElement.querySelectorAll(".vessels-row, .bottles-row")].slice(1)) {
      if (!row.querySelector("[name]").value) row.remove();
    }
    button.addEventListener("click", () => {
      const rows = button.parentElement.querySelectorAll(":scope > .row");
      const last = rows[rows.length - 1];
      const row = last.cloneNode(true);
      for (const control of row.querySelectorAll("input:not([type=hidden]), select:not(.unit)")) {
        control.removeAttribute("id");
        if (!control.name.endsWith(".size")) control.value = "";
        const label = control.getAttribute("aria-label");
        if (label) control.setAttribute("aria-label", label.replace(/\d+$/, String(rows.length + 1)));
      }
      last.after(row);
      row.querySelector("input:not([type=hidden]), select").focus();
    });
  }
}

function setUpForm(form) {
  form.classList.add("live");
  wasServed = new Map([...form.querySelectorAll(".field")].map((field) => [field.id, field.outerHTML]));
  setUpRows(form);
}

function setUp() {
  const form = currentForm();
  if (!form) return;
  form.addEventListener("submit", submit);
  if (form.dataset.step !== "fill") return;
  form.addEventListener("input", onChange);
  form.addEventListener("change", onChange);
  setUpForm(form);
}

setUp();
const opened = currentForm();
if (opened?.dataset.step === "fill" && !opened.dataset.answered) restore(opened);
