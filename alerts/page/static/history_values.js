// What a pane holds at a moment, and how far its values reach. Times are UTC ms, values in the unit that is shown.

// The index of the last time that is not after a moment, -1 if all are.
export function lastBefore(times, at) {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= at) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

// Change a pane from leeside's unit, which the page's answers have, into the one that is shown.
export function inShownUnit(pane) {
  const { gain, offset } = pane.shown;
  if (gain === 1 && offset === 0) return;
  for (const each of [...pane.readings, ...pane.bands]) {
    for (const name of ["low", "mean", "middle", "high"]) {
      each[name] = each[name]?.map((value) => (value === null ? null : (value - offset) / gain));
    }
  }
  if (pane.found) {
    pane.found.value = pane.found.value.map((value) => (value - offset) / gain);
    pane.found.u = pane.found.u.map((u) => (u === null ? null : u / gain));
  }
  for (const limit of pane.limits) limit.setpoint = (limit.setpoint - offset) / gain;
}

// From how far apart two rows stand the line between them is left out: nothing was read in between.
export function gapOf(times, span) {
  const steps = [];
  for (let index = 1; index < times.length; index += 1) steps.push(times[index] - times[index - 1]);
  steps.sort((one, other) => one - other);
  const usual = steps.length ? steps[steps.length >> 1] : span;
  return Math.max(2.5 * span, 3.5 * usual);
}

// Where a row ends, and where its mean is drawn: in the middle of what has passed of its span.
export function endOf(at, span, now) {
  return Math.max(at, Math.min(at + span, now));
}

// The row of readings at a moment, null where there is none.
export function readAt(read, at, span) {
  const index = lastBefore(read.at_ms, at);
  if (index < 0 || at - read.at_ms[index] > Math.max(span, read.gap)) return null;
  return { low: read.low[index], mean: read.mean[index], high: read.high[index], worst: read.worst[index] };
}

// After its last point an estimate still holds for so long, in ms: it ends when it was worked out.
const HOLDS = 10 * 60_000;

// A band at a moment: its row, or where rows are points the straight line between them; null outside of it.
export function bandAt(band, at) {
  const index = lastBefore(band.at_ms, at);
  if (index < 0) return null;
  const next = band.span_ms ? index : Math.min(index + 1, band.at_ms.length - 1);
  const step = band.at_ms[next] - band.at_ms[index];
  if (step === 0 && at - band.at_ms[index] >= (band.span_ms || HOLDS)) return null;
  const part = step > 0 ? (at - band.at_ms[index]) / step : 0;
  const between = (column) =>
    column[index] === null || column[next] === null ? null : column[index] + part * (column[next] - column[index]);
  const [low, middle, high] = [band.low, band.middle, band.high].map(between);
  return middle === null ? null : { low, middle, high };
}

// Whether a value stood beyond a limit of its place at a moment.
export function isOut(pane, place, moment, row) {
  return pane.limits.some((limit) => limit.place === place && limit.from_ms <= moment && moment < limit.to_ms
    && (limit.kind === "low" ? row.low < limit.setpoint : row.high > limit.setpoint));
}

// The next thing that people found, within a distance in ms.
export function foundNear(found, at, within) {
  if (!found) return null;
  let best = null;
  found.at_ms.forEach((time, index) => {
    const away = Math.abs(time - at);
    if (away <= within && (best === null || away < Math.abs(found.at_ms[best] - at))) best = index;
  });
  return best;
}

// The lowest and highest value that stand between two times, and what limits stand near them.
export function reach(pane, from, to, least) {
  let low = Infinity;
  let high = -Infinity;
  const take = (times, ...columns) => {
    const first = Math.max(0, lastBefore(times, from));
    for (let index = first; index < times.length && times[index] < to; index += 1) {
      for (const column of columns) {
        const value = column[index];
        if (value === null) continue;
        if (value < low) low = value;
        if (value > high) high = value;
      }
    }
  };
  for (const read of pane.readings) take(read.at_ms, read.low, read.high);
  for (const band of pane.bands) take(band.at_ms, band.low, band.high);
  pane.found?.at_ms.forEach((at, index) => {
    if (at < from || at >= to) return;
    const u = pane.found.u[index] ?? 0;
    low = Math.min(low, pane.found.value[index] - u);
    high = Math.max(high, pane.found.value[index] + u);
  });
  const limits = pane.limits.filter((limit) => limit.from_ms < to && limit.to_ms > from);
  if (low > high) {
    const setpoints = limits.map((limit) => limit.setpoint);
    return setpoints.length ? padded(Math.min(...setpoints), Math.max(...setpoints), least) : [0, least];
  }
  [low, high] = padded(low, high, least);
  // A limit is drawn where it does not press the values flat.
  const [lowest, highest, near] = [low, high, 0.8 * (high - low)];
  for (const { setpoint } of limits) {
    if (setpoint < lowest && lowest - setpoint < near) low = Math.min(low, setpoint - 0.08 * near);
    if (setpoint > highest && setpoint - highest < near) high = Math.max(high, setpoint + 0.08 * near);
  }
  return [low, high];
}

function padded(low, high, least) {
  const missing = Math.max(0, least - (high - low)) / 2;
  const edge = 0.06 * Math.max(high - low, least);
  return [low - missing - edge, high + missing + edge];
}
