/* When a pour goes short or leaks: how much is missing, and the new plan that this asks for. */
"use strict";

const Trouble = (() => {
  const part = (id) => document.getElementById(id);

  /* How much a lift has less than planned, of which portion, in words. */
  function lossForm({ state, kind, label, kgLabel, wordsLabel, take, preset }) {
    const kg = h("input", { id: "loss-kg", inputmode: "decimal", autocomplete: "off", "aria-describedby": "loss-judge" });
    const words = h("input", { id: "loss-words", autocomplete: "off", maxlength: "400" });
    const into = h("select", { id: "loss-portion" }, ...state.portions.map((one) => h("option", { value: String(one.id) }, `${one.pour} lift ${one.lift}, ${Number(one.kg).toFixed(state.decimals)} kg`)));
    if (preset) { kg.value = preset.kg; into.value = preset.portion; }
    const verdict = h("p", { id: "loss-judge", class: "judge", role: "status" }, preset ? "Less went in than planned. Is so much missing from the lift? Then record it; the rest is planned anew." : "The lift then ends lower; the rest is planned anew.");
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

  const LOSSES = {
    leak: { label: "A barrier leaks", kgLabel: "Ran out, kg (0 if nothing)", wordsLabel: "Where does it leak?" },
    short: { label: "Poured short", kgLabel: "Missing from the lift, kg", wordsLabel: "Where, and why?" },
  };

  function openLoss({ state, record, kind, preset }) {
    const take = (body, text) => record(kind, `${LOSSES[kind].label}: ${text} kg`, body);
    part("loss").replaceChildren(lossForm({ state, kind, take, preset, ...LOSSES[kind] }));
    part("loss-kg").focus();
  }

  /* The deeds for a pot that fails: `live` while it may be scrapped, `poured` while a lift may lack. */
  function draw({ state, record, live, poured }) {
    const ask = (kind, label, question) => h("button", { type: "button", class: kind === "scrapped" ? "button--stop" : "button--plain", id: `trouble-${kind}`, tap: () => {
      const words = window.prompt(question, "");
      if (words !== null && words.trim()) record(kind, label, { words: words.trim() });
    } }, label);
    const loss = (kind) => h("button", { type: "button", class: "button--plain", id: `trouble-${kind}`, tap: () => openLoss({ state, record, kind }) }, LOSSES[kind].label);
    part("loss").replaceChildren();
    part("trouble-deeds").replaceChildren(...[
      live ? ask("scrapped", "Scrap this pot", "Why is the pot scrapped?") : null,
      poured ? loss("leak") : null,
      poured ? loss("short") : null,
      ask("remark", "Remark", "What should be remembered?"),
    ].filter(Boolean));
  }

  /* Less was poured than planned: open the question, with what is missing filled in. */
  function ask({ state, record, preset }) {
    part("trouble").closest("details").open = true;
    openLoss({ state, record, kind: "short", preset });
    part("loss").scrollIntoView({ block: "center" });
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

  return { draw, ask, drawNewPlan };
})();
