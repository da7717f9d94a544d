// Numbers, times and spans of the history as people read them, in the cellar's own time zone.

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;

export function words(zone) {
  const parts = { timeZone: zone, hourCycle: "h23" };
  const day = new Intl.DateTimeFormat("en-GB", { ...parts, day: "numeric", month: "short", year: "numeric" });
  const minute = new Intl.DateTimeFormat("en-GB", { ...parts, hour: "2-digit", minute: "2-digit" });
  const second = new Intl.DateTimeFormat("en-GB", { ...parts, hour: "2-digit", minute: "2-digit", second: "2-digit" });
  const field = new Intl.DateTimeFormat("sv-SE", {
    ...parts, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit",
  });
  // As the time axis shortens it.
  const dayOf = (at) => day.format(at).replace("Sept", "Sep");

  return {
    // A moment, as exact as the span that is shown lets one point at it.
    moment(at, span) {
      if (span > 400 * DAY) return dayOf(at);
      return `${dayOf(at)} ${(span < 3 * HOUR ? second : minute).format(at)}`;
    },
    day: dayOf,
    // What a field of type datetime-local takes.
    field: (at) => field.format(at).replace(" ", "T"),
  };
}

export function spanWords(ms) {
  const units = [[DAY, "day"], [HOUR, "hour"], [MINUTE, "minute"], [1000, "second"]];
  const [size, name] = units.find(([size]) => ms >= size) ?? units.at(-1);
  const count = Math.round((10 * ms) / size) / 10;
  return `${count} ${name}${count === 1 ? "" : "s"}`;
}

// A value in the unit that is shown.
export function valueText(shown, value, more = 0) {
  return value.toFixed(shown.decimals + more).replace("-", "\u2212");
}
