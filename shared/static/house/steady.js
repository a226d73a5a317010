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

  /* The step has moved under the finger: lock its main buttons for a moment, never the emergency ones. */
  function moved() {
    document.documentElement.classList.add("moved");
    clearTimeout(timer);
    timer = setTimeout(() => document.documentElement.classList.remove("moved"), STILL_MS);
  }

  /* The browser would jump back to where the page was left, after it has been drawn. */
  history.scrollRestoration = "manual";

  /* A keyboard that comes or goes moves the page as well. */
  if (window.visualViewport) window.visualViewport.addEventListener("resize", moved);

  document.addEventListener("pointerdown", (event) => { pressed = { on: event.target.closest(PRESSED) }; }, true);
  document.addEventListener("click", (event) => {
    const on = event.target.closest(PRESSED);
    const elsewhere = pressed && event.detail > 0 && on && on.matches("button, a") && on !== pressed.on;
    pressed = null;
    if (elsewhere) { event.preventDefault(); event.stopImmediatePropagation(); }
  }, true);

  return { moved };
})();
