/*
 * Scanning on any page: a hand scanner that types without a focus, the camera, and the shop's own
 * labels. A field takes part by `data-scan`: "submit" sends its form, "next" goes on to the next
 * field, "own" leaves it to the page; a list takes part by the kinds it offers, as "shelf".
 */
"use strict";

const Scan = (() => {
  const BURST_MS = 50;      // a hand types slower from key to key, a scanner faster
  const LEAST = 4;
  const own = document.currentScript.dataset;
  let burst = { text: "", at: 0, target: null, before: "" };
  let said = null;

  const isShown = (node) => Boolean(node.offsetParent) && !node.closest("details:not([open])");
  const fields = () => [...document.querySelectorAll("[data-scan]")].filter((node) => isShown(node) && !node.disabled);

  /* Does a text name this thing: by its code, its short code, or the address on a label of any host? */
  function names(text, { code, short, container_id: id }) {
    const plain = text.trim();
    if (plain.toUpperCase() === code.toUpperCase()) return true;
    const address = /^https?:\/\/[^/]+(\/.*)$/i.exec(plain);
    if (address && id && new RegExp(`/stock/containers/${id}/?$`).test(address[1])) return true;
    const last = address ? (/\/c\/([^/]+)\/?$/i.exec(address[1]) || [])[1] : plain;
    return Boolean(short && last) && bare(last) === bare(short);
  }
  const bare = (short) => short.replace(/[- ]/g, "").toUpperCase().replace(/(?!^)[OIL]/g, (sign) => (sign === "O" ? "0" : "1"));

  /* Ask the shop's computer what a code names; null when it can't be reached. */
  async function ask(text, wanted = "") {
    try {
      const answer = await fetch(`${own.named}?${new URLSearchParams({ code: text, for: wanted })}`, { credentials: "same-origin" });
      return answer.ok && !answer.redirected ? await answer.json() : null;
    } catch {
      return null;
    }
  }

  function say(words) {
    if (!said) {
      said = document.createElement("p");
      said.className = "scansaid";
      said.setAttribute("role", "status");
      document.body.append(said);
    }
    said.textContent = words;
    said.hidden = false;
    clearTimeout(say.timer);
    say.timer = setTimeout(() => { said.hidden = true; }, 6000);
  }

  /* Bring a code to the field that asks for it, else open the page of what it names. */
  async function deliver(text, wished = null) {
    const open = fields();
    const field = wished || (open.includes(document.activeElement) && document.activeElement) || open.find((node) => node.tagName === "INPUT");
    if (field && field.tagName === "INPUT") { fill(field, text); return; }
    const lists = field ? [field, ...open.filter((node) => node !== field)] : open;
    if (!lists.length && document.querySelector("[data-scan-stays]")) { say("Scanned, but this step asks for no code."); return; }
    if (lists.length) {
      const found = await ask(text, lists.map((node) => node.dataset.scan).join(" "));
      if (!found) { say("No connection: choose from the list."); return; }
      if (found.message) { say(found.message); return; }
      const list = lists.find((node) => node.dataset.scan.split(" ").includes(found.kind) && [...node.options].some((one) => one.value === String(found.id)));
      if (list) { choose(list, found); return; }
      say(`${found.words} is not in this list.`);
      return;
    }
    location.assign(`${own.page}?${new URLSearchParams({ code: text })}`);
  }

  function fill(field, text) {
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.dispatchEvent(new CustomEvent("scanned", { bubbles: true }));
    if (field.dataset.scan === "submit") field.form.requestSubmit();
    else if (field.dataset.scan === "next") {
      const all = [...field.form.elements].filter((node) => isShown(node) && !node.disabled && !node.matches(".scanbutton"));
      const next = all[all.indexOf(field) + 1];
      if (next) next.focus();
    }
  }

  function choose(list, found) {
    list.value = String(found.id);
    list.dispatchEvent(new Event("change", { bubbles: true }));
    list.focus();
    say(`${found.words} is chosen.`);
  }

  const isText = (node) => node instanceof HTMLTextAreaElement || (node instanceof HTMLInputElement && !["button", "checkbox", "radio", "submit", "file"].includes(node.type));
  /* What is scanned into a field for words stays there; a figure is never scanned. */
  const takesWords = (node) => isText(node) && !["decimal", "numeric", "none"].includes(node.inputMode);

  function typed(event) {
    const ends = event.key === "Enter" || event.key === "Tab";
    const sign = event.ctrlKey && event.key === "]" ? "\x1d" : event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey ? event.key : "";
    const fast = event.timeStamp - burst.at < BURST_MS;
    if (ends) {
      const { text, target, before } = burst;
      const scanned = fast && text.length >= LEAST && !takesWords(target);
      burst = { text: "", at: 0, target: null, before: "" };
      if (!scanned) return;
      event.preventDefault();
      event.stopPropagation();
      if (isText(target) || target instanceof HTMLSelectElement) {
        target.value = before;
        target.dispatchEvent(new Event("input", { bubbles: true }));
      }
      deliver(text);
      return;
    }
    if (!sign) return;
    if (!fast) burst = { text: "", at: 0, target: event.target, before: event.target.value };
    burst.text += sign;
    burst.at = event.timeStamp;
    // A space must not press the button that happens to have the focus.
    if (burst.text.length > 1 && !isText(event.target)) event.preventDefault();
  }

  /* The camera, loaded only when it is asked for. */
  async function camera(field) {
    try {
      if (typeof Camera === "undefined") await load(own.camera);
      const text = await Camera.read({ decoder: own.decoder, wasm: own.wasm, goods: Boolean(field) && field.dataset.scanGoods === "yes", load });
      if (text) deliver(text, field);
    } catch (error) {
      say(`The camera can't be used: ${error.message || error}. Type the short code on the label.`);
    }
  }
  const load = (address) => new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = address;
    script.addEventListener("load", done);
    script.addEventListener("error", () => failed(new Error("its program can't be loaded without a network")));
    document.head.append(script);
  });

  /* A button that reads a code with the camera into a field. */
  function button(field) {
    const node = document.createElement("button");
    node.type = "button";
    node.className = "button--plain scanbutton";
    node.textContent = "Camera";
    node.setAttribute("aria-label", `Scan ${(field.labels && field.labels[0] ? field.labels[0].textContent : "the code").trim()} with the camera`);
    node.addEventListener("click", () => camera(field));
    return node;
  }

  /* The button in the head of every page: what is scanned or typed there goes where a scanner's code goes. */
  function head() {
    const dialog = document.getElementById("scan-dialog");
    if (!dialog) return;
    const field = document.getElementById("scan-typed");
    document.getElementById("scan-open").addEventListener("click", (event) => {
      event.preventDefault();
      field.value = "";
      dialog.showModal();
    });
    document.getElementById("scan-close").addEventListener("click", () => dialog.close());
    document.getElementById("scan-camera").addEventListener("click", () => { dialog.close(); camera(null); });
    dialog.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      const text = field.value.trim();
      dialog.close();
      if (text) deliver(text);
    });
  }

  document.addEventListener("keydown", typed, true);
  document.addEventListener("DOMContentLoaded", () => {
    head();
    for (const field of document.querySelectorAll("[data-scan]")) if (field.dataset.scan !== "own") field.after(button(field));
  });
  return { ask, button, deliver, names };
})();
