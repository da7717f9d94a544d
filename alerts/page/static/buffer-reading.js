// Renews what a pH probe shows in its buffer, while its calibration is filled in. Without it the form shows what it was
// when the page was loaded; its button takes what the probe shows when it is pressed either way.

const EVERY_MS = 2000;
const PATIENCE_MS = 10000;
const TEXTS = ["value", "age", "state", "says", "take"];

const piece = () => document.getElementById("buffer-reading");

function setText(element, text) {
  // A screen reader speaks of what changes, and only of that.
  if (element.textContent !== text) element.textContent = text;
}

function path(there) {
  const query = new URLSearchParams();
  const form = there.closest("form");
  for (const name of ["buffer", "reads"]) {
    for (const control of form.querySelectorAll(`[name="${name}"]`)) if (control.value.trim()) query.append(name, control.value);
  }
  const taken = form.querySelector("[name=_taken]").value;
  if (taken) query.append("taken", taken);
  return `${there.dataset.path}?${query}`;
}

async function renew() {
  const there = piece();
  if (!there || document.hidden) return;
  const asked = path(there);
  let served = null;
  try {
    const answer = await fetch(asked, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) served = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("buffer-reading");
  } catch {
    // It is said below.
  }
  // While it was asked, another reading may have been taken.
  if (there !== piece() || asked !== path(there)) return;
  if (!served) {
    there.classList.remove("still");
    setText(there.querySelector(".state"), "not live");
    setText(there.querySelector(".says"), "Leeside does not answer. Type what the meter shows, or wait.");
    return;
  }
  there.classList.toggle("still", served.classList.contains("still"));
  for (const name of TEXTS) setText(there.querySelector(`.${name}`), served.querySelector(`.${name}`).textContent);
}

async function watch() {
  await renew();
  setTimeout(watch, EVERY_MS);
}

document.addEventListener("visibilitychange", renew);
setTimeout(watch, EVERY_MS);
