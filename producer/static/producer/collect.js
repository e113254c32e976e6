// A box of bottles, scanned one after the other. The text field of the form stays what
// is sent: this only writes into it, asks the server about each code, and shows the
// answer. Without this script the field is filled in by hand.
"use strict";

(() => {
  const box = document.querySelector("[data-collect]");
  const form = document.querySelector("form.act");
  const field = form?.querySelector("textarea[name=codes]");
  if (!box || !field) return;

  const PIECE = 50; // codes asked about at once; an address has an end
  const lines = box.querySelector("[data-lines]");
  const input = box.querySelector("[data-in]");
  const said = box.querySelector("[data-said]");
  const count = box.querySelector("[data-count]");
  const unit = box.querySelector("[data-unit]");

  box.hidden = false;
  box.querySelector("[data-scripted]").hidden = false;

  const items = () => [...lines.children];
  const typed = () => field.value.split(/\s+/).filter(Boolean);

  function write() {
    field.value = items()
      .map((item) => item.dataset.code)
      .reverse()
      .join("\n");
    tell();
  }

  function tell() {
    const all = items();
    // What is no code of a bottle is none; what was not looked up yet may be one.
    const bottles = all.filter((item) => item.dataset.bottle !== "no");
    const bad = bottles.filter((item) => item.dataset.may !== "yes").length;
    const others = all.length - bottles.length;
    count.textContent = String(bottles.length);
    unit.textContent = bottles.length === 1 ? "bottle" : "bottles";
    if (bad) unit.textContent += `, ${bad} cannot go`;
    if (others) unit.textContent += `; ${others} ${others === 1 ? "line is" : "lines are"} no bottle of ours`;
  }

  function removable(item) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = "Take out";
    button.setAttribute("aria-label", `Take out ${item.dataset.code}`);
    button.addEventListener("click", () => {
      const { code } = item.dataset;
      item.remove();
      write();
      said.textContent = `${code} is taken out.`;
      input.focus();
      // What was said to be there twice may be there once now.
      if (items().some((other) => other.dataset.code === code)) again();
    });
    item.append(button);
    return item;
  }

  function unasked(code) {
    const item = document.createElement("li");
    item.dataset.code = code;
    item.dataset.may = "no";
    const word = document.createElement("span");
    word.className = "code";
    word.textContent = code;
    const why = document.createElement("p");
    why.className = "note refused";
    why.textContent = "Not looked up: there is no connection. It is looked up when you send.";
    item.append(word, why);
    return item;
  }

  async function ask(codes, before) {
    const address = new URL(box.dataset.look, window.location.href);
    address.searchParams.set("codes", codes.join(" "));
    if (before.length) address.searchParams.set("again", before.join(" "));
    const name = box.dataset.with;
    const chosen = new FormData(form).get(name);
    address.searchParams.set(name, chosen || "");
    try {
      const answer = await fetch(address, { credentials: "same-origin" });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const found = [...page.querySelectorAll("li[data-code]")];
      if (found.length !== codes.length) throw new Error("not all were answered");
      return found.map((item) => document.importNode(item, true));
    } catch {
      return codes.map(unasked);
    }
  }

  // One question after the other: two quick scans must not overtake each other.
  let turn = Promise.resolve();
  const inTurn = (work) => {
    turn = turn.then(work);
    return turn;
  };

  // The newest line stands first: it is what the hand holds.
  function add(text) {
    const codes = text.split(/\s+/).filter(Boolean);
    if (!codes.length) return;
    inTurn(async () => {
      for (let start = 0; start < codes.length; start += PIECE) {
        const piece = codes.slice(start, start + PIECE);
        const here = new Set(items().map((item) => item.dataset.code));
        const bare = (code) => code.replace(/^.*\/b\/([^/?#]+).*$/i, "$1").replace(/[\s\-\u2010-\u2015\u2212]/g, "").toUpperCase();
        const before = piece.map(bare).filter((code) => here.has(code));
        for (const item of await ask(piece, before)) {
          lines.prepend(removable(item));
          const may = item.dataset.may === "yes";
          const why = item.querySelector(".refused")?.textContent;
          said.textContent = may ? `${item.dataset.code} is in.` : `${item.dataset.code}: ${why}`;
          if (!may) navigator.vibrate?.([80, 60, 80]);
        }
      }
      write();
    });
  }

  function again() {
    const codes = typed();
    inTurn(async () => {
      const found = [];
      for (let start = 0; start < codes.length; start += PIECE) {
        const piece = codes.slice(start, start + PIECE);
        const before = piece.filter((code) => codes.indexOf(code) < start);
        found.push(...(await ask(piece, before)));
      }
      lines.replaceChildren(...found.map(removable).reverse());
      tell();
    });
  }

  function take() {
    const text = input.value;
    input.value = "";
    add(text);
    input.focus();
  }

  box.querySelector("[data-add]").addEventListener("click", take);
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    take();
  });
  // A code that was scanned anywhere on this page belongs into the box.
  document.addEventListener("scanned", (event) => {
    event.preventDefault();
    add(event.detail);
  });
  field.addEventListener("change", again);
  form.addEventListener("change", (event) => {
    if (event.target.name === box.dataset.with) again();
  });

  // The field itself is for those who paste a list.
  const around = field.closest(".field") ?? field.parentElement;
  const folded = document.createElement("details");
  const summary = document.createElement("summary");
  summary.textContent = "The codes as text";
  around.before(folded);
  folded.append(summary, around);

  const shown = items();
  if (shown.length && shown.length === typed().length) {
    lines.replaceChildren(...shown.map(removable).reverse());
    tell();
  } else if (typed().length) {
    again();
  } else {
    tell();
  }
})();
