// The strips over the panes: which wine lay where, what was written down, which alarms lasted how long.

const NEAR_PX = 26;
const LANE_REM = 1.7;
const LEAST_PX = 14;
const RANK = { high: 3, medium: 2, low: 1 };
// As the cellar view marks them.
const SHAPES = { high: "▲", medium: "◆", low: "●" };

// Place the elements of all strips for a span of time. width: of the axis in px; show: is given the marks of one
// button, or null when it is left.
export function placeStrips(strips, answer, from, to, width, show) {
  const place = (at) => (width * (at - from)) / (to - from);
  stays(strips.stays, answer, from, to, place);
  entries(strips.entries, answer.entries.filter((mark) => mark.at_ms >= from && mark.at_ms < to), place, show);
  alarms(strips.alarms, answer, from, to, place, width, show);
}

function stays(strip, answer, from, to, place) {
  const shown = answer.stays.filter((stay) => stay[2] < to && (stay[3] ?? Infinity) > from);
  // Stays at one time lie one below the other.
  const ends = [];
  strip.replaceChildren(
    ...shown.map(([lot, vessel, came, left]) => {
      let lane = ends.findIndex((end) => end <= came);
      if (lane < 0) lane = ends.length;
      ends[lane] = left ?? Infinity;
      const element = document.createElement("div");
      element.className = "history-stay";
      const begin = Math.max(0, place(Math.max(came, from)));
      element.style.top = `${lane * LANE_REM + 0.15}rem`;
      element.style.left = `${begin}px`;
      element.style.width = `${Math.max(2, place(Math.min(left ?? to, to)) - begin)}px`;
      element.textContent = answer.kind === "lot" ? vessel : lot;
      return element;
    }),
  );
  strip.style.minHeight = `${Math.max(1, ends.length) * LANE_REM + 0.3}rem`;
}

function entries(strip, marks, place, show) {
  const groups = [];
  for (const mark of marks) {
    const at = place(mark.at_ms);
    const group = groups.at(-1);
    if (group && at - group.at < NEAR_PX) group.marks.push(mark);
    else groups.push({ at, marks: [mark] });
  }
  keep(strip, groups, (button, { at, marks: group }) => {
    button.className = `history-mark${group.length > 1 ? " is-several" : ""}`;
    button.style.left = `${Math.max(12, at)}px`;
    button.textContent = group.length > 1 ? String(group.length) : group[0].kind[0].toUpperCase();
    button.setAttribute("aria-label", `${button.textContent}: ` + group.map((mark) => `${mark.kind} ${mark.place}: ${mark.words}`).join("; "));
    listen(button, group, show);
  });
}

function alarms(strip, answer, from, to, place, width, show) {
  const groups = [];
  for (const alarm of answer.alarms) {
    const begin = Math.max(0, Math.min(place(alarm.at_ms), width - LEAST_PX));
    const end = Math.max(begin + LEAST_PX, place(Math.min(alarm.ended_ms ?? Math.min(answer.now_ms, to), to)));
    if (alarm.at_ms >= to || (alarm.ended_ms ?? Infinity) < from) continue;
    const group = groups.at(-1);
    if (group && begin < group.end + 2) {
      group.end = Math.max(group.end, end);
      group.alarms.push(alarm);
    } else groups.push({ begin, end, alarms: [alarm] });
  }
  keep(strip, groups, (button, { begin, end, alarms: group }) => {
    const worst = group.reduce((one, other) => (RANK[other.priority] > RANK[one.priority] ? other : one));
    button.className = `history-alarm ${worst.priority}`;
    button.style.left = `${begin}px`;
    button.style.width = `${end - begin}px`;
    button.textContent = `${SHAPES[worst.priority]}${group.length > 1 ? group.length : ""}`;
    button.setAttribute("aria-label", `${button.textContent} ` + group.map((alarm) => `${alarm.priority} alarm: ${alarm.words}`).join("; "));
    listen(button, group, show);
  });
}

// As many buttons as groups; those that are there stay, so that one with the focus keeps it.
function keep(strip, groups, fill) {
  while (strip.children.length > groups.length) strip.lastChild.remove();
  groups.forEach((group, index) => {
    let button = strip.children[index];
    if (!button) {
      button = document.createElement("button");
      button.type = "button";
      strip.append(button);
    }
    fill(button, group);
  });
}

function listen(button, group, show) {
  button.onfocus = button.onpointerenter = button.onclick = () => show(group);
  button.onblur = button.onpointerleave = () => show(null);
}
