/*
 * A can whose filler settles is stirred before its first weighing, and that is signed. The shop's
 * computer judges it; here it is asked for before anybody weighs.
 */
"use strict";

const Stirring = (() => {
  const HOUR_MS = 3600000;

  /* Whether a can must be stirred; `held` are the entries that this device has not sent yet. */
  function isWanted({ state, role, code, held }) {
    const hours = state.stir_again_h[role];
    if (!hours) return false;
    const can = state.cans.find((one) => one.code === code);
    const times = held.filter((row) => row.kind === "stirred" && row.body.container_code === code).map((row) => Date.parse(row.at));
    if (can && can.stirred_at) times.push(Date.parse(can.stirred_at));
    return !times.some((at) => Queue.now() - at <= hours * HOUR_MS);
  }

  /* The rows of the sheet whose cans must be stirred, each can once. */
  function unstirred({ state, held }) {
    const seen = new Set();
    return state.lines.filter((line) => !seen.has(line.container) && seen.add(line.container) && isWanted({ state, role: line.role, code: line.container, held }));
  }

  /* Asks for it: `sign` says that it is done, `pass` goes on without for a reason with a name. */
  function draw({ code, material, name, sign, pass }) {
    const reason = h("input", { id: "stir-reason", autocomplete: "off", maxlength: "200" });
    const who = h("input", { id: "stir-name", autocomplete: "off", maxlength: "80" });
    who.value = name;
    const verdict = h("p", { class: "judge", role: "status" }, "Say why it cannot be stirred, and who decides.");
    const go = () => {
      if (reason.value.trim().length >= 3 && who.value.trim()) { pass({ gate_reason: reason.value.trim(), decided_by: who.value.trim() }); return; }
      verdict.className = "judge judge--stop";
      verdict.textContent = who.value.trim() ? `The reason is ${reason.value.trim() || "empty"}; write at least 3 letters.` : "The name of who decides is empty.";
      (who.value.trim() ? reason : who).focus();
    };
    return [h("p", { class: "judge judge--mind" }, `The filler of ${material} settles. Stir can ${code} down to the bottom before anything is weighed from it.`),
      h("button", { type: "button", class: "button--big", id: "stirred", tap: sign }, `Can ${code} is stirred`),
      h("details", {}, h("summary", { class: "summary" }, "Weigh from it unstirred"), h("label", { for: "stir-reason" }, "Because"), reason, h("label", { for: "stir-name" }, "Decided by"), who, verdict,
        h("button", { type: "button", class: "button--plain", id: "unstirred", tap: go }, "Go on unstirred"))];
  }

  return { isWanted, unstirred, draw };
})();
