// The ribbon: what the socket drew, time down, watts to the right, each step's card beside its own stretch.
// Points come from the records for what is past and as events for what is new; nothing is drawn that was not measured.
(() => {
  "use strict";
  const { t } = window.wattmend;
  const root = document.querySelector("[data-live]");
  if (!root) return;
  const socket = root.dataset.socket;
  const job = root.dataset.live;
  const begin = Number(root.dataset.from);
  const ended = root.dataset.to ? Number(root.dataset.to) : null;
  const canvas = root.querySelector("canvas");
  const cards = root.querySelector(".cards");
  const meter = document.getElementById("meter");
  const link = document.getElementById("link");
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const dark = matchMedia("(prefers-color-scheme: dark)");

  // ---- points, with the least and greatest of every 4, 16, 64 … of them, so that any stretch is drawn in one pass
  const FAN = 4;
  class Points {
    constructor() { this.n = 0; this.t = new Float64Array(4096); this.w = new Float32Array(4096); this.levels = []; }
    last() { return this.n ? this.t[this.n - 1] : -Infinity; }
    add(time, watts) {
      if (time <= this.last()) return;
      if (this.n === this.t.length) {
        const t = new Float64Array(2 * this.n); t.set(this.t); this.t = t;
        const w = new Float32Array(2 * this.n); w.set(this.w); this.w = w;
      }
      this.t[this.n] = time; this.w[this.n] = watts;
      let at = this.n++;
      for (let level = 0; ; level++) {
        at = Math.floor(at / FAN);
        const one = (this.levels[level] ??= { least: new Float32Array(1024), most: new Float32Array(1024), n: 0 });
        if (at >= one.least.length) {
          for (const name of ["least", "most"]) { const a = new Float32Array(2 * one[name].length); a.set(one[name]); one[name] = a; }
        }
        if (one.n === 0 && level > 0) {
          // A new level begins with all that lies below it.
          const below = this.levels[level - 1];
          one.least[0] = Math.min(...below.least.subarray(0, below.n));
          one.most[0] = Math.max(...below.most.subarray(0, below.n));
          one.n = 1;
        }
        if (at >= one.n) { one.least[at] = watts; one.most[at] = watts; one.n = at + 1; }
        else { one.least[at] = Math.min(one.least[at], watts); one.most[at] = Math.max(one.most[at], watts); }
        if (at === 0) break;
      }
    }
    // The place of the first point not before a time.
    from(time) {
      let low = 0, high = this.n;
      while (low < high) { const mid = (low + high) >> 1; if (this.t[mid] < time) low = mid + 1; else high = mid; }
      return low;
    }
    // Least and greatest of the points a … b−1.
    range(a, b) {
      let least = Infinity, most = -Infinity;
      while (a < b) {
        let level = -1, size = 1;
        while (a % (size * FAN) === 0 && a + size * FAN <= b && this.levels[level + 1]) { level++; size *= FAN; }
        const low = level < 0 ? this.w[a] : this.levels[level].least[a / size];
        const high = level < 0 ? this.w[a] : this.levels[level].most[a / size];
        if (low < least) least = low;
        if (high > most) most = high;
        a += size;
      }
      return [least, most];
    }
  }
  let points = new Points();
  let gaps = [];
  let test = null;
  // The stretch that is shown: its length, ms, and its end; none: now.
  let length = 120e3;
  let until = null;
  let dirty = true;
  // An edge that was taken up, ms.
  let held = null;

  const end = () => Math.max(ended ?? 0, points.last() > 0 ? points.last() : begin + 1000);
  const shownEnd = () => until ?? end() + length * 0.04;
  const usual = () => { const all = end() - begin; return ended ? Math.max(all * 1.03, 30e3) : Math.min(Math.max(all, 60e3), 180e3); };

  // ---- watts to the right: by their square root, so that a lamp and a heater stand on one strip
  const TICKS = [10, 50, 200, 500, 1000, 2000, 3500];
  let topW = 60;
  const x = (watts, width) => Math.sqrt(Math.max(watts, 0) / topW) * (width - 6);

  const clock = (ms) => {
    const at = new Date(ms);
    const two = (n) => String(n).padStart(2, "0");
    return `${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
  };
  const TIME_STEPS = [5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200].map((s) => s * 1000);

  let texture = {};
  function textures(context, ink) {
    // Dense for heat, fine lines for motion, dots for valves and pump: told apart without colour.
    const make = (size, paint) => {
      const tile = document.createElement("canvas");
      tile.width = tile.height = size;
      const c = tile.getContext("2d");
      c.strokeStyle = c.fillStyle = ink;
      paint(c, size);
      return context.createPattern(tile, "repeat");
    };
    texture = {
      heat: make(6, (c, s) => { c.globalAlpha = 0.4; c.fillRect(0, 0, s / 2, s / 2); c.fillRect(s / 2, s / 2, s / 2, s / 2); }),
      motion: make(6, (c, s) => { c.globalAlpha = 0.4; c.beginPath(); c.moveTo(0, s); c.lineTo(s, 0); c.stroke(); }),
      water: make(8, (c, s) => { c.globalAlpha = 0.5; c.beginPath(); c.arc(s / 2, s / 2, 1.3, 0, 7); c.fill(); }),
      rest: null,
    };
  }

  let colours = {};
  function look() {
    const style = getComputedStyle(document.documentElement);
    for (const name of ["ink", "paper", "soft", "line", "shade", "mark"]) colours[name] = style.getPropertyValue(`--${name}`).trim();
    texture = {};
    dirty = true;
  }

  function draw() {
    requestAnimationFrame(draw);
    if (!dirty || document.hidden) return;
    dirty = false;
    const scale = devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
      texture = {};
    }
    const c = canvas.getContext("2d");
    c.setTransform(scale, 0, 0, scale, 0, 0);
    c.fillStyle = colours.paper;
    c.fillRect(0, 0, width, height);
    if (!texture.heat) textures(c, colours.ink);
    const to = shownEnd(), from = to - length;
    const y = (time) => ((time - from) / length) * height;
    const a = Math.max(points.from(from) - 1, 0), b = Math.min(points.from(to) + 1, points.n);
    const bands = (test?.parts ?? []).map((p) => ({ from: p.from, to: p.to, band: p.band, load: p.works_with, look: p.look }));
    if (test?.band && bands.at(-1)?.to !== undefined && test.place.is === "step") {
      const last = test.parts.at(-1);
      if (last && last.step === test.place.step) bands.at(-1).to = Math.max(last.to, end());
      else bands.push({ from: test.since, to: end(), band: test.band, load: test.works_with });
    } else if (test?.band) bands.push({ from: test.since, to: end(), band: test.band, load: test.works_with });
    const seen = bands.filter((s) => s.to >= from && s.from <= to);
    let most = points.range(a, b)[1];
    for (const s of seen) most = Math.max(most, s.band[1]);
    topW = Math.max(40, most * 1.15);

    // Scale: watts above, time at the left edge.
    c.font = "11px system-ui, sans-serif";
    c.lineWidth = 1;
    c.textBaseline = "top";
    let lastX = -40;
    for (const tick of TICKS.filter((w) => w < topW)) {
      const at = Math.round(x(tick, width)) + 0.5;
      c.strokeStyle = colours.line;
      c.beginPath(); c.moveTo(at, 0); c.lineTo(at, height); c.stroke();
      if (at - lastX > 34 && at < width - 24) {
        c.fillStyle = colours.soft;
        c.fillText(tick >= 1000 ? `${tick / 1000} kW` : `${tick} W`, at + 2, 2);
        lastX = at;
      }
    }
    const step = TIME_STEPS.find((s) => (s / length) * height >= 44) ?? 14400e3;
    for (let at = Math.ceil(from / step) * step; at < to; at += step) {
      c.strokeStyle = colours.line;
      c.beginPath(); c.moveTo(0, y(at)); c.lineTo(width, y(at)); c.stroke();
    }

    // What each step should draw: a pale stretch with its edges, in the texture of what it works with.
    for (const s of seen) {
      const top = y(s.from), tall = Math.max(y(s.to) - top, 1);
      const left = x(s.band[0], width), right = Math.max(x(s.band[1], width), left + 2);
      c.fillStyle = colours.shade;
      c.fillRect(left, top, right - left, tall);
      if (texture[s.load]) { c.fillStyle = texture[s.load]; c.fillRect(left, top, right - left, tall); }
      c.strokeStyle = colours.soft;
      c.beginPath();
      c.moveTo(left, top); c.lineTo(left, top + tall); c.moveTo(right, top); c.lineTo(right, top + tall);
      c.stroke();
      c.strokeStyle = colours.ink;
      c.beginPath(); c.moveTo(0, top); c.lineTo(width, top); c.stroke();
    }

    // What was measured, as ink. A hole in the samples stays a hole.
    const hole = Math.max(3500, 4 * ((points.last() - points.t[0]) / Math.max(points.n, 1)));
    c.fillStyle = colours.ink;
    if (b - a > 2 * height) {
      for (let row = 0; row < height; row++) {
        const low = points.from(from + (row / height) * length), high = points.from(from + ((row + 1) / height) * length);
        if (high <= low) continue;
        const [least, greatest] = points.range(low, high);
        const left = x(least, width);
        c.globalAlpha = 0.18; c.fillRect(0, row, left, 1);
        c.globalAlpha = 1; c.fillRect(left, row, Math.max(x(greatest, width) - left, 2), 1);
      }
    } else {
      c.strokeStyle = colours.ink;
      c.lineWidth = 2;
      let open = false;
      for (let i = a; i < b; i++) {
        const at = y(points.t[i]), right = x(points.w[i], width);
        const next = i + 1 < b ? points.t[i + 1] : points.t[i];
        const holds = next - points.t[i] <= hole;
        c.globalAlpha = 0.18;
        if (holds) c.fillRect(0, at, right, y(next) - at);
        c.globalAlpha = 1;
        if (!open) { c.beginPath(); c.moveTo(right, at); open = true; } else c.lineTo(right, at);
        if (holds) c.lineTo(right, y(next));
        else { c.stroke(); open = false; }
      }
      if (open) c.stroke();
    }
    c.lineWidth = 1;
    for (const [at, why] of holes(hole, a, b)) {
      const top = y(at);
      c.fillStyle = colours.mark;
      c.fillRect(0, top, width, 1);
      c.fillText(why, 4, top + 3);
    }
    c.textBaseline = "bottom";
    for (let at = Math.ceil(from / step) * step; at < to; at += step) {
      const text = step < 60e3 ? clock(at) : clock(at).slice(0, 5);
      const wide = c.measureText(text).width;
      c.fillStyle = colours.paper;
      c.fillRect(width - wide - 5, y(at) - 13, wide + 5, 12);
      c.fillStyle = colours.soft;
      c.fillText(text, width - wide - 3, y(at) - 1);
    }
    const now = y(end());
    if (!ended && now <= height) {
      c.strokeStyle = colours.ink;
      c.setLineDash([5, 4]);
      c.beginPath(); c.moveTo(0, now); c.lineTo(width, now); c.stroke();
      c.setLineDash([]);
    }
    if (held !== null) {
      const at = y(held);
      c.fillStyle = colours.mark;
      c.fillRect(0, at - 1, width, 3);
      c.beginPath(); c.arc(width - 12, at, 9, 0, 7); c.fill();
    }
    place(y, height);
    if (points.last() > drawn) {
      drawn = points.last();
      late.push(Date.now() - drawn);
      if (late.length > 200) late.shift();
    }
  }
  // How long after it was taken the newest point stood on the screen, ms.
  let drawn = 0;
  const late = [];
  // Where samples are missing: the time, and words.
  function* holes(hole, a, b) {
    for (let i = a; i + 1 < b; i++) {
      if (points.t[i + 1] - points.t[i] > hole && b - a < 5000) {
        const why = gaps.find((g) => Math.abs(g[0] - points.t[i]) < 5000)?.[1];
        yield [points.t[i], why ? t("meter lost") : t("no samples")];
      }
    }
  }

  // ---- the cards beside their stretches
  const made = new Map();
  function place(y, height) {
    const parts = test?.parts ?? [];
    const wanted = new Set();
    let free = 0;
    parts.forEach((part, i) => {
      const key = `${part.step} ${i}`;
      wanted.add(key);
      let card = made.get(key);
      if (!card) {
        card = document.createElement("div");
        card.className = "card";
        card.dataset.part = i;
        made.set(key, card);
        cards.append(card);
      }
      const running = test.place.is === "step" && test.place.step === part.step && i === parts.length - 1;
      const text = `${part.number} ${part.says}`;
      const reads = [part.reads ?? "", running ? t("runs") : t(part.verdict)].filter(Boolean).join(" ");
      if (card.dataset.text !== text + reads) {
        card.dataset.text = text + reads;
        card.replaceChildren();
        const bad = Boolean(part.look) && !running;
        const name = document.createElement("span");
        name.textContent = text;
        const verdict = document.createElement("b");
        verdict.textContent = running ? t("runs") : bad ? `✗ ${t(part.verdict)}` : t(part.verdict);
        const read = document.createElement("i");
        read.textContent = part.reads ?? "";
        // What is out of band comes first, so that a low card still says it.
        card.append(...(bad ? [verdict, name, read] : [name, verdict, read]));
        card.classList.toggle("look", bad);
        card.title = part.why;
      }
      const top = y(part.from), bottom = y(running ? end() : part.to);
      const at = Math.max(top, free, 0);
      const shown = bottom > 0 && top < height && at < height - 12;
      card.hidden = !shown;
      if (shown) {
        const tall = Math.max(bottom - at - 2, 20);
        card.style.transform = `translateY(${Math.round(at)}px)`;
        card.style.height = `${Math.round(tall)}px`;
        card.classList.toggle("short", tall < 40);
        free = at + tall + 2;
      }
    });
    for (const [key, card] of made) if (!wanted.has(key)) { card.remove(); made.delete(key); }
  }
  function table() {
    const body = document.getElementById("parts");
    if (!body) return;
    const had = body.contains(document.activeElement) ? document.activeElement.dataset.begin : undefined;
    body.replaceChildren(...(test?.parts ?? []).map((part, i) => {
      const row = document.createElement("tr");
      const begin = document.createElement("button");
      begin.type = "button";
      begin.textContent = clock(part.from);
      begin.dataset.begin = i;
      begin.setAttribute("aria-label", t("Step {1} begins at {2}: move it", part.number, clock(part.from)));
      for (const text of [`${part.number} ${part.says}`, part.reads ?? "", part.should, t(part.verdict), begin, `${Math.round((part.to - part.from) / 1000)} s`]) {
        const cell = document.createElement("td");
        cell.append(text);
        row.append(cell);
      }
      return row;
    }));
    if (had !== undefined) body.querySelector(`[data-begin="${had}"]`)?.focus({ preventScroll: true });
  }

  // ---- moving and stretching: fingers, wheel, keys, buttons
  function stretch(factor, around) {
    const to = shownEnd();
    const least = 10e3, most = Math.max(usual(), (end() - begin) * 1.1, 60e3);
    const next = Math.min(Math.max(length * factor, least), most);
    if (until !== null || around !== undefined) {
      const at = around ?? 1;
      const fixed = to - length * (1 - at);
      until = fixed + next * (1 - at);
      if (until >= end()) until = null;
    }
    length = next;
    dirty = true;
  }
  function move(ms) {
    const to = shownEnd() + ms;
    until = to >= end() + length * 0.04 ? null : Math.max(to, begin + length * 0.2);
    dirty = true;
  }
  const acts = {
    whole() { length = Math.max((end() - begin) * 1.06, 20e3); until = null; },
    longer() { stretch(1.6); },
    shorter() { stretch(1 / 1.6); },
    now() { until = null; length = ended ? length : Math.min(length, 120e3); },
  };
  root.addEventListener("click", (event) => {
    const act = acts[event.target.closest?.("[data-ribbon]")?.dataset.ribbon];
    if (act) { act(); dirty = true; }
  });
  canvas.addEventListener("keydown", (event) => {
    const act = {
      ArrowUp: () => move(-length * 0.2), ArrowDown: () => move(length * 0.2),
      PageUp: () => move(-length * 0.8), PageDown: () => move(length * 0.8),
      "+": acts.shorter, "=": acts.shorter, "-": acts.longer,
      Home: () => { until = begin + length; if (until >= end()) until = null; }, End: acts.now,
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
    dirty = true;
  });
  const fingers = new Map();
  canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); fingers.set(event.pointerId, event.offsetY); });
  canvas.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    const before = [...fingers.values()];
    fingers.set(event.pointerId, event.offsetY);
    const after = [...fingers.values()];
    const height = canvas.clientHeight;
    if (after.length === 1) move(((before[0] - after[0]) / height) * length);
    else if (after.length === 2) {
      const [had, has] = [Math.abs(before[0] - before[1]), Math.abs(after[0] - after[1])];
      if (had > 8 && has > 8) stretch(had / has, (after[0] + after[1]) / 2 / height);
    }
  });
  for (const over of ["pointerup", "pointercancel"]) canvas.addEventListener(over, (event) => fingers.delete(event.pointerId));
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    if (event.ctrlKey) stretch(Math.exp(event.deltaY * 0.005), event.offsetY / canvas.clientHeight);
    else move((event.deltaY / canvas.clientHeight) * length);
  }, { passive: false });

  // ---- what is past, from the records
  async function refill(from) {
    const to = ended ? `&to=${ended}` : "";
    const answer = await fetch(`/api/sockets/${socket}/samples?from=${from}${to}&pieces=4000`).catch(() => null);
    if (!answer?.ok) return false;
    const past = await answer.json();
    gaps = [...gaps.filter((g) => g[0] < from), ...past.gaps];
    // Points that came meanwhile stay; what was missed goes in before them.
    const kept = points;
    const next = new Points();
    const cut = past.points.at(-1)?.[0] ?? -Infinity;
    for (let i = 0; i < kept.n && kept.t[i] < from; i++) next.add(kept.t[i], kept.w[i]);
    for (const [time, watts] of past.points) next.add(time, watts);
    for (let i = kept.from(cut); i < kept.n; i++) next.add(kept.t[i], kept.w[i]);
    points = next;
    dirty = true;
    return true;
  }

  // ---- what is new, as events
  let heard = Date.now();
  let source = null;
  let state = null;
  let revision = null;
  function cutOff(text) { link.hidden = !text; link.textContent = text; }
  const live = `/api/jobs/${job}/live`;
  let retry = null;
  function listen() {
    clearTimeout(retry);
    source?.close();
    source = new EventSource(live);
    const on = (name, does) => source.addEventListener(name, (event) => { heard = Date.now(); does(JSON.parse(event.data)); });
    source.addEventListener("open", async () => {
      heard = Date.now();
      cutOff("");
      await refill(points.n ? Math.max(points.last() - 5000, begin) : begin);
    });
    source.addEventListener("error", () => {
      cutOff(t("The bench does not answer. The meter goes on being recorded while the bench runs; this page joins again by itself."));
      if (source.readyState === EventSource.CLOSED) refused();
    });
    on("points", (all) => {
      for (const [time, watts] of all) if (time >= begin) points.add(time, watts);
      dirty = true;
    });
    on("missed", () => refill(Math.max(points.last() - 60000, begin)));
    on("meter", (now) => { state = now; says(); });
    on("test", (now) => {
      // The steps behind come only where something about them is new.
      const news = now.parts !== undefined;
      test = { ...now, parts: now.parts ?? test?.parts ?? [] };
      if (now.revision !== revision) {
        const first = revision === null;
        revision = now.revision;
        if (!first || !document.getElementById("figure")) window.wattmend?.refresh("live");
      }
      figure();
      says();
      if (news) table();
      dirty = true;
    });
    on("ended", () => { source.close(); location.reload(); });
    on("beat", () => {});
  }
  // Why a stream was refused is told to a plain request only: the test may have ended while this page was cut off.
  async function refused() {
    const asked = source;
    const stop = new AbortController();
    const answer = await fetch(live, { signal: stop.signal }).catch(() => null);
    const status = answer?.status;
    stop.abort();
    if (source !== asked) return;
    if (status === 422) { location.reload(); return; }
    if (status === 401) cutOff(t("You are logged out: log in again. The meter goes on being recorded while the bench runs."));
    clearTimeout(retry);
    retry = setTimeout(listen, 2000);
  }
  // Only what changed is written: what stays the same is not read out again, and the keyboard stays where it is.
  function write(into, text) { if (into && into.textContent !== text) into.textContent = text; }
  function says() {
    if (!state) return;
    const watts = state.watts === null ? "" : `${Math.round(state.watts)} W`;
    const volts = state.volts === null ? "" : `${Math.round(state.volts)} V`;
    const words = { heard: [watts, volts].filter(Boolean).join(" · "), waiting: t("The meter was not heard yet."), lost: t("METER LOST: {1}", state.why) };
    const trouble = state.trouble ? ` ${t("NOT BEING KEPT: {1}", state.trouble)}` : "";
    write(meter, words[state.state] + trouble);
    // Watts are not read out, only that they come or no longer come.
    write(document.getElementById("meter-state"), (state.state === "heard" ? t("The meter is heard.") : words[state.state]) + trouble);
    meter.classList.toggle("look", state.state === "lost" || Boolean(state.trouble));
    figure();
  }
  function figure() {
    const shown = document.getElementById("figure");
    const verdict = document.getElementById("verdict");
    if (shown && test) {
      const lost = state?.state === "lost";
      const now = state?.state === "heard" && state.watts !== null ? `${Math.round(state.watts)} W` : "…";
      write(shown, lost ? t("meter lost") : test.figure?.reads ?? now);
      const text = lost ? "" : test.figure?.verdict ? t(test.figure.verdict) : t("settling");
      write(verdict, text);
      verdict.className = test.figure?.look && !lost ? "look verdict" : "verdict";
    }
    for (const field of document.querySelectorAll("[data-clock]")) field.value = points.n ? points.last() : "";
  }
  // The count of the run-down goes by the samples' own clock; without samples it does not go on.
  function count() {
    const shown = document.getElementById("count");
    if (!shown) return;
    const down = test?.run_down;
    if (state?.state === "lost") { write(shown, t("the meter is lost: look at the drum")); return; }
    write(shown, down?.until ? t("about {1} s", Math.max(1, Math.ceil((down.until - points.last()) / 1000))) : "");
  }
  // For the script that moves edges.
  window.wattmend.ribbon = {
    canvas, begin, end, clock,
    parts: () => test?.parts ?? [],
    y: (time) => ((time - (shownEnd() - length)) / length) * canvas.clientHeight,
    time: (y) => shownEnd() - length + (y / canvas.clientHeight) * length,
    // The median of the watts in a stretch; null for none.
    level(from, to) {
      const watts = points.w.slice(points.from(from), points.from(to)).sort();
      return watts.length ? watts[watts.length >> 1] : null;
    },
    hold(time) { held = time; dirty = true; },
  };
  window.ribbonState = () => ({ points: points.n, last: points.last(), test, state, late });

  new ResizeObserver(() => { dirty = true; }).observe(canvas);
  dark.addEventListener("change", look);
  document.addEventListener("visibilitychange", () => { dirty = true; });
  look();
  length = usual();
  draw();
  // A phone shows the ribbon and the step that runs; who scrolled stays where they are.
  if (!ended && innerWidth < 992 && scrollY === 0) meter.scrollIntoView();
  setInterval(() => { count(); figure(); if (!ended && until === null) dirty = true; }, still.matches ? 1000 : 250);
  setInterval(() => {
    if (!ended && Date.now() - heard > 6000) {
      cutOff(t("The bench does not answer. This page joins again by itself."));
      if (Date.now() - heard > 12000) { heard = Date.now(); listen(); }
    }
  }, 1000);
  if (ended) {
    refill(begin).then(() => { acts.whole(); dirty = true; });
    meter.textContent = t("Recorded from {1} to {2}", clock(begin), clock(ended));
    // The verdicts of the finding stand beside the trace as it was.
    const found = () => fetch(`/api/jobs/${job}/trace`).then((a) => (a.ok ? a.json() : null)).then((past) => {
      if (!past) return;
      test = past;
      table();
      dirty = true;
    }).catch(() => {});
    found();
    document.addEventListener("kept", (event) => { if (event.detail === "edge") found(); });
  } else listen();
})();
