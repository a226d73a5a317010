/* Nothing is edited: what was written down wrong is put right by a further entry that says why. */
"use strict";

const PutRight = (() => {
  const part = (id) => document.getElementById(id);
  const LEAST_WORDS = 3;

  function show(...children) {
    const fault = (words, field) => { verdict.className = "judge judge--stop"; verdict.textContent = words; field.focus(); };
    const verdict = h("p", { class: "judge", id: "amend-judge", role: "status" });
    part("amend").replaceChildren(h("div", { class: "card card--mind" }, ...children, verdict));
    part("amend").scrollIntoView({ block: "center" });
    return { verdict, fault };
  }

  const buttons = (label, go) => h("div", { class: "actions" }, h("button", { type: "button", id: "amend-take", tap: go }, label),
    h("button", { type: "button", class: "button--plain", tap: () => part("amend").replaceChildren() }, "Leave it"));

  /* An entry of the log: what is really so, and why it was written otherwise. */
  function amend({ entry, what, record }) {
    const words = h("input", { id: "amend-words", autocomplete: "off", maxlength: "400" });
    const go = () => {
      const text = words.value.trim();
      if (text.length < LEAST_WORDS) { fault(`What is really so is ${text || "empty"}; write at least ${LEAST_WORDS} letters.`, words); return; }
      part("amend").replaceChildren();
      record("amendment", "Amendment", { amends: String(entry), words: text });
    };
    const { verdict, fault } = show(h("label", { for: "amend-words" }, "What is really so, and why was it written otherwise?"), words, buttons("Add the amendment", go));
    verdict.textContent = `To be put right: ${what}. The first entry stays to be seen.`;
    words.focus();
  }

  /* A weight that was written down wrong: what it really was, and how that is known. */
  function reweigh({ one, line, record, kgText }) {
    const role = BatchLog.capital(line.role);
    const kg = h("input", { id: "amend-kg", inputmode: "decimal", autocomplete: "off" });
    const why = h("input", { id: "amend-reason", autocomplete: "off", maxlength: "200" });
    const go = () => {
      const text = kg.value.replace(",", ".").trim();
      const reason = why.value.trim();
      if (!/^\d{1,4}(\.\d{1,4})?$/.test(text) || Number(text) === 0) { fault(`Really, kg, is ${text || "empty"}; give kg above 0.`, kg); return; }
      if (reason.length < LEAST_WORDS) { fault(`The reason is ${reason || "empty"}; write at least ${LEAST_WORDS} letters.`, why); return; }
      part("amend").replaceChildren();
      record("reweighed", `${role} really ${text} kg`, { weighing: String(one.id), to_kg: text, reason });
    };
    const { verdict, fault } = show(h("label", { for: "amend-kg" }, "Really, kg"), kg, h("label", { for: "amend-reason" }, "How is that known?"), why, buttons("Put the weighing right", go));
    verdict.textContent = `${role} stands as ${kgText(Pot.units(one.kg))} kg. If the pot turns out to be off its ratio, its castings are quarantined and a new plan is offered.`;
    kg.focus();
  }

  return { amend, reweigh };
})();
