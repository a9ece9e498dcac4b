// Each field is saved as it is left. Without this file the page works by its Save button.
"use strict";
const form = document.getElementById("words");
const told = document.getElementById("told");
const said = document.getElementById("said-date");
const clashing = new Map(); // fields that somebody else changed, with the words typed here

const before = name => form.elements["before_" + name];
const label = name => (form.querySelector(`label[for="${name}"]`) || form.querySelector("legend")).textContent;

function current(name) {
  const value = form.elements[name].value;
  return name === "access" && value === "until" ? form.elements.until.value || before("access").value : value;
}

function mark(name, text) {
  const field = document.getElementById(name);
  if (!field) return;
  let clash = document.getElementById("clash-" + name);
  const describing = (field.getAttribute("aria-describedby") || "").split(" ").filter(id => id && id !== "clash-" + name);
  if (text) {
    if (!clash) {
      clash = document.createElement("p");
      clash.id = "clash-" + name;
      clash.className = "clash";
      field.parentNode.append(clash);
    }
    clash.textContent = text;
    describing.push(clash.id);
    field.setAttribute("aria-invalid", "true");
  } else {
    if (clash) clash.remove();
    field.removeAttribute("aria-invalid");
  }
  if (describing.length) field.setAttribute("aria-describedby", describing.join(" "));
  else field.removeAttribute("aria-describedby");
}

async function send(name) {
  const text = current(name);
  if (text.trim() === before(name).value.replace(/\r\n/g, "\n").trim()) return true;
  told.textContent = form.dataset.saving;
  const body = new URLSearchParams({token: form.elements.token.value, [name]: text, ["before_" + name]: before(name).value});
  try {
    // An address without the search words: only the field travels. keepalive: also while the page is being left.
    const answer = await fetch(location.pathname, {method: "POST", body, keepalive: true, headers: {"x-desk": "field"}});
    if (!answer.ok) throw new Error(answer.statusText);
    const [saved] = await answer.json();
    before(name).value = saved.value;
    if (saved.done) clashing.delete(name);
    else clashing.set(name, text);
    if (saved.done && written.includes(name) && current(name) === text) form.elements[name].value = saved.value;
    if (saved.done && (name in {strength: 0, tone: 0, kind: 0})) preview();
    if (name === "date" && saved.done) said.textContent = saved.said;
    mark(name, saved.done ? "" : saved.told);
    told.textContent = saved.told;
    return saved.done;
  } catch {
    const trouble = form.dataset.notSaved.replace("{field}", label(name));
    mark(name, trouble);
    told.textContent = trouble;
    return false;
  }
}

const written = ["title", "caption", "date", "people", "place", "inscription", "notes", "box", "folder", "enclosure"];
const names = [...new Set([...form.elements].map(each => each.name).filter(name => name.startsWith("before_")))]
  .map(name => name.slice("before_".length)).filter(name => name !== "faces");

// One field is sent at a time, in the order in which they were left. Over somebody else's words only Save writes.
let last = Promise.resolve();
function save(name) {
  if (clashing.get(name) === current(name)) return Promise.resolve(false);
  const sent = last.then(() => send(name));
  last = sent;
  return sent;
}

async function saveAll() {
  return (await Promise.all(names.map(save))).every(Boolean);
}

form.addEventListener("focusout", event => { if (written.includes(event.target.name)) save(event.target.name); });
form.addEventListener("change", event => {
  const name = event.target.name === "until" ? "access" : event.target.name;
  if (event.target.name === "until") form.elements.access.value = form.elements.until.value ? "until" : "";
  if (names.includes(name) && !written.includes(name)) save(name);
});
form.addEventListener("submit", event => {
  if (event.submitter && event.submitter.formAction !== form.action && event.submitter.hasAttribute("formaction")) return;
  event.preventDefault();
  clashing.clear();
  saveAll();
});
addEventListener("pagehide", () => names.filter(name => !clashing.has(name)).forEach(send)); // no time to queue
addEventListener("beforeunload", event => { if (clashing.size) event.preventDefault(); });

async function go(direction) {
  const link = document.querySelector(`a[rel=${direction}]`);
  if (link && await saveAll()) location.assign(link.href);
}
document.addEventListener("keydown", event => {
  if (!event.altKey || event.ctrlKey || event.metaKey) return;
  const direction = {PageUp: "prev", PageDown: "next"}[event.key];
  if (direction) {
    event.preventDefault();
    go(direction);
  } else if (event.key === "Home" && event.target.dataset && event.target.dataset.alike) {
    event.preventDefault();
    event.target.value = event.target.dataset.alike;
    event.target.dispatchEvent(new Event("input", {bubbles: true}));
  } else if (event.key === "End" && document.getElementById("undo")) {
    event.preventDefault();
    saveAll().then(done => { if (done) document.getElementById("undo").submit(); });
  }
});

// What the date is understood as, a moment after typing.
let pause = 0;
form.elements.date.addEventListener("input", () => {
  clearTimeout(pause);
  pause = setTimeout(async () => {
    const text = current("date");
    const answer = await fetch("/date?" + new URLSearchParams({text})).catch(() => null);
    if (answer && answer.ok && text === current("date")) said.textContent = (await answer.json()).said;
  }, 250);
});

// Completion: names already used, the most frequent first; among people it goes on after each semicolon.
function complete(name, list, prefixed) {
  let asked = null;
  form.elements[name].addEventListener("input", async () => {
    const text = current(name);
    const start = prefixed ? text.slice(0, text.lastIndexOf(";") + 1) : "";
    const prefix = start ? start + " " : "";
    const begun = text.slice(start.length).trim();
    const question = prefix + "\n" + begun;
    if (question === asked) return;
    asked = question;
    const answer = await fetch("/known?" + new URLSearchParams({field: name, text: begun})).catch(() => null);
    if (!answer || !answer.ok || question !== asked) return;
    const {words} = await answer.json();
    list.replaceChildren(...words.map(word => Object.assign(document.createElement("option"), {value: prefix + word})));
  });
}
complete("people", document.getElementById("names"), true);
complete("place", document.getElementById("places"), false);

// The pictures: what a decision would make of the copy, the scan beside it, the marks on it.
function preview() {
  const front = document.querySelector('.side[data-side="recto"]');
  if (!front) return;
  for (const picture of front.querySelectorAll("img[data-preview]")) {
    const address = new URL(picture.dataset.preview, location.href);
    address.searchParams.set("v", Date.now());
    for (const name of ["strength", "tone"]) address.searchParams.set(name, form.elements[name].value);
    picture.src = address.pathname + address.search;
  }
  front.querySelector(".ahead").hidden = false;
}

for (const figure of document.querySelectorAll(".side")) {
  const now = figure.querySelector(".now");
  if (!now) continue;
  const frame = figure.querySelector(".picture");
  const bar = figure.querySelector(".compare");
  const share = bar.querySelector("input");
  const buttons = Object.fromEntries([...figure.querySelectorAll("button[data-do]")].map(each => [each.dataset.do, each]));
  let over = null; // the picture laid over the copy
  const cut = () => { if (over) over.style.clipPath = `inset(0 ${100 - share.value}% 0 0)`; };
  const take = () => {
    if (over) over.remove();
    over = null;
    bar.hidden = true;
    for (const button of Object.values(buttons)) button.setAttribute("aria-pressed", "false");
  };
  const lay = (what, source, alt) => {
    const on = buttons[what].getAttribute("aria-pressed") !== "true";
    take();
    if (!on) return;
    over = Object.assign(document.createElement("img"), {src: source, alt, className: "over"});
    frame.append(over);
    buttons[what].setAttribute("aria-pressed", "true");
    if (what === "compare") {
      bar.hidden = false;
      cut();
      share.focus();
    }
  };
  share.addEventListener("input", cut);
  buttons.compare.addEventListener("click", () => lay("compare", now.dataset.found, ""));
  buttons.marks.addEventListener("click", () => lay("marks", now.dataset.marks, now.dataset.marksAlt));
  for (const button of Object.values(buttons)) button.hidden = false;
}
