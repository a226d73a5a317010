/*
 * The batch page. What is shown follows from what the shop's computer has recorded and what this
 * device still holds; one step is open at a time. Nothing here decides a rule: a refusal from the
 * shop's computer is shown and the step opens again.
 */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const root = document.getElementById("batch");
  const records = root.dataset.records === "yes";
  let state = JSON.parse(document.getElementById("batch-state").textContent);
  let ready = false;         // "I have everything" was tapped
  let substitute = null;     // a container other than the sheet's, with its reason
  let logged = "";           // what the log was drawn from
  let shown = null;          // the step that is drawn, so that typing is not disturbed
  const id = Number(root.dataset.batch);
  const part = (name) => document.getElementById(name);

  /* Masses are whole tenths of a gram here: binary fractions do not add up. */
  const units = (kg) => Math.round(Number(kg) * 10000);
  const kgText = (tenths) => (tenths / 10000).toFixed(state.decimals);
  const division = () => Math.max(1, Math.round(Number(state.readability_g || 0.1) * 10));
  const clockText = (at) => new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: state.zone }).format(new Date(at));

  function h(tag, attributes = {}, ...children) {
    const node = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name === "tap") node.addEventListener("click", value);
      else if (name === "input") node.addEventListener("input", value);
      else if (value === true) node.setAttribute(name, "");
      else if (value !== false && value !== null) node.setAttribute(name, value);
    }
    node.append(...children.filter((child) => child !== null && child !== undefined));
    return node;
  }

  /* What is known: recorded by the shop, or held on this device and not refused. */
  const held = () => Queue.of(id).filter((row) => row.state !== "refused");
  const heldKind = (kind) => held().filter((row) => row.kind === kind);
  const has = (kind) => state.entries.some((entry) => entry.kind === kind) || heldKind(kind).length > 0;

  function weighedInto(line) {
    const known = (key) => line.weighings.some((weighing) => weighing.key.endsWith(`:${key}`));
    const here = heldKind("weighing").filter((row) => row.line === line.id && !known(row.key));
    return line.weighings.reduce((sum, one) => sum + units(one.kg), 0) + here.reduce((sum, row) => sum + units(row.body.weighed_kg), 0);
  }
  const roleTotal = (role) => state.lines.filter((line) => line.role === role).reduce((sum, line) => sum + weighedInto(line), 0);
  const contactAt = () => state.contacted_at || (heldKind("contact")[0] || {}).at || null;
  const isPoured = (portion) => portion.poured_at !== null || heldKind("poured").some((row) => row.body.portion === String(portion.id));
  const isScrapped = () => state.status === "scrapped" || heldKind("scrapped").length > 0;
  const isCancelled = () => state.status === "cancelled";

  /* Off its ratio: what to add so that it is back inside the tolerance, rounded to the scale. */
  function correction() {
    if (state.lines.some((line) => weighedInto(line) === 0)) return null;
    const resin = roleTotal("resin");
    const hardener = roleTotal("hardener");
    const wanted = (resin * Number(state.hardener_per_100)) / 100;
    const off = (hardener - wanted) / wanted;
    if (Math.abs(off) <= Number(state.ratio_tolerance_percent) / 100 + 1e-9) return null;
    const role = off > 0 ? "resin" : "hardener";
    const exact = off > 0 ? (hardener * 100) / Number(state.hardener_per_100) - resin : wanted - hardener;
    const add = Math.round(exact / division()) * division();
    const line = state.lines.filter((one) => one.role === role).at(-1);
    return { role, add, line, off, total: resin + hardener + add };
  }

  function steps() {
    const list = [];
    const begun = state.lines.some((line) => weighedInto(line) > 0);
    list.push({ name: "prepare", title: "Make ready", done: ready || begun || Boolean(contactAt()) });
    for (const line of state.lines) {
      list.push({ name: `line-${line.id}`, title: `Weigh ${line.role}`, line, done: weighedInto(line) > 0 });
    }
    const wrong = contactAt() ? null : correction();
    if (wrong) list.push({ name: `correct-${wrong.role}-${wrong.add}`, title: "Put the ratio right", wrong, done: false });
    list.push({ name: "contact", title: "Mix: first contact", done: Boolean(contactAt()) });
    list.push({ name: "second", title: "Second container", done: has("second_container") || state.status === "poured" });
    for (const portion of state.portions) {
      list.push({ name: `portion-${portion.id}`, title: `Pour into ${portion.pour} lift ${portion.lift}`, portion, done: isPoured(portion) });
    }
    return list;
  }

  function record(kind, label, body = {}, more = {}) {
    const url = kind === "weighing" ? root.dataset.weighings : root.dataset.entries;
    const own = kind === "weighing" ? body : { kind, ...body };
    Queue.add({ batch: id, kind, url, label, body: own, ...more });
    shown = null;
    draw();
    part("step").focus({ preventScroll: true });
    part("step").scrollIntoView({ block: "start" });
  }

  /* Keypad and field for a weight; `judge` tells while typing, `take` gets tenths of a gram. */
  function weightEntry({ label, target, low, high, judge, take, button }) {
    const field = h("input", { id: "reading", class: "reading", inputmode: "none", autocomplete: "off", "aria-describedby": "judge", input: look });
    const verdict = h("div", { id: "judge", class: "judge", role: "status" }, "Type what the scale shows, kg.");
    const gauge = Gauge.make(target, low, high, division());
    function value() {
      const text = field.value.replace(",", ".").trim();
      return /^\d{1,4}(\.\d{1,6})?$/.test(text) ? units(text) : null;
    }
    function look() {
      const tenths = value();
      gauge.show(tenths);
      const [tone, words] = tenths === null ? ["", field.value ? "Not a weight: digits and one point, kg." : "Type what the scale shows, kg."] : judge(tenths);
      verdict.className = `judge judge--${tone}`;
      verdict.textContent = words;
    }
    const press = (sign) => () => {
      field.value = sign === "⌫" ? field.value.slice(0, -1) : field.value + sign;
      look();
    };
    const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "⌫"];
    const pad = h("div", { class: "keypad", role: "group", "aria-label": "Keypad" },
      ...keys.map((sign) => h("button", { type: "button", tap: press(sign), "aria-label": sign === "⌫" ? "Delete the last sign" : sign === "." ? "Point" : null }, sign)));
    const go = h("button", { type: "button", class: "button--big", id: "take", tap: () => {
      const tenths = value();
      if (tenths === null || tenths <= 0) {
        verdict.className = "judge judge--stop";
        verdict.textContent = `The weight is ${field.value || "empty"}; it must be above 0 kg. Read the scale again.`;
        field.focus();
        return;
      }
      take(tenths);
    } }, button);
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") go.click(); });
    return h("div", {}, h("label", { for: "reading" }, label), field, gauge.node, verdict, scaleButton(field, look), pad, go);
  }

  /* Follows the scale that posts its readings, until the field is gone or the button tapped again. */
  function scaleButton(field, look) {
    if (!root.dataset.scaleUrl) return null;
    let timer = null;
    const button = h("button", { type: "button", class: "button--plain", id: "from-scale", "aria-pressed": "false", tap: () => (timer ? stop("Take it from the scale") : start()) }, "Take it from the scale");
    function stop(words) {
      clearInterval(timer);
      timer = null;
      button.textContent = words;
      button.setAttribute("aria-pressed", "false");
    }
    async function follow() {
      if (!field.isConnected) { stop(""); return; }
      try {
        const reading = await (await fetch(root.dataset.scaleUrl, { credentials: "same-origin" })).json();
        if (timer === null) return;
        button.textContent = reading.kg === null ? "The scale is silent" : reading.stable ? "The scale stands still" : "The scale runs";
        if (reading.kg !== null) { field.value = Number(reading.kg).toFixed(state.decimals); look(); }
      } catch {
        stop("No connection to the scale: type the weight");
      }
    }
    function start() {
      button.setAttribute("aria-pressed", "true");
      button.textContent = "Listening to the scale";
      timer = setInterval(follow, 600);
    }
    return button;
  }

  function target(label, figure, within) {
    return h("div", { class: "target" }, h("div", { class: "target__label" }, label), h("div", { class: "target__figure" }, figure), h("div", { class: "target__within" }, within));
  }

  /* The can in hand must be the can on the sheet, in date and released. */
  function scanEntry(line, next) {
    const field = h("input", { id: "scan", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", "aria-describedby": "scan-judge" });
    const verdict = h("div", { id: "scan-judge", class: "judge", role: "status" }, "Scan or type the code on the can.");
    const other = h("div", { hidden: true });
    function check() {
      const code = field.value.trim();
      other.hidden = true;
      if (code === line.container) return next(null);
      verdict.className = "judge judge--stop";
      verdict.textContent = code
        ? `Stop: this is ${code}; the sheet asks for ${line.container}, lot ${line.lot}. Fetch that one.`
        : "The code is empty. Scan the can.";
      if (code) showOther(code);
      return null;
    }
    function showOther(code) {
      const reason = h("input", { id: "reason", autocomplete: "off" });
      other.replaceChildren(
        h("label", { for: "reason" }, `Or use ${code} instead. Why?`), reason,
        h("button", { type: "button", class: "button--plain", id: "use-other", tap: () => {
          if (reason.value.trim().length < 3) { verdict.textContent = "Give a reason of at least 3 letters."; reason.focus(); return; }
          next({ container: code, reason: reason.value.trim() });
        } }, `Use ${code}`));
      other.hidden = false;
    }
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") check(); });
    return h("div", {}, h("label", { for: "scan" }, "Code on the can"), field, verdict,
      h("button", { type: "button", class: "button--big", id: "check-can", tap: check }, "Check the can"), other);
  }

  const scanned = new Set();
  function drawLine({ line }) {
    const aim = units(line.target_kg);
    const low = units(line.low_kg);
    const high = units(line.high_kg);
    const late = line.usable_until && new Date(line.usable_until) < Queue.now();
    const where = [line.material, `can ${line.container}`, `lot ${line.lot}`, line.shelf].filter(Boolean).join(", ");
    const head = [h("p", {}, where), target(`${line.role}, kg`, kgText(aim), `within ${kgText(low)} to ${kgText(high)} kg`)];
    const barred = line.lot_status !== "released";
    if (barred) head.push(h("p", { class: "judge judge--stop" }, `Stop: lot ${line.lot} is not released (${line.lot_status}). Fetch another can of ${line.material} and scan it.`));
    if (late) {
      head.push(h("p", { class: "judge judge--stop" }, `Stop: lot ${line.lot} may not be used after ${clockText(line.usable_until)} on ${line.usable_until.slice(0, 10)}. Fetch another can of ${line.material} and scan it.`));
    }
    if (!scanned.has(line.id)) {
      return [...head, scanEntry(line, (instead) => {
        if ((late || barred) && !instead) return;
        substitute = instead && { ...instead, line: line.id };
        scanned.add(line.id);
        shown = null;
        draw();
      })];
    }
    const judge = (tenths) => {
      if (tenths < low) return ["mind", `${kgText(low - tenths)} kg short of the least.`];
      if (tenths > high) return ["stop", `${kgText(tenths - high)} kg too much. Record what is really in the pot; the next step tells what to add.`];
      return ["good", `Good: ${tenths === aim ? "on target" : `${kgText(Math.abs(tenths - aim))} kg ${tenths > aim ? "over" : "under"} target`}.`];
    };
    const chosen = substitute && substitute.line === line.id ? substitute : null;
    if (chosen) head.push(h("p", { class: "judge judge--mind" }, `From ${chosen.container} instead: ${chosen.reason}`));
    return [...head, weightEntry({ label: "In the pot, kg", target: aim, low, high, judge, button: `Record ${line.role}`,
      take: (tenths) => weigh(line, tenths, chosen) })];
  }

  function weigh(line, tenths, chosen) {
    const body = { line: String(line.id), weighed_kg: (tenths / 10000).toFixed(4) };
    if (chosen) Object.assign(body, { container_code: chosen.container, reason: chosen.reason });
    substitute = null;
    record("weighing", `${line.role}: ${kgText(tenths)} kg`, body, { line: line.id });
  }

  function drawCorrection({ wrong }) {
    const pot = state.pot_kg === null ? null : units(state.pot_kg);
    const tooMuch = pot !== null && wrong.total > pot;
    const share = `${Math.abs(wrong.off * 100).toFixed(1)} %`;
    const told = held().map((row) => row.answer && row.answer.correction).filter(Boolean).at(-1);
    return [
      h("p", { class: "judge judge--stop" }, `The pot has ${share} too ${wrong.off > 0 ? "much" : "little"} hardener; ± ${Number(state.ratio_tolerance_percent)} % is allowed. Do not mix yet.`),
      target(`Add ${wrong.role}, kg`, kgText(wrong.add), `new total ${kgText(wrong.total)} kg`),
      ...(told ? told.problems : []).map((words) => h("p", { class: "judge judge--stop" }, words)),
      tooMuch ? h("p", { class: "judge judge--stop" }, `The total would be ${kgText(wrong.total)} kg; the pot takes ${kgText(pot)} kg. Scrap this pot below and weigh anew.`) : null,
      weightEntry({ label: `Added ${wrong.role}, kg`, target: wrong.add, low: wrong.add - division(), high: wrong.add + division(),
        judge: (tenths) => (Math.abs(tenths - wrong.add) <= division() ? ["good", "Good."] : ["mind", `Asked for: ${kgText(wrong.add)} kg.`]),
        button: "Record what was added", take: (tenths) => weigh(wrong.line, tenths, { container: wrong.line.container, reason: "ratio put right" }) }),
    ];
  }

  function drawPrepare() {
    const numbers = {};
    const numberField = (name, label, low, high) => {
      numbers[name] = { field: h("input", { id: name, inputmode: "decimal", autocomplete: "off" }), label, low, high };
      return h("div", { class: "field" }, h("label", { for: name }, label), numbers[name].field);
    };
    const verdict = h("div", { class: "judge", role: "status" }, "Leave all three empty when nothing was measured.");
    const begin = () => {
      const facts = {};
      for (const [name, { field, label, low, high }] of Object.entries(numbers)) {
        if (!field.value.trim()) continue;
        const value = Number(field.value.replace(",", "."));
        if (Number.isNaN(value) || value < low || value > high) {
          verdict.className = "judge judge--stop";
          verdict.textContent = `${label} is ${field.value}; it must be a number from ${low} to ${high}.`;
          field.focus();
          return;
        }
        facts[name] = value;
      }
      ready = true;
      if (Object.keys(facts).length) record("conditions", "Air, surface and humidity", { facts });
      else { shown = null; draw(); }
    };
    const cans = state.lines.map((line) => h("li", {}, `${line.material}: can ${line.container}, lot ${line.lot}${line.shelf ? `, ${line.shelf}` : ""}`));
    const stir = state.stir.map((name) => h("li", {}, `Stir up ${name} in its can, down to the bottom.`));
    return [h("ul", {}, ...cans, ...stir, h("li", {}, "Gloves, eye protection, fresh air. Two clean containers, a mixer, a clock.")),
      h("div", { class: "three" }, numberField("air_c", "Air, °C", -30, 60), numberField("surface_c", "Surface of the pattern, °C", -30, 200), numberField("humidity_percent", "Humidity, %", 1, 100)),
      verdict, h("button", { type: "button", class: "button--big", id: "ready", tap: begin }, "Ready to weigh")];
  }

  function drawContact() {
    const total = roleTotal("resin") + roleTotal("hardener");
    return [target("In the pot, kg", kgText(total), "inside the ratio's tolerance"),
      h("p", {}, `Tap when resin and hardener meet. From then on the pot lives ${state.pot_life_min} min. Mix 2 to 3 minutes; scrape sides and bottom.`),
      h("button", { type: "button", class: "button--big", id: "contact", tap: () => { PotClock.sound(); record("contact", "First contact"); } }, "First contact: now")];
  }

  const drawSecond = () => [
    h("p", {}, "Pour all of it into the second, clean container. Scrape the first one only with the mixer, never into the mix. Mix again. The pot life does not start anew."),
    h("button", { type: "button", class: "button--big", id: "second", tap: () => record("second_container", "Into the second container") }, "In the second container, mixed"),
  ];

  function drawPortion({ portion }) {
    const aim = units(portion.kg);
    const round = Math.round(aim / division()) * division();
    const dead = PotClock.isDead();
    const latest = new Date(new Date(contactAt()).getTime() + state.pot_life_min * 60000);
    const words = [`${portion.tool}, ${Number(portion.depth_mm).toFixed(1)} mm deep`, portion.place].filter(Boolean).join(", ");
    return [h("p", {}, words), portion.abrade_first ? h("p", { class: "judge judge--mind" }, "The lift below must be abraded and cleaned first.") : null,
      Number(portion.brush_coat_kg) > 0 ? h("p", {}, `Brush ${Number(portion.brush_coat_kg).toFixed(3)} kg of it on the pattern first, into corners and details.`) : null,
      target(`Pour by ${clockText(latest)}, kg`, kgText(round), `into ${portion.pour}, lift ${portion.lift}`),
      dead ? h("p", { class: "judge judge--stop" }, "Pot life is over. Do not pour: scrap the pot below. If it was poured in time, record it.") : null,
      h("button", { type: "button", class: "button--big", id: "poured", tap: () => record("poured", `Poured ${kgText(round)} kg`, { portion: String(portion.id), facts: { kg: (aim / 10000).toFixed(4) } }) }, `Poured: ${kgText(round)} kg`),
      h("details", {}, h("summary", { class: "summary" }, "Another weight went in"),
        weightEntry({ label: "Poured, kg", target: round, low: round - 10 * division(), high: round + 10 * division(), judge: (tenths) => (tenths < 0.95 * aim ? ["mind", "Short: also record “Poured short” at the foot of the page."] : ["good", "Good."]),
          button: "Record this weight", take: (tenths) => record("poured", `Poured ${kgText(tenths)} kg`, { portion: String(portion.id), facts: { kg: (tenths / 10000).toFixed(4) } }) }))];
  }

  function drawDone() {
    if (isScrapped()) return [h("p", {}, "This pot is scrapped. What was weighed stays issued from stock; ask for a new plan below.")];
    if (isCancelled()) return [h("p", {}, "This batch is cancelled. Look at Today for what to do.")];
    return [h("p", {}, "All is poured and recorded; the cure clock runs. Clean the tools before the rest sets."),
      h("p", {}, h("a", { class: "button", href: "/today/" }, "Back to Today"))];
  }

  /* The log: what the shop has recorded, and what this device still holds. */
  function drawLog() {
    const signature = JSON.stringify([state.lines, state.entries, Queue.of(id)]);
    if (signature === logged) return;
    logged = signature;
    const rows = [];
    for (const line of state.lines) {
      for (const one of line.weighings) rows.push([one.at, `${line.role}: ${kgText(units(one.kg))} kg from ${one.container}${one.reason ? `, ${one.reason}` : ""}`, ""]);
    }
    for (const entry of state.entries) {
      const dew = entry.facts.dew_point_c === undefined ? "" : `; dew point ${Number(entry.facts.dew_point_c).toFixed(1)} °C`;
      const margin = entry.facts.margin_k === undefined ? "" : `, the surface is ${Number(entry.facts.margin_k).toFixed(1)} K above it`;
      rows.push([entry.at, `${entry.label}${entry.words ? `: ${entry.words}` : ""}${dew}${margin}`, entry.by, entry.id]);
    }
    for (const row of Queue.of(id)) {
      if (row.state !== "sent") rows.push([row.at, row.label, row.state === "refused" ? "refused" : "on this device, not sent yet"]);
    }
    rows.sort((one, other) => new Date(one[0]) - new Date(other[0]));
    part("log").replaceChildren(...rows.map(([at, what, by, entry]) => h("tr", {}, h("th", { scope: "row" }, clockText(at)), h("td", {}, what), h("td", {}, by),
      h("td", {}, entry && records ? h("button", { type: "button", class: "button--plain", tap: () => amend(entry, what) }, "Amend", h("span", { class: "unseen" }, ` ${what}`)) : ""))));
    part("status").replaceChildren(h("span", { class: "state" }, state.status_words));
  }

  /* Nothing is edited: an amendment is a further entry that names the first one and says why. */
  function amend(entry, what) {
    const words = window.prompt(`What is really so, and why was it written otherwise? (${what})`, "");
    if (words !== null && words.trim()) record("amendment", "Amendment", { amends: String(entry), words: words.trim() });
  }

  const DRAW = { prepare: drawPrepare, line: drawLine, correct: drawCorrection, contact: drawContact, second: drawSecond, portion: drawPortion };

  function draw() {
    const list = steps();
    const over = isScrapped() || isCancelled();
    const current = over ? null : list.find((step) => !step.done) || null;
    drawClock(list);
    drawNetwork();
    Trouble.drawNewPlan(state.new_plan, records);
    drawLog();
    part("steps").replaceChildren(...list.map((step) => h("li", { "aria-current": step === current ? "step" : null },
      h("span", {}, step.title), h("span", {}, step.done ? "✓ done" : step === current ? "▶ now" : "○ to do"))));
    const dead = PotClock.isDead();
    const name = current ? current.name + (current.line && scanned.has(current.line.id) ? "-weigh" : "") + (dead ? "-dead" : "") : "over";
    if (name === shown) return;
    shown = name;
    const position = current ? `Step ${list.indexOf(current) + 1} of ${list.length}` : "";
    const body = !current ? drawDone() : !records ? [h("p", {}, "Your role may look but not record.")] : DRAW[current.name.split("-")[0]](current);
    part("step").replaceChildren(h("div", { class: "step__count" }, position), h("h2", {}, current ? current.title : "Finished"), ...body.filter(Boolean));
    drawTrouble();
  }

  function drawClock(list) {
    const open = list.some((step) => step.portion && !step.done);
    if (contactAt() && open && !isScrapped()) PotClock.run(contactAt(), state.pot_life_min);
    else PotClock.stop();
  }

  function drawNetwork() {
    const mine = Queue.of(id);
    const refused = mine.filter((row) => row.state === "refused");
    const waiting = Queue.unsent().filter((row) => row.state === "waiting");
    const box = part("network");
    const others = Queue.others().length;
    box.hidden = !refused.length && !waiting.length && !others;
    box.className = `note note--${refused.length ? "stop" : "mind"}`;
    box.replaceChildren();
    for (const row of refused) {
      box.append(h("p", {}, h("strong", {}, `${row.label} was refused: `), row.words),
        h("button", { type: "button", class: "button--plain", tap: () => { scanned.delete(row.line); Queue.drop([row.key]); shown = null; draw(); Queue.send(); } }, "Understood, take the entry back"));
    }
    if (!refused.length && waiting.length) {
      const words = waiting.map((row) => row.words).filter(Boolean)[0] || (Queue.isTrying() ? "No connection: kept on this device and sent as soon as there is one. Go on working." : "Being sent.");
      box.append(h("p", {}, h("strong", {}, `${waiting.length} ${waiting.length === 1 ? "entry" : "entries"} not sent yet. `), words));
    }
    if (others) box.append(h("p", {}, `${others} ${others === 1 ? "entry" : "entries"} of another person wait on this device; they are sent when that person signs in and opens a batch here.`));
  }

  function drawTrouble() {
    if (!records) return;
    const ask = (kind, label, question) => h("button", { type: "button", class: kind === "scrapped" ? "button--stop" : "button--plain", id: `trouble-${kind}`, tap: () => {
      const words = window.prompt(question, "");
      if (words !== null && words.trim()) record(kind, label, { words: words.trim() });
    } }, label);
    const live = !isScrapped() && !isCancelled() && state.status !== "poured";
    part("loss").replaceChildren();
    part("trouble-deeds").replaceChildren(...[
      live ? ask("scrapped", "Scrap this pot", "Why is the pot scrapped?") : null,
      state.portions.length && !heldKind("scrapped").length ? lossButton("leak", "A barrier leaks", "Ran out, kg (0 if nothing)", "Where does it leak?") : null,
      state.portions.length && !heldKind("scrapped").length ? lossButton("short", "Poured short", "Missing from the lift, kg", "Where, and why?") : null,
      ask("remark", "Remark", "What should be remembered?"),
    ].filter(Boolean));
  }

  /* What a lift has less than planned: how much, of which portion, in words. */
  function lossButton(kind, label, kgLabel, wordsLabel) {
    return h("button", { type: "button", class: "button--plain", id: `trouble-${kind}`, tap: () => {
      const take = (body, text) => record(kind, `${label}: ${text} kg`, body);
      part("loss").replaceChildren(Trouble.lossForm({ h, state, kind, label, kgLabel, wordsLabel, take }));
      part("loss-kg").focus();
    } }, label);
  }

  /* Fetch what is recorded by now, and forget entries that it contains. */
  async function refresh() {
    const sent = Queue.of(id).filter((row) => row.state === "sent").map((row) => row.key);
    try {
      const response = await fetch(root.dataset.stateUrl, { credentials: "same-origin", headers: { Accept: "application/json" } });
      Queue.learnClock(response);
      if (!response.ok || response.redirected) return;
      state = await response.json();
      if (sent.length) Queue.drop(sent);
      draw();
    } catch {
      draw();
    }
  }

  let pending = false;
  Queue.onChange(() => {
    draw();
    const mine = Queue.of(id);
    if (!pending && mine.some((row) => row.state === "sent") && !mine.some((row) => row.state === "waiting")) {
      pending = true;
      setTimeout(() => { pending = false; refresh(); }, 50);
    }
  });
  /* When the pot dies under somebody's hands the step says so, unless a weight is being typed. */
  setInterval(() => {
    const typed = document.getElementById("reading");
    if (PotClock.isDead() && shown && !shown.endsWith("-dead") && shown !== "over" && !(typed && typed.value)) draw();
  }, 1000);
  draw();
  refresh();
  Queue.send();
  if ("serviceWorker" in navigator) navigator.serviceWorker.register(root.dataset.keeper).catch(() => {});
});
