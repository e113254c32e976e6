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

// Too long without a temperature is said while the page stands open, too.
const overdue = document.querySelector("[data-overdue][data-from]");

function remind() {
  const minutes = (Date.now() - Date.parse(overdue.dataset.from)) / 60000;
  overdue.hidden = minutes <= Number(overdue.dataset.overdue);
}

if (overdue) setInterval(remind, 15000);

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
begin();
