/*
 * Nothing happens by a tap that was meant for something else. For a moment after the page has moved
 * its main buttons take no tap, and a tap counts only where the finger came down.
 */
"use strict";

const Steady = (() => {
  const STILL_MS = 400;
  const PRESSED = "button, a, summary, input, select, label";
  let timer = null;
  let pressed = null;
  let still = Infinity;      // from when on the page stands still long enough

  /*
   * The step has moved under the finger: lock its main buttons for a moment, never the emergency
   * ones. The moment begins when it is painted: a slow phone paints long after it has drawn.
   */
  function moved() {
    document.documentElement.classList.add("moved");
    clearTimeout(timer);
    still = Infinity;
    requestAnimationFrame(() => requestAnimationFrame((painted) => {
      still = painted + STILL_MS;
      clearTimeout(timer);
      timer = setTimeout(() => document.documentElement.classList.remove("moved"), STILL_MS);
    }));
  }

  /* The browser would jump back to where the page was left, after it has been drawn. */
  history.scrollRestoration = "manual";

  /* A keyboard that comes or goes moves the page as well. */
  if (window.visualViewport) window.visualViewport.addEventListener("resize", moved);

  /* A busy page gets a tap late, when its lock may be off already: what counts is when the finger came down. */
  document.addEventListener("pointerdown", (event) => { pressed = { on: event.target.closest(PRESSED), early: event.timeStamp < still }; }, true);
  document.addEventListener("click", (event) => {
    const on = event.target.closest(PRESSED);
    const acts = pressed && event.detail > 0 && on && on.matches("button, a, summary");
    const elsewhere = acts && on !== pressed.on;
    const early = acts && pressed.early && !on.dataset.alarm;
    pressed = null;
    if (elsewhere || early) { event.preventDefault(); event.stopImmediatePropagation(); }
  }, true);

  return { moved };
})();
