/* Weighing at arm's length: the can in the hand, the keypad, the scale that speaks for itself. */
"use strict";

/* Make a node; `tap` and `input` are listeners, true sets a bare attribute, false and null none. */
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

const Weighing = (() => {
  const EMPTY = "Type what the scale shows, kg.";

  /* A figure to read from two metres, with a word above and one beneath. */
  function target(label, figure, ...within) {
    return h("div", { class: "target" }, h("div", { class: "target__label" }, label), h("div", { class: "target__figure" }, figure),
      ...within.filter(Boolean).map((words) => h("div", { class: "target__within" }, words)));
  }

  const judged = (tone, words) => h("p", { class: `judge judge--${tone}` }, words);

  /*
   * Keypad and field for a weight; `judge` tells while typing, `take` gets tenths of a gram. A weight
   * over `most` is taken at the second tap only: it is more often a slip than a pot.
   */
  function entry({ pot, label, target: aim, low, high, most, judge, take, button, scaleUrl, decimals }) {
    const field = h("input", { id: "reading", class: "reading", inputmode: "none", autocomplete: "off", "aria-describedby": "judge", input: look });
    const verdict = h("div", { id: "judge", class: "judge", role: "status" }, EMPTY);
    const gauge = Gauge.make(aim, low, high, pot.division);
    let sure = null;
    function value() {
      const text = field.value.replace(",", ".").trim();
      return /^\d{1,4}(\.\d{1,6})?$/.test(text) ? Pot.units(text) : null;
    }
    function say(tone, words) {
      verdict.className = `judge judge--${tone}`;
      verdict.textContent = words;
    }
    function look() {
      const tenths = value();
      gauge.show(tenths);
      if (tenths === null) say("", field.value ? "Not a weight: digits and one point, kg." : EMPTY);
      else say(...judge(tenths));
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
        say("stop", `The weight is ${field.value || "empty"}; it must be a number above 0 kg. Read the scale again.`);
        field.focus();
      } else if (most && tenths > most && sure !== tenths) {
        sure = tenths;
        say("stop", `${pot.text(tenths)} kg is far more than the ${pot.text(aim)} kg asked for. Is the point in the right place? Tap once more if it is really so.`);
      } else take(tenths);
    } }, button);
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") go.click(); });
    return h("div", {}, h("label", { for: "reading" }, label), field, gauge.node, verdict, follower(field, look, scaleUrl, decimals), pad, go);
  }

  /* Follows the scale that posts its readings, until the field is gone or the button tapped again. */
  function follower(field, look, url, decimals) {
    if (!url) return null;
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
        const reading = await (await fetch(url, { credentials: "same-origin" })).json();
        if (timer === null) return;
        button.textContent = reading.kg === null ? "The scale is silent" : reading.stable ? "The scale stands still" : "The scale runs";
        if (reading.kg !== null) { field.value = Number(reading.kg).toFixed(decimals); look(); }
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

  /* Why a can must not be used for a row, in words; nothing where it may be. */
  function whyNot(can, code, line, until) {
    const right = `Fetch ${line.container}, lot ${line.lot}${line.shelf ? `, ${line.shelf}` : ""}.`;
    if (!can) return `Stop: no can ${code} of ${line.material} is known here as released and not empty. ${right} A can that has just come in is known once this page has reached the shop's computer.`;
    if (can.role !== line.role) return `Stop: ${can.code} holds ${can.material}, the ${can.role}; this row wants ${line.material}. ${right}`;
    if (can.usable_until && new Date(can.usable_until) < Queue.now()) return `Stop: ${can.code}, lot ${can.lot}, may not be used after ${until(can.usable_until)}. ${right}`;
    return null;
  }

  /* The can in hand must be the can on the sheet; another of the same material needs a reason. */
  function scan({ line, cans, barred, emptied, until, next }) {
    const field = h("input", { id: "scan", "data-scan": "own", maxlength: "400", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", "aria-describedby": "scan-judge" });
    const verdict = h("div", { id: "scan-judge", class: "judge", role: "status" }, emptied ? `Can ${emptied} is empty. Scan or type the code of the next can of ${line.material}.` : "Scan or type the code on the can.");
    const other = h("div", { hidden: true });
    function stop(words) {
      verdict.className = "judge judge--stop";
      verdict.textContent = words;
    }
    /* The can that a text names: one known here, else what the shop's computer reads on the label. */
    async function canOf(text) {
      const known = [{ code: line.container, short: line.short, container_id: line.container_id }, ...cans()];
      const here = known.find((one) => Scan.names(text, one));
      if (here) return here.code;
      const told = await Scan.ask(text, "can");
      return told && told.code ? told.code : text;
    }
    async function check() {
      const text = field.value.trim();
      other.hidden = true;
      if (!text) return stop("The code is empty. Scan the can.");
      const code = await canOf(text);
      if (!field.isConnected) return null;
      if (emptied && code === emptied) return stop(`${emptied} is the can that ran empty. Scan the next one.`);
      if (code === line.container) return barred ? stop(barred) : next(null);
      const can = cans().find((one) => one.code === code);
      const why = whyNot(can, code, line, until);
      if (why) return stop(why);
      if (emptied) return next({ container: can.code, reason: `can ${emptied} is empty`, in_can_kg: can.free_kg });
      stop(`Stop: this is ${can.code}, lot ${can.lot}; the sheet asks for ${line.container}, lot ${line.lot}. Fetch that one.`);
      return offer(can);
    }
    function offer(can) {
      const reason = h("input", { id: "reason", autocomplete: "off", maxlength: "200" });
      const use = () => {
        if (reason.value.trim().length >= 3) { next({ container: can.code, reason: reason.value.trim(), in_can_kg: can.free_kg }); return; }
        stop(`The reason is ${reason.value.trim() || "empty"}; write at least 3 letters.`);
        reason.focus();
      };
      reason.addEventListener("keydown", (event) => { if (event.key === "Enter") use(); });
      other.replaceChildren(h("label", { for: "reason" }, `Or use ${can.code} instead, the same ${can.material}, ${Number(can.free_kg)} kg free. Why?`), reason,
        h("button", { type: "button", class: "button--plain", id: "use-other", tap: use }, `Use ${can.code}`));
      other.hidden = false;
    }
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") check(); });
    field.addEventListener("scanned", check);
    return h("div", {}, h("label", { for: "scan" }, "Code on the can"), field, Scan.button(field), verdict,
      h("button", { type: "button", class: "button--big", id: "check-can", tap: check }, "Check the can"), other);
  }

  return { entry, scan, target, judged };
})();
