// The strips over the panes: which wine lay where, what was written down, which alarms lasted how long.

const NEAR_PX = 26;
const RANK = { high: 3, medium: 2, low: 1 };

// Place the elements of all strips for a span of time. width: of the axis in px; show: is given the marks of one
// button, or null when it is left.
export function placeStrips(strips, answer, from, to, width, show) {
  const place = (at) => (width * (at - from)) / (to - from);
  stays(strips.stays, answer, from, to, place);
  entries(strips.entries, answer.entries.filter((mark) => mark.at_ms >= from && mark.at_ms < to), place, show);
  alarms(strips.alarms, answer, from, to, place, show);
}

function stays(strip, answer, from, to, place) {
  strip.replaceChildren(
    ...answer.stays
      .filter((stay) => stay[2] < to && (stay[3] ?? Infinity) > from)
      .map(([lot, vessel, came, left]) => {
        const element = document.createElement("div");
        element.className = "history-stay";
        const begin = Math.max(0, place(Math.max(came, from)));
        element.style.left = `${begin}px`;
        element.style.width = `${Math.max(2, place(Math.min(left ?? to, to)) - begin)}px`;
        element.textContent = answer.kind === "lot" ? vessel : lot;
        return element;
      }),
  );
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

function alarms(strip, answer, from, to, place, show) {
  const groups = [];
  for (const alarm of answer.alarms) {
    const begin = Math.max(0, place(Math.max(alarm.at_ms, from)));
    const end = Math.max(begin + 14, place(Math.min(alarm.ended_ms ?? Math.min(answer.now_ms, to), to)));
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
    button.textContent = group.length > 1 ? String(group.length) : "!";
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
