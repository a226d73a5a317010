/* Beside a form of data sheet values: what they come to, worked out by the workbench while typing. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const WAIT_MS = 500;
  const place = document.querySelector("[data-effect]");
  const form = document.querySelector("main form[method=post]");
  if (!place || !form) return;
  form.querySelector("button").before(place); // it is read last before saving
  const names = place.dataset.values.split(" ");
  let timer = 0, asked = 0;

  async function look() {
    const mine = ++asked;
    const query = new URLSearchParams(names.map((name) => [name, (form.elements[name] || { value: "" }).value.trim().replace(",", ".")]));
    if (place.dataset.former) query.set("system", place.dataset.former);
    try {
      const answer = await fetch(`${place.dataset.effect}?${query}`, { credentials: "same-origin" });
      if (!answer.ok || mine !== asked) return;
      const found = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("answer");
      place.replaceChildren(...(found ? [...found.children].filter((one) => one.matches(".tableframe, .note")) : [document.createTextNode(place.dataset.missing)]));
    } catch { /* no network: the form can be saved all the same */ }
  }

  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(look, WAIT_MS); });
  look();
});
