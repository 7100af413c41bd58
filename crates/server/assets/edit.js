// The machine file in the page: checked while it is typed, and kept on this device until it is saved.
(() => {
  "use strict";
  const { t } = window.wattmend;
  const form = document.querySelector("form[data-file]");
  const field = document.getElementById("text");
  const list = document.getElementById("troubles");
  const verdict = document.getElementById("verdict");
  const key = `wattmend.file.${form.dataset.file}`;
  const store = {
    get() { try { return localStorage.getItem(key); } catch { return null; } },
    set(value) { try { localStorage.setItem(key, value); } catch { /* too large or refused: the page still has it */ } },
    remove() { try { localStorage.removeItem(key); } catch { /* nothing was kept */ } },
  };

  // ---- what was typed and not saved
  const kept = store.get();
  const offer = document.getElementById("kept");
  if (kept !== null && kept !== field.value) {
    offer.hidden = false;
    document.getElementById("take").addEventListener("click", () => {
      field.value = kept;
      offer.hidden = true;
      check();
      field.focus();
    });
    document.getElementById("leave").addEventListener("click", () => { store.remove(); offer.hidden = true; field.focus(); });
  } else if (!("refused" in form.dataset)) {
    // What was refused is not saved yet: it stays.
    store.remove();
  }

  // ---- checking
  let waiting;
  let asked = 0;
  field.addEventListener("input", () => {
    store.set(field.value);
    clearTimeout(waiting);
    waiting = setTimeout(check, 600);
  });
  async function check() {
    const mine = ++asked;
    const answer = await fetch("/api/machines/check", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ text: field.value }),
    }).catch(() => null);
    if (mine !== asked) return;
    const said = await answer?.json().catch(() => null);
    if (!answer?.ok || !said) {
      verdict.textContent = said?.title ?? t("Not checked: the bench does not answer. What you type is kept on this device");
      return;
    }
    verdict.textContent = said.found.length
      ? t("{1} to mend, {2} to look at", said.errors, said.warnings)
      : t("Nothing is wrong in this file");
    list.replaceChildren(...said.found.map(line));
  }
  function line(found) {
    const item = document.createElement("li");
    const jump = document.createElement("button");
    jump.type = "button";
    jump.dataset.line = found.line;
    jump.dataset.column = found.column;
    jump.textContent = t("Line {1}", found.line);
    const says = document.createElement("span");
    const word = document.createElement("strong");
    word.textContent = `${found.severity === "error" ? t("Error:") : t("Look at:")} `;
    if (found.severity === "error") says.className = "look";
    says.append(word, found.message);
    item.append(jump, " ", says);
    for (const remedy of found.to_mend) {
      const p = document.createElement("p");
      p.textContent = t("To mend: {1}", remedy);
      item.append(p);
    }
    return item;
  }

  // ---- to the line
  list.addEventListener("click", (event) => {
    const { line, column } = event.target.closest?.("[data-line]")?.dataset ?? {};
    if (!line) return;
    const lines = field.value.split("\n");
    const before = lines.slice(0, line - 1).reduce((sum, l) => sum + l.length + 1, 0);
    const at = before + Math.max(0, column - 1);
    field.focus();
    field.setSelectionRange(at, before + (lines[line - 1] ?? "").length);
    const height = field.scrollHeight / Math.max(1, lines.length);
    field.scrollTop = Math.max(0, (line - 4) * height);
    field.scrollIntoView({ block: "nearest" });
  });
})();
