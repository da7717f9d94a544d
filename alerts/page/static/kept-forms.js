// Forms that were begun and not saved, kept in this browser: read by the forms themselves, and listed on /enter.

const BEGIN = "leeside form ";

export function kept(name) {
  try {
    return JSON.parse(localStorage.getItem(BEGIN + name));
  } catch {
    return null;
  }
}

export function keep(name, form) {
  try {
    localStorage.setItem(BEGIN + name, JSON.stringify(form));
  } catch {
    // Without room, or where the browser keeps nothing, the form works without it.
  }
}

export function drop(name) {
  try {
    localStorage.removeItem(BEGIN + name);
  } catch {
    // As above.
  }
}

export function timeText(ms) {
  return new Date(ms).toLocaleString(undefined, { dateStyle: "short", timeStyle: "short" });
}

function names() {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(BEGIN)).map((key) => key.slice(BEGIN.length));
  } catch {
    return [];
  }
}

const list = document.querySelector("#kept ul");
if (list) {
  for (const name of names()) {
    const form = kept(name);
    if (!form || !name.startsWith("/")) continue;
    const link = document.createElement("a");
    link.href = name;
    link.textContent = `${form.title}, ${timeText(form.at)}`;
    const line = document.createElement("li");
    line.append(link);
    list.append(line);
  }
  document.getElementById("kept").hidden = !list.children.length;
}
