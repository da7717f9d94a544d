// The history as a chart: asks for what is to be shown, draws it in panes on one time axis, keeps the address right.

import { colours } from "./history_drawing.js";
import { takeHands } from "./history_hands.js";
import { placeStrips } from "./history_marks.js";
import { build, margins, Panes } from "./history_panes.js";
import { markText, marksAt, valuesAt } from "./history_reading.js";
import { gapOf, inShownUnit } from "./history_values.js";
import { spanWords, words } from "./history_words.js";

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;
const SPANS = { hour: HOUR, day: DAY, week: 7 * DAY, month: 30 * DAY, season: 91 * DAY, year: 365 * DAY };
const SHORTEST = MINUTE;
const LONGEST = 60 * 365 * DAY;
// After the last movement, before the page is asked; how often a span up to now is asked again.
const ASK_AFTER = 180;
// How far a chart may reach beyond now, at most.
const AHEAD = 30 * DAY;
const LIVE_EVERY = MINUTE;
const MOST_MARKS = 5;
const NEAR_PX = 8;

const root = document.getElementById("history");
const bounds = document.querySelector(".history-bounds");
const say = words(root.dataset.zone);
const { kind } = root.dataset;
// name: of the span, empty where both ends were chosen; at: the moment that is pointed at; group: marks with the focus.
const state = {
  from: Number(root.dataset.from), to: Number(root.dataset.to), name: root.dataset.span, at: null, group: null,
  answer: null, asking: null, timer: 0, ahead: 0, drawing: false,
};
// The cellar's clock, as far as the last answer told: a phone's may be wrong.
const present = () => Date.now() + state.ahead;

// ---- the sheet ------------------------------------------------------------------------------------------------------

const line = build("div", "history-line");
line.hidden = true;
const reading = build("output", "history-at");
reading.setAttribute("aria-live", "off");
const spoken = build("p", "skip");
spoken.setAttribute("aria-live", "polite");
const trouble = build("p", "history-trouble");
trouble.setAttribute("role", "alert");
trouble.hidden = true;
const head = build("div", "");
const panesBox = build("div", "");
const shownSpan = bounds.closest("details").querySelector("summary");
const aside = build("p", "history-help", "The readings are on their way.");
const strips = { stays: build("div"), entries: build("div"), alarms: build("div") };
const strip = (title, box) => build("div", "history-strip", build("span", "", title), box);
const sheet = build(
  "div", "history-sheet", line,
  ...(kind === "vessel" || kind === "lot" ? [strip(kind === "lot" ? "Vessel" : "Lot", strips.stays)] : []),
  strip("Journal", strips.entries), strip("Alarms", strips.alarms), panesBox,
);
sheet.tabIndex = 0;
sheet.setAttribute("role", "group");
sheet.setAttribute("aria-label", "Chart. Arrow keys move in time, plus and minus zoom, Shift with an arrow reads values, Home and End go to the ends, 0 shows all.");
const help = build("p", "history-help", "Drag to move in time; pinch, or Ctrl with the wheel, to zoom; point or tap to read values. Keys: arrows, + and −, Shift with an arrow to read, Home, End, 0 for all.");
const hands = build("div", "history-hands");
root.replaceChildren(hands, trouble, build("div", "history-top", reading, head), sheet, spoken, aside, help);
const panes = new Panes(root, head, panesBox, root.dataset.zone, colours(root));

function axis() {
  const box = sheet.getBoundingClientRect();
  const { left, right } = margins(root);
  return { left: box.left + left, width: Math.max(1, box.width - left - right) };
}

// ---- what is shown --------------------------------------------------------------------------------------------------

// Drawn once for each picture of the screen, however often it is moved in between.
function soon() {
  if (state.drawing) return;
  state.drawing = true;
  requestAnimationFrame(() => {
    state.drawing = false;
    render();
  });
}

function render() {
  const { from, to, answer } = state;
  const text = to - from > 14 * DAY ? say.day : (moment) => say.moment(moment, to - from);
  shownSpan.textContent = `${text(from)} to ${text(to)}`;
  if (!answer) return;
  const never = answer.never.length ? ` Never read or found: ${answer.never.join(", ")}.` : "";
  aside.textContent = `A row of readings stands for ${spanWords(answer.span_ms)}.${never}`;
  panes.show(from, to);
  placeStrips(strips, answer, from, to, axis().width, (group) => {
    state.group = group;
    read();
  });
  read();
}

// The values at the line, or the newest ones.
function read() {
  const { from, to, answer, at } = state;
  if (!answer) return;
  const moment = at ?? Math.min(to - 1, answer.now_ms);
  const { width } = axis();
  const near = (NEAR_PX * (to - from)) / width;
  line.hidden = at === null;
  line.style.left = `${margins(root).left + (width * (moment - from)) / (to - from)}px`;
  const marks = state.group ?? (at === null ? [] : marksAt(answer, moment, near));
  reading.replaceChildren(build("b", "", say.moment(moment, to - from)), " ");
  if (at === null && !state.group) reading.append(build("span", "note", "the newest row: mean (lowest to highest); point at the chart for others"));
  for (const mark of marks.slice(0, MOST_MARKS)) reading.append(build("span", "note", markText(mark, say)), " ");
  if (marks.length > MOST_MARKS) reading.append(build("span", "note", `and ${marks.length - MOST_MARKS} more`));
  for (const each of panes.all) {
    const texts = valuesAt(each.pane, moment, answer.span_ms, near, at !== null);
    each.reading.replaceChildren(...texts.flatMap(([text, out]) => [build("span", out ? "is-out" : "", text), " "]));
  }
}

// ---- asking ---------------------------------------------------------------------------------------------------------

// margin: how much is asked for on both sides of what is shown, so that there is something when it is moved.
function address(path, margin = 0) {
  const parts = new URLSearchParams(root.dataset.subject);
  if (state.name) parts.set("span", state.name);
  else {
    parts.set("from", new Date(state.from - margin).toISOString());
    parts.set("to", new Date(Math.min(state.to + margin, Math.max(state.to, present()))).toISOString());
  }
  return `${path}${path.includes("?") ? "&" : "?"}${parts}`;
}

async function ask() {
  state.asking?.abort();
  const asking = new AbortController();
  state.asking = asking;
  const length = state.to - state.from;
  const margin = state.name || 2 * length > LONGEST ? 0 : length / 2;
  const rows = Math.round((axis().width / 2) * (margin ? 2 : 1));
  const get = async (path) => {
    const reply = await fetch(address(path, margin), { signal: asking.signal });
    const answer = await reply.json().catch(() => ({}));
    if (!reply.ok) throw new Error(answer.error ?? `the page answered ${reply.status}`);
    return answer;
  };
  try {
    // The estimate takes longer; what was read does not wait for it.
    const estimated = get("/api/history/estimate");
    estimated.catch(() => {});
    take(await get(`/api/history?rows=${Math.max(100, Math.min(margin ? 800 : 400, rows))}`));
    takeEstimate(await estimated);
    trouble.hidden = true;
  } catch (error) {
    if (asking.signal.aborted) return;
    trouble.textContent = error instanceof TypeError
      ? "The page does not answer; what is drawn is what was known before."
      : `This cannot be shown: ${error.message}.`;
    trouble.hidden = false;
    if (!state.answer) aside.textContent = "";
  }
}

function take(answer) {
  for (const pane of answer.panes) {
    inShownUnit(pane);
    for (const each of pane.readings) each.gap = gapOf(each.at_ms, answer.span_ms);
    // What was estimated before stands until the new estimate comes.
    const before = panes.all.find((each) => each.pane.quantity === pane.quantity);
    pane.bands.push(...(before?.pane.bands ?? []).filter((band) => band.what === "estimate"));
  }
  [state.answer, state.ahead] = [answer, answer.now_ms - Date.now()];
  if (state.name) [state.from, state.to] = [answer.from_ms, answer.to_ms];
  panes.take(answer);
  render();
}

function takeEstimate(estimate) {
  for (const { pane } of panes.all) {
    const bands = estimate[pane.quantity];
    if (!bands) continue;
    pane.bands = [...pane.bands.filter((band) => band.what !== "estimate"), ...bands];
  }
  render();
  root.dataset.ready = String(Number(root.dataset.ready ?? 0) + 1);
}

function keepAddress() {
  history.replaceState(null, "", address("/history"));
  for (const link of document.querySelectorAll("[data-history-link]")) link.href = address(link.dataset.historyLink);
  for (const link of document.querySelectorAll("[data-history-span]")) {
    if (link.dataset.historySpan === state.name) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
  bounds.elements.from.value = say.field(state.from);
  bounds.elements.to.value = say.field(state.to);
}

// ---- moving ---------------------------------------------------------------------------------------------------------

function show(from, to, name = "") {
  const now = present();
  const length = Math.max(SHORTEST, Math.min(LONGEST, to - from));
  const latest = now + Math.min(length / 20, AHEAD);
  const earliest = Math.min(state.answer?.first_ms ?? now - LONGEST, now - length) - length / 20;
  const begin = Math.round(Math.max(earliest, Math.min(from, latest - length)));
  [state.from, state.to, state.name] = [begin, begin + Math.round(length), name];
  soon();
  clearTimeout(state.timer);
  state.timer = setTimeout(() => {
    keepAddress();
    ask();
  }, ASK_AFTER);
}

function named(name) {
  const now = present();
  if (SPANS[name]) [state.from, state.to] = [now - SPANS[name], now];
  [state.name, state.at] = [name, null];
  keepAddress();
  render();
  ask();
}

const move = {
  pan(part) {
    const by = part * (state.to - state.from);
    show(state.from + by, state.to + by);
  },
  zoom(factor, part) {
    const length = state.to - state.from;
    const fixed = part ?? (state.at === null ? 0.5 : (state.at - state.from) / length);
    const wanted = Math.max(SHORTEST, Math.min(LONGEST, length * factor));
    const begin = state.from + fixed * (length - wanted);
    show(begin, begin + wanted);
  },
  look(part) {
    state.at = part === null || part < 0 || part > 1 ? null : state.from + part * (state.to - state.from);
    read();
  },
  step(rows) {
    const row = Math.max(state.answer?.span_ms ?? 0, (state.to - state.from) / 200);
    const newest = Math.min(state.to, state.answer?.now_ms ?? state.to) - 1;
    state.at = Math.max(state.from, Math.min(state.to - 1, (state.at ?? newest) + rows * row));
    read();
    const values = panes.all.filter((each) => each.reading.textContent).map((each) => `${each.pane.title} ${each.reading.textContent}`);
    spoken.textContent = [reading.textContent, ...values].join("; ");
  },
  first() {
    const first = state.answer?.first_ms ?? state.from;
    show(first, first + state.to - state.from);
  },
  last() {
    const now = state.answer?.now_ms ?? present();
    show(now - (state.to - state.from), now);
  },
  all: () => named("all"),
};

for (const [label, name, act] of [
  ["←", "Earlier", () => move.pan(-0.5)], ["→", "Later", () => move.pan(0.5)],
  ["+", "Zoom in", () => move.zoom(0.5, null)], ["−", "Zoom out", () => move.zoom(2, null)],
]) {
  const button = build("button", "", label);
  button.type = "button";
  button.setAttribute("aria-label", name);
  button.addEventListener("click", act);
  hands.append(button);
}
takeHands(sheet, axis, move);
for (const link of document.querySelectorAll("[data-history-span]")) {
  link.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    named(link.dataset.historySpan);
  });
}
new ResizeObserver(() => {
  panes.resize();
  render();
}).observe(root);
setInterval(() => {
  if (state.name && !document.hidden) ask();
}, LIVE_EVERY);
document.addEventListener("visibilitychange", () => {
  if (state.name && !document.hidden) ask();
});
render();
ask();
