// Each field is saved as it is left. Without this file the page works by its Save button.
"use strict";
const form = document.getElementById("words");
const told = document.getElementById("told");
const said = document.getElementById("said-date");
const clashing = new Map(); // fields that somebody else changed, with the words typed here

const before = name => form.elements["before_" + name];
const current = name => form.elements[name].value;
const label = name => (form.querySelector(`label[for="${name}"]`) || form.querySelector("legend")).textContent;

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
    if (saved.done && name !== "approved" && current(name) === text) form.elements[name].value = saved.value;
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

const names = [...new Set([...form.elements].map(each => each.name).filter(name => name.startsWith("before_")))]
  .map(name => name.slice("before_".length));

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

form.addEventListener("focusout", event => { if (names.includes(event.target.name)) save(event.target.name); });
form.addEventListener("change", event => { if (event.target.name === "approved") save("approved"); });
form.addEventListener("submit", event => { event.preventDefault(); clashing.clear(); saveAll(); });
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

// Completion goes on after each semicolon.
const list = document.getElementById("names");
const known = [...list.options].map(option => option.value);
form.elements.people.addEventListener("input", () => {
  const text = current("people");
  const start = text.slice(0, text.lastIndexOf(";") + 1);
  const prefix = start ? start + " " : "";
  if (list.dataset.prefix === prefix) return;
  list.dataset.prefix = prefix;
  list.replaceChildren(...known.map(name => Object.assign(document.createElement("option"), {value: prefix + name})));
});
