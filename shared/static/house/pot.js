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
    /* Each component but the resin, with its share of the resin and how far that may be off. */
    const ratios = state.ratios.map((one) => ({ role: one.role, share: Number(one.per_100) / 100, tolerance: Number(one.tolerance_percent) / 100 }));
    const text = (tenths) => (tenths / 10000).toFixed(state.decimals);
    const lines = (role) => state.lines.filter((line) => line.role === role);
    const total = (role) => lines(role).reduce((sum, line) => sum + weighed(line), 0);
    const inPot = () => state.lines.reduce((sum, line) => sum + weighed(line), 0);
    const open = (role) => lines(role).filter((line) => weighed(line) === 0 && !noMore(line));
    const step = (tenths) => Math.round(tenths / division + 1e-9) * division;

    /*
     * The weight to aim at for a row, and the band around it, as `components.py` tells it of what
     * is recorded: rows that are all in their bands keep every ratio together. A row of resin keeps
     * the tightest of the bands that each component leaves it.
     */
    function aim(line) {
      const pairs = line.role === "resin" ? ratios : ratios.filter((one) => one.role === line.role);
      return pairs.map((ratio) => aimInPair(line, ratio)).reduce((known, one) => ({ ...known, low: Math.max(known.low, one.low), high: Math.min(known.high, one.high) }));
    }

    /*
     * The same for resin and one component, as `line_bounds.py` tells it. The last row of a component
     * makes up for its other rows; once all resin is in, the component follows what is there.
     */
    function aimInPair(line, { role: other, share: perResin, tolerance }) {
      const pair = state.lines.filter((one) => one.role === "resin" || one.role === other);
      const sheet = units(line.target_kg);
      const rows = pair.filter((one) => one.id === line.id || (weighed(one) === 0 && !noMore(one)));
      const others = lines(line.role).filter((one) => one.id !== line.id);
      const resinIn = lines("resin").filter((one) => one.id !== line.id).reduce((sum, one) => sum + weighed(one), 0);
      const follows = resinIn > 0 && rows.every((one) => one.role === other);
      const wanted = resinIn * perResin;
      const stillOpen = others.filter((one) => rows.includes(one)).length;
      const whole = follows ? wanted : lines(line.role).reduce((sum, one) => sum + units(one.target_kg), 0);
      const free = whole - others.reduce((sum, one) => sum + weighed(one), 0) - stillOpen * division;
      const room = follows ? step(free) : free;
      const target = Math.max(division, stillOpen ? Math.min(sheet, room) : room);
      const come = (role) => {
        const left = rows.filter((one) => one.role === role);
        const there = lines(role).filter((one) => !left.includes(one)).reduce((sum, one) => sum + weighed(one), 0);
        if (!left.length) return there;
        if (role === line.role && left.length === 1) return target + there;
        const planned = role === other && follows ? wanted : lines(role).reduce((sum, one) => sum + units(one.target_kg), 0);
        return Math.max(planned, there + left.length * division + (role === line.role ? target - division : 0));
      };
      const [resin, hardener] = [come("resin"), come(other)];
      let rich, poor;
      for (const part of [1, 0]) {
        const [halfR, halfH] = [lines("resin"), lines(other)].map((some) => (part * division / 2) * some.length);
        rich = perResin * (1 + tolerance) * (resin - halfR) - (hardener + halfH);
        poor = hardener - halfH - perResin * (1 - tolerance) * (resin + halfR);
        if (Math.min(rich, poor) >= 0) break;
      }
      const band = (spare, cost) => {
        const weights = rows.reduce((sum, one) => sum + (one.role === "resin" ? cost : 1) * Math.sqrt(units(one.target_kg)), 0);
        return Math.max(0, Math.floor(Math.max(0, spare) * Math.sqrt(sheet) / weights / division - 1e-6)) * division;
      };
      const [byRich, byPoor] = [band(rich, perResin * (1 + tolerance)), band(poor, perResin * (1 - tolerance))];
      const [less, more] = line.role === "resin" ? [byRich, byPoor] : [byPoor, byRich];
      return { sheet, aim: target, low: Math.max(Math.min(target, division), target - less), high: target + more, follows: target !== sheet };
    }

    /* A row is closed once its mass is there, or somebody has said that no more goes in. */
    const closed = (line) => noMore(line) || weighed(line) >= aim(line).low;

    /* What the pot gives to each portion still open: never more than lies in it, or than planned. */
    const wanted = (one) => Number(one.wanted_kg === undefined ? one.kg : one.wanted_kg) * 10000;
    function offer() {
      const waits = state.portions.filter((one) => poured(one) === null);
      const gone = state.portions.reduce((sum, one) => sum + (poured(one) || 0), 0);
      const left = Math.max(0, inPot() - units(state.residue_kg) - gone);
      const planned = waits.reduce((sum, one) => sum + wanted(one), 0);
      const part = planned > left ? left / planned : 1;
      const kg = new Map(waits.map((one) => [one.id, Math.floor(wanted(one) * part + 1e-6)]));
      const missing = Math.max(0, planned - left);
      return { kg, missing: missing > division * waits.length ? missing : 0, over: Math.max(0, left - planned) };
    }

    /*
     * Off its ratio: what to add so that it is back inside the tolerance, rounded to the scale. Resin
     * first, for the component most above its tolerance; then each that is short.
     */
    function correction() {
      if (state.lines.some((line) => !closed(line))) return null;
      const resin = total("resin");
      if (!resin || ratios.some((one) => !total(one.role))) return null;
      const wrong = ratios
        .map((one) => ({ ...one, off: total(one.role) / (resin * one.share) - 1 }))
        .filter((one) => Math.abs(one.off) > one.tolerance + 1e-9)
        .sort((a, b) => b.off / b.tolerance - a.off / a.tolerance);
      if (!wrong.length) return null;
      const { role: of, share, tolerance, off } = wrong[0].off > 0 ? wrong[0] : wrong.at(-1);
      const role = off > 0 ? "resin" : of;
      const add = step(off > 0 ? total(of) / share - resin : resin * share - total(of));
      return { role, of, add, line: lines(role).at(-1), off, tolerance, total: inPot() + add };
    }

    return { division, text, total, inPot, aim, closed, offer, correction };
  }

  return { of, units };
})();
