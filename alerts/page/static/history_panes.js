// The panes: a plot for each quantity under one time axis, each with its heading, its newest values and its key.

import { DASHES, draw } from "./history_drawing.js";
import { reach } from "./history_values.js";

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;
const PANE_PX = 150;
const HEAD_PX = 44;
// How far the time axis may reach into the page's margin, for a last text that stands at its end.
const OVER_PX = 14;
// The least that a pane shows from bottom to top, in leeside's units: so that noise does not look like news.
const LEAST = { pressure: 4, temperature: 2, barometric_pressure: 1, pH: 0.1, free_so2: 10, molecular_so2: 0.4 };
// From which distance of the rules on, and how, times are written: uPlot's table, in 24 hours.
const TIMES = [
  [365 * DAY, "{YYYY}", null, null, null, null, null, null, 1],
  [28 * DAY, "{MMM}", "\n{YYYY}", null, null, null, null, null, 1],
  [DAY, "{D} {MMM}", "\n{YYYY}", null, null, null, null, null, 1],
  [HOUR, "{HH}:{mm}", "\n{D} {MMM} {YYYY}", null, "\n{D} {MMM}", null, null, null, 1],
  [MINUTE, "{HH}:{mm}", "\n{D} {MMM} {YYYY}", null, "\n{D} {MMM}", null, null, null, 1],
  [1, "{HH}:{mm}:{ss}", "\n{D} {MMM} {YYYY}", null, "\n{D} {MMM}", null, null, null, 1],
];

export function build(tag, className, ...children) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.append(...children);
  return element;
}

// How wide the values beside the axis and the margin after it are, in px.
export function margins(root) {
  const style = getComputedStyle(root);
  const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
  return { left: parseFloat(style.getPropertyValue("--axis")) * rem, right: parseFloat(style.getPropertyValue("--end")) * rem };
}

export class Panes {
  // head: where the time axis goes; box: where the panes go; both lie in root.
  constructor(root, head, box, zone, palette) {
    Object.assign(this, { root, head, box, zone, palette, all: [], headPlot: null, quantities: "" });
  }

  // Take a new answer; panes that were there stay, others are built.
  take(answer) {
    this.answer = answer;
    const quantities = answer.panes.map((pane) => pane.quantity).join();
    if (quantities !== this.quantities || !this.headPlot) this.rebuild();
    else this.all.forEach((each, index) => { each.pane = answer.panes[index]; });
    this.quantities = quantities;
  }

  rebuild() {
    this.all.forEach(({ plot }) => plot.destroy());
    this.headPlot?.destroy();
    this.box.replaceChildren();
    this.headPlot = this.plot(this.head, HEAD_PX, timeAxes(this.palette), null);
    this.all = this.answer.panes.map((pane) => {
      const reading = build("output");
      const unit = [pane.model, pane.shown.unit].filter(Boolean).join(", ");
      const drawing = build("div", "");
      const [key, undrawn] = [keyOf(pane, this.answer.kind, this.palette), build("span")];
      key.append(undrawn);
      const made = { pane, reading, undrawn, plot: null };
      const heading = build("h2", "", pane.title, build("span", "note", unit), reading);
      this.box.append(build("section", "history-pane", heading, drawing, key));
      made.plot = this.plot(drawing, PANE_PX, valueAxes(this.palette), (plot) => draw(plot, made.pane, {
        colours: this.palette, span: this.answer.span_ms, now: this.answer.now_ms, entries: this.answer.entries,
      }));
      return made;
    });
  }

  plot(element, height, axes, drawIt) {
    const { left, right } = margins(this.root);
    axes[1].size = left;
    const over = drawIt ? 0 : this.over();
    const asGiven = (_, low, high) => [low, high];
    return new uPlot(
      {
        width: this.root.clientWidth + over, height, ms: 1, axes,
        tzDate: (moment) => uPlot.tzDate(new Date(moment), this.zone),
        padding: [drawIt ? 8 : 0, right + over, drawIt ? 8 : 0, 0],
        cursor: { show: false }, legend: { show: false },
        scales: { x: { time: true, range: asGiven }, y: { range: asGiven } },
        series: [{}, { paths: () => null, points: { show: false } }],
        hooks: drawIt ? { draw: [drawIt] } : {},
      },
      [[0, 1], [0, 1]],
      element,
    );
  }

  over() {
    return Math.max(0, Math.min(OVER_PX, document.documentElement.clientWidth - this.root.getBoundingClientRect().right - 1));
  }

  // Show a span of time.
  show(from, to) {
    if (!this.headPlot) return;
    this.headPlot.setData([[from, to], [0, 1]]);
    for (const { pane, plot, undrawn } of this.all) {
      const [low, high] = reach(pane, from, to, LEAST[pane.quantity] / pane.shown.gain);
      const outside = pane.limits.filter(
        (limit) => limit.from_ms < to && limit.to_ms > from && (limit.setpoint < low || limit.setpoint > high),
      );
      const texts = [...new Set(outside.map((limit) => limit.text))];
      undrawn.textContent = texts.length ? `limits beyond what is drawn: ${texts.join(", ")}` : "";
      plot.setData([[from, to], [low, high]]);
    }
  }

  resize() {
    if (!this.headPlot) return;
    const width = this.root.clientWidth;
    this.headPlot.setSize({ width: width + this.over(), height: HEAD_PX });
    for (const { plot } of this.all) plot.setSize({ width, height: PANE_PX });
  }
}

const textFont = (palette) => ({ font: `12px ${palette.font}`, stroke: palette.pale });
const rules = (palette, show) => ({ show, stroke: palette.rule, width: 1 });

function timeAxes(palette) {
  return [
    { side: 2, size: HEAD_PX - 2, space: 64, values: TIMES, ...textFont(palette), grid: { show: false }, ticks: { ...rules(palette, true), size: 5 } },
    { side: 3, ...textFont(palette), values: (_, splits) => splits.map(() => ""), grid: { show: false }, ticks: { show: false } },
  ];
}

function valueAxes(palette) {
  return [
    { side: 0, size: 0, space: 64, ...textFont(palette), values: (_, splits) => splits.map(() => ""), grid: rules(palette, true), ticks: { show: false } },
    { side: 3, gap: 4, space: 28, ...textFont(palette), values: (_, splits) => valueTexts(splits), grid: rules(palette, true), ticks: { ...rules(palette, true), size: 4 } },
  ];
}

// As many digits as the distance of the rules needs.
function valueTexts(splits) {
  const step = splits.length > 1 ? splits[1] - splits[0] : 1;
  let decimals = 0;
  while (decimals < 4 && Math.abs(step * 10 ** decimals - Math.round(step * 10 ** decimals)) > 1e-6) decimals += 1;
  return splits.map((value) => value.toFixed(decimals).replace("-", "\u2212"));
}

function keyOf(pane, kind, palette) {
  const key = build("p", "history-key");
  const item = (shapes, text) => {
    const image = drawn("svg", { width: 26, height: 12, "aria-hidden": "true" });
    image.append(...shapes);
    key.append(build("span", "", image, text));
  };
  const { ink, pale, rule, paper } = palette;
  const places = [...new Set(pane.readings.map((read) => read.place))];
  const names = places.length > 1 ? places : places.length ? ["read"] : [];
  names.forEach((name, index) => item(
    [drawn("rect", { x: 0, y: 2, width: 26, height: 8, fill: rule }),
      drawn("line", { x1: 0, x2: 26, y1: 6, y2: 6, stroke: ink, "stroke-width": 1.3, "stroke-dasharray": DASHES[index % DASHES.length].join(" ") })],
    index ? name : `${name}: mean, lowest to highest`,
  ));
  const hatched = (text) => item(
    [drawn("path", { d: "M0 12L12 0M7 12L19 0M14 12L26 0M-6 12L5 0M21 12L33 0", stroke: pale, "stroke-width": 0.7 }),
      drawn("line", { x1: 0, x2: 26, y1: 6, y2: 6, stroke: pale, "stroke-dasharray": "6 3" })],
    text,
  );
  if (pane.quantity === "pressure" && (kind === "vessel" || kind === "lot")) hatched("at the reference temperature");
  if (pane.quantity.endsWith("so2")) hatched("estimated, 80 % range");
  if (pane.found || pane.quantity === "free_so2") {
    const found = pane.quantity === "free_so2" ? "titrated, ± standard uncertainty" : "measured by hand";
    item([drawn("path", { d: "M13 0V2.4M13 9.6V12", stroke: ink }), drawn("circle", { cx: 13, cy: 6, r: 3.6, fill: paper, stroke: ink, "stroke-width": 1.4 })], found);
  }
  return key;
}

function drawn(tag, attributes) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}
