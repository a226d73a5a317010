/*
 * Entries made on this device: kept until the shop's computer has taken them, sent one at a time in
 * the order they were made. Each carries its own time and a key, so that a repeat changes nothing.
 */
"use strict";

const Queue = (() => {
  const NAME = "shop.entries";
  const OFFSET = "shop.clock-offset";
  const WAITS_S = [1, 2, 4, 8, 15, 30];
  let sending = false;
  let timer = null;
  let failures = 0;
  const listeners = [];

  const read = () => JSON.parse(localStorage.getItem(NAME) || "[]");
  const write = (rows) => { localStorage.setItem(NAME, JSON.stringify(rows)); tell(); };
  const tell = () => listeners.forEach((listener) => listener());
  const change = (key, values) => write(read().map((row) => (row.key === key ? { ...row, ...values } : row)));

  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return "device-" + Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /* The device's clock may be wrong: the shop's computer says how far, whenever it answers. */
  function now() {
    return new Date(Date.now() + Number(localStorage.getItem(OFFSET) || 0));
  }

  function learnClock(response) {
    const said = Date.parse(response.headers.get("Date") || "");
    const apart = said + 500 - Date.now();
    const held = Number(localStorage.getItem(OFFSET) || 0);
    // The header counts whole seconds: a smaller difference is its rounding, not a wrong clock.
    if (!Number.isNaN(said) && Math.abs(apart - held) > 2000) localStorage.setItem(OFFSET, Math.abs(apart) > 2000 ? apart : 0);
  }

  /* An entry is sent by the person who made it, never under another's name. */
  const user = () => (document.querySelector("[data-user]") || { dataset: {} }).dataset.user || "";
  const mine = (row) => row.user === user();

  function add(entry) {
    // Two quick taps, or a clock put right between them, must not change the order of what happened.
    const last = Math.max(0, ...of(entry.batch).map((row) => Date.parse(row.at)));
    const moment = Math.max(now().getTime(), last - now() < 5000 ? last + 1 : 0);
    const row = { ...entry, user: user(), key: newKey(), at: new Date(moment).toISOString(), state: "waiting", words: "" };
    // Made without a network it is told when it has happened: nothing can be stopped any more.
    const already = entry.kind === "contact" || entry.kind === "poured" || entry.kind === "weighing";
    // A weighing put right has no time of its own: it holds from when the shop's computer knows it.
    const timed = entry.kind === "reweighed" ? {} : { at: row.at };
    row.body = { ...entry.body, ...timed, ...(already && (failures > 0 || !navigator.onLine) ? { already: true } : {}) };
    write([...read(), row]);
    send();
    return row;
  }

  async function post(row, csrf) {
    const response = await fetch(row.url, {
      method: "POST",
      credentials: "same-origin",
      headers: { "Content-Type": "application/json", Accept: "application/json",
        "Idempotency-Key": row.key, "X-CSRFToken": csrf },
      body: JSON.stringify(row.body),
    });
    learnClock(response);
    const text = await response.text();
    let answer = {};
    try { answer = JSON.parse(text); } catch { answer = {}; }
    return { status: response.status, answer };
  }

  function wordsOf(answer, status) {
    const details = (answer.errors || []).map((error) => error.detail).filter(Boolean);
    return details.join(" ") || answer.detail || answer.title || `Refused with code ${status}.`;
  }

  async function send() {
    if (sending) return;
    sending = true;
    clearTimeout(timer);
    try {
      for (;;) {
        const rows = read();
        // Trouble is told first: nothing that waits or was refused may hold it up.
        const mineOpen = rows.filter((one) => one.state !== "sent" && mine(one));
        const row = mineOpen.find((one) => one.urgent && one.state === "waiting") || mineOpen[0];
        if (!row || row.state === "refused") break;
        const { status, answer } = await post(row, csrfToken());
        if (status >= 200 && status < 300) {
          failures = 0;
          change(row.key, { state: "sent", answer });
        } else if (status === 401 || status === 403) {
          change(row.key, { words: "Sign in again; the entry is kept on this device." });
          later();
          break;
        } else if (status === 429 || status >= 500 || (status === 409 && answer.code === "still_running")) {
          later();
          break;
        } else {
          change(row.key, { state: "refused", words: wordsOf(answer, status), code: answer.code || "", limit: answer.limit });
        }
      }
    } catch {
      later();
    } finally {
      sending = false;
      tell();
    }
  }

  function later() {
    const wait = WAITS_S[Math.min(failures, WAITS_S.length - 1)];
    failures += 1;
    timer = setTimeout(send, wait * 1000);
  }

  function csrfToken() {
    const cookie = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
    return cookie ? cookie.slice(10) : (document.querySelector("[data-csrf]") || { dataset: {} }).dataset.csrf || "";
  }

  const drop = (keys) => write(read().filter((row) => !keys.includes(row.key)));
  const of = (batch) => read().filter((row) => row.batch === batch);
  const unsent = () => read().filter((row) => row.state !== "sent" && mine(row));
  const others = () => read().filter((row) => row.state !== "sent" && !mine(row));

  window.addEventListener("online", () => { failures = 0; send(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  window.addEventListener("storage", (event) => { if (event.key === NAME) tell(); });

  return { add, send, of, unsent, others, drop, now, learnClock, isTrying: () => failures > 0,
    onChange: (listener) => listeners.push(listener) };
})();
