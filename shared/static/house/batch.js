/*
 * The batch page. What is shown follows from what the shop's computer has recorded and what this
 * device still holds; one step is open at a time. Nothing here decides a rule: a refusal from the
 * shop's computer is shown and the step opens again.
 */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const LOOKS_AGAIN_S = 15;
  const root = document.getElementById("batch");
  const records = root.dataset.records === "yes";
  const id = Number(root.dataset.batch);
  const part = (name) => document.getElementById(name);
  const { target, judged } = Weighing;
  let state = JSON.parse(part("batch-state").textContent);
  let pot = Pot.of(state, weighedInto);
  let shown = null;          // the step that is drawn, so that typing is not disturbed
  let substitute = null;     // a container other than the sheet's, with its reason
  let lessPoured = null;     // a portion that got less than planned, to be told as poured short
  const scanned = new Set();

  const inZone = (at, options) => new Intl.DateTimeFormat("en-GB", { timeZone: state.zone, ...options }).format(new Date(at));
  const clockText = (at) => inZone(at, { hour: "2-digit", minute: "2-digit" });
  const dayText = (at) => inZone(at, { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  const kgText = (tenths) => pot.text(tenths);

  /* What is known: recorded by the shop, or held on this device and not refused. */
  const held = () => Queue.of(id).filter((row) => row.state !== "refused");
  const heldKind = (kind) => held().filter((row) => row.kind === kind);
  const has = (kind) => state.entries.some((entry) => entry.kind === kind) || heldKind(kind).length > 0;
  function weighedInto(line) {
    const known = (key) => line.weighings.some((weighing) => weighing.key.endsWith(`:${key}`));
    const here = heldKind("weighing").filter((row) => row.line === line.id && !known(row.key));
    return line.weighings.reduce((sum, one) => sum + Pot.units(one.kg), 0) + here.reduce((sum, row) => sum + Pot.units(row.body.weighed_kg), 0);
  }
  const contactAt = () => state.contacted_at || (heldKind("contact")[0] || {}).at || null;
  const isPoured = (portion) => portion.poured_at !== null || heldKind("poured").some((row) => row.body.portion === String(portion.id));
  const isScrapped = () => state.status === "scrapped" || heldKind("scrapped").length > 0;
  const isCancelled = () => state.status === "cancelled";
  /* "I have everything" is no record of the shop, but a reload of the page must not ask it again. */
  const isReady = () => sessionStorage.getItem(`shop.ready-${id}`) === "yes" || has("conditions");

  function steps() {
    const list = [];
    const begun = state.lines.some((line) => weighedInto(line) > 0);
    list.push({ name: "prepare", title: "Make ready", done: isReady() || begun || Boolean(contactAt()) });
    for (const line of state.lines) {
      list.push({ name: `line-${line.id}`, title: `Weigh ${line.role}`, line, done: weighedInto(line) > 0 });
    }
    const wrong = contactAt() ? null : pot.correction();
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
    if (kind === "short") lessPoured = null;
    Queue.add({ batch: id, kind, url, label, body: own, ...more });
    shown = null;
    draw();
    if (lessPoured) { Trouble.ask({ state, record, preset: lessPoured }); return; }
    part("step").focus({ preventScroll: true });
    part("step").scrollIntoView({ block: "start" });
  }

  const entry = (more) => Weighing.entry({ pot, scaleUrl: root.dataset.scaleUrl, decimals: state.decimals, ...more });

  function drawLine({ line }) {
    const { sheet, aim, low, high, follows } = pot.aim(line);
    const there = pot.inPot();
    const late = line.usable_until && new Date(line.usable_until) < Queue.now();
    const other = `Fetch another can of ${line.material} and scan it.`;
    const barred = line.lot_status !== "released" ? `Stop: lot ${line.lot} is not released (${line.lot_status}). ${other}`
      : late ? `Stop: lot ${line.lot} may not be used after ${dayText(line.usable_until)}. ${other}` : null;
    const where = [line.material, `can ${line.container}`, `lot ${line.lot}`, line.shelf].filter(Boolean).join(", ");
    const why = line.role === "hardener" ? "for the resin really in the pot" : "to make up for the can before";
    const head = [h("p", {}, where),
      target(`${BatchLog.capital(line.role)}, kg`, kgText(aim), `within ${kgText(low)} to ${kgText(high)} kg`, follows ? `${why}; the sheet says ${kgText(sheet)}` : null),
      barred ? judged("stop", barred) : null];
    if (!scanned.has(line.id)) {
      return [...head, Weighing.scan({ line, barred, cans: () => state.cans, until: dayText, next: (instead) => {
        substitute = instead && { ...instead, line: line.id };
        scanned.add(line.id);
        shown = null;
        draw();
      } })];
    }
    const chosen = substitute && substitute.line === line.id ? substitute : null;
    const holds = Pot.units(chosen ? chosen.in_can_kg : line.in_can_kg);
    const judge = (tenths) => {
      if (tenths > holds) return ["stop", `By the book this can holds ${kgText(holds)} kg. Read the scale again; was it tared?`];
      if (tenths < low) return ["mind", `${kgText(low - tenths)} kg short of the least.`];
      if (tenths > high) return ["stop", `${kgText(tenths - high)} kg too much. Record what is really in the pot; the next step tells what to add.`];
      return ["good", `Good: ${tenths === aim ? "on target" : `${kgText(Math.abs(tenths - aim))} kg ${tenths > aim ? "over" : "under"} target`}.`];
    };
    if (chosen) head.push(judged("mind", `From ${chosen.container} instead: ${chosen.reason}`));
    head.push(h("p", { class: "small" }, there ? `Tare the scale to 0 before this can. Not tared, it would show ${kgText(there + aim)} kg at the target, without the pot's own weight.` : "Stand the clean, dry pot on the scale and tare it to 0."));
    return [...head, entry({ label: "From this can, kg", target: aim, low, high, most: 1.5 * aim, judge, button: `Record ${line.role}`,
      take: (tenths) => weigh(line, tenths, chosen) })];
  }

  function weigh(line, tenths, chosen) {
    const body = { line: String(line.id), weighed_kg: (tenths / 10000).toFixed(4), already_kg: (weighedInto(line) / 10000).toFixed(4) };
    if (chosen) Object.assign(body, { container_code: chosen.container, reason: chosen.reason });
    substitute = null;
    record("weighing", `${BatchLog.capital(line.role)}: ${kgText(tenths)} kg`, body, { line: line.id });
  }

  function drawCorrection({ wrong }) {
    const most = state.pot_kg === null ? null : Pot.units(state.pot_kg);
    const share = `${Math.abs(wrong.off * 100).toFixed(1)} %`;
    const told = held().map((row) => row.answer && row.answer.correction).filter(Boolean).at(-1);
    const { division } = pot;
    return [
      judged("stop", `The pot has ${share} too ${wrong.off > 0 ? "much" : "little"} hardener; ± ${Number(state.ratio_tolerance_percent)} % is allowed. Do not mix yet.`),
      target(`Add ${wrong.role}, kg`, kgText(wrong.add), `new total ${kgText(wrong.total)} kg`),
      ...(told ? told.problems : []).map((words) => judged("stop", words)),
      most !== null && wrong.total > most ? judged("stop", `The total would be ${kgText(wrong.total)} kg; the pot takes ${kgText(most)} kg. Scrap this pot below and weigh anew.`) : null,
      entry({ label: `Added ${wrong.role}, kg`, target: wrong.add, low: wrong.add - division, high: wrong.add + division,
        judge: (tenths) => (Math.abs(tenths - wrong.add) <= division ? ["good", "Good."] : ["mind", `Asked for: ${kgText(wrong.add)} kg.`]),
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
        const [what, unit] = label.split(", ");
        const value = Number(field.value.replace(",", "."));
        if (Number.isNaN(value) || value < low || value > high) {
          verdict.className = "judge judge--stop";
          verdict.textContent = `${what} is ${field.value}; it must be a number from ${low} to ${high} ${unit}.`;
          field.focus();
          return;
        }
        facts[name] = value.toFixed(1);
      }
      sessionStorage.setItem(`shop.ready-${id}`, "yes");
      if (Object.keys(facts).length) record("conditions", "Air, surface and humidity", { facts });
      else { shown = null; draw(); }
    };
    const cans = state.lines.map((line) => h("li", {}, `${line.material}: can ${line.container}, lot ${line.lot}${line.shelf ? `, ${line.shelf}` : ""}`));
    const stir = state.stir.map((name) => h("li", {}, `Stir up ${name} in its can, down to the bottom.`));
    return [h("ul", {}, ...cans, ...stir, h("li", {}, "Gloves, eye protection, fresh air. Two clean containers, a mixer, a clock.")),
      h("div", { class: "three" }, numberField("air_c", "Air, °C", -30, 60), numberField("surface_c", "Surface of the pattern, °C", -30, 200), numberField("humidity_percent", "Humidity, %", 1, 100)),
      verdict, h("button", { type: "button", class: "button--big", id: "ready", tap: begin }, "Ready to weigh")];
  }

  /* A surface near its dew point is damp: the resin then cures badly on it and does not bond. */
  function dampness() {
    const seen = state.entries.filter((one) => one.facts.margin_k !== undefined).at(-1);
    if (!seen || Number(seen.facts.margin_k) >= state.least_margin_k) return null;
    const apart = Number(seen.facts.margin_k);
    return judged("stop", `The surface is ${Number(seen.facts.surface_c)} °C, ${Math.abs(apart).toFixed(1)} K ${apart < 0 ? "below" : "above"} the dew point; ${state.least_margin_k} K are wanted. Warm the pattern or dry the air, measure again, then pour.`);
  }

  function drawContact() {
    return [target("In the pot, kg", kgText(pot.inPot()), "inside the ratio's tolerance"), dampness(),
      h("p", {}, `Tap when resin and hardener meet. From then on the pot lives ${state.pot_life_min} min. Mix 2 to 3 minutes; scrape sides and bottom.`),
      h("button", { type: "button", class: "button--big", id: "contact", tap: () => { PotClock.sound(); record("contact", "First contact"); } }, "First contact: now")];
  }

  const deadPot = () => (PotClock.isDead() ? judged("stop", "Pot life is over. Do not pour: scrap the pot below. If it was poured in time, record it.") : null);

  const drawSecond = () => [deadPot(),
    h("p", {}, "Pour all of it into the second, clean container. Scrape the first one only with the mixer, never into the mix. Mix again. The pot life does not start anew."),
    h("button", { type: "button", class: "button--big", id: "second", tap: () => record("second_container", "Into the second container") }, "In the second container, mixed"),
  ];

  function drawPortion({ portion }) {
    const aim = Pot.units(portion.kg);
    const { division } = pot;
    const round = Math.round(aim / division) * division;
    const latest = new Date(new Date(contactAt()).getTime() + state.pot_life_min * 60000);
    const words = [`${portion.tool}, ${Number(portion.depth_mm).toFixed(1)} mm deep`, portion.place].filter(Boolean).join(", ");
    const into = (kg) => ({ portion: String(portion.id), facts: { kg } });
    const another = (tenths) => {
      if (tenths < 0.95 * aim) lessPoured = { portion: String(portion.id), kg: kgText(round - tenths) };
      record("poured", `Poured ${kgText(tenths)} kg`, into((tenths / 10000).toFixed(4)));
    };
    return [h("p", {}, words), portion.abrade_first ? judged("mind", "The lift below must be abraded and cleaned first.") : null, dampness(),
      Number(portion.brush_coat_kg) > 0 ? h("p", {}, `Brush ${Number(portion.brush_coat_kg).toFixed(3)} kg of it on the pattern first, into corners and details.`) : null,
      target(`Pour by ${clockText(latest)}, kg`, kgText(round), `into ${portion.pour}, lift ${portion.lift}`),
      deadPot(),
      h("button", { type: "button", class: "button--big", id: "poured", tap: () => record("poured", `Poured ${kgText(round)} kg`, into((aim / 10000).toFixed(4))) }, `Poured: ${kgText(round)} kg`),
      h("details", {}, h("summary", { class: "summary" }, "Another weight went in"),
        entry({ label: "Poured, kg", target: round, low: round - 10 * division, high: round + 10 * division, most: 1.5 * round,
          judge: (tenths) => (tenths < 0.95 * aim ? ["mind", `${kgText(round - tenths)} kg less than planned. Once recorded, you are asked whether the lift ends lower.`] : ["good", "Good."]),
          button: "Record this weight", take: another }))];
  }

  function drawDone() {
    if (isScrapped()) return [h("p", {}, "This pot is scrapped. What was weighed stays issued from stock; ask for a new plan below.")];
    if (isCancelled()) return [h("p", {}, "This batch is cancelled. Look at Today for what to do.")];
    return [h("p", {}, "All is poured and recorded; the cure clock runs. Clean the tools before the rest sets."),
      h("p", {}, h("a", { class: "button", href: "/today/" }, "Back to Today"))];
  }

  /* Nothing is edited: an amendment is a further entry that names the first one and says why. */
  function amend(entryId, what) {
    const words = window.prompt(`What is really so, and why was it written otherwise? (${what})`, "");
    if (words !== null && words.trim()) record("amendment", "Amendment", { amends: String(entryId), words: words.trim() });
  }

  function takeBack(row) {
    scanned.delete(row.line);
    Queue.drop([row.key]);
    shown = null;
    draw();
    Queue.send();
    refresh();
  }

  /* Two people weighed for one row and both weights are in the pot. */
  function recordAsWell(row) {
    const { at, already_kg: _, ...body } = row.body;
    Queue.drop([row.key]);
    record("weighing", row.label, { ...body, reason: body.reason || "weighed beside another entry" }, { line: row.line });
  }

  const DRAW = { prepare: drawPrepare, line: drawLine, correct: drawCorrection, contact: drawContact, second: drawSecond, portion: drawPortion };

  function draw() {
    const list = steps();
    const over = isScrapped() || isCancelled();
    const current = over ? null : list.find((step) => !step.done) || null;
    if (contactAt() && list.some((step) => step.portion && !step.done) && !isScrapped()) PotClock.run(contactAt(), state.pot_life_min);
    else PotClock.stop();
    BatchLog.drawNetwork({ batch: id, back: takeBack, again: recordAsWell });
    BatchLog.drawRows({ batch: id, state, kgText, clockText, amend: records ? amend : null });
    Trouble.drawNewPlan(state.new_plan, records);
    part("status").replaceChildren(h("span", { class: "state" }, state.status_words));
    part("steps").replaceChildren(...list.map((step) => h("li", { "aria-current": step === current ? "step" : null },
      h("span", {}, step.title), h("span", {}, step.done ? "✓ done" : step === current ? "▶ now" : "○ to do"))));
    const scannedNow = current && current.line && scanned.has(current.line.id);
    const name = current ? current.name + (scannedNow ? "-weigh" : "") + (PotClock.isDead() ? "-dead" : "") : "over";
    if (name === shown) return;
    shown = name;
    const position = current ? `Step ${list.indexOf(current) + 1} of ${list.length}` : "";
    const body = !current ? drawDone() : !records ? [h("p", {}, "Your role may look but not record.")] : DRAW[current.name.split("-")[0]](current);
    part("step").replaceChildren(h("div", { class: "step__count" }, position), h("h2", {}, current ? current.title : "Finished"), ...body.filter(Boolean));
    if (records) drawTrouble();
  }

  function drawTrouble() {
    const gone = isScrapped() || isCancelled();
    Trouble.draw({ state, record, live: !gone && state.status !== "poured", poured: state.portions.length > 0 && !isScrapped() });
    if (lessPoured) Trouble.ask({ state, record, preset: lessPoured });
  }

  /* Fetch what is recorded by now, and forget entries that it contains. */
  async function refresh() {
    const sent = Queue.of(id).filter((row) => row.state === "sent").map((row) => row.key);
    try {
      const response = await fetch(root.dataset.stateUrl, { credentials: "same-origin", headers: { Accept: "application/json" } });
      Queue.learnClock(response);
      if (!response.ok || response.redirected) return;
      state = await response.json();
      pot = Pot.of(state, weighedInto);
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
    const refused = mine.some((row) => row.state === "refused");
    const goesOn = !refused && mine.some((row) => row.state === "waiting");
    if (!pending && !goesOn && mine.some((row) => row.state !== "waiting")) {
      pending = true;
      setTimeout(() => { pending = false; refresh(); }, 50);
    }
  });
  const isTyping = () => [...document.querySelectorAll("#step input, #loss input")].some((field) => field.value);
  /* When the pot dies under somebody's hands the step says so, unless a weight is being typed. */
  setInterval(() => { if (PotClock.isDead() && shown && !shown.endsWith("-dead") && shown !== "over" && !isTyping()) draw(); }, 1000);
  /* Two people may work on one batch: what the other one recorded shows, unless this one types. */
  const lookAgain = () => { if (!document.hidden && !isTyping() && !Queue.of(id).some((row) => row.state === "waiting")) refresh(); };
  setInterval(lookAgain, LOOKS_AGAIN_S * 1000);
  document.addEventListener("visibilitychange", lookAgain);
  draw();
  refresh();
  Queue.send();
  Keeping.keep(root.dataset.keeper);
});
