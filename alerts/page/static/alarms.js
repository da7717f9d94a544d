// The list of alarms stays as the alarms are. While somebody types in it, a line says that it has changed instead.

const standing = document.getElementById("standing");
const newer = document.getElementById("newer");
const HIDDEN_MS = 30_000;

let source = null;
let heard = false;
let hidden = 0;

async function renew() {
  const answer = await fetch("/alarms", { headers: { Accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const text = new DOMParser().parseFromString(await answer.text(), "text/html");
  const list = text.getElementById("standing");
  if (list === null || list.innerHTML === standing.innerHTML) return;
  if (standing.contains(document.activeElement)) {
    newer.hidden = false;
    return;
  }
  standing.innerHTML = list.innerHTML;
  document.title = text.title;
  newer.hidden = true;
}

function listen() {
  source = new EventSource("/events?only=needs");
  source.addEventListener("pieces", (event) => {
    // The first one is what the page shows already, unless the connection was lost for a while.
    if (heard && "needs" in JSON.parse(event.data).pieces) renew().catch(() => {});
    heard = true;
  });
}

document.addEventListener("visibilitychange", () => {
  clearTimeout(hidden);
  if (document.hidden) {
    hidden = setTimeout(() => { source.close(); source = null; }, HIDDEN_MS);
  } else if (source === null) {
    listen();
    renew().catch(() => {});
  }
});

listen();
