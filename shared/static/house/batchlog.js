/* What is recorded of a batch, what this device still holds of it, and what was refused. */
"use strict";

const BatchLog = (() => {
  const part = (name) => document.getElementById(name);
  const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);
  let drawn = "";

  function factsOf(entry) {
    const found = [];
    const figure = (name, label, unit) => entry.facts[name] !== undefined && found.push(`${label} ${Number(entry.facts[name])} ${unit}`);
    figure("air_c", "air", "°C");
    figure("surface_c", "surface", "°C");
    figure("mix_c", "mix", "°C");
    figure("humidity_percent", "humidity", "%");
    if (entry.facts.dew_point_c !== undefined) found.push(`dew point ${Number(entry.facts.dew_point_c).toFixed(1)} °C`);
    if (entry.facts.margin_k !== undefined) found.push(`the surface ${Number(entry.facts.margin_k).toFixed(1)} K above it`);
    figure("kg", "", "kg");
    if (Number(entry.facts.written_off_kg)) figure("written_off_kg", "its stock record still held", "kg and now holds nothing");
    return found.length ? `: ${found.map((words) => words.trim()).join(", ")}` : "";
  }

  function gateOf(entry) {
    if (!entry.gate) return "";
    const stood = entry.gate.hindrances.map((one) => one.words).join(" ");
    const on = entry.gate.reason ? ` Went on: ${entry.gate.reason} (${entry.gate.decided_by}).` : "";
    return `${entry.gate.late ? "; told afterwards" : ""}${stood ? `. In the way: ${stood}` : ""}${on}`;
  }

  function rowsOf(batch, state, kgText) {
    const rows = [];
    for (const line of state.lines) {
      for (const one of line.weighings) rows.push({ at: one.at, what: `${capital(line.role)}: ${kgText(Pot.units(one.kg))} kg from ${one.container}${one.reason ? `, ${one.reason}` : ""}`, by: one.by, weighing: one, line });
    }
    for (const entry of state.entries) rows.push({ at: entry.at, what: `${entry.label}${factsOf(entry)}${entry.words ? `; ${entry.words}` : ""}${gateOf(entry)}`, by: entry.by, entry: entry.id });
    for (const row of Queue.of(batch)) {
      if (row.state !== "sent") rows.push({ at: row.at, what: row.label, by: row.state === "refused" ? "refused" : "on this device, not sent yet" });
    }
    return rows.sort((one, other) => new Date(one.at) - new Date(other.at));
  }

  /* `amend` gets an entry's number and its words; without it nothing can be put right here. */
  function drawRows({ batch, state, kgText, clockText, amend, reweigh }) {
    const rows = rowsOf(batch, state, kgText);
    const signature = JSON.stringify(rows);
    if (signature === drawn) return;
    drawn = signature;
    part("log").replaceChildren(...rows.map(({ at, what, by, entry, weighing, line }) => h("tr", {},
      h("th", { scope: "row" }, clockText(at)), h("td", {}, what), h("td", {}, by),
      h("td", {}, entry && amend ? h("button", { type: "button", class: "button--plain", tap: () => amend(entry, what) }, "Amend", h("span", { class: "unseen" }, ` ${what}`)) : weighing && weighing.id && reweigh ? h("button", { type: "button", class: "button--plain", tap: () => reweigh(weighing, line) }, "Put right", h("span", { class: "unseen" }, ` ${what}`)) : ""))));
    nameCells(part("log").closest("table"));
  }

  /*
   * Refusals and what waits for the network; `back` takes an entry back, `again` sends it anyway,
   * `happened` says of what the gate refused that it has been done.
   */
  function drawNetwork({ batch, back, again, happened }) {
    const refused = Queue.of(batch).filter((row) => row.state === "refused");
    const waiting = Queue.unsent().filter((row) => row.state === "waiting");
    const others = Queue.others().length;
    const box = part("network");
    const signature = JSON.stringify([refused, waiting, others, Queue.isTrying()]);
    if (box.dataset.drawn === signature) return;
    box.dataset.drawn = signature;
    const quiet = !refused.length && !waiting.length && !others;
    box.className = `network${refused.length ? " network--refused note--stop" : quiet ? "" : " note--mind"}`;
    box.replaceChildren();
    if (quiet) box.append(h("p", { class: "soft" }, "Everything is sent."));
    for (const row of refused) {
      box.append(h("p", {}, h("strong", {}, `${row.label} was refused. `), row.words),
        h("div", { class: "actions" }, h("button", { type: "button", class: "button--plain", tap: () => back(row) }, "Understood, take the entry back"),
          row.code === "not_ready" || (row.code === "batch_fixed" && row.kind === "weighing") ? h("button", { type: "button", class: "button--plain", tap: () => happened(row) }, row.kind === "weighing" ? "It is in the pot: record it" : "It has happened: record it, and quarantine the casting") : null,
          row.code === "weighed_meanwhile" ? h("button", { type: "button", class: "button--plain", tap: () => again(row) }, "Both are in the pot: record mine as well") : null));
    }
    if (!refused.length && waiting.length) {
      const words = waiting.map((row) => row.words).filter(Boolean)[0] || (Queue.isTrying() ? "No connection: kept on this device and sent as soon as there is one. Go on working." : "Being sent.");
      box.append(h("p", {}, h("strong", {}, `${waiting.length} ${waiting.length === 1 ? "entry" : "entries"} not sent yet. `), words));
    }
    if (others) box.append(h("p", {}, `${others} ${others === 1 ? "entry" : "entries"} of another person wait on this device; they are sent when that person signs in and opens a batch here.`));
  }

  return { drawRows, drawNetwork, capital };
})();
