// The file of labels, read with progress. Without this file the link opens it at once.
"use strict";

function fetchLabels(box) {
  const link = box.querySelector("[data-labels-link]");
  const save = box.querySelector("[data-labels-save]");
  const shown = box.querySelector("[data-labels-progress]");
  const bar = box.querySelector("progress");
  const said = box.querySelector("[data-labels-said]");
  const address = link.href;
  let underway = null;
  let file = "";

  async function read(signal) {
    const answer = await fetch(address, { signal });
    const kind = answer.headers.get("Content-Type") || "";
    if (!answer.ok || !answer.body || !kind.startsWith("application/pdf")) return null;
    const total = Number(answer.headers.get("X-Estimated-Length")) || 0;
    const reader = answer.body.getReader();
    const pieces = [];
    let length = 0;
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      pieces.push(value);
      length += value.length;
      // The whole is estimated; the last percent is for what nobody foresaw.
      if (total) bar.value = Math.min(99, (100 * length) / total);
    }
    return new Blob(pieces, { type: "application/pdf" });
  }

  function offer(blob) {
    file = URL.createObjectURL(blob);
    bar.value = 100;
    link.href = save.href = file;
    link.target = "_blank";
    link.textContent = "Open the labels";
    save.hidden = false;
    const size = (blob.size / 1000000).toFixed(1);
    said.textContent = `The file is here, ${size} MB. It is the same issue as before.`;
    link.focus();
  }

  link.addEventListener("click", async (event) => {
    if (file || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    if (underway) return;
    underway = new AbortController();
    shown.hidden = false;
    bar.value = 0;
    said.textContent = "The sheets are being written.";
    try {
      const blob = await read(underway.signal);
      if (blob) offer(blob);
      else location.assign(address);
    } catch (error) {
      said.textContent =
        error.name === "AbortError"
          ? "Stopped. Nothing is lost: open them again."
          : "The connection broke. Nothing is lost: open them again.";
    } finally {
      underway = null;
      shown.hidden = true;
    }
  });

  box.querySelector("[data-labels-stop]").addEventListener("click", () => {
    underway?.abort();
  });

  window.addEventListener("pagehide", () => {
    if (file) URL.revokeObjectURL(file);
  });
}

for (const box of document.querySelectorAll("[data-labels]")) fetchLabels(box);
