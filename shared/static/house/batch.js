/*
 * The batch page. What is shown follows from what the shop's computer has recorded and what this
 * device still holds; one step is open at a time. Nothing here decides a rule: a refusal from the
 * shop's computer is shown and the step opens again.
 */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const LOOKS_AGAIN_S = 4;
  const root = document.getElementById("batch");
  const records = root.dataset.records === "yes";
  const id = Number(root.dataset.batch);
  const part = (name) => document.getElementById(name);
  const { target, judged } = Weighing;
  let state = JSON.parse(part("batch-state").textContent);
  let pot = Pot.of(state, weighedInto, noMore, pouredInto);
  let shown = null;          // the step that is drawn, so that typing is not disturbed
  let substitute = null;     // a container other than the sheet's, with its reason
  let lessPoured = null;     // a portion that got less than planned, to be told as poured short
  const scanned = new Set();
  const passed = new Map();  // cans that are weighed from unstirred, with why and who decides
  const emptied = new Map(); // rows of which a can ran empty, with its code: another can follows

  const inZone = (at, options) => new Intl.DateTimeFormat("en-GB", { timeZone: state.zone, ...options }).format(new Date(at));
  const clockText = (at) => inZone(at, { hour: "2-digit", minute: "2-digit" });
  const dayText = (at) => inZone(at, { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  const kgText = (tenths) => pot.text(tenths);

  /* What is known: recorded by the shop, or held on this device and not refused. */
  const held = () => Queue.of(id).filter((row) => row.state !== "refused");
  const heldKind = (kind) => held().filter((row) => row.kind === kind);
  const has = (kind) => state.entries.some((entry) => entry.kind === kind) || heldKind(kind).length > 0;
  /* A step that is open keeps the row it was drawn from; what is recorded of it may be newer. */
  const newest = (line) => state.lines.find((one) => one.id === line.id) || line;
  function weighedInto(line) {
    const { weighings } = newest(line);
    const known = (key) => weighings.some((weighing) => weighing.key.endsWith(`:${key}`));
    const here = heldKind("weighing").filter((row) => row.line === line.id && !known(row.key));
    return weighings.reduce((sum, one) => sum + Pot.units(one.kg), 0) + here.reduce((sum, row) => sum + Pot.units(row.body.weighed_kg), 0);
  }
  function noMore(line) {
    return newest(line).no_more || heldKind("no_more").some((row) => row.body.line === String(line.id));
  }
  function pouredInto(portion) {
    if (portion.poured_at !== null) return Pot.units(portion.poured_kg);
    const here = heldKind("poured").find((row) => row.body.portion === String(portion.id));
    return here ? Pot.units(here.body.facts.kg) : null;
  }
  const contactAt = () => state.contacted_at || (heldKind("contact")[0] || {}).at || null;
  const isPoured = (portion) => portion.poured_at !== null || heldKind("poured").some((row) => row.body.portion === String(portion.id));
  const isScrapped = () => state.status === "scrapped" || heldKind("scrapped").length > 0;
  const isCancelled = () => state.status === "cancelled";
  /* "I have everything" is no record of the shop, but a reload of the page must not ask it again. */
  const isReady = () => sessionStorage.getItem(`shop.ready-${id}`) === "yes" || has("conditions");

  /* Rows of one component look alike: say which can of how many. */
  function ofCans(line) {
    const alike = state.lines.filter((one) => one.role === line.role);
    return alike.length < 2 ? "" : `, can ${alike.indexOf(line) + 1} of ${alike.length}`;
  }

  /* The can of a row that ran empty last: tapped on this page, or recorded. */
  const emptiedCan = (line) => emptied.get(line.id) || (state.entries.filter((one) => one.kind === "can_empty" && one.line === line.id).map((one) => one.facts.can).at(-1));

  function steps() {
    const list = [];
    const begun = state.lines.some((line) => weighedInto(line) > 0);
    list.push({ name: "prepare", title: "Make ready", done: isReady() || begun || Boolean(contactAt()) });
    for (const line of state.lines) {
      list.push({ name: `line-${line.id}`, title: `Weigh ${line.role}${ofCans(line)}: can ${line.container}`, line, done: pot.closed(line) });
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
    const url = { weighing: root.dataset.weighings, reweighed: root.dataset.amendments }[kind] || root.dataset.entries;
    const own = kind === "weighing" || kind === "reweighed" ? body : { kind, ...body };
    if (kind === "short") lessPoured = null;
    Queue.add({ batch: id, kind, url, label, body: own, ...more });
    shown = null;
    draw();
    if (lessPoured) { Trouble.open({ state, record, kind: "short", preset: lessPoured }); return; }
    part("step").focus({ preventScroll: true });
    part("step").scrollIntoView({ block: "start" });
  }

  const entry = (more) => Weighing.entry({ pot, scaleUrl: root.dataset.scaleUrl, decimals: state.decimals, ...more });

  function whyBarred(line) {
    const other = `Fetch another can of ${line.material} and scan it.`;
    if (line.barred) return `Stop. ${line.barred}`;
    const late = line.usable_until && new Date(line.usable_until) < Queue.now();
    return late ? `Stop: lot ${line.lot} may not be used after ${dayText(line.usable_until)}. ${other}` : null;
  }

  function drawLine({ line }) {
    const { sheet, aim, low, high, follows } = pot.aim(line);
    const [there, mine] = [pot.inPot(), weighedInto(line)];
    const barred = whyBarred(line);
    const where = [line.material, `can ${line.container}`, `lot ${line.lot}`, line.shelf].filter(Boolean).join(", ");
    const why = line.role !== "resin" ? "for the resin really in the pot" : "to make up for the can before";
    const rest = { aim: Math.max(pot.division, aim - mine), low: Math.max(pot.division, low - mine), high: Math.max(pot.division, high - mine) };
    const head = [target(mine ? `Still to weigh: ${line.role}, kg` : `${BatchLog.capital(line.role)}, kg`, kgText(rest.aim), `within ${kgText(rest.low)} to ${kgText(rest.high)} kg`,
      mine ? `${kgText(mine)} kg of ${kgText(aim)} kg are in` : follows ? `${why}; the sheet says ${kgText(sheet)}` : null),
      h("p", {}, where), barred ? judged("stop", barred) : null];
    if (!scanned.has(line.id)) {
      return [...head, Weighing.scan({ line, barred, emptied: emptiedCan(line), cans: () => state.cans, until: dayText, next: (instead) => {
        substitute = instead && { ...instead, line: line.id };
        scanned.add(line.id);
        shown = null;
        draw();
        (part("reading") || part("stirred")).focus();
      } }), mine ? closing(line, null) : null];
    }
    const chosen = substitute && substitute.line === line.id ? substitute : null;
    const code = chosen ? chosen.container : line.container;
    if (!passed.has(code) && Stirring.isWanted({ state, role: line.role, code, held: held() })) {
      const again = () => { shown = null; draw(); };
      return [...head, ...Stirring.draw({ code, material: line.material, name: root.dataset.name,
        sign: () => { record("stirred", `Can ${code} is stirred`, { line: String(line.id), container_code: code }); part("reading")?.focus(); },
        pass: (given) => { passed.set(code, given); again(); } })];
    }
    const holds = Pot.units(chosen ? chosen.in_can_kg : line.in_can_kg);
    const judge = (tenths) => {
      if (tenths > holds) return ["stop", `Stock records show ${kgText(holds)} kg in this container. Read the scale again; was it tared?`];
      if (tenths < rest.low) return ["mind", `${kgText(rest.low - tenths)} kg short of the least.`];
      if (tenths > rest.high) return ["stop", `${kgText(tenths - rest.high)} kg too much. Record what is really in the pot; the next step tells what to add.`];
      return ["good", `Good: ${tenths === rest.aim ? "on target" : `${kgText(Math.abs(tenths - rest.aim))} kg ${tenths > rest.aim ? "over" : "under"} target`}.`];
    };
    if (chosen) head.push(judged("mind", `From ${chosen.container} instead: ${chosen.reason}`));
    head.push(h("p", { class: "small" }, there ? `Tare the scale to 0 before this can. Not tared, it would show ${kgText(there + rest.aim)} kg at the target, without the pot's own weight.` : "Stand the clean, dry pot on the scale and tare it to 0."));
    const form = entry({ label: "From this can, kg", target: rest.aim, low: rest.low, high: rest.high, most: 1.5 * rest.aim, judge, button: `Record ${line.role}`,
      take: (tenths) => weigh(line, tenths, chosen) });
    return [...head, form, closing(line, chosen)];
  }

  /* A can that runs empty leaves its row open for the next can; "no more" closes it as it is. */
  function closing(line, chosen) {
    const reading = () => { const field = part("reading"); return field && /^\d{1,4}([.,]\d{1,6})?$/.test(field.value.trim()) ? Pot.units(field.value.trim().replace(",", ".")) : 0; };
    const weighRest = () => { const tenths = reading(); if (tenths > 0) weigh(line, tenths, chosen); };
    const nextCan = () => {
      const code = chosen ? chosen.container : line.container;
      weighRest();
      emptied.set(line.id, code);
      scanned.delete(line.id);
      record("can_empty", `Can ${code} is empty`, { line: String(line.id), container_code: code, words: `can ${code}` });
    };
    const stop = () => { weighRest(); record("no_more", `No more ${line.role} goes in`, { line: String(line.id) }); };
    return h("div", { class: "closing" }, scanned.has(line.id) ? h("button", { type: "button", class: "button--plain", id: "can-empty", tap: nextCan }, "Can is empty: next can") : null,
      weighedInto(line) || emptiedCan(line) ? h("button", { type: "button", class: "button--plain", id: "no-more", tap: stop }, `No more ${line.role}: go on with less`) : null);
  }

  function weigh(line, tenths, chosen) {
    const body = { line: String(line.id), weighed_kg: (tenths / 10000).toFixed(4), already_kg: (weighedInto(line) / 10000).toFixed(4) };
    Object.assign(body, passed.get(chosen ? chosen.container : line.container) || {});
    if (chosen) Object.assign(body, { container_code: chosen.container, reason: chosen.reason });
    substitute = null;
    scanned.delete(line.id);
    record("weighing", `${BatchLog.capital(line.role)}: ${kgText(tenths)} kg`, body, { line: line.id });
  }

  function drawCorrection({ wrong }) {
    const most = state.pot_kg === null ? null : Pot.units(state.pot_kg);
    const share = `${Math.abs(wrong.off * 100).toFixed(1)} %`;
    const told = held().map((row) => row.answer && row.answer.correction).filter(Boolean).at(-1);
    const { division } = pot;
    return [
      judged("stop", `The pot has ${share} too ${wrong.off > 0 ? "much" : "little"} ${wrong.of}; ± ${Number((wrong.tolerance * 100).toFixed(2))} % is allowed. Do not mix yet.`),
      target(`Add ${wrong.role}, kg`, kgText(wrong.add), `new total ${kgText(wrong.total)} kg`),
      ...(told ? told.problems : []).map((words) => judged("stop", words)),
      most !== null && wrong.total > most ? judged("stop", `The total would be ${kgText(wrong.total)} kg; the pot takes ${kgText(most)} kg. Scrap this pot below and weigh anew.`) : null,
      entry({ label: `Added ${wrong.role}, kg`, target: wrong.add, low: wrong.add - division, high: wrong.add + division,
        judge: (tenths) => (Math.abs(tenths - wrong.add) <= division ? ["good", "Good."] : ["mind", `Asked for: ${kgText(wrong.add)} kg.`]),
        button: "Record what was added", take: (tenths) => weigh(wrong.line, tenths, { container: wrong.line.container, reason: "ratio put right" }) }),
    ];
  }

  const drawPrepare = () => MakeReady.draw({ state, unstirred: Stirring.unstirred({ state, held: held() }), ready: (facts) => {
    for (const line of Stirring.unstirred({ state, held: held() })) {
      Queue.add({ batch: id, kind: "stirred", url: root.dataset.entries, label: `Can ${line.container} is stirred`, body: { kind: "stirred", line: String(line.id), container_code: line.container } });
    }
    sessionStorage.setItem(`shop.ready-${id}`, "yes");
    if (Object.keys(facts).length) record("conditions", "Air, surface and humidity", { facts });
    else { shown = null; draw(); }
  } });

  /* What a pot that holds less than planned fills, and what then remains. */
  function shortPot() {
    const { kg, missing } = pot.offer();
    if (!missing) return null;
    const each = state.portions.filter((one) => kg.has(one.id)).map((one, n) => `${n ? "then " : "fill first "}${one.pour} lift ${one.lift}: ${kgText(kg.get(one.id))} of ${kgText(Pot.units(one.kg))} kg`);
    return judged("mind", `The pot is ${kgText(missing)} kg short. ${each.join("; ")}. ${kgText(missing)} kg remain to be planned anew: ask for the new plan as soon as it is poured.`.replace("short. fill", "short. Fill"));
  }

  const mixHeat = () => MixHeat.draw({ state, note: (facts, confirmed) => record("conditions", "Temperature of the mix", { facts, confirmed }) });

  function drawContact() {
    const go = h("button", { type: "button", class: "button--big", id: "contact", tap: () => {
      const passing = gate.passing();
      if (!passing) return;
      PotClock.sound();
      record("contact", "First contact", passing);
    } }, "First contact: now");
    const gate = Gate.make({ told: state.gate.contact, button: go, clockText, name: root.dataset.name });
    return [target("In the pot, kg", kgText(pot.inPot()), "inside the ratio's tolerance"), mixHeat(), gate.node, shortPot(),
      h("p", {}, `Tap when resin and hardener meet. From then on the pot lives ${state.pot_life_min} min. Mix at least ${state.mix_min} min in all, half of it in each container; scrape sides and bottom.`), go];
  }

  const pastPotLife = () => (PotClock.isOver() ? judged("stop", "Pot life is over. Do not pour: scrap the pot below. If it was poured in time, record it.") : null);

  const secondAt = () => (state.entries.find((one) => one.kind === "second_container") || heldKind("second_container")[0] || {}).at || null;

  /* Known here also of a first contact that is not sent yet. */
  const mixedShort = () => [MixTimer.hindrance({ state, contact: contactAt(), second: secondAt(), begun: state.portions.some(isPoured) })].filter(Boolean);

  const drawSecond = () => [pastPotLife(), MixTimer.make({ state, since: contactAt(), container: "first" }),
    h("p", {}, "Pour all of it into the second, clean container. Scrape the first one only with the mixer, never into the mix. Mix again. The pot life does not start anew."), mixHeat(),
    h("button", { type: "button", class: "button--big", id: "second", tap: () => { const words = MixTimer.tooShort({ state, since: contactAt(), container: "first" }); record("second_container", "Into the second container", words ? { words } : {}); } }, "In the second container, mixed"),
  ];

  function drawPortion({ portion }) {
    const { division } = pot;
    const { kg, missing, over } = pot.offer();
    const aim = kg.get(portion.id);
    const round = (missing ? Math.floor(aim / division) : Math.round(aim / division)) * division;
    const latest = new Date(new Date(contactAt()).getTime() + state.pot_life_min * 60000);
    const words = [`${portion.tool}, ${Number(portion.depth_mm).toFixed(1)} mm deep`, portion.place].filter(Boolean).join(", ");
    const last = kg.size === 1;
    const pour = (tenths) => {
      const passing = gate.passing();
      if (!passing) return;
      if (!missing && tenths < 0.95 * aim) lessPoured = { portion: String(portion.id), kg: kgText(round - tenths) };
      record("poured", `Poured ${kgText(tenths)} kg`, { portion: String(portion.id), facts: { kg: (tenths / 10000).toFixed(4) }, ...passing });
    };
    const go = h("button", { type: "button", class: "button--big", id: "poured", tap: () => pour(aim) }, `Poured: ${kgText(round)} kg`);
    const told = (state.gate.portions.find((one) => one.portion === String(portion.id)) || {}).hindrances;
    const gate = Gate.make({ told, own: mixedShort(), button: go, clockText, name: root.dataset.name });
    return [target(`Pour by ${clockText(latest)}, kg`, kgText(round), `into ${portion.pour}, lift ${portion.lift}`), gate.node, shortPot(),
      h("p", {}, words), secondAt() ? MixTimer.make({ state, since: secondAt(), container: "second" }) : null, portion.abrade_first ? judged("mind", "The lift below must be abraded and cleaned first.") : null,
      Number(portion.brush_coat_kg) > 0 ? h("p", {}, `Brush ${Number(portion.brush_coat_kg).toFixed(3)} kg of it on the pattern first, into corners and details.`) : null,
      pastPotLife(), go,
      last && over > division ? h("p", {}, `${kgText(over)} kg stay over. Spread them thin or pour them into a tray; never leave them deep in the pot.`) : null,
      h("details", {}, h("summary", { class: "summary" }, "Another weight went in"),
        entry({ label: "Poured, kg", target: round, low: round - 10 * division, high: round + 10 * division, most: 1.5 * round,
          judge: (tenths) => (tenths > aim + division + over ? ["stop", `The pot gives ${kgText(aim + over)} kg at most. Read the scale again.`] : tenths < 0.95 * aim ? ["mind", `${kgText(round - tenths)} kg less than planned. Once recorded, you are asked whether the lift ends lower.`] : ["good", "Good."]),
          button: "Record this weight", take: pour }))];
  }

  function drawDone() {
    const plan = state.new_plan ? h("p", {}, h("a", { class: "button", href: "#new-plan" }, "The plan does not know of this: see below")) : null;
    if (isScrapped()) return [h("p", {}, "This pot is scrapped. What was weighed stays issued from stock; ask for a new plan below."), plan];
    if (isCancelled()) return [h("p", {}, "This batch is cancelled. Look at Today for what to do.")];
    return [h("p", {}, "All is poured and recorded; the cure clock runs. Clean the tools before the rest sets. Spread what is left thin or pour it into a tray; never leave it deep in the pot."), plan,
      h("p", {}, h("a", { class: "button", href: "/today/" }, "Back to Today"))];
  }

  function takeBack(row) {
    scanned.delete(row.line);
    Queue.drop([row.key]);
    shown = null;
    draw();
    Queue.send();
    refresh();
  }

  /* What the gate refused had been done: it is recorded, and its castings are quarantined. */
  function happened(row) {
    const { at, ...body } = row.body;
    Queue.drop([row.key]);
    record(row.kind, row.label, { ...body, already: true }, { line: row.line });
  }

  /* Two people weighed for one row and both are in the pot: who taps has read what the row holds. */
  function recordAsWell(row) {
    const { at, ...body } = row.body;
    Queue.drop([row.key]);
    record("weighing", row.label, { ...body, already_kg: row.limit, reason: body.reason || "weighed beside another entry" }, { line: row.line });
  }

  const DRAW = { prepare: drawPrepare, line: drawLine, correct: drawCorrection, contact: drawContact, second: drawSecond, portion: drawPortion };

  function draw() {
    const list = steps();
    const over = isScrapped() || isCancelled();
    const current = over ? null : list.find((step) => !step.done) || null;
    if (contactAt() && list.some((step) => step.portion && !step.done) && !isScrapped()) PotClock.run(contactAt(), state.pot_life_min);
    else if (over || contactAt()) PotClock.stop("–", "No pot life is running.");
    else PotClock.stop(`${state.pot_life_min} min`, "of pot life, from first contact.");
    BatchLog.drawNetwork({ batch: id, back: takeBack, again: recordAsWell, happened });
    BatchLog.drawRows({ batch: id, state, kgText, clockText, amend: records ? (entry, what) => PutRight.amend({ entry, what, record }) : null, reweigh: records ? (one, line) => PutRight.reweigh({ one, line, record, kgText }) : null });
    Trouble.drawNewPlan(state.new_plan, records);
    drawAlarms();
    part("fact-life").textContent = `${state.pot_life_min} min`;
    part("fact-until").textContent = clockText(contactAt() ? new Date(new Date(contactAt()).getTime() + state.pot_life_min * 60000) : state.latest_pour_at);
    part("status").replaceChildren(h("span", { class: "state" }, state.status_words));
    part("steps").replaceChildren(...list.map((step) => h("li", { "aria-current": step === current ? "step" : null },
      h("span", {}, step.title), h("span", {}, step.done ? "✓ done" : step === current ? "▶ now" : "○ to do"))));
    const scannedNow = current && current.line && scanned.has(current.line.id);
    const told = !current ? "" : current.name === "contact" ? Gate.signature(state.gate.contact) : current.portion ? Gate.signature((state.gate.portions.find((one) => one.portion === String(current.portion.id)) || {}).hindrances, mixedShort()) : current.line ? whyBarred(current.line) || "" : "";
    const name = !current ? `over${state.new_plan ? "-plan" : ""}` : current.name + told + (current.line ? weighedInto(current.line) : "") + (scannedNow ? "-weigh" : "") + (PotClock.isOver() ? "-past" : "");
    document.documentElement.dataset.drawn = "yes";
    if (name === shown) return;
    shown = name;
    Steady.moved();
    const position = current ? `Step ${list.indexOf(current) + 1} of ${list.length}` : "";
    const body = !current ? drawDone() : !records ? [h("p", {}, "Your role may look but not record.")] : DRAW[current.name.split("-")[0]](current);
    part("step").replaceChildren(h("div", { class: "step__count" }, position), h("h2", {}, current ? current.title : "Finished"), ...body.filter(Boolean));
    if (records) drawTrouble();
  }

  const isLive = () => !isScrapped() && !isCancelled() && state.status !== "poured";

  /* Told at once, whatever else waits to be sent; the step stays where it is. */
  function tellAlarm(kind) {
    const label = kind === "all_clear" ? "Trouble is over" : state.care.find((one) => one.kind === kind).label;
    Queue.add({ batch: id, kind, url: root.dataset.entries, label, body: { kind }, urgent: true });
    draw();
  }

  function drawAlarms() {
    Alarm.draw({ state, held: held(), clockText, told: tellAlarm, live: isLive(), records, again: draw,
      ask: (kind, preset) => Trouble.open({ state, record, kind, preset }) });
  }

  function drawTrouble() {
    Trouble.draw({ state, record, live: isLive(), poured: state.portions.length > 0 && !isScrapped() });
    if (lessPoured) Trouble.open({ state, record, kind: "short", preset: lessPoured });
  }

  /* Fetch what is recorded by now, and forget entries that it contains. */
  async function refresh(stopsOnly = false) {
    const sent = Queue.of(id).filter((row) => row.state === "sent").map((row) => row.key);
    try {
      const response = await fetch(root.dataset.stateUrl, { credentials: "same-origin", headers: { Accept: "application/json" } });
      Queue.learnClock(response);
      if (!response.ok || response.redirected) return;
      const fresh = await response.json();
      if (stopsOnly && stopsOf(fresh) === stopsOf(state)) return;
      state = fresh;
      pot = Pot.of(state, weighedInto, noMore, pouredInto);
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
  const isTyping = () => [...document.querySelectorAll("#step input:not(#gate-name), #loss input, #amend input")].some((field) => field.value);
  /* When the pot dies under somebody's hands the step says so, unless a weight is being typed. */
  setInterval(() => { if (shown && shown.includes("mixed_too_short") && !mixedShort().length && !isTyping()) draw(); }, 500);
  setInterval(() => { if (PotClock.isOver() && shown && !shown.endsWith("-past") && !shown.startsWith("over") && !isTyping()) draw(); }, 1000);
  /* Two people may work on one batch: what the other one recorded shows, unless this one types. */
  let mark = null;
  async function lookAgain() {
    if (document.hidden || Queue.of(id).some((row) => row.state === "waiting")) return;
    try {
      const response = await fetch(root.dataset.markUrl, { credentials: "same-origin", headers: { Accept: "application/json" } });
      if (!response.ok || response.redirected) return;
      const { mark: fresh, at_it: words } = await response.json();
      if (part("at-it").textContent !== words) part("at-it").textContent = words;
      if (fresh === mark) return;
      if (isTyping()) { await refresh(true); return; }
      mark = fresh;
      await refresh();
    } catch {
      // Without a network the page goes on with what it knows; who else is at it, it does not.
      part("at-it").textContent = "Who else is at it is not known without a network.";
    }
  }
  /* What must reach even somebody who types: a lot that is held, a batch that is over. */
  const stopsOf = (one) => JSON.stringify([one.status, one.alarms, one.lines.map((line) => line.lot_status), one.gate.contact.filter((row) => !row.reason_passes && row.code !== "not_weighed" && row.code !== "ratio").map((row) => row.code)]);
  setInterval(lookAgain, LOOKS_AGAIN_S * 1000);
  document.addEventListener("visibilitychange", lookAgain);
  draw();
  refresh();
  Queue.send();
  Keeping.keep(root.dataset.keeper);
});
