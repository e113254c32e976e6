// Small comforts. Every page works without this file.
"use strict";

// A second tap while the first is on its way does nothing. The buttons come back when
// the page is shown again, also out of the browser's memory.
const sent = new Set();
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (sent.has(form)) {
    event.preventDefault();
    return;
  }
  sent.add(form);
  // After the browser has read the form: a disabled button would not be sent.
  setTimeout(() => {
    for (const button of form.querySelectorAll("button:not([type=button])")) {
      button.disabled = true;
    }
  });
});
window.addEventListener("pageshow", () => {
  for (const form of sent) {
    for (const button of form.querySelectorAll("button")) button.disabled = false;
  }
  sent.clear();
});

// What was refused is read first.
document.querySelector("[data-focus]")?.focus();

// “/” goes to the search box.
document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, textarea, select, dialog")) return;
  const box = document.querySelector("[data-shortcut='/']");
  if (!box) return;
  event.preventDefault();
  box.focus();
  box.select();
});

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// A number that reads in two ways: a tap on the one that was meant fills it in.
for (const choice of document.querySelectorAll(".readings[data-for]")) {
  const input = document.getElementById(choice.dataset.for);
  if (!input) continue;
  choice.hidden = false;
  choice.addEventListener("click", (event) => {
    const reading = event.target.closest("[data-fill]");
    if (!reading) return;
    input.value = reading.dataset.fill;
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.focus();
  });
}

// Net = gross − tare while both are typed, to check against the display. The server
// computes the real one. A number that reads in two ways gives no preview.
const MILLIGRAMS = { mg: 1, g: 1000, kg: 1000000 };

function toMilligrams(text, unit) {
  const match = /^\s*(\d{1,9}(?:[.,]\d{1,6})?)\s*(mg|g|kg)?\s*$/i.exec(text);
  if (!match || /^[1-9]\d{0,2}[.,]\d{3}$/.test(match[1])) return null;
  const size = MILLIGRAMS[(match[2] || unit).toLowerCase()];
  return size ? Math.round(Number(match[1].replace(",", ".")) * size) : null;
}

function watchNet(preview) {
  const form = preview.closest("form");
  const inputs = preview.dataset.netOf.split(",").map((name) => {
    return form?.querySelector(`[name$="${CSS.escape(name.trim())}"]`);
  });
  if (inputs.length !== 2 || inputs.includes(null) || inputs.includes(undefined)) return;
  const show = () => {
    const [gross, tare] = inputs.map((input) => {
      return toMilligrams(input.value, input.dataset.unit || "g");
    });
    preview.hidden = gross === null || tare === null;
    if (preview.hidden) return;
    const net = (gross - tare) / 1000;
    preview.classList.toggle("wrong", net <= 0);
    const hint = document.createElement("small");
    hint.textContent =
      net > 0 ? "check against the display" : "gross must be more than tare: check both";
    preview.replaceChildren(`Net ${String(net).replace("-", "−")} g `, hint);
  };
  for (const input of inputs) input.addEventListener("input", show);
  show();
}

for (const preview of document.querySelectorAll("[data-net-of]")) watchNet(preview);

// An act that cannot be taken back is asked once more. The question is made here, so
// that without this file the form is simply sent; the server never relies on it.
const confirmed = new WeakSet();

function ask(form, submitter) {
  const dialog = document.createElement("dialog");
  const sentence = document.createElement("p");
  sentence.textContent = form.dataset.confirm;
  sentence.id = "asked";
  dialog.setAttribute("aria-labelledby", "asked");
  const buttons = document.createElement("div");
  buttons.className = "buttons";
  const yes = document.createElement("button");
  yes.type = "button";
  yes.className = "danger";
  yes.textContent = submitter?.textContent.trim() || "Yes";
  const no = document.createElement("button");
  no.type = "button";
  no.className = "quiet";
  no.textContent = "No, go back";
  no.autofocus = true;
  buttons.append(no, yes);
  dialog.append(sentence, buttons);
  no.addEventListener("click", () => dialog.close());
  yes.addEventListener("click", () => {
    confirmed.add(form);
    dialog.close();
    form.requestSubmit(submitter ?? undefined);
  });
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (!form.dataset.confirm || confirmed.delete(form)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    ask(form, event.submitter);
  },
  true,
);

// “3 min ago” behind a time of today, kept up while the page is open.
function ago(then) {
  const minutes = Math.floor((Date.now() - then) / 60000);
  if (Number.isNaN(minutes) || minutes < 0 || minutes >= 24 * 60) return "";
  if (minutes < 1) return " (just now)";
  if (minutes < 60) return ` (${minutes} min ago)`;
  return ` (${Math.floor(minutes / 60)} h ${minutes % 60} min ago)`;
}

const times = Array.from(document.querySelectorAll("time[data-since]"), (time) => {
  const note = document.createElement("span");
  time.append(note);
  return [Date.parse(time.dateTime), note];
});

function tick() {
  for (const [then, note] of times) note.textContent = ago(then);
}

if (times.length) {
  tick();
  setInterval(tick, 30000);
}
