/* Before weighing: what to have at hand, what to stir, and the air, surface and humidity. */
"use strict";

const MakeReady = (() => {
  /* `ready` gets the facts that were measured, none where nothing was; its tap signs the stirring. */
  function draw({ state, unstirred, ready }) {
    const numbers = {};
    const numberField = (name, label, low, high) => {
      numbers[name] = { field: h("input", { id: name, inputmode: "decimal", autocomplete: "off" }), label, low, high };
      return h("div", { class: "field" }, h("label", { for: name }, label), numbers[name].field);
    };
    const verdict = h("div", { class: "judge", role: "status" }, unstirred.length ? "Your tap signs that the cans named above are stirred. Leave the three empty when nothing was measured." : "Leave all three empty when nothing was measured.");
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
      ready(facts);
    };
    const cans = state.lines.map((line) => h("li", {}, `${line.material}: can ${line.container}, lot ${line.lot}${line.shelf ? `, ${line.shelf}` : ""}`));
    const stir = unstirred.map((line) => h("li", {}, `Stir can ${line.container}, ${line.material}, down to the bottom.`));
    return [h("ul", {}, ...cans, ...stir, h("li", {}, "Gloves, eye protection, fresh air. Two clean containers, a mixer, a clock.")),
      h("div", { class: "three" }, numberField("air_c", "Air, °C", -30, 60), numberField("surface_c", "Surface of the pattern, °C", -30, 200), numberField("humidity_percent", "Humidity, %", 1, 100)),
      verdict, h("button", { type: "button", class: "button--big", id: "ready", tap: begin }, unstirred.length ? "Stirred: ready to weigh" : "Ready to weigh")];
  }

  return { draw };
})();
