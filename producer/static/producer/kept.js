// Entries made without network stay on this device until our server has them.
//
// A form with data-keep is stored here first and sent then. What the server names in its
// own answer is taken out of the store, and nothing else ever is. Works over plain HTTP
// on a local network too, where a browser offers neither service workers, locks nor
// randomUUID. Without this file the form is simply sent.
"use strict";

(() => {
  const settings = document.currentScript.dataset;
  const PREFIX = "kettlebook.kept.";
  const LOCK = "kettlebook.lock";
  const PATIENCE = 6000; // ms for one answer
  const PAUSE = 20000; // ms between tries
  const TRIES = 3; // of an entry over which the server stumbles
  const DIRECT = PATIENCE + 4000; // ms for which a form is on its own way
  const SETTLING = 700; // ms after an entry was kept, in which a double tap may still end
  const FIRST = "input:not([type=hidden]):not([type=radio]), select";
  const NOT_ENTERED = new Set(["csrfmiddlewaretoken"]);
  const me = makeId();
  const sending = new Set();
  const told = { sent: [], trouble: "", others: 0 };
  let settlesAt = 0;

  // ------------------------------------------------------------------ the store

  function makeId() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40; // version 4, RFC 9562
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  // A key for each entry: two tabs never write over each other. In order of writing.
  function waiting() {
    const found = [];
    try {
      for (let at = 0; at < localStorage.length; at += 1) {
        const key = localStorage.key(at);
        if (!key.startsWith(PREFIX)) continue;
        try {
          found.push({ ...JSON.parse(localStorage.getItem(key)), key });
        } catch {
          // Gone in the meantime, or not ours to read; it stays where it is.
        }
      }
    } catch {
      return [];
    }
    return found.sort((one, other) => (one.key < other.key ? -1 : 1));
  }

  function mine() {
    return waiting().filter((entry) => entry.user === settings.user);
  }

  // Returns false where the device has no room or keeps nothing.
  function put(entry) {
    try {
      const last = waiting().at(-1);
      const after = last ? Number(last.key.slice(PREFIX.length).split(".")[0]) + 1 : 0;
      const place = String(Math.max(Date.now(), after)).padStart(16, "0");
      entry.key ??= `${PREFIX}${place}.${entry.submission}`;
      const text = JSON.stringify(entry);
      localStorage.setItem(entry.key, text);
      return localStorage.getItem(entry.key) === text;
    } catch {
      return false;
    }
  }

  function forget(entry) {
    localStorage.removeItem(entry.key);
  }

  // ------------------------------------------------------------------ the time here

  // This device's clock, with its offset: the server tells how far it is off.
  function now() {
    const at = new Date();
    const offset = -at.getTimezoneOffset();
    const shifted = new Date(at.getTime() + offset * 60000);
    const two = (number) => String(Math.floor(number)).padStart(2, "0");
    const zone = `${two(Math.abs(offset) / 60)}:${two(Math.abs(offset) % 60)}`;
    return shifted.toISOString().replace("Z", `${offset < 0 ? "-" : "+"}${zone}`);
  }

  // ------------------------------------------------------------------ words

  function shown(field) {
    // Of the choices only what it was taken from, by its code: the rest can be looked up.
    if (field.tagName === "SELECT") {
      const chosen = field.name === "source" && field.selectedOptions[0];
      return chosen ? chosen.textContent.trim().split(" ")[0] : "";
    }
    if (field.type === "radio" || field.type === "checkbox") {
      return field.checked ? field.closest("label")?.textContent.trim() || "" : "";
    }
    return field.value.trim();
  }

  function label(field) {
    const group = field.closest("fieldset")?.querySelector("legend");
    const own = field.type === "radio" ? group : field.labels?.[0];
    const text = (own || field.labels?.[0])?.firstChild?.textContent || field.name;
    return text.replace(/\s+/g, " ").trim();
  }

  function words(form, submitter) {
    const parts = submitter?.name ? [submitter.textContent.trim()] : [];
    for (const field of form.elements) {
      if (!field.name || field.type === "hidden" || field.type === "password") continue;
      if (field.tagName === "BUTTON" || field.tagName === "FIELDSET") continue;
      const value = shown(field);
      if (value) parts.push(`${label(field)} ${value}`);
    }
    const net = form.querySelector("output[data-net-of]:not([hidden])");
    const mass = net?.firstChild?.textContent.replace(/^Net /, "").trim();
    const plain = (element) => element?.textContent.replace(/\s+/g, " ").trim();
    const step = plain(form.closest("[data-step]")?.querySelector("h2"));
    const name = form.dataset.keep || step || plain(document.querySelector("h1"));
    const what = mass && (form.dataset.keep || step) ? `${mass} of ${name}` : name;
    const said = parts.join(", ");
    return said.startsWith(what) ? said : `${what}: ${said}`;
  }

  // ------------------------------------------------------------------ sending

  // Returns what our server said, or a word for what else came back.
  async function ask(address, options) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const answer = await fetch(address, {
        cache: "no-store",
        credentials: "same-origin",
        redirect: "manual",
        signal: stop.signal,
        ...options,
      });
      if (answer.type === "opaqueredirect") return { trouble: "signed out" };
      const type = answer.headers.get("content-type") || "";
      if (answer.ok && type.startsWith("application/json")) return await answer.json();
      return { trouble: "not ours", status: answer.status };
    } catch {
      return { trouble: "no network" };
    } finally {
      clearTimeout(timer);
    }
  }

  function send(entry, token, { wasKept }) {
    const body = new URLSearchParams(entry.fields);
    body.append("csrfmiddlewaretoken", token);
    if (wasKept) {
      body.append("kept_since", entry.since);
      body.append("device_now", now());
    }
    return ask(entry.action, { method: "POST", headers: { "X-Kept": "1" }, body });
  }

  // An entry is on its own way, from the page it was typed on: leave it alone.
  function isDirect(entry) {
    return entry.direct && Math.abs(Date.now() - entry.direct) < DIRECT;
  }

  // One tab at a time. Not perfect, and need not be: what arrives twice is done once.
  async function locked(work) {
    const held = () => {
      try {
        return JSON.parse(localStorage.getItem(LOCK) || "{}");
      } catch {
        return {};
      }
    };
    const isFree = () => {
      const { by, until } = held();
      return !until || by === me || until < Date.now() || until > Date.now() + 120000;
    };
    const take = () => {
      localStorage.setItem(LOCK, JSON.stringify({ by: me, until: Date.now() + 15000 }));
    };
    try {
      if (!isFree()) return;
      take();
      await new Promise((done) => setTimeout(done, 20 + Math.random() * 60));
      if (held().by !== me) return;
      await work(take);
    } finally {
      if (held().by === me) localStorage.removeItem(LOCK);
    }
  }

  const TROUBLE = {
    "no network": "No network. They are sent as soon as there is one.",
    "not ours": "The server does not take them now. They are tried again.",
    "signed out": "You are signed out.",
  };

  let flushing = null;

  function flush() {
    flushing ??= flushOnce().finally(() => {
      flushing = null;
      draw();
    });
    return flushing;
  }

  async function flushOnce() {
    const all = waiting().filter((entry) => !isDirect(entry));
    told.others = 0;
    if (!all.length) {
      told.trouble = "";
      return;
    }
    if (!settings.user) {
      told.trouble = "signed out";
      return;
    }
    await locked(async (stillMine) => {
      const whose = await ask(settings.whose, {});
      if (whose.trouble || !whose.token) {
        told.trouble = whose.trouble || "not ours";
        return;
      }
      told.trouble = "";
      const due = waiting().filter((one) => !isDirect(one));
      told.others = due.filter((one) => one.user !== whose.user).length;
      for (const entry of due.filter((one) => one.user === whose.user)) {
        stillMine();
        const answer = await send(entry, whose.token, { wasKept: true });
        if (!take(entry, answer)) break;
        draw();
      }
    });
  }

  // Takes an answer in; returns whether the next entry may follow.
  function take(entry, answer) {
    if (answer.submission !== entry.submission) {
      told.trouble = answer.trouble || "not ours";
      // One that this server cannot take must not keep back all the others.
      if (answer.status === 404 || answer.status === 405) {
        put({ ...entry, refused: "The server has no page for it. Show it to somebody." });
        return true;
      }
      const failed = (entry.failed || 0) + (answer.status >= 500 ? 1 : 0);
      if (failed >= TRIES || answer.status === 400 || answer.status === 413) {
        // Who is asking was answered a moment ago: it is this entry, not the server.
        put({ ...entry, failed, refused: "The server cannot take it. Show it to somebody." });
        return true;
      }
      if (failed !== (entry.failed || 0)) put({ ...entry, failed });
      return false;
    }
    if (["recorded", "already", "discrepancy"].includes(answer.outcome)) {
      forget(entry);
      told.sent.push({ ...answer, entry });
      return true;
    }
    put({ ...entry, refused: answer.words, isFinal: answer.outcome === "refused" });
    return true;
  }

  // ------------------------------------------------------------------ the bar

  function make(tag, text, className) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (className) element.className = className;
    return element;
  }

  function link(text, address) {
    const element = make("a", text);
    element.href = address;
    return element;
  }

  function count(number) {
    return `${number} ${number === 1 ? "entry" : "entries"}`;
  }

  function when(entry) {
    // As everywhere else in the house, whatever the device is set to: 3 Nov 2026, 07:17.
    const months = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
    const at = new Date(entry.since);
    const two = (number) => String(number).padStart(2, "0");
    const day = `${at.getDate()} ${months[at.getMonth()]} ${at.getFullYear()}`;
    return `${day}, ${two(at.getHours())}:${two(at.getMinutes())}`;
  }

  function drawWaiting(bar, entries) {
    const here = entries.filter((entry) => entry.user === settings.user);
    const others = entries.filter((entry) => entry.user !== settings.user);
    if (settings.user && here.length) {
      bar.append(make("strong", `Kept on this device, not sent: ${count(here.length)}. `));
      bar.append(make("span", "Figures on this page do not know them yet. ", "at-length"));
      if (told.trouble === "signed out") {
        bar.append(make("span", `Sign in again; ${count(here.length)} wait. `));
        const back = location.pathname + location.search;
        const next = encodeURIComponent(back);
        bar.append(link("Sign in", `${settings.signIn}?next=${next}`));
      } else if (told.trouble) {
        bar.append(make("span", TROUBLE[told.trouble], "at-length"));
      }
      bar.append(list(here));
    }
    if (others.length) {
      const names = [...new Set(others.map((entry) => entry.name))].join(", ");
      const sentence = settings.user
        ? `${count(others.length)} of another account kept here (${names}): sent when that person signs in on this device.`
        : `Kept on this device, not sent: ${count(others.length)} (${names}). Sign in to send them.`;
      bar.append(make("p", sentence));
    }
  }

  function list(entries) {
    const items = make("ol");
    // At the pot each is told again in its step.
    const most = document.body.classList.contains("pot") ? 0 : 2;
    const isLong = entries.length > most && !entries.some((entry) => entry.refused);
    for (const entry of entries) {
      const item = make("li", `${entry.words}. ${when(entry)}`);
      if (entry.refused) item.append(make("strong", ` Not taken: ${entry.refused} `));
      if (entry.isFinal) item.append(offRead(entry));
      items.append(item);
    }
    if (!isLong) return items;
    const folded = make("details");
    folded.append(make("summary", "Which they are"), items);
    return folded;
  }

  // What our server itself refused, and where nothing was weighed or read that it would
  // have to keep: gone once somebody has read why.
  function offRead(entry) {
    const button = make("button", "I have read it", "quiet");
    button.type = "button";
    button.addEventListener("click", () => {
      forget(entry);
      draw();
    });
    return button;
  }

  function drawSent(bar) {
    const odd = told.sent.filter((one) => one.outcome === "discrepancy");
    const fine = told.sent.length - odd.length;
    if (fine) bar.append(make("p", `Sent and recorded: ${count(fine)}.`));
    for (const one of odd) {
      const sentence = make("p", `${one.words} `);
      if (one.go) sentence.append(link("Open it", one.go));
      bar.append(sentence);
    }
    bar.append(link("Open this page again for the figures", location.href));
  }

  // What the page itself makes of it: the pot screen shows it in its steps.
  function tell(entries) {
    const own = entries.filter((entry) => settings.user && entry.user === settings.user);
    const detail = { waiting: own, sent: told.sent };
    document.dispatchEvent(new CustomEvent("entries-kept", { detail }));
  }

  function draw() {
    const entries = waiting().filter((entry) => !isDirect(entry));
    tell(entries);
    document.body.toggleAttribute("data-entries-kept", entries.length > 0);
    let bar = document.getElementById("kept");
    if (!entries.length && !told.sent.length) {
      bar?.remove();
      return;
    }
    if (!bar) {
      bar = make("div");
      bar.id = "kept";
      bar.setAttribute("role", "status");
      document.querySelector("main").prepend(bar);
    }
    const isOdd = told.sent.some((one) => one.outcome === "discrepancy");
    bar.className = `band kept${entries.length || isOdd ? " waits" : ""}`;
    bar.replaceChildren();
    if (entries.length) drawWaiting(bar, entries);
    if (told.sent.length) drawSent(bar);
  }

  // Nothing was sent and nothing kept: that must not be overlooked.
  function warn(form) {
    const alarm = make("div", "", "band alarm");
    alarm.setAttribute("role", "alert");
    alarm.append(make("strong", "Not recorded and not kept. "));
    alarm.append(
      make(
        "span",
        "There is no network, and this device has no room or keeps nothing (a private window?). Write it on paper now, leave this page open and send it again.",
      ),
    );
    form.querySelector("[data-not-kept]")?.remove();
    alarm.dataset.notKept = "";
    form.prepend(alarm);
    alarm.scrollIntoView({ block: "center" });
  }

  // ------------------------------------------------------------------ the form

  function read(form, submitter) {
    const data = new FormData(form, submitter);
    for (const value of data.values()) if (typeof value !== "string") return null;
    const submission = data.get("submission");
    if (!settings.user || !submission) return null;
    return {
      action: new URL(form.action).pathname + new URL(form.action).search,
      fields: [...data].filter(([name]) => {
        return !NOT_ENTERED.has(name) && !name.includes("password");
      }),
      name: settings.name,
      since: now(),
      submission,
      user: settings.user,
      words: words(form, submitter),
    };
  }

  // Ready for the next entry: what was typed goes, also what the server had shown again.
  function clear(form) {
    form.reset();
    const complaints = form.querySelector(".summary");
    if (complaints) {
      complaints.remove();
      for (const field of form.querySelectorAll("input:not([type]), input[type=text]")) {
        field.value = "";
      }
    }
    form.elements.submission.value = makeId();
    form.querySelector("[data-not-kept]")?.remove();
    for (const field of form.elements) field.dispatchEvent(new Event("input", { bubbles: true }));
    document.getElementById("kept")?.scrollIntoView({ block: "start" });
    form.dispatchEvent(new CustomEvent("kept", { bubbles: true }));
  }

  function keep(form, entry, isStored) {
    delete entry.direct;
    if (!isStored || !put(entry)) {
      warn(form);
      return;
    }
    clear(form);
    draw();
    settlesAt = performance.now() + SETTLING;
  }

  // Whoever tapped twice tapped the button, not the link that slid to its place when the
  // entry was kept: without a network that link leads away from the page.
  document.addEventListener(
    "click",
    (event) => {
      if (event.detail < 2 || performance.now() > settlesAt) return;
      event.preventDefault();
      event.stopImmediatePropagation();
    },
    true,
  );

  // Returns whether the page is being left.
  async function submit(form, entry, submitter) {
    entry.direct = Date.now();
    const isStored = put(entry);
    // What was written before it arrives before it.
    if (mine().some((one) => one.submission !== entry.submission && !one.refused)) {
      await flush();
      if (mine().some((one) => one.submission !== entry.submission && !one.refused)) {
        keep(form, entry, isStored);
        return false;
      }
    }
    const token = form.elements.csrfmiddlewaretoken?.value || "";
    const answer = await send(entry, token, { wasKept: false });
    if (answer.submission !== entry.submission) {
      told.trouble = answer.trouble || "not ours";
      keep(form, entry, isStored);
      if (answer.trouble !== "no network") flush();
      return false;
    }
    if (isStored) forget(entry);
    if (answer.outcome === "recorded" || answer.outcome === "already") {
      go(answer.go);
      return true;
    }
    // Refused: the page itself says why, beside each field.
    if (submitter?.name) {
      const chosen = document.createElement("input");
      Object.assign(chosen, { type: "hidden", name: submitter.name, value: submitter.value });
      form.append(chosen);
    }
    HTMLFormElement.prototype.submit.call(form);
    return true;
  }

  function go(address) {
    const there = new URL(address, location.href);
    const isHere = there.pathname + there.search === location.pathname + location.search;
    if (isHere && there.hash) {
      location.hash = there.hash;
      location.reload();
    } else {
      location.assign(there);
    }
  }

  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (event.defaultPrevented || !("keep" in form.dataset)) return;
      if (sending.has(form)) {
        event.preventDefault();
        event.stopImmediatePropagation();
        return;
      }
      const entry = read(form, event.submitter);
      if (!entry) return; // a file, or nothing to know it by: sent as ever
      event.preventDefault();
      sending.add(form);
      busy(form, true);
      submit(form, entry, event.submitter).then((isLeaving) => {
        if (isLeaving) return; // until the page is shown again
        sending.delete(form);
        busy(form, false);
        form.querySelector(FIRST)?.focus({ preventScroll: true });
      });
    },
    true,
  );

  // Nothing can be typed that would be cleared away when the entry is kept.
  function busy(form, is) {
    form.setAttribute("aria-busy", String(is));
    form.inert = is;
    for (const button of form.querySelectorAll("button:not([type=button])")) {
      button.disabled = is;
    }
  }

  // ------------------------------------------------------------------ when

  function tryAgain() {
    if (waiting().length) flush();
  }

  window.addEventListener("online", tryAgain);
  window.addEventListener("pageshow", () => {
    for (const form of sending) busy(form, false);
    sending.clear();
    tryAgain();
  });
  window.addEventListener("storage", (event) => {
    if (event.key?.startsWith(PREFIX)) draw();
  });
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) tryAgain();
  });
  setInterval(tryAgain, PAUSE);
  document.addEventListener("entries-asked", draw);
  draw();
})();
