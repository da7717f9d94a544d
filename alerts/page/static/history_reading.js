// What the panes hold at a moment, in words.

import { bandAt, foundNear, isOut, lastBefore, readAt } from "./history_values.js";
import { spanWords, valueText } from "./history_words.js";

const DAY = 86_400_000;

// Pairs of (text, whether it is out of range). near: how far from the moment something found may be, in ms; pointed:
// whether the moment was chosen; else the newest values count where nothing was read at its end.
export function valuesAt(pane, moment, span, near, pointed) {
  const several = new Set(pane.readings.map((each) => each.place)).size > 1;
  const rows = pane.readings.map((each) => [each, readAt(each, moment, span)]);
  if (!pointed && !rows.some(([, row]) => row) && pane.readings.length) {
    const last = pane.readings.reduce((one, other) => (other.at_ms.at(-1) > one.at_ms.at(-1) ? other : one));
    rows.push([last, rowOf(last, lastBefore(last.at_ms, moment))]);
  }
  const texts = [];
  for (const [each, row] of rows) {
    if (!row) continue;
    const where = several ? `${each.place} ` : "";
    if (row.mean === null) {
      texts.push([`${where}no good reading`, false]);
      continue;
    }
    const [low, mean, high] = [row.low, row.mean, row.high].map((value) => valueText(pane.shown, value));
    const doubt = row.worst === 1 ? ", uncertain" : row.worst ? ", some bad" : "";
    texts.push([`${where}${mean}${low === high ? "" : ` (${low} to ${high})`}${doubt}`, isOut(pane, each.place, moment, row)]);
  }
  const bandsOfSeveral = new Set(pane.bands.map((band) => band.place)).size > 1;
  for (const band of pane.bands) {
    const row = bandAt(band, moment);
    if (!row) continue;
    const [low, middle, high] = [row.low, row.middle, row.high].map((value) => valueText(pane.shown, value));
    const out = band.what === "estimate" && isOut(pane, band.place, moment, { low: row.middle, high: row.middle });
    const name = `${bandsOfSeveral ? `${band.place} ` : ""}${band.what === "compensated" ? "at the reference temperature" : "estimated"}`;
    texts.push([`${name} ${middle} (${low} to ${high})`, out]);
  }
  const index = foundNear(pane.found, moment, near);
  if (index !== null) texts.push([foundText(pane, index), false]);
  return texts;
}

function rowOf(each, index) {
  return index < 0 ? null : { low: each.low[index], mean: each.mean[index], high: each.high[index], worst: each.worst[index] };
}

function foundText({ quantity, shown, found }, index) {
  const u = found.u[index];
  const spread = u === null ? "" : ` ± ${valueText(shown, u, 1)}`;
  const name = quantity === "free_so2" ? "titrated" : "measured";
  return `${name} ${valueText(shown, found.value[index], u === null ? 0 : 1)}${spread} (no. ${found.entry[index]})`;
}

// The entries and alarms at a moment.
export function marksAt(answer, moment, near) {
  return [
    ...answer.entries.filter((mark) => Math.abs(mark.at_ms - moment) < near),
    ...answer.alarms.filter((alarm) => alarm.at_ms - near < moment && moment < (alarm.ended_ms ?? Infinity) + near),
  ];
}

export function markText(mark, say) {
  if ("entry" in mark) return `${say.moment(mark.at_ms, DAY)} ${mark.kind} ${mark.place}: ${mark.words}, ${mark.who} (no. ${mark.entry})`;
  const end = mark.ended_ms === null ? "it lasts" : `it lasted ${spanWords(mark.ended_ms - mark.at_ms)}`;
  return `${say.moment(mark.at_ms, DAY)} ${mark.priority} alarm: ${mark.words}; ${end}`;
}
