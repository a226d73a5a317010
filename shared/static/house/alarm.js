/*
 * Trouble is one tap: it is recorded and told to the others at once, then the page shows what to
 * do and asks how it went. An alarm that is open is shown again by its button, not told twice.
 */
"use strict";

const Alarm = (() => {
  const HIDDEN = "shop.alarms-hidden";
  /* What is asked afterwards: the form of the trouble card, with what is known filled in. */
  const ASKS = {
    hot_pot: { kind: "remark", label: "Tell how it went", preset: { words: "Hot pot: ", pot: true } },
    leak_seen: { kind: "leak", label: "Tell where and how much" },
    spill: { kind: "remark", label: "Tell what was spilt, and whether anybody is hurt", preset: { words: "Spill: " } },
    short_seen: { kind: "short", label: "Tell how much is missing" },
  };
  const part = (id) => document.getElementById(id);
  const hidden = () => JSON.parse(sessionStorage.getItem(HIDDEN) || "[]");
  /* By its key on this device and its number in the record: the time may change as it is recorded. */
  const isHidden = (one) => one.names.some((name) => hidden().includes(name));
  let drawn = "";

  /* Recorded by the shop's computer or held on this device, each kind once, those called over left out. */
  function open(state, held) {
    const over = Math.max(0, ...held.filter((row) => row.kind === "all_clear").map((row) => Date.parse(row.at)));
    const named = (row) => (row.answer && row.answer.id ? [row.key, `#${row.answer.id}`] : [row.key]);
    const own = held.filter((row) => row.kind in ASKS).map((row) => ({ kind: row.kind, at: row.at, by: "", waits: row.state === "waiting", names: named(row) }));
    const told = state.alarms.map((one) => ({ ...one, names: (own.find((row) => row.names.includes(`#${one.id}`)) || { names: [`#${one.id}`] }).names }));
    const found = new Map();
    for (const one of [...told, ...own]) if (Date.parse(one.at) > over && !found.has(one.kind)) found.set(one.kind, one);
    return [...found.values()].sort((one, other) => Date.parse(other.at) - Date.parse(one.at));
  }

  function hide(rows) {
    sessionStorage.setItem(HIDDEN, JSON.stringify([...new Set([...hidden(), ...rows.flatMap((one) => one.names)])].slice(-50)));
  }

  /* `told` records a kind at once; `ask` opens a form of the trouble card; `live` while a pot may be scrapped. */
  function draw({ state, held, clockText, told, ask, live, records, again }) {
    const rows = open(state, held);
    hide(rows.filter(isHidden)); // what has a number by now is hidden under that too
    const shown = rows.filter((one) => !isHidden(one));
    for (const button of document.querySelectorAll("[data-alarm]")) {
      const one = rows.find((row) => row.kind === button.dataset.alarm);
      button.setAttribute("aria-pressed", one ? "true" : "false");
      button.onclick = () => {
        if (!one) { if (records) told(button.dataset.alarm); return; }
        sessionStorage.setItem(HIDDEN, JSON.stringify(hidden().filter((name) => !one.names.includes(name))));
        again();
      };
    }
    const signature = JSON.stringify([shown.map((one) => one.names[0]), live]);
    if (signature === drawn) { tellHeard(shown); return; }
    if (shown.length && navigator.vibrate) navigator.vibrate([250, 250, 250]);
    drawn = signature;
    part("alarm").hidden = !shown.length;
    part("alarm").replaceChildren(...shown.map((one) => section({ one, state, clockText, ask, live, records, again })),
      shown.length ? actions({ shown, told, records, again }) : "");
    tellHeard(shown);
  }

  /* Only the words change once the others know: nothing is drawn anew under a finger. */
  function tellHeard(shown) {
    for (const one of shown) {
      const heard = !one.waits ? "The others are told." : Queue.isTrying() ? "No connection: the others are not told yet. Call out to them." : "The others are being told.";
      const place = part(`alarm-${one.kind}-heard`);
      if (place && place.textContent !== heard) place.textContent = heard;
    }
  }

  function section({ one, state, clockText, ask, live, records, again }) {
    const { label, what_to_do: care } = state.care.find((row) => row.kind === one.kind);
    const cautions = state.cautions.length ? h("p", { class: "small" }, h("strong", {}, "The data sheets warn: "), state.cautions.map((row) => row.text).join(" ")) : null;
    const form = (kind, words, preset) => h("button", { type: "button", class: "button--plain", id: `alarm-${one.kind}-${kind}`, tap: () => { hide([one]); again(); ask(kind, preset); } }, words);
    const { kind, label: words, preset } = ASKS[one.kind];
    return h("section", { "aria-label": label }, h("h2", {}, `${label}, ${clockText(one.at)}${one.by ? `, ${one.by}` : ""}`), h("p", { class: "alarm__told", id: `alarm-${one.kind}-heard` }),
      h("ol", { class: "alarm__do" }, ...care.map((line) => h("li", {}, line))), cautions,
      h("p", { class: "small" }, "Common practice, no source; the safety data sheet and local rules come first."),
      records ? h("div", { class: "actions" }, form(kind, words, preset), one.kind === "hot_pot" && live ? form("scrapped", "Scrap this pot", { words: "hot pot" }) : null) : null);
  }

  function actions({ shown, told, records, again }) {
    return h("div", { class: "actions alarm__actions" }, h("button", { type: "button", id: "alarm-hide", tap: () => { hide(shown); again(); } }, "Back to the pot"),
      records ? h("button", { type: "button", class: "button--plain", id: "alarm-over", tap: () => told("all_clear") }, "It is over") : null);
  }

  return { draw };
})();
