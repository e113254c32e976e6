// Every bottle of a recall, read while it is written: how far it is, and at its end
// whether as many bottles came as the file itself says. Only then is it saved. Without
// this file the links are plain ones.
"use strict";

(() => {
  const NEWLINE = 10;
  const TAIL = 4096; // signs kept from the end: what a file says of itself may be cut in two
  const STEPS = 4; // times that a reader of the page aloud is told how far it is
  const END = {
    csv: /\r\n(?:MOCK,)?end,(\d+) bottles?,[^\r\n]*\r\n$/,
    json: /\], "end": \{"bottles": (\d+)\}\}\n$/,
    pdf: /\n% end: (\d+) bottles\n/,
  };
  const PAGE = /\n% (\d+) of \d+ bottles\n/g;
  const TYPE = { csv: "text/csv", json: "application/json", pdf: "application/pdf" };
  const number = new Intl.NumberFormat("en-GB");

  // Counts bottles: in the open data each is a line, between a first and a last one; in
  // the PDF a remark stands behind each page.
  function counting(kind) {
    const latin = new TextDecoder("latin1"); // any byte is a sign, and we look for ASCII
    let lines = 0;
    let pages = 0;
    let said = null;
    let tail = "";
    return {
      take(piece) {
        const text = tail + latin.decode(piece);
        if (kind === "pdf") {
          for (const [, far] of text.matchAll(PAGE)) pages = Number(far);
          const end = text.match(END.pdf);
          if (end) said = Number(end[1]);
        } else {
          for (const byte of piece) if (byte === NEWLINE) lines += 1;
        }
        tail = text.slice(-TAIL);
        return kind === "pdf" ? pages : Math.max(0, lines - 1);
      },
      // How many there are in a file that is whole; null where it is not.
      whole() {
        if (kind === "pdf") return tail.endsWith("%%EOF\n") && said === pages ? pages : null;
        const end = tail.match(END[kind]);
        return end && Number(end[1]) === lines - 2 ? lines - 2 : null;
      },
    };
  }

  function save(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    // The browser has taken it by then.
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }

  function offer(box) {
    const { kind } = box.dataset;
    const count = Number(box.dataset.count);
    const link = box.querySelector("[data-list-link]");
    const shown = box.querySelector("[data-list-progress]");
    const bar = box.querySelector("progress");
    const soFar = box.querySelector("[data-list-so-far]");
    const said = box.querySelector("[data-list-said]");
    let underway = null;
    let told = 0;

    function tell(listed) {
      bar.value = Math.min(listed, count);
      soFar.textContent = number.format(Math.min(listed, count));
      const step = count ? Math.floor((STEPS * listed) / count) : 0;
      if (step <= told || step >= STEPS) return;
      told = step;
      said.textContent = `${number.format(listed)} of ${number.format(count)} bottles are written.`;
    }

    async function read(signal) {
      const answer = await fetch(link.href, { signal });
      const type = answer.headers.get("Content-Type") || "";
      if (!answer.ok || !answer.body || !type.startsWith(TYPE[kind])) return null;
      const reader = answer.body.getReader();
      const counter = counting(kind);
      const pieces = [];
      let listed = 0;
      for (;;) {
        const { done, value } = await reader.read();
        if (done) break;
        pieces.push(value);
        listed = counter.take(value);
        tell(listed);
      }
      return { blob: new Blob(pieces, { type: TYPE[kind] }), listed, whole: counter.whole() };
    }

    function end({ blob, listed, whole }) {
      if (whole === null) {
        said.textContent = `The file broke off after about ${number.format(listed)} bottles. It is not saved: begin again.`;
        return;
      }
      save(blob, link.download);
      const now = whole === count ? "" : ` When this page was opened there were ${number.format(count)}.`;
      const bottles = whole === 1 ? "1 bottle is" : `${number.format(whole)} bottles are`;
      said.textContent = `${bottles} in ${link.download}, as many as it says at its end. It is saved.${now}`;
    }

    link.addEventListener("click", async (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
      event.preventDefault();
      if (underway) return;
      underway = new AbortController();
      told = 0;
      tell(0);
      shown.hidden = false;
      said.textContent = "The list is being written.";
      try {
        const found = await read(underway.signal);
        if (found) end(found);
        else location.assign(link.href);
      } catch (error) {
        said.textContent =
          error.name === "AbortError"
            ? "Stopped. Nothing is saved."
            : "The connection broke. Nothing is saved: begin again.";
      } finally {
        underway = null;
        shown.hidden = true;
      }
    });

    box.querySelector("[data-list-stop]").addEventListener("click", () => underway?.abort());
  }

  for (const box of document.querySelectorAll("[data-list]")) offer(box);
})();
