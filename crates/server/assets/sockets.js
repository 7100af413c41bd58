// Sockets: what each meter says now, as it comes.
(() => {
  "use strict";
  const { t } = window.wattmend;
  const list = document.querySelector("[data-sockets]");
  if (!list) return;
  // What is typed into the file stays on this device until it was kept.
  const file = document.getElementById("text");
  const KEY = "wattmend.draft.meters";
  const store = {
    get() { try { return localStorage.getItem(KEY); } catch { return null; } },
    set(value) { try { localStorage.setItem(KEY, value); } catch { /* full or refused: the page still has it */ } },
    remove() { try { localStorage.removeItem(KEY); } catch { /* nothing was kept */ } },
  };
  const draft = file ? store.get() : null;
  if (draft !== null && draft !== file.value) {
    const offer = document.getElementById("kept");
    offer.hidden = false;
    file.closest("details").open = true;
    document.getElementById("take").addEventListener("click", () => { file.value = draft; offer.hidden = true; file.focus(); });
    document.getElementById("leave").addEventListener("click", () => { store.remove(); offer.hidden = true; file.focus(); });
  } else if (file && !("refused" in file.form.dataset)) {
    // What was refused is not kept yet: it stays.
    store.remove();
  }
  file?.addEventListener("input", () => store.set(file.value));
  const words = { heard: t("heard"), lost: t("LOST"), waiting: t("waiting") };
  const source = new EventSource("/api/sockets/live");
  const put = (element, text) => { if (element && element.textContent !== text) element.textContent = text; };
  source.addEventListener("sockets", (event) => {
    for (const socket of JSON.parse(event.data).sockets) {
      const row = list.querySelector(`[data-socket="${socket.id}"]`);
      if (!row) continue;
      const state = row.querySelector(".state");
      put(state, words[socket.state]);
      state.classList.toggle("look", socket.state === "lost");
      const reads = [[socket.watts, "W", 0], [socket.volts, "V", 0], [socket.amps, "A", 2]]
        .filter(([value]) => value !== null).map(([value, unit, digits]) => `${value.toFixed(digits)} ${unit}`).join(" · ");
      put(row.querySelector(".reads"), socket.state === "lost" ? socket.why : socket.state === "heard" ? reads : t("not heard yet"));
      put(row.querySelector(".remark"), socket.remark ?? "");
    }
  });
  source.addEventListener("error", () => {
    for (const state of list.querySelectorAll(".state")) put(state, t("not known: the bench does not answer"));
  });
})();
