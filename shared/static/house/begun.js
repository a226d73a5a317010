/* A step begun on this device: Done then sends the minutes since, and the tap stays one tap. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const name = (step) => `shop.begun-${step}`;
  const minutes = (step) => Math.max(1, Math.round((Date.now() - Number(localStorage.getItem(name(step)))) / 60000));

  function draw(button) {
    const begun = localStorage.getItem(name(button.dataset.begins));
    button.hidden = false;
    if (begun === null) return;
    const said = document.createElement("span");
    const tell = () => { said.textContent = `Begun ${minutes(button.dataset.begins)} min ago`; };
    said.className = "soft";
    tell();
    setInterval(tell, 30000);
    button.replaceWith(said);
  }

  for (const button of document.querySelectorAll("[data-begins]")) {
    const step = button.dataset.begins;
    button.addEventListener("click", () => { localStorage.setItem(name(step), String(Date.now())); draw(button); });
    button.closest("form").addEventListener("submit", (event) => {
      if (localStorage.getItem(name(step)) === null) return;
      event.target.elements.took_min.value = minutes(step);
      localStorage.removeItem(name(step));
    });
    draw(button);
  }
});
