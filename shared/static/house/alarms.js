/* Any open page hears within seconds that a pot of the site is in trouble; nothing on it moves. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const EVERY_MS = 4000;
  const HIDDEN = "shop.alarms-seen";
  const box = document.getElementById("alarms");
  if (!box) return;
  const here = (document.getElementById("batch") || { dataset: {} }).dataset.batch;
  const seen = () => JSON.parse(sessionStorage.getItem(HIDDEN) || "[]");
  let drawn = "[]";

  function draw(rows) {
    const shown = rows.filter((one) => String(one.batch) !== here && !seen().includes(one.id));
    const signature = JSON.stringify(shown);
    if (signature === drawn) return;
    drawn = signature;
    box.hidden = !shown.length;
    box.replaceChildren(...shown.map((one) => {
      const row = document.createElement("div");
      const words = document.createElement("strong");
      words.textContent = one.words;
      const go = document.createElement("a");
      go.className = "button";
      go.href = one.path;
      go.textContent = "What to do";
      const away = document.createElement("button");
      away.type = "button";
      away.className = "button--plain";
      away.textContent = "Seen";
      away.addEventListener("click", () => { sessionStorage.setItem(HIDDEN, JSON.stringify([...seen(), one.id].slice(-100))); draw(rows); });
      row.append(words, go, away);
      return row;
    }));
  }

  async function look() {
    if (document.hidden) return;
    try {
      const response = await fetch(box.dataset.url, { credentials: "same-origin", headers: { Accept: "application/json" } });
      if (response.ok && !response.redirected) draw((await response.json()).alarms);
    } catch {
      // Without a network nothing is heard; the next look tries again.
    }
  }

  setInterval(look, EVERY_MS);
  document.addEventListener("visibilitychange", look);
});
