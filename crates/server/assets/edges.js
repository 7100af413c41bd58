// Where a step begins, put right by hand: a tap on an edge of the ribbon, or on a card, takes the edge up; a drag, a tap elsewhere
// or the buttons move it; "It begins here" keeps it. A long press only says why it was cut there.
(() => {
  "use strict";
  const { t } = window.wattmend;
  const ribbon = window.wattmend?.ribbon;
  const bar = document.getElementById("edge");
  if (!ribbon || !bar) return;
  const form = bar.querySelector("form");
  const strip = document.querySelector(".strip");
  const says = document.getElementById("edge-says");
  const NEAR = 24, STILL = 8, LONG_MS = 500, MOVE_MS = 1000, LEVEL_MS = 6000;
  // The step whose beginning was taken up: as it was, and where it is now.
  let held = null;

  const watts = (w) => (w >= 1000 ? `${(w / 1000).toFixed(2)} kW` : `${Math.round(w)} W`);
  function why(part) {
    if (part.by_hand) return t("Set by hand.");
    const [before, after] = [ribbon.level(part.from - LEVEL_MS, part.from), ribbon.level(part.from, part.from + LEVEL_MS)];
    if (before === null || after === null) return t("Nothing was measured beside it: cut by how long steps take.");
    if (Math.abs(after - before) < Math.max(3, 0.1 * Math.max(before, after))) {
      return t("About {1} on both sides: cut by how long steps take.", watts(after));
    }
    return t("It goes from about {1} to about {2}.", watts(before), watts(after));
  }
  function write() {
    const { part, at } = held;
    const moved = Math.abs(at - part.from) >= 50;
    const name = `${part.number} ${part.says}`;
    const text = moved
      ? t("{1} begins at {2}, was {3}.", name, ribbon.clock(at), ribbon.clock(part.from))
      : `${t("{1} begins at {2}.", name, ribbon.clock(at))} ${why(part)}`;
    if (says.textContent !== text) says.textContent = text;
    form.elements.at.value = Math.round(at);
    ribbon.hold(at);
  }
  function take(part, only) {
    held = { part, at: part.from };
    form.elements.step.value = part.step;
    form.elements.was.value = part.from;
    form.hidden = only;
    bar.querySelector("[data-edge=back]").hidden = !part.by_hand;
    form.querySelector("output").textContent = "";
    bar.hidden = false;
    write();
    if (only) ribbon.hold(null);
  }
  function leave() {
    held = null;
    bar.hidden = true;
    ribbon.hold(null);
  }
  function move(at) {
    held.at = Math.min(Math.max(at, ribbon.begin), ribbon.end());
    write();
  }

  // ---- a finger
  const nearest = (y) => {
    const off = (part) => Math.abs(ribbon.y(part.from) - y);
    const part = ribbon.parts().reduce((best, part) => (best && off(best) <= off(part) ? best : part), null);
    return part && off(part) <= NEAR ? part : null;
  };
  const under = (event) => {
    const card = event.target.closest?.(".card");
    return card ? ribbon.parts()[Number(card.dataset.part)] ?? null : nearest(event.offsetY);
  };
  let down = null;
  strip.addEventListener("pointerdown", (event) => {
    if (down) { clearTimeout(down.long); down = null; return; }
    const own = event.target.closest?.(".card") || event.target === ribbon.canvas;
    if (!own || event.button > 0) return;
    const drags = held && !form.hidden && event.target === ribbon.canvas && Math.abs(ribbon.y(held.at) - event.offsetY) <= NEAR;
    down = { id: event.pointerId, x: event.clientX, y: event.clientY, drags, moved: false };
    if (drags) {
      event.stopPropagation();
      ribbon.canvas.setPointerCapture(event.pointerId);
    } else {
      const part = under(event);
      down.long = part && setTimeout(() => { take(part, true); down = null; }, LONG_MS);
    }
  }, true);
  strip.addEventListener("pointermove", (event) => {
    if (down?.id !== event.pointerId) return;
    down.moved ||= Math.hypot(event.clientX - down.x, event.clientY - down.y) > STILL;
    if (down.moved) clearTimeout(down.long);
    if (down.drags) {
      event.stopPropagation();
      if (down.moved) move(ribbon.time(event.offsetY));
    }
  }, true);
  strip.addEventListener("pointerup", (event) => {
    if (down?.id !== event.pointerId) return;
    const { moved, drags, long } = down;
    clearTimeout(long);
    down = null;
    if (moved || drags) return;
    const part = under(event);
    if (part) take(part, false);
    else if (held && !form.hidden) move(ribbon.time(event.offsetY));
    else if (held) leave();
  }, true);
  strip.addEventListener("pointercancel", () => { if (down) clearTimeout(down.long); down = null; }, true);
  // A long press on a phone is no menu here.
  strip.addEventListener("contextmenu", (event) => event.preventDefault());

  // ---- buttons and keys
  const acts = {
    earlier() { move(held.at - MOVE_MS); },
    later() { move(held.at + MOVE_MS); },
    leave,
    back() { form.elements.at.value = ""; },
  };
  bar.addEventListener("click", (event) => {
    const act = acts[event.target.closest?.("[data-edge]")?.dataset.edge];
    if (held && act) act();
  });
  document.addEventListener("click", (event) => {
    const begin = event.target.closest?.("[data-begin]");
    const part = begin && ribbon.parts()[Number(begin.dataset.begin)];
    if (!part) return;
    take(part, false);
    bar.querySelector("[data-edge=earlier]").focus();
  });
  bar.addEventListener("keydown", (event) => {
    if (event.key === "Escape") leave();
  });
  document.addEventListener("kept", (event) => { if (event.detail === "edge") leave(); });
})();
