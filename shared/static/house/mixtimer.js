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

  /*
   * What stands in the way of the first portion while the pot is mixed too short, as `pour_gate.py`
   * tells it; nothing once it is mixed, or once something is poured.
   */
  function hindrance({ state, contact, second, begun }) {
    if (begun || !contact) return null;
    const whole = state.mix_min * 60;
    const inSecond = second && (new Date(second) - new Date(contact)) / 1000 + whole / 2 > whole;
    const [since, wanted] = inSecond ? [second, whole / 2] : [contact, whole];
    const ended = state.entries.filter((one) => one.kind === "mixed").map((one) => one.at).at(-1);
    const so = ended ? Math.max(0, (new Date(ended) - new Date(since)) / 1000) : mixedFor(since);
    if (so >= wanted) return null;
    return { code: "mixed_too_short", words: `${inSecond ? "In its second container the pot" : "The pot"} is to be mixed at least ${clock(wanted)} min.`,
      what_to_do: "Mix on; scrape sides and bottom.", reason_passes: true, clears_at: ended ? null : new Date(new Date(since).getTime() + wanted * 1000).toISOString() };
  }

  return { make, tooShort, hindrance };
})();
