// How a pane is drawn on its canvas: ink for what was read, a hatched band for what is worked out, points with bars for
// what people found, dashed lines for limits. What is beyond a limit is drawn once more, in the limit's colour and
// thicker, so that it is seen in grey as well.

import { endOf } from "./history_values.js";

// Of one vessel after the other.
export const DASHES = [[], [9, 3], [2, 3], [9, 3, 2, 3]];
export const BAND_DASHES = [[6, 3], [2, 2], [10, 2, 2, 2]];

// The vessels whose bands a pane has, in their order.
export const bandPlaces = (pane) => [...new Set(pane.bands.map((band) => band.place))];

export function colours(element) {
  const style = getComputedStyle(element);
  const of = (name) => style.getPropertyValue(name).trim();
  return {
    paper: of("--paper"), ink: of("--ink"), pale: of("--pale-ink"), rule: of("--rule"),
    high: of("--act"), medium: of("--soon"), low: of("--note"),
    font: style.fontFamily,
  };
}

export function draw(plot, pane, shown) {
  const { ctx, bbox } = plot;
  const scale = devicePixelRatio;
  const x = (at) => plot.valToPos(at, "x", true);
  const y = (value) => plot.valToPos(value, "y", true);
  const paint = { ctx, bbox, scale, x, y, ...shown };
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  entryLines(paint);
  // Texts of limits lie below what was read, and hide none of it.
  const write = writer(paint);
  limits(paint, pane, write);
  for (const band of pane.bands) bandOf(paint, pane, band);
  pane.readings.forEach((read) => readingsOf(paint, pane, read, null));
  beyond(paint, pane);
  names(paint, pane, write);
  if (pane.found) foundOf(paint, pane.found);
  ctx.restore();
}

function entryLines({ ctx, bbox, scale, x, entries, colours: colour }) {
  ctx.strokeStyle = colour.pale;
  ctx.lineWidth = 0.7 * scale;
  ctx.setLineDash([scale, 3 * scale]);
  ctx.beginPath();
  for (const mark of entries) {
    const left = Math.round(x(mark.at_ms)) + 0.5;
    ctx.moveTo(left, bbox.top);
    ctx.lineTo(left, bbox.top + bbox.height);
  }
  ctx.stroke();
  ctx.setLineDash([]);
}

// The runs of a trace between gaps, as lists of indices.
function runs(times, column, gap) {
  const all = [];
  let run = [];
  times.forEach((at, index) => {
    const broken = run.length && at - times[run.at(-1)] > gap;
    if ((broken || column[index] === null) && run.length) {
      all.push(run);
      run = [];
    }
    if (column[index] !== null) run.push(index);
  });
  if (run.length) all.push(run);
  return all;
}

function readingsOf(paint, pane, read, colour) {
  const { ctx, scale, x, y, span, now } = paint;
  const places = [...new Set(pane.readings.map((each) => `${each.place} ${each.probe}`))];
  const dash = DASHES[places.indexOf(`${read.place} ${read.probe}`) % DASHES.length];
  // From the lowest to the highest reading, as wide as the row's span: no extreme is lost, and none is spread.
  ctx.fillStyle = colour ?? paint.colours.rule;
  read.at_ms.forEach((at, index) => {
    if (read.low[index] === null) return;
    const left = x(at);
    const upper = y(read.high[index]);
    const height = y(read.low[index]) - upper;
    if (height > 0) ctx.fillRect(left, upper, Math.max(scale, x(endOf(at, span, now)) - left + 0.3), height);
  });
  const middle = (index) => x((read.at_ms[index] + endOf(read.at_ms[index], span, now)) / 2);
  ctx.strokeStyle = colour ?? paint.colours.ink;
  ctx.lineWidth = (colour ? 2.6 : 1.3) * scale;
  ctx.lineJoin = "round";
  ctx.setLineDash(colour ? [] : dash.map((length) => length * scale));
  for (const run of runs(read.at_ms, read.mean, read.gap)) {
    ctx.beginPath();
    if (run.length === 1) ctx.arc(middle(run[0]), y(read.mean[run[0]]), scale, 0, 7);
    else run.forEach((index, step) => ctx[step ? "lineTo" : "moveTo"](middle(index), y(read.mean[index])));
    ctx.stroke();
  }
  ctx.setLineDash([]);
}

// A band's outline and middle: from point to point, or where rows hold for a span, one bar after the other.
function shapesOf({ x, y, now }, band) {
  const [outline, middle] = [new Path2D(), new Path2D()];
  if (band.span_ms) {
    band.at_ms.forEach((at, index) => {
      const [left, right] = [x(at), x(endOf(at, band.span_ms, now))];
      outline.rect(left, y(band.high[index]), right - left, y(band.low[index]) - y(band.high[index]));
      const follows = index && at - band.at_ms[index - 1] <= band.span_ms;
      middle[follows ? "lineTo" : "moveTo"](left, y(band.middle[index]));
      middle.lineTo(right, y(band.middle[index]));
    });
  } else {
    for (const run of runs(band.at_ms, band.middle, Infinity)) {
      run.forEach((index, step) => outline[step ? "lineTo" : "moveTo"](x(band.at_ms[index]), y(band.high[index])));
      [...run].reverse().forEach((index) => outline.lineTo(x(band.at_ms[index]), y(band.low[index])));
      outline.closePath();
      run.forEach((index, step) => middle[step ? "lineTo" : "moveTo"](x(band.at_ms[index]), y(band.middle[index])));
    }
  }
  return { outline, middle };
}

function bandOf(paint, pane, band) {
  const { ctx, scale } = paint;
  const { outline, middle } = shapesOf(paint, band);
  const number = bandPlaces(pane).indexOf(band.place);
  ctx.save();
  ctx.clip(outline);
  hatch(paint, number % 2 ? 1 : -1);
  ctx.restore();
  ctx.strokeStyle = paint.colours.pale;
  ctx.lineWidth = scale;
  ctx.setLineDash(BAND_DASHES[number % BAND_DASHES.length].map((length) => length * scale));
  ctx.stroke(middle);
  ctx.setLineDash([]);
}

function hatch({ ctx, bbox, scale, colours: colour }, slope) {
  ctx.strokeStyle = colour.pale;
  ctx.globalAlpha = 0.45;
  ctx.lineWidth = 0.7 * scale;
  const step = 6 * scale;
  ctx.beginPath();
  for (let left = bbox.left - bbox.height; left < bbox.left + bbox.width + bbox.height; left += step) {
    ctx.moveTo(left, bbox.top);
    ctx.lineTo(left + slope * bbox.height, bbox.top + bbox.height);
  }
  ctx.stroke();
  ctx.globalAlpha = 1;
}

// Within each limit's time and on its far side: the traces of that place again, in its colour.
function beyond(paint, pane) {
  const { ctx, bbox, x, y } = paint;
  for (const limit of pane.limits) {
    const [left, right] = [Math.max(x(limit.from_ms), bbox.left), Math.min(x(limit.to_ms), bbox.left + bbox.width)];
    const edge = y(limit.setpoint);
    const [top, bottom] = limit.kind === "low" ? [edge, bbox.top + bbox.height] : [bbox.top, edge];
    if (right <= left || bottom <= top) continue;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, top, right - left, bottom - top);
    ctx.clip();
    for (const read of pane.readings) {
      if (read.place === limit.place) readingsOf(paint, pane, read, paint.colours[limit.priority]);
    }
    for (const band of pane.bands) {
      if (band.what === "estimate" && band.place === limit.place) {
        middleOf(paint, band, paint.colours[limit.priority]);
      }
    }
    ctx.restore();
  }
}

function middleOf(paint, band, colour) {
  paint.ctx.strokeStyle = colour;
  paint.ctx.lineWidth = 2.5 * paint.scale;
  paint.ctx.stroke(shapesOf(paint, band).middle);
}

function limits(paint, pane, write) {
  const { ctx, bbox, scale, x, y } = paint;
  const [top, bottom] = [bbox.top, bbox.top + bbox.height];
  for (const limit of pane.limits) {
    const [left, right] = [Math.max(x(limit.from_ms), bbox.left), Math.min(x(limit.to_ms), bbox.left + bbox.width)];
    const edge = y(limit.setpoint);
    if (right - left < 2 || edge < top || edge > bottom) continue;
    ctx.strokeStyle = paint.colours.ink;
    ctx.lineWidth = scale;
    ctx.setLineDash([3 * scale, 4 * scale]);
    ctx.beginPath();
    ctx.moveTo(left, edge);
    ctx.lineTo(right, edge);
    ctx.stroke();
    ctx.setLineDash([]);
    write(limitText(pane, limit), left, right, edge, true);
  }
}

// Of several vessels each trace has its vessel's name over its newest end.
function names({ bbox, scale, x, y, span }, pane, write) {
  const traces = pane.readings.length ? pane.readings : pane.bands;
  if (new Set(traces.map((trace) => trace.place)).size < 2) return;
  for (const trace of traces) {
    const values = trace.mean ?? trace.middle;
    const last = trace.at_ms.findLastIndex((at, index) => values[index] !== null && x(at) < bbox.left + bbox.width);
    if (last < 0 || x(trace.at_ms[last]) < bbox.left) continue;
    const right = Math.min(x(trace.at_ms[last] + (trace.span_ms ?? span)), bbox.left + bbox.width);
    write(trace.place, Math.max(bbox.left, x(trace.at_ms[0])), right, y(values[last]) - 11 * scale);
  }
}

// A limit that not all vessels of a pane have is named with its vessel.
function limitText(pane, limit) {
  const places = new Set(pane.limits.map((each) => each.place));
  const same = pane.limits.filter((each) => each.text === limit.text).map((each) => each.place);
  return places.size === new Set(same).size ? limit.text : `${limit.place} ${limit.text}`;
}

// Writes texts at the right end of their lines, each where no other stands: further left if need be, or not at all.
function writer({ ctx, bbox, scale, colours: colour }) {
  const taken = [];
  const [half, gap] = [8 * scale, 6 * scale];
  ctx.font = `${12 * scale}px ${colour.font}`;
  ctx.textBaseline = "middle";
  ctx.textAlign = "left";
  return (text, left, right, edge, onPaper = false) => {
    // The text stands within the pane, also where its line is at the edge.
    const at = Math.max(bbox.top + half, Math.min(edge, bbox.top + bbox.height - half));
    const width = ctx.measureText(text).width + gap;
    // Two vessels may have the same limit.
    if (taken.some((box) => box.text === text && box.top === at - half && left < box.right && right >= box.right)) return;
    for (let end = right; end - width >= left; end -= width + gap) {
      const free = taken.every(
        (box) => end - width > box.right || end < box.left || at + half < box.top || at - half > box.bottom,
      );
      if (!free) continue;
      taken.push({ text, left: end - width, right: end, top: at - half, bottom: at + half });
      // Paper keeps it apart from its line; over what was read only a rim of it does.
      ctx.fillStyle = colour.paper;
      if (onPaper) ctx.fillRect(end - width, at - half, width, 2 * half);
      ctx.strokeStyle = colour.paper;
      ctx.lineWidth = 4 * scale;
      ctx.lineJoin = "round";
      ctx.setLineDash([]);
      ctx.strokeText(text, end - width + gap / 2, at);
      ctx.fillStyle = colour.ink;
      ctx.fillText(text, end - width + gap / 2, at);
      return;
    }
  };
}

function foundOf(paint, found) {
  const { ctx, scale, x, y } = paint;
  ctx.strokeStyle = paint.colours.ink;
  ctx.lineWidth = 1.4 * scale;
  found.at_ms.forEach((at, index) => {
    const [left, middle] = [x(at), y(found.value[index])];
    const u = found.u[index];
    ctx.beginPath();
    if (u !== null) {
      const [upper, lower] = [y(found.value[index] + u), y(found.value[index] - u)];
      ctx.moveTo(left, upper);
      ctx.lineTo(left, lower);
      for (const end of [upper, lower]) {
        ctx.moveTo(left - 4 * scale, end);
        ctx.lineTo(left + 4 * scale, end);
      }
      ctx.stroke();
    }
    ctx.beginPath();
    ctx.arc(left, middle, 3.6 * scale, 0, 7);
    ctx.fillStyle = paint.colours.paper;
    ctx.fill();
    ctx.stroke();
  });
}
