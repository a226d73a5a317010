/* The bar beneath a weight: the band it may lie in, and where it lies. Tenths of a gram. */
"use strict";

const Gauge = (() => {
  function make(target, low, high, division) {
    const NS = "http://www.w3.org/2000/svg";
    const from = target - 4 * Math.max(high - low, division);
    const to = target + 4 * Math.max(high - low, division);
    const at = (tenths) => Math.max(0, Math.min(300, (300 * (tenths - from)) / (to - from)));
    const rect = (name, x, width, y, height) => {
      const node = document.createElementNS(NS, "rect");
      for (const [key, value] of Object.entries({ class: name, x, width: Math.max(2, width), y, height })) node.setAttribute(key, value);
      return node;
    };
    const svg = document.createElementNS(NS, "svg");
    svg.setAttribute("viewBox", "0 0 300 34");
    svg.setAttribute("preserveAspectRatio", "none");
    svg.setAttribute("class", "gauge");
    svg.setAttribute("aria-hidden", "true");
    const pointer = rect("gauge__now", 0, 5, 0, 34);
    svg.append(rect("gauge__frame", 0, 300, 4, 26), rect("gauge__band", at(low), at(high) - at(low), 5, 24), pointer);
    return { node: svg, show: (tenths) => pointer.setAttribute("x", tenths === null ? 0 : Math.max(0, at(tenths) - 2)) };
  }

  return { make };
})();
