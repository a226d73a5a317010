/* How warm the mix really is: one figure in °C or °F; an odd one is asked about before it counts. */
"use strict";

const MixHeat = (() => {
  const LOW_C = -30, HIGH_C = 100;
  const celsius = (value, unit) => (unit === "f" ? (value - 32) / 1.8 : value);

  /* `note` gets the facts of the entry, and whether an odd figure is confirmed. */
  function draw({ state, note }) {
    const [low, high] = state.mix_usual_c.map(Number);
    const field = h("input", { id: "mix_degrees", inputmode: "decimal", autocomplete: "off" });
    const unit = h("select", { id: "mix_unit", "aria-label": "Unit" }, h("option", { value: "c" }, "°C"), h("option", { value: "f" }, "°F"));
    const verdict = h("p", { class: "judge", role: "status" }, `${state.mix_words}`);
    const go = h("button", { type: "button", class: "button--plain", id: "mix_note", tap: take }, "Write it down");
    let asked = "";
    function say(kind, words, label) {
      verdict.className = `judge judge--${kind}`;
      verdict.textContent = words;
      go.textContent = label;
      field.focus();
    }
    function take() {
      const value = Number(field.value.trim().replace(",", "."));
      const degrees = celsius(value, unit.value);
      const typed = `${field.value.trim()} °${unit.value.toUpperCase()}`;
      if (!field.value.trim() || Number.isNaN(value) || degrees < LOW_C || degrees > HIGH_C) {
        say("stop", `Temperature of the mix is ${field.value.trim() || "empty"}; it must be a number from ${LOW_C} to ${HIGH_C} °C.`, "Write it down");
        return;
      }
      if ((degrees < low || degrees > high) && asked !== typed) {
        asked = typed;
        say("mind", `A mix is ${low} to ${high} °C here; this is ${degrees.toFixed(1)} °C. Look at the unit and at the probe.`, `Yes, really ${typed}`);
        return;
      }
      note({ [unit.value === "f" ? "mix_f" : "mix_c"]: value.toFixed(1) }, asked === typed);
    }
    return h("div", { class: "card" }, h("label", { for: "mix_degrees" }, "Temperature of the mix"), h("div", { class: "two" }, field, unit), verdict, go);
  }

  return { draw };
})();
