/*
 * What stands in the way of mixing or pouring, with what to do about it. The shop's computer judges
 * it; here it is shown before anybody acts, and asks for the reason and the name that pass some of it.
 */
"use strict";

const Gate = (() => {
  /* The page knows better what it holds itself: weights that are not sent yet. */
  const OWN = ["ratio", "not_weighed", "pot_life_over", "mixed_too_short"];

  function rows(told, own = []) {
    const now = Queue.now();
    return [...(told || []).filter((one) => !OWN.includes(one.code)), ...own].filter((one) => !(one.clears_at && new Date(one.clears_at) <= now));
  }

  const signature = (told, own) => rows(told, own).map((one) => one.code).join("+");

  /*
   * Draw it; `button` is locked while something stands in the way that no reason passes. Returns the
   * node and `passing()`, which gives what to send along, or null while it is not filled in.
   */
  function make({ told, own, button, clockText, name }) {
    const found = rows(told, own);
    const barred = found.some((one) => !one.reason_passes);
    if (barred) button.disabled = true;
    if (!found.length) return { node: null, passing: () => ({}) };
    const list = h("ul", { class: "gate__list" }, ...found.map((one) => h("li", {}, h("strong", {}, one.words), ` ${one.what_to_do}${one.clears_at ? ` From ${clockText(one.clears_at)}.` : ""}`)));
    const heading = h("p", { class: "gate__title" }, barred ? "Not ready. No reason passes this:" : "Not ready:");
    if (barred) return { node: h("div", { class: "gate judge--stop" }, heading, list), passing: () => null };
    const reason = h("input", { id: "gate-reason", autocomplete: "off", maxlength: "200" });
    const who = h("input", { id: "gate-name", autocomplete: "off", maxlength: "80" });
    who.value = name;
    const verdict = h("p", { class: "judge", id: "gate-judge", role: "status" }, "Do what is named above. To go on all the same, say why and who decides.");
    const node = h("div", { class: "gate judge--mind" }, heading, list, h("label", { for: "gate-reason" }, "Go on all the same, because"), reason, h("label", { for: "gate-name" }, "Decided by"), who, verdict);
    function passing() {
      const given = { gate_reason: reason.value.trim(), decided_by: who.value.trim() };
      if (given.gate_reason.length >= 3 && given.decided_by) return given;
      verdict.className = "judge judge--stop";
      verdict.textContent = given.decided_by ? `The reason is ${given.gate_reason || "empty"}; write at least 3 letters.` : "The name of who decides is empty.";
      (given.decided_by ? reason : who).focus();
      return null;
    }
    return { node, passing };
  }

  return { make, signature };
})();
