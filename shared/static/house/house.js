/* Small helps that any page may use by an attribute; every page works without them. */
"use strict";

document.addEventListener("change", (event) => {
  if (event.target.matches("[data-submits]")) event.target.form.requestSubmit();
  if (event.target.matches("select[data-shows]")) showWhatFits(event.target);
});

/* Of a form that records one of several things, only the fields of the one chosen are shown and sent. */
function showWhatFits(select) {
  for (const field of select.form.querySelectorAll("[data-when]")) {
    const fits = field.dataset.when.split(" ").includes(select.value);
    field.hidden = !fits;
    for (const input of field.querySelectorAll("input, select")) input.disabled = !fits;
  }
}

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-prints]")) window.print();
  const asks = event.target.closest("[data-asks]");
  if (asks && !asks.dataset.sure) { event.preventDefault(); askOnce(asks); }
});

/* What cannot be undone is asked once more, on the page itself. */
function askOnce(button) {
  const dialog = document.createElement("dialog");
  const words = document.createElement("p");
  const actions = document.createElement("div");
  const yes = document.createElement("button");
  const no = document.createElement("button");
  dialog.className = "card card--stop";
  actions.className = "actions";
  words.textContent = button.dataset.asks;
  yes.textContent = button.textContent.trim();
  yes.className = "button--stop";
  no.textContent = "Leave it";
  no.className = "button--plain";
  yes.addEventListener("click", () => { dialog.close(); button.dataset.sure = "yes"; button.form.requestSubmit(button); });
  no.addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  actions.append(no, yes);
  dialog.append(words, actions);
  document.body.append(dialog);
  dialog.showModal();
}

document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("[data-nojs]")) button.hidden = true;
  for (const select of document.querySelectorAll("select[data-shows]")) showWhatFits(select);
  stackTables(document);
});
document.addEventListener("htmx:afterSwap", (event) => stackTables(event.target));

/* On a phone each figure of a wide table stands beneath the other, beside the heading it belongs to.
   So does any short table that would have to be pushed sideways there. */
const LONGEST_STACK = 20;

function stackTables(part) {
  for (const table of part.querySelectorAll("#main .tableframe > table:not(.stacks)")) {
    if (sticksOut(table) && stackable(table)) table.classList.add("stacks");
  }
  for (const table of part.querySelectorAll("table.stacks")) nameCells(table);
}

function sticksOut(table) {
  const frame = table.parentElement;
  return matchMedia("(max-width: 40rem)").matches && frame.scrollWidth > frame.clientWidth + 1;
}

function stackable(table) {
  const heads = table.tHead;
  if (!heads || heads.rows.length !== 1 || table.tBodies.length !== 1 || table.tFoot) return false;
  return ![...heads.rows[0].cells].some((cell) => cell.colSpan > 1 || !cell.textContent.trim())
    && table.tBodies[0].rows.length <= LONGEST_STACK;
}

function nameCells(table) {
  const heads = [...table.tHead.rows[0].cells].map((cell) => cell.textContent.trim());
  for (const row of table.tBodies[0].rows) {
    if (row.cells.length !== heads.length || row.dataset.named) continue;
    row.dataset.named = "yes";
    for (const [n, cell] of [...row.cells].entries()) {
      if (!cell.children.length && !cell.textContent.trim()) { cell.classList.add("stacks__blank"); continue; }
      if (cell.tagName === "TD" && (cell.children.length || cell.childNodes.length > 1)) {
        const whole = document.createElement("div");
        whole.append(...cell.childNodes);
        cell.append(whole);
      }
      cell.dataset.is = heads[n];
    }
  }
}

/* Whoever signs out leaves no pages on the device; entries that are not sent yet stay. */
document.addEventListener("submit", (event) => {
  if (event.target.matches("[data-leaves]") && "caches" in window) caches.delete("shop-pages-1");
});

/* A form is sent once: a second tap on a slow phone does nothing. */
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
  window.addEventListener("pageshow", () => delete form.dataset.sent, { once: true });
});
