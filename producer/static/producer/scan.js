// Scanning: by a handheld scanner, which types like a very fast hand and ends with
// Enter, and by the camera where the browser can read codes. Loaded before app.js, so
// that a “/” in the middle of a code is not taken for the way to the search box.
"use strict";

(() => {
  const find = document.querySelector("form.find");
  const box = find?.querySelector("[name=q]");
  if (!box) return;

  // A scanner sends a character every few milliseconds; nobody types that fast.
  const LONGEST_GAP = 100;
  const FEWEST = 6;
  const CODE = /^(?:[a-z]\d{2}-?\d{4,}-?[0-9a-z](?:\/\d+)?|[0-9a-z]{4}-?[0-9a-z]{4}-?[0-9a-z]{4}|https?:\/\/\S+)$/i;
  const NO_TEXT = /^(?:checkbox|radio|button|submit|reset|file|range|color|image)$/;

  function takesText(target) {
    if (!(target instanceof Element)) return false;
    if (target.closest("textarea, select, [contenteditable]")) return true;
    const input = target.closest("input");
    return Boolean(input) && !NO_TEXT.test(input.type);
  }

  // What somebody has typed into a form must not be lost by a scan in passing.
  let typed = false;
  document.addEventListener("input", (event) => {
    if (event.target.form?.method === "post") typed = true;
  });

  function go(code) {
    // A page that collects codes takes them itself.
    const told = new CustomEvent("scanned", { detail: code, cancelable: true });
    if (!document.dispatchEvent(told)) return;
    box.value = code;
    if (typed) {
      box.focus();
      box.select();
    } else {
      find.requestSubmit();
    }
  }

  let burst = "";
  let last = 0;
  document.addEventListener(
    "keydown",
    (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) burst = "";
      if (takesText(event.target) || document.querySelector("dialog[open]")) {
        burst = "";
        return;
      }
      const isFast = event.timeStamp - last <= LONGEST_GAP;
      if (event.key === "Enter") {
        const code = isFast ? burst : "";
        burst = "";
        if (code.length < FEWEST || !CODE.test(code)) return;
        event.preventDefault();
        event.stopPropagation();
        go(code);
        return;
      }
      if (event.key.length !== 1) return; // Shift and its like
      burst = isFast ? burst + event.key : event.key;
      last = event.timeStamp;
      if (event.key === "/" && burst.length > 1) {
        event.preventDefault();
        event.stopPropagation();
      }
    },
    true,
  );

  // The camera: only where the page may ask for it and the browser reads codes itself.
  const buttons = document.querySelectorAll("[data-camera]");
  if (
    !buttons.length ||
    !window.isSecureContext ||
    !("BarcodeDetector" in window) ||
    !navigator.mediaDevices?.getUserMedia
  ) {
    return;
  }
  for (const button of buttons) button.hidden = false;

  function show() {
    const dialog = document.createElement("dialog");
    dialog.className = "camera";
    const said = document.createElement("p");
    said.id = "camera-says";
    said.setAttribute("role", "status");
    said.textContent = "Hold the code in front of the camera.";
    dialog.setAttribute("aria-labelledby", said.id);
    const video = document.createElement("video");
    video.muted = true;
    video.playsInline = true;
    const close = document.createElement("button");
    close.type = "button";
    close.textContent = "Close the camera";
    close.addEventListener("click", () => dialog.close());
    dialog.append(said, video, close);
    document.body.append(dialog);
    dialog.showModal();
    return { dialog, said, video };
  }

  // What is still in view from the last look is not a new code.
  async function look(dialog, video, before = "") {
    const detector = new window.BarcodeDetector();
    while (dialog.open) {
      const seen = video.readyState >= 2 ? await detector.detect(video) : [];
      const code = seen.length ? seen[0].rawValue.trim() : "";
      if (!code) before = "";
      else if (code !== before && dialog.open) return code;
      await new Promise((again) => setTimeout(again, 200));
    }
    return "";
  }

  async function lookForMany(dialog, said, video) {
    let code = "";
    let read = 0;
    while ((code = await look(dialog, video, code))) {
      read += 1;
      said.textContent = `${read} read. Take it out of view, then hold up the next one.`;
      go(code);
    }
  }

  async function open(button) {
    const { dialog, said, video } = show();
    let stream = null;
    const stop = () => {
      for (const track of stream?.getTracks() ?? []) track.stop();
    };
    dialog.addEventListener("close", () => {
      stop();
      dialog.remove();
    });
    try {
      stream = await navigator.mediaDevices.getUserMedia({
        video: { facingMode: "environment" },
      });
      if (!dialog.open) {
        stop();
        return;
      }
      video.srcObject = stream;
      await video.play();
      if (button.dataset.camera === "many") {
        await lookForMany(dialog, said, video);
        return;
      }
      const code = await look(dialog, video);
      if (!code) return;
      dialog.close();
      go(code);
    } catch (error) {
      if (!dialog.open) return;
      stop();
      said.textContent =
        error.name === "NotAllowedError"
          ? "The camera was not allowed. Allow it for this address, or type the code."
          : "The camera cannot be used here. Type the code instead.";
    }
  }

  for (const button of buttons) button.addEventListener("click", () => open(button));
})();
