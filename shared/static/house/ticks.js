/* A list that is ticked off at the shelf: this device keeps the ticks for a week. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const NAME = "shop.ticks";
  const KEEP_MS = 7 * 24 * 3600 * 1000;
  const read = () => JSON.parse(localStorage.getItem(NAME) || "{}");

  const kept = Object.fromEntries(Object.entries(read()).filter(([, at]) => Date.now() - at < KEEP_MS));
  localStorage.setItem(NAME, JSON.stringify(kept));
  for (const box of document.querySelectorAll("[data-kept]")) {
    box.checked = box.dataset.kept in kept;
    box.addEventListener("change", () => {
      const rows = read();
      if (box.checked) rows[box.dataset.kept] = Date.now();
      else delete rows[box.dataset.kept];
      localStorage.setItem(NAME, JSON.stringify(rows));
    });
  }
});
