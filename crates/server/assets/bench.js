// What is typed lies in local storage until the server has it, and is shown as not yet sent until then.
// Works without any of this: every form also sends itself.
(() => {
  "use strict";
  // Words of a script in the language of the pages (phrases.js), looked up by the English; `{1}` is the first value.
  const phrases = window.wattmendPhrases ?? {};
  const t = (english, ...values) =>
    (Object.hasOwn(phrases, english) ? phrases[english] : english).replace(/\{([1-9])\}/g, (_, n) => values[n - 1] ?? "");
  const job = document.querySelector("[data-job]")?.dataset.job;
  // Who is logged in; on a page that asks for the passphrase nobody is, and nothing is sent.
  const who = document.body.dataset.who;
  const sending = document.getElementById("sending");
  const QUEUE = "wattmend.not-yet-sent";
  // Where storage is refused (a private window), the page still works; it only cannot survive a reload.
  const store = {
    get(key) { try { return localStorage.getItem(key); } catch { return null; } },
    set(key, value) { try { localStorage.setItem(key, value); } catch { /* nothing can be kept */ } },
    remove(key) { try { localStorage.removeItem(key); } catch { /* nothing was kept */ } },
  };
  const queue = () => { try { return JSON.parse(store.get(QUEUE) ?? "[]"); } catch { return []; } };
  // What somebody else typed on this device waits until they log in again, so that it goes out under their name.
  const mine = () => queue().filter((entry) => who && (entry.who ?? who) === who);
  const others = () => queue().length - mine().length;
  const keepQueue = (all) => (all.length ? store.set(QUEUE, JSON.stringify(all)) : store.remove(QUEUE));
  const draft = (field) => `wattmend.draft.${job}.${field.dataset.keep}`;

  function say(text) {
    if (!sending) return;
    sending.hidden = !text;
    sending.textContent = text;
  }

  // ---- what is typed and not sent
  function restore(root) {
    for (const field of root.querySelectorAll("[data-keep]")) {
      const kept = store.get(draft(field));
      if (kept !== null) field.value = kept;
    }
  }
  const drafts = (form) => [...form.querySelectorAll("[data-keep]")].map(draft);

  // ---- sending, oldest first, until all is there
  let busy = false;
  const forms = new Map();
  // These say that the entry itself is wrong; all others may pass, so it waits.
  const WRONG = [400, 403, 404, 409, 413, 415, 422];
  async function send() {
    if (busy) return;
    busy = true;
    try {
      for (let all = mine(); all.length; all = mine()) {
        const first = all[0];
        let answer;
        try {
          answer = await fetch(first.to, {
            method: "POST",
            headers: { accept: "application/json", "content-type": "application/x-www-form-urlencoded", "wattmend-typed-by": who },
            body: first.body,
          });
        } catch {
          say(t("{1} not yet sent: the bench does not answer. Kept on this device, tried again by itself.", all.length));
          setTimeout(send, 3000);
          return;
        }
        if (!answer.ok && !WRONG.includes(answer.status)) {
          const problem = await answer.json().catch(() => ({}));
          say(t("{1} not yet sent: {2}. Kept on this device, tried again by itself.", all.length, problem.title ?? t("the bench is busy")));
          setTimeout(send, 5000);
          return;
        }
        keepQueue(queue().filter((entry) => entry.key !== first.key));
        if (answer.ok) {
          for (const draft of first.drafts ?? []) store.remove(draft);
          say("");
          if (first.kind === "live-end") {
            // Sent again by the page that came after it, which shows the end already: nothing is left to do.
            const shown = /(^|&)what=end(&|$)/.test(first.body) && document.querySelector("[data-live]:not([data-to=''])");
            if (shown) continue;
            location.reload();
            return;
          }
          forms.delete(first.key);
          await refresh(first.kind);
          document.dispatchEvent(new CustomEvent("kept", { detail: first.kind }));
        } else {
          const problem = await answer.json().catch(() => ({}));
          refused(first, problem);
        }
      }
    } finally {
      busy = false;
    }
  }
  function refused(entry, problem) {
    const text = t("Not kept: {1}. {2}", problem.title ?? t("it was refused"), problem.remedy ?? "");
    const output = forms.get(entry.key)?.querySelector("output");
    forms.delete(entry.key);
    if (!output) { say(text); return; }
    say("");
    show(output, text, true);
  }

  // ---- what is replaced is not taken from under a finger or the keyboard
  let down = false;
  let tapped = null;
  addEventListener("pointerdown", () => { down = true; }, true);
  for (const up of ["pointerup", "pointercancel"]) addEventListener(up, () => setTimeout(() => { down = false; }), true);
  // Not for long: what comes may be a caution.
  async function lifted() {
    for (let n = 0; down && n < 10; n++) await new Promise((done) => setTimeout(done, 50));
  }
  // What stands in the new part where the keyboard was in the old one.
  function like(part, had) {
    const same = (e) => ["name", "value", "data-ribbon", "data-count"].every((key) => e.getAttribute(key) === had.getAttribute(key));
    const all = [...part.querySelectorAll(had.tagName)].filter((e) => same(e) && e.form?.getAttribute("action") === had.form?.getAttribute("action"));
    return all.find((e) => e.textContent === had.textContent) ?? all[0];
  }

  // ---- parts of the page that change after an entry; what is being read does not move before
  const PARTS = { check: ["find", "agree", "mend"], step: ["test", "find"], visit: ["agree", "mend", "prove", "find"], pending: ["find", "before", "test", "agree", "mend"], live: ["panel"], press: [], edge: document.querySelector("[data-live]")?.dataset.to ? ["find"] : [] };
  async function refresh(kind) {
    const parts = PARTS[kind];
    if (!parts || !job) { location.reload(); return; }
    for (const id of parts) {
      const from = document.getElementById(id)?.dataset.part;
      // The live page has the first of them and not the rest.
      if (!from) { if (kind !== "pending" && id === parts[0]) location.reload(); continue; }
      document.getElementById(id).setAttribute("aria-busy", "true");
      const answer = await fetch(from).catch(() => null);
      const made = document.createElement("template");
      // Whoever was logged out meanwhile is shown the door instead: that is no part of this page.
      if (answer?.ok && !answer.redirected) made.innerHTML = await answer.text();
      await lifted();
      const part = made.content.firstElementChild;
      // Looked up again: another refresh may have put a new one there meanwhile.
      const old = document.getElementById(id);
      old.removeAttribute("aria-busy");
      // Where somebody is typing nothing moves; it comes with the next entry.
      if (!part || (kind === "pending" && old.contains(document.activeElement))) continue;
      if (kind === "pending") {
        for (const step of old.querySelectorAll(".step")) {
          const same = part.querySelector(`#${CSS.escape(step.parentElement.id)} .step`);
          if (same) same.open = step.open;
        }
      }
      part.open = old.open;
      if (id === "panel") {
        const had = [...old.querySelectorAll("details")];
        part.querySelectorAll("details").forEach((fold, n) => { fold.open = had[n]?.open ?? false; });
      }
      // A button that was tapped is disabled while it is sent, which takes the keyboard from it.
      const had = [document.activeElement, tapped].find((e) => e && e !== document.body && old.contains(e));
      tapped = null;
      old.replaceWith(part);
      restore(part);
      if (had) like(part, had)?.focus({ preventScroll: true });
      if (id === "test" && kind === "step") part.querySelector(".step[open] input:not([type=hidden])")?.focus();
      if (id === "find" && kind === "check") part.scrollIntoView({ block: "start" });
    }
  }

  window.wattmend = { refresh, t };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.say === undefined) return;
    event.preventDefault();
    const said = new URLSearchParams(new FormData(form));
    const by = event.submitter;
    if (by?.name) said.set(by.name, by.value);
    // Random enough to name an entry; crypto.randomUUID is not there on plain http.
    const key = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}${Math.random().toString(36).slice(2)}`;
    said.set("key", key);
    const entry = { key, who, to: form.getAttribute("action"), kind: form.dataset.say, body: said.toString(), drafts: drafts(form) };
    keepQueue([...queue(), entry]);
    forms.set(key, form);
    say(t("Sending …"));
    if (by) { tapped = by; by.disabled = true; }
    const output = form.querySelector("output");
    if (output) show(output, "", false);
    send().finally(() => { if (by) by.disabled = false; });
  });

  // ---- what an answer would mean, while it is typed
  function show(output, text, look) {
    output.textContent = text;
    output.classList.toggle("look", Boolean(look));
  }
  let waiting;
  document.addEventListener("input", (event) => {
    const field = event.target;
    if (field.dataset?.keep && job) {
      if (field.value) store.set(draft(field), field.value);
      else store.remove(draft(field));
    }
    const form = field.closest?.("form[data-say]");
    const output = form?.querySelector("output");
    if (!output || !["step", "check"].includes(form.dataset.say)) return;
    clearTimeout(waiting);
    const said = new URLSearchParams(new FormData(form));
    const typed = ["answer", "watts", "amps"].some((name) => (said.get(name) ?? "").trim());
    if (!typed) { show(output, "", false); return; }
    waiting = setTimeout(async () => {
      const answer = await fetch(`/jobs/${job}/interpret`, {
        method: "POST",
        headers: { "content-type": "application/x-www-form-urlencoded" },
        body: said.toString(),
      }).catch(() => null);
      if (!answer || !output.isConnected) return;
      const means = await answer.json().catch(() => ({}));
      if (new URLSearchParams(new FormData(form)).toString() !== said.toString()) return;
      if (answer.ok) show(output, [means.says, ...(means.lines ?? [])].filter(Boolean).join("\n"), means.look);
      else show(output, `${means.title ?? ""}. ${means.remedy ?? ""}`, true);
    }, 350);
  });

  // ---- counting a run-down: a wait, never a promise that the drum stands
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-count]");
    if (!button) return;
    const output = button.parentElement.querySelector("output");
    const end = Date.now() + 1000 * Number(button.dataset.count);
    button.disabled = true;
    const tick = () => {
      const left = Math.ceil((end - Date.now()) / 1000);
      if (!output.isConnected) return;
      if (left > 0) {
        output.textContent = ` ${t("wait, {1} s", left)}`;
        setTimeout(tick, 250);
      } else {
        output.textContent = ` ${t("time is over: look whether {1}, then go on", button.dataset.until)}`;
        button.disabled = false;
      }
    };
    tick();
  });

  // ---- a stage named in the address, or by the bar at the bottom, is opened
  function unfold() {
    const stage = location.hash && document.getElementById(location.hash.slice(1));
    if (stage instanceof HTMLDetailsElement) stage.open = true;
  }
  addEventListener("hashchange", unfold);
  document.querySelector(".stages")?.addEventListener("click", () => setTimeout(unfold));
  unfold();

  // ---- a part that takes its time is fetched once the page stands
  if (document.querySelector("[data-fetch]")) refresh("check");

  // ---- what was still being worked out when the page came
  if (document.querySelector("[data-pending]")) refresh("pending").then(() => document.querySelector(".pending")?.remove());

  restore(document);
  if (mine().length) { say(t("{1} not yet sent …", mine().length)); send(); }
  else if (others()) say(who
    ? t("{1} not yet sent, typed by somebody else. Kept on this device until they log in.", others())
    : t("{1} not yet sent, typed by who was logged in. Kept on this device until they log in.", others()));
  addEventListener("online", send);
})();
