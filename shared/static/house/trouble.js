/* When a pour goes short or leaks: how much is missing, and the new plan that this asks for. */
"use strict";

const Trouble = (() => {
  const part = (id) => document.getElementById(id);

  /* How much a lift has less than planned, of which portion, in words. */
  function lossForm({ h, state, kind, label, kgLabel, wordsLabel, take }) {
    const kg = h("input", { id: "loss-kg", inputmode: "decimal", autocomplete: "off", "aria-describedby": "loss-judge" });
    const words = h("input", { id: "loss-words", autocomplete: "off", maxlength: "400" });
    const into = h("select", { id: "loss-portion" }, ...state.portions.map((one) => h("option", { value: String(one.id) }, `${one.pour} lift ${one.lift}, ${Number(one.kg).toFixed(state.decimals)} kg`)));
    const verdict = h("p", { id: "loss-judge", class: "judge", role: "status" }, "The lift then ends lower; the rest is planned anew.");
    const short = kind === "short";
    const go = () => {
      const text = kg.value.replace(",", ".").trim();
      if (!/^\d{1,4}(\.\d{1,4})?$/.test(text) || (short && Number(text) === 0)) {
        verdict.className = "judge judge--stop";
        verdict.textContent = `${kgLabel.split(",")[0]} is ${text || "empty"}; give kg with digits and one point${short ? ", above 0" : ""}. Estimate it if it cannot be weighed.`;
        kg.focus();
        return;
      }
      part("loss").replaceChildren();
      take({ portion: into.value, facts: { kg: text }, words: words.value.trim() }, text);
    };
    return h("div", { class: "fields" },
      h("div", { class: "field", hidden: state.portions.length < 2 }, h("label", { for: "loss-portion" }, "Where it belongs"), into),
      h("div", { class: "field" }, h("label", { for: "loss-kg" }, kgLabel), kg),
      h("div", { class: "field" }, h("label", { for: "loss-words" }, wordsLabel), words), verdict,
      h("button", { type: "button", class: "button--big", id: "loss-take", tap: go }, `Record: ${label.toLowerCase()}`));
  }

  /* What the plan does not know of: offered once the shop's computer has taken the entry. */
  function drawNewPlan(offer, records) {
    part("new-plan").hidden = !offer;
    if (!offer) return;
    part("new-plan-words").textContent = `${offer.words}. ${offer.plan ? "A new plan has been asked for." : "What was weighed stays used up; what is missing must be planned anew."}`;
    part("new-plan-ask").hidden = Boolean(offer.plan) || !records;
    part("new-plan-asked").hidden = !offer.plan;
    if (offer.plan) part("new-plan-asked").querySelector("a").href = `/plans/${offer.plan}/compare/`;
  }

  return { lossForm, drawNewPlan };
})();
