/* A pot that fails, a pour that goes short or leaks, a remark: forms on the page, and the new plan. */
"use strict";

const Trouble = (() => {
  const part = (id) => document.getElementById(id);
  const LEAST_WORDS = 3;
  const LOSSES = {
    leak: { label: "A barrier leaks", kgLabel: "Ran out, kg (0 if nothing)", wordsLabel: "Where does it leak?", button: "Record the leak" },
    short: { label: "Poured short", kgLabel: "Missing from the lift, kg", wordsLabel: "Where, and why?", button: "Record what is missing" },
  };
  const WORDS = {
    scrapped: { label: "Scrap this pot", ask: "Why is the pot scrapped?", button: "Scrap this pot", look: "button--stop" },
    remark: { label: "Remark", ask: "What should be remembered?", button: "Record the remark", look: "" },
  };

  const refuse = (verdict, words, field) => { verdict.className = "judge judge--stop"; verdict.textContent = words; field.focus(); };
  const leave = () => h("button", { type: "button", class: "button--plain", tap: () => part("loss").replaceChildren() }, "Leave it");

  /* How much a lift has less than planned, of which portion, in words. Where several may be meant none is chosen. */
  function lossForm({ state, kind, kgLabel, wordsLabel, button, take, preset }) {
    const kg = h("input", { id: "loss-kg", inputmode: "decimal", autocomplete: "off", "aria-describedby": "loss-judge" });
    const words = h("input", { id: "loss-words", autocomplete: "off", maxlength: "400" });
    const many = state.portions.length > 1;
    const into = h("select", { id: "loss-portion" }, many ? h("option", { value: "" }, "Choose the mould") : null,
      ...state.portions.map((one) => h("option", { value: String(one.id) }, `${one.pour} lift ${one.lift}, ${Number(one.kg).toFixed(state.decimals)} kg`)));
    if (preset && preset.kg) { kg.value = preset.kg; into.value = preset.portion; }
    const verdict = h("p", { id: "loss-judge", class: "judge", role: "status" }, preset && preset.kg ? "Less went in than planned. Is so much missing from the lift? Then record it; the rest is planned anew." : "The lift then ends lower; the rest is planned anew.");
    const short = kind === "short";
    const go = () => {
      const text = kg.value.replace(",", ".").trim();
      if (!into.value) return refuse(verdict, "Where it belongs is empty; choose the mould.", into);
      if (!/^\d{1,4}(\.\d{1,4})?$/.test(text) || (short && Number(text) === 0)) {
        return refuse(verdict, `${kgLabel.split(",")[0]} is ${text || "empty"}; give kg with digits and one point${short ? ", above 0" : ""}. Estimate it if it cannot be weighed.`, kg);
      }
      part("loss").replaceChildren();
      return take({ portion: into.value, facts: { kg: text }, words: words.value.trim() }, `: ${text} kg`);
    };
    return h("div", { class: "fields" },
      h("div", { class: "field", hidden: !many }, h("label", { for: "loss-portion" }, "Where it belongs"), into),
      h("div", { class: "field" }, h("label", { for: "loss-kg" }, kgLabel), kg),
      h("div", { class: "field" }, h("label", { for: "loss-words" }, wordsLabel), words), verdict,
      h("div", { class: "actions" }, h("button", { type: "button", class: "button--big", id: "loss-take", tap: go }, button), leave()));
  }

  /* Words about a pot; of a hot one also how hot it is, if somebody has measured it. */
  function wordsForm({ ask, button, look, take, preset = {} }) {
    const words = h("input", { id: "trouble-words", autocomplete: "off", maxlength: "400" });
    words.value = preset.words || "";
    const pot = h("input", { id: "trouble-pot", inputmode: "decimal", autocomplete: "off" });
    const verdict = h("p", { id: "loss-judge", class: "judge", role: "status" }, "It is added to the log.");
    const go = () => {
      const text = words.value.trim();
      const hot = pot.value.replace(",", ".").trim();
      if (text.length < LEAST_WORDS) return refuse(verdict, `${ask.replace("?", "")}: ${text || "empty"}. Write at least ${LEAST_WORDS} letters.`, words);
      if (hot && !(Number(hot) >= -30 && Number(hot) <= 300)) return refuse(verdict, `Pot is ${hot}; it must be a number from -30 to 300 °C.`, pot);
      part("loss").replaceChildren();
      return take({ words: text, ...(hot ? { facts: { pot_c: Number(hot).toFixed(1) } } : {}) }, "");
    };
    return h("div", { class: "fields" }, h("div", { class: "field field--wide" }, h("label", { for: "trouble-words" }, ask), words),
      preset.pot ? h("div", { class: "field" }, h("label", { for: "trouble-pot" }, "Pot, °C (may stay empty)"), pot) : null, verdict,
      h("div", { class: "actions" }, h("button", { type: "button", class: look, id: "words-take", tap: go }, button), leave()));
  }

  /* Open the form of a kind: scrapped, remark, leak, short. */
  function open({ state, record, kind, preset }) {
    const { label } = LOSSES[kind] || WORDS[kind];
    const take = (body, more) => record(kind, label + more, body);
    part("trouble").closest("details").open = true;
    part("loss").replaceChildren(kind in LOSSES ? lossForm({ state, kind, take, preset, ...LOSSES[kind] }) : wordsForm({ take, preset, ...WORDS[kind] }));
    part("loss").querySelector("input").focus({ preventScroll: true });
    part("loss").scrollIntoView({ block: "center" });
  }

  /* The actions for a pot that fails: `live` while it may be scrapped, `poured` while a lift may lack. */
  function draw({ state, record, live, poured }) {
    const kinds = [...(poured ? ["leak", "short"] : []), "remark", ...(live ? ["scrapped"] : [])];
    part("loss").replaceChildren();
    part("trouble-actions").replaceChildren(...kinds.map((kind) => h("button", { type: "button", class: kind === "scrapped" ? "button--stop" : "button--plain", id: `trouble-${kind}`, tap: () => open({ state, record, kind }) }, (LOSSES[kind] || WORDS[kind]).label)));
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

  return { draw, open, drawNewPlan };
})();
