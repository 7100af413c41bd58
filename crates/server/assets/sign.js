// A field to sign in with a finger. What is drawn goes into the form as the path of a drawing 300 wide and 100 high. Without
// this script the field does not show, and the typed name counts.
(() => {
  "use strict";
  const LONGEST = 5500;
  let drawing = null;
  const pads = (root) => { for (const pad of root.querySelectorAll("[data-pad][hidden]")) pad.hidden = false; };
  const place = (svg, event) => {
    const box = svg.getBoundingClientRect();
    const part = (at, from, length, most) => Math.round(Math.min(1, Math.max(0, (at - from) / length)) * most);
    return [part(event.clientX, box.left, box.width, 300), part(event.clientY, box.top, box.height, 100)];
  };
  function add(letter, [x, y]) {
    const { pad, svg } = drawing;
    const field = pad.querySelector("input");
    if (field.value.length > LONGEST) return;
    drawing.last = [x, y];
    field.value += `${letter}${x} ${y}`;
    svg.querySelector("path").setAttribute("d", field.value);
  }
  document.addEventListener("pointerdown", (event) => {
    const svg = event.target.closest?.("[data-pad] svg");
    if (!svg) return;
    event.preventDefault();
    svg.setPointerCapture(event.pointerId);
    drawing = { svg, pad: svg.closest("[data-pad]"), last: [0, 0] };
    const [x, y] = place(svg, event);
    add("M", [x, y]);
    // A dot is a short line, so that it shows.
    add("L", [Math.min(300, x + 1), y]);
  });
  document.addEventListener("pointermove", (event) => {
    if (!drawing || event.target !== drawing.svg) return;
    const [x, y] = place(drawing.svg, event);
    if (Math.abs(x - drawing.last[0]) + Math.abs(y - drawing.last[1]) >= 2) add("L", [x, y]);
  });
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => { drawing = null; });
  document.addEventListener("click", (event) => {
    const pad = event.target.closest?.("[data-clear]")?.closest("[data-pad]");
    if (!pad) return;
    pad.querySelector("input").value = "";
    pad.querySelector("path").setAttribute("d", "");
  });
  // The fold comes anew after an entry.
  new MutationObserver(() => pads(document)).observe(document.body, { childList: true, subtree: true });
  pads(document);
})();
