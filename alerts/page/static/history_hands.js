// How a person moves the history: pointer, touch, wheel, keys. Positions are parts of the axis, from 0 to 1.

const STEP = 1 / 8;
const CLOSER = 0.5;

// act: pan(part), zoom(factor, at), look(part or null), step(rows), first(), last(), all()
export function takeHands(sheet, axis, act) {
  const pointers = new Map();
  let moved = false;
  const partOf = (x) => {
    const box = axis();
    return (x - box.left) / box.width;
  };

  sheet.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || event.target.closest("button")) return;
    pointers.set(event.pointerId, event.clientX);
    moved = false;
  });
  sheet.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType === "mouse") act.look(partOf(event.clientX));
      return;
    }
    if (!moved && Math.abs(event.clientX - before) < 4 && pointers.size === 1) return;
    if (!moved) {
      moved = true;
      sheet.classList.add("is-moving");
      sheet.setPointerCapture(event.pointerId);
    }
    const others = [...pointers].filter(([id]) => id !== event.pointerId).map(([, x]) => x);
    if (others.length) {
      const [other] = others;
      const apart = Math.max(8, Math.abs(before - other));
      const middle = partOf((event.clientX + other) / 2);
      act.zoom(apart / Math.max(8, Math.abs(event.clientX - other)), middle);
    }
    act.pan(-(event.clientX - before) / axis().width / (others.length ? 2 : 1));
    pointers.set(event.pointerId, event.clientX);
  });
  const leave = (event) => {
    if (!pointers.delete(event.pointerId)) return;
    if (!pointers.size) sheet.classList.remove("is-moving");
    if (!moved && event.type === "pointerup") act.look(partOf(event.clientX));
  };
  sheet.addEventListener("pointerup", leave);
  sheet.addEventListener("pointercancel", leave);
  sheet.addEventListener("pointerleave", (event) => {
    if (event.pointerType === "mouse" && !pointers.size) act.look(null);
  });
  sheet.addEventListener("dblclick", (event) => {
    if (!event.target.closest("button")) act.zoom(CLOSER, partOf(event.clientX));
  });
  sheet.addEventListener("wheel", (event) => {
    // A pinch on a touch pad comes as a wheel with Ctrl. A plain wheel moves the page.
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : event.shiftKey ? event.deltaY : 0;
    if (event.ctrlKey || event.metaKey) act.zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 300))), partOf(event.clientX));
    else if (sideways) act.pan(sideways / axis().width);
    else return;
    event.preventDefault();
  }, { passive: false });

  const keys = {
    ArrowLeft: (event) => (event.shiftKey ? act.step(-1) : act.pan(-STEP)),
    ArrowRight: (event) => (event.shiftKey ? act.step(1) : act.pan(STEP)),
    "+": () => act.zoom(CLOSER, null),
    "=": () => act.zoom(CLOSER, null),
    "-": () => act.zoom(1 / CLOSER, null),
    Home: () => act.first(),
    End: () => act.last(),
    0: () => act.all(),
    Escape: () => act.look(null),
  };
  sheet.addEventListener("keydown", (event) => {
    const key = keys[event.key];
    if (!key || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    key(event);
  });
}
