/*
 * How long a container has been mixed: from the recorded first contact or pouring over, so that it
 * goes on after a reload or a locked phone. It keeps its place in the step and never covers the
 * pot's clock.
 */
"use strict";

const MixTimer = (() => {
  const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

  /* Half of the system's mixing time is for each of the two containers. */
  const leastSeconds = (state) => (state.mix_min * 60) / 2;

  const mixedFor = (since) => Math.max(0, (Queue.now() - new Date(since)) / 1000);

  function make({ state, since, container }) {
    const least = leastSeconds(state);
    const node = h("p", { class: "judge mixtimer", role: "timer", "aria-label": `Mixing time of the ${container} container` });
    let told = null;
    function show() {
      const seconds = mixedFor(since);
      const done = seconds >= least;
      node.textContent = `${container === "first" ? "First" : "Second"} container: ${clock(seconds)} of at least ${clock(least)} min. ${done ? "Mixed long enough." : "Scrape sides and bottom."}`;
      if (done === told) return;
      node.className = `judge mixtimer judge--${done ? "good" : "mind"}`;
      if (done && told === false) document.getElementById("said").textContent = `The ${container} container is mixed long enough.`;
      told = done;
    }
    show();
    const timer = setInterval(() => (node.isConnected ? show() : clearInterval(timer)), 1000);
    return node;
  }

  /* What is noted where a container was left before its time; nothing where it was not. */
  function tooShort({ state, since, container }) {
    const seconds = mixedFor(since);
    const least = leastSeconds(state);
    return seconds < least ? `the ${container} container was mixed ${clock(seconds)} min; at least ${clock(least)} min are wanted` : "";
  }

  return { make, tooShort };
})();
