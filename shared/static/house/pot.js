/*
 * What is in the pot and what is still to weigh: arithmetic alone, no page. Masses are whole tenths
 * of a gram here: binary fractions do not add up.
 */
"use strict";

const Pot = (() => {
  const units = (kg) => Math.round(Number(kg) * 10000);

  /*
   * `state` is what the shop's computer told, `weighed(line)` what lies in the pot from a row,
   * `noMore(line)` whether a row gets no more, `poured(portion)` what went in, null while it waits.
   */
  function of(state, weighed, noMore, poured) {
    const division = Math.max(1, Math.round(Number(state.readability_g || 0.1) * 10));
    const perResin = Number(state.hardener_per_100) / 100;
    const tolerance = Number(state.ratio_tolerance_percent) / 100;
    const text = (tenths) => (tenths / 10000).toFixed(state.decimals);
    const lines = (role) => state.lines.filter((line) => line.role === role);
    const total = (role) => lines(role).reduce((sum, line) => sum + weighed(line), 0);
    const inPot = () => total("resin") + total("hardener");
    const open = (role) => lines(role).filter((line) => weighed(line) === 0 && !noMore(line));
    const step = (tenths) => Math.round(tenths / division) * division;

    /*
     * The weight to aim at for a row, and the band around it. The last row of a component makes up
     * for what its other rows got more or less; the last row of hardener follows the resin that is
     * really in the pot. So a pot whose rows all read "good" is good.
     */
    function aim(line) {
      const sheet = units(line.target_kg);
      const found = { sheet, aim: sheet, low: units(line.low_kg), high: units(line.high_kg), follows: false };
      const others = lines(line.role).filter((one) => one.id !== line.id);
      if (others.some((one) => weighed(one) === 0 && !noMore(one))) return found;
      const there = others.reduce((sum, one) => sum + weighed(one), 0);
      const off = others.reduce((sum, one) => sum + weighed(one) - units(one.target_kg), 0);
      const shifted = { sheet, aim: sheet - off, low: found.low - off, high: found.high - off };
      if (line.role === "hardener" && open("resin").length === 0) {
        const wanted = total("resin") * perResin;
        shifted.aim = step(wanted - there);
        shifted.low = Math.ceil((wanted * (1 - tolerance) - there) / division - 1e-6) * division;
        shifted.high = Math.floor((wanted * (1 + tolerance) - there) / division + 1e-6) * division;
      }
      shifted.aim = Math.max(division, shifted.aim);
      shifted.low = Math.min(shifted.aim, Math.max(division, shifted.low));
      shifted.high = Math.max(shifted.aim, shifted.high);
      return { ...shifted, follows: shifted.aim !== sheet };
    }

    /* A row is closed once its mass is there, or somebody has said that no more goes in. */
    const closed = (line) => noMore(line) || weighed(line) >= aim(line).low;

    /* What the pot gives to each portion still open: never more than lies in it, or than planned. */
    function offer() {
      const waits = state.portions.filter((one) => poured(one) === null);
      const gone = state.portions.reduce((sum, one) => sum + (poured(one) || 0), 0);
      const left = Math.max(0, inPot() - units(state.residue_kg) - gone);
      const planned = waits.reduce((sum, one) => sum + Number(one.kg) * 10000, 0);
      const part = planned > left ? left / planned : 1;
      const kg = new Map(waits.map((one) => [one.id, Math.floor(Number(one.kg) * 10000 * part + 1e-6)]));
      const missing = Math.max(0, planned - left);
      return { kg, missing: missing > division * waits.length ? missing : 0, over: Math.max(0, left - planned) };
    }

    /* Off its ratio: what to add so that it is back inside the tolerance, rounded to the scale. */
    function correction() {
      if (state.lines.some((line) => !closed(line))) return null;
      const resin = total("resin");
      const hardener = total("hardener");
      if (!resin || !hardener) return null;
      const wanted = resin * perResin;
      const off = (hardener - wanted) / wanted;
      if (Math.abs(off) <= tolerance + 1e-9) return null;
      const role = off > 0 ? "resin" : "hardener";
      const exact = off > 0 ? hardener / perResin - resin : wanted - hardener;
      const add = step(exact);
      return { role, add, line: lines(role).at(-1), off, total: resin + hardener + add };
    }

    return { division, text, total, inPot, aim, closed, offer, correction };
  }

  return { of, units };
})();
