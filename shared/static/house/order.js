/* Of an order's form only what the choices ask for: one half or two, a box or a stated volume. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const OF = { box: ["length_mm", "width_mm", "draft_deg", "pattern_l", "pattern_height_mm"], volume: ["stated_l"] };
  const route = document.querySelector("select[name=route]");
  const other = document.querySelector("[data-sizes=b]");

  function drawHalves() {
    const matched = other.dataset.matched.split(" ").includes(route.value);
    other.hidden = !matched;
    if (matched) other.open = true;
  }

  function drawSizes(half) {
    const chosen = document.querySelector(`select[name=${half}-geometry]`);
    for (const [kind, names] of Object.entries(OF)) {
      for (const name of names) document.querySelector(`[name=${half}-${name}]`).closest(".field").hidden = kind !== chosen.value;
    }
  }

  for (const half of ["a", "b"]) {
    document.querySelector(`select[name=${half}-geometry]`).addEventListener("change", () => drawSizes(half));
    drawSizes(half);
  }
  route.addEventListener("change", drawHalves);
  drawHalves();
});
