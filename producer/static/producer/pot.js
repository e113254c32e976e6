// The pot screen. Without this file each step is reached by its address.
"use strict";

const steps = Array.from(document.querySelectorAll(".pot-step[data-step]"));
const ways = Array.from(document.querySelectorAll("[data-step-to]"));

// The figure to type has the keyboard; what stands above it stays in sight.
function begin() {
  if (document.querySelector("[data-focus]")) return;
  const step = steps.find((one) => !one.hidden);
  const first = step?.querySelector(
    ".pot-large input:not([type=hidden]), .pot-choice button",
  );
  first?.focus({ preventScroll: true });
}

// Something else: the step is on this page already, so it needs no network.
function go(slug) {
  for (const step of steps) step.hidden = step.dataset.step !== slug;
  for (const way of ways) {
    if (way.dataset.stepTo === slug) way.setAttribute("aria-current", "step");
    else way.removeAttribute("aria-current");
  }
  steps.find((one) => !one.hidden)?.scrollIntoView();
  begin();
}

for (const way of ways) {
  way.addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    history.replaceState(null, "", way.href);
    go(way.dataset.stepTo);
  });
}

// From gross to tare where the tare is still to be typed: Enter goes on, then records.
for (const form of document.querySelectorAll(".pot-form")) {
  const { gross_mg: gross, tare_mg: tare } = form.elements;
  if (!gross || !tare) continue;
  gross.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || tare.value.trim()) return;
    event.preventDefault();
    tare.focus();
  });
}

// A vessel brings its tare along; it can be typed over.
for (const choice of document.querySelectorAll(".pot-form select[name=vessel]")) {
  choice.addEventListener("change", () => {
    const tare = choice.form.elements.tare_mg;
    const known = document.querySelector(
      `[data-tares] [data-vessel="${CSS.escape(choice.value)}"]`,
    );
    if (!tare || !known) return;
    tare.value = known.dataset.tare;
    tare.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

function make(tag, text, className) {
  const element = document.createElement(tag);
  if (text) element.textContent = text;
  if (className) element.className = className;
  return element;
}

// ------------------------------------------------------------ kept on this device

// An entry without network is in the pot all the same. It is told in its step, and a
// temperature raises the alarm here: our server hears of it later.
const heat = document.querySelector("[data-heat]");
const overdue = document.querySelector("[data-overdue]");
const forms = Array.from(document.querySelectorAll(".pot-step form[data-keep]"));
const SENT = "kettlebook.sent";
let keptHere = [];
let isLeaving = false;

function pathOf(address) {
  return new URL(address, location.href).pathname;
}

function timeOf(entry) {
  return new Date(entry.since).toLocaleTimeString([], {
    hour: "2-digit",
    minute: "2-digit",
  });
}

function keptOf(form) {
  const path = pathOf(form.action);
  return keptHere.filter((entry) => pathOf(entry.action) === path);
}

function temperatures() {
  const form = document.querySelector("[data-step=temperature] form[data-keep]");
  if (!form) return [];
  return keptOf(form)
    .map((entry) => {
      const typed = new Map(entry.fields).get("value") || "";
      const celsius = Number.parseFloat(typed.trim().replace("−", "-").replace(",", "."));
      return { celsius, typed: typed.trim(), at: Date.parse(entry.since), entry };
    })
    .filter((one) => Number.isFinite(one.celsius));
}

function alarm() {
  if (!heat) return;
  const last = temperatures().at(-1);
  const serverSays = document.querySelector("[data-alarm]");
  if (serverSays) serverSays.hidden = Boolean(last);
  const isHot = Boolean(last) && last.celsius > Number(heat.dataset.heat);
  const key = isHot ? last.entry.submission : "";
  if (heat.dataset.shown === key) return; // a live region is not read out twice
  heat.dataset.shown = key;
  heat.replaceChildren();
  if (!isHot) return;
  const limit = `${heat.dataset.heatWords} °C`;
  const section = make("section", "", "pot-alarm");
  const heading = make("h2");
  heading.append(make("strong", "TOO HOT"), ` ${last.typed} °C, limit ${limit}`);
  const todo = make("ol");
  todo.append(
    make("li", "Off the heat."),
    make("li", "Stir: it can foam over."),
    make("li", `Read again: ${limit} or less.`),
  );
  section.append(
    heading,
    todo,
    make("p", `Read at ${timeOf(last.entry)}, kept on this device.`),
  );
  heat.append(section);
  section.scrollIntoView();
}

// Too long without a temperature is said while the page stands open, too.
function remind() {
  const read = temperatures().map((one) => one.at);
  // Before anything cooks there is neither; a browser would read “0” as the year 2000.
  const from = Math.max(Date.parse(overdue.dataset.from ?? "") || 0, ...read);
  if (!from) return;
  overdue.hidden = (Date.now() - from) / 60000 <= Number(overdue.dataset.overdue);
}

if (overdue) setInterval(remind, 15000);

function brief(entry) {
  const [what] = entry.words.split(": ");
  return /^[\d.,]+ k?g of /.test(what) ? what : entry.words;
}

function isOnce(slug) {
  return slug.startsWith("charge-") || slug.startsWith("start-") || slug === "yield";
}

// What comes after a step and was not done here yet.
function after(step) {
  return steps.slice(steps.indexOf(step) + 1).find((one) => {
    const form = one.querySelector("form[data-keep]");
    return form && !keptOf(form).length;
  });
}

function tellIn(form) {
  const step = form.closest(".pot-step");
  const kept = keptOf(form);
  for (const old of step.querySelectorAll("[data-told]")) old.remove();
  if (!kept.length) {
    delete step.dataset.kept;
    return;
  }
  const note = make("div");
  note.dataset.told = "";
  note.setAttribute("role", "status");
  for (const entry of kept) {
    const line = `Kept: ${brief(entry)}, ${timeOf(entry)}; sent when the network is back.`;
    note.append(make("p", line, "pot-kept"));
  }
  const slug = step.dataset.step;
  if (isOnce(slug)) {
    const more = step.dataset.more === String(kept.length);
    if (more) {
      note.append(make("p", "What you enter now counts besides.", "pot-mind"));
      delete step.dataset.kept;
    } else {
      step.dataset.kept = "";
      note.append(whatNext(step, slug, kept.length));
    }
  }
  step.querySelector("h2").after(note);
}

function whatNext(step, slug, count) {
  const buttons = make("div", "", "pot-on");
  const next = after(step);
  const way = next && ways.find((one) => one.dataset.stepTo === next.dataset.step);
  if (way) {
    const on = make("button", `Next: ${way.textContent.trim()}`);
    on.type = "button";
    on.addEventListener("click", () => way.click());
    buttons.append(on);
  }
  if (slug.startsWith("charge-")) {
    const more = make("button", "Weigh in more of it", "quiet");
    more.type = "button";
    more.addEventListener("click", () => {
      step.dataset.more = String(count);
      showKept();
      begin();
    });
    buttons.append(more);
  }
  return buttons;
}

function showKept() {
  for (const form of forms) tellIn(form);
  alarm();
  if (overdue) remind();
}

function isTyped(field) {
  if (field.type === "hidden" || field.tagName === "BUTTON") return false;
  if (field.tagName === "SELECT") {
    // Where none is said to be chosen, the browser chooses the first.
    const own = Array.from(field.options).findIndex((one) => one.defaultSelected);
    return field.selectedIndex !== Math.max(own, 0);
  }
  if (field.type === "checkbox" || field.type === "radio") {
    return field.checked !== field.defaultChecked;
  }
  return "defaultValue" in field && field.value !== field.defaultValue;
}

// Once all is sent, the figures are fetched anew; never from under somebody's hands.
function fetchAnew(sent) {
  const all = Array.from(document.querySelectorAll("main form"));
  const isBusy = all.some((form) => form.getAttribute("aria-busy") === "true");
  if (isBusy || all.some((form) => Array.from(form.elements).some(isTyped))) return;
  isLeaving = true;
  try {
    const count = sent.filter((one) => one.outcome !== "discrepancy").length;
    if (count) sessionStorage.setItem(SENT, String(count));
  } catch {
    // The device keeps nothing: the entries stand in the page all the same.
  }
  location.assign(location.pathname);
}

// The page goes to the bar of what is kept; at the pot the step says it.
document.addEventListener("kept", (event) => {
  event.target.closest(".pot-step")?.scrollIntoView();
});

document.addEventListener("entries-kept", (event) => {
  const { waiting, sent } = event.detail;
  keptHere = waiting.filter((entry) => !entry.refused);
  if (isLeaving) return;
  showKept();
  if (sent.length && !keptHere.length) setTimeout(() => !isLeaving && fetchAnew(sent), 300);
});

function sayWhatWasSent() {
  let count = 0;
  try {
    count = Number(sessionStorage.getItem(SENT));
    sessionStorage.removeItem(SENT);
  } catch {
    return; // as above
  }
  if (!count) return;
  const words = `Sent and recorded: ${count} ${count === 1 ? "entry" : "entries"}.`;
  const note = make("p", words, "note done");
  note.setAttribute("role", "status");
  document.querySelector("main").prepend(note);
}

// ------------------------------------------------------------ without network we stay

// What cannot be kept goes to the server; where that does not answer, the browser would
// put its error in place of the pot.
const LONGEST = 4000; // ms for an answer
const passing = new WeakSet();
let asking = false;

async function answers() {
  if (!navigator.onLine) return false;
  const { whose } = document.querySelector("script[data-whose]").dataset;
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), LONGEST);
  try {
    await fetch(whose, { cache: "no-store", redirect: "manual", signal: stop.signal });
    return true;
  } catch {
    return false;
  } finally {
    clearTimeout(timer);
  }
}

async function unlessCut(element, words, go) {
  if (asking) return;
  asking = true;
  const isThere = await answers();
  asking = false;
  document.querySelector("[data-no-network]")?.remove();
  if (isThere) {
    go();
    return;
  }
  const note = make("p", words, "pot-mind");
  note.dataset.noNetwork = "";
  note.setAttribute("role", "alert");
  (element.closest(".pot-last, .pot-head, ul, p") || element).after(note);
  note.scrollIntoView({ block: "nearest" });
}

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if ("keep" in form.dataset || passing.delete(form)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const button = event.submitter;
    const what = (button?.textContent || "send it").trim().toLowerCase();
    unlessCut(form, `No network: ${what} later. This page stays.`, () => {
      passing.add(form);
      form.requestSubmit(button);
    });
  },
  true,
);

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || event.defaultPrevented || event.button) return;
  if (event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  const there = new URL(link.href);
  if (there.origin !== location.origin || link.target || link.download) return;
  if (there.hash && there.pathname + there.search === location.pathname + location.search) {
    return;
  }
  event.preventDefault();
  const words = `No network: open “${link.textContent.trim()}” later. This page stays.`;
  unlessCut(link, words, () => location.assign(there));
});

function sayIfOffline() {
  for (const note of document.querySelectorAll("[data-offline]")) {
    note.hidden = navigator.onLine;
  }
}

addEventListener("online", sayIfOffline);
addEventListener("offline", sayIfOffline);
sayIfOffline();

// The screen stays on, where the browser allows it; it lets go when the page is hidden.
const awake = document.querySelector("[data-awake]");

async function stayAwake() {
  if (!("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  let words = "Screen stays on";
  try {
    await navigator.wakeLock.request("screen");
  } catch (error) {
    // Refused: battery saver, or a browser that wants a touch first.
    words = "The screen may go dark";
    addEventListener("pointerdown", stayAwake, { once: true });
  }
  if (awake) {
    awake.textContent = words;
    awake.hidden = false;
  }
}

document.addEventListener("visibilitychange", stayAwake);
stayAwake();
sayWhatWasSent();
document.dispatchEvent(new CustomEvent("entries-asked"));
begin();
