// Cards come as one scrolls; far-off ones go again. Without this file the list has pages. Also the sheet of questions.
"use strict";
const shelf = document.getElementById("shelf");
const pages = document.getElementById("pages");
const KEPT = 8; // pages of cards in the document at a time
const AHEAD = 600; // pixels above and below the window in which cards are made ready

if (shelf && pages && shelf.dataset.page === "1") {
  pages.remove();
  const count = Number(shelf.dataset.count), onAPage = Number(shelf.dataset.onAPage);
  const last = Math.max(0, Math.ceil(count / onAPage) - 1);
  const first = shelf.firstElementChild;
  const chunks = new Map(); // pages of cards in the document, by number; the first stays, all others are measured by it
  const row = () => first.children[0].getBoundingClientRect().height + parseFloat(getComputedStyle(first).rowGap);
  const columns = () => getComputedStyle(first).gridTemplateColumns.split(" ").length;
  const rows = number => Math.ceil(Math.min(onAPage, count - number * onAPage) / across);
  let height, across, page; // of a row, in a row, of a page
  const put = (chunk, number) => {
    chunk.style.top = `${number * page}px`;
    chunk.style.height = `${rows(number) * height}px`;
  };
  const add = (number, cards) => {
    const chunk = document.createElement("div");
    chunk.className = "chunk";
    chunk.dataset.number = number;
    chunk.append(cards);
    const after = [...chunks.keys()].filter(each => each > number).sort((a, b) => a - b)[0];
    chunks.set(number, chunk);
    if (page) put(chunk, number);
    shelf.insertBefore(chunk, chunks.get(after) || null);
  };
  shelf.classList.add("long");
  add(0, first);
  const measure = () => {
    height = row();
    across = columns();
    page = Math.ceil(onAPage / across) * height;
    shelf.style.height = `${last * page + rows(last) * height}px`;
    chunks.forEach(put);
  };
  measure();

  const ticked = new Set();
  shelf.addEventListener("change", event => {
    if (event.target.checked) ticked.add(event.target.value);
    else ticked.delete(event.target.value);
  });

  const near = new Map(); // pages of cards that one sees or nearly sees, with the wait before each is asked for
  async function load(number) {
    if (chunks.has(number)) return;
    const query = new URLSearchParams(shelf.dataset.within);
    query.set("page", number + 1);
    const answer = await fetch("/cards?" + query).catch(() => null);
    if (!answer || !answer.ok || !near.has(number) || chunks.has(number)) return;
    const cards = document.createRange().createContextualFragment(await answer.text());
    if (chunks.has(number)) return;
    for (const box of cards.querySelectorAll("input")) box.checked = ticked.has(box.value);
    add(number, cards);
    unload();
  }
  function unload() {
    for (const [number, chunk] of chunks) {
      if (chunks.size <= KEPT) return;
      if (number === 0 || near.has(number) || chunk.contains(document.activeElement)) continue;
      chunks.delete(number);
      chunk.remove();
    }
  }
  function look() {
    seen = 0;
    const top = shelf.getBoundingClientRect().top;
    const from = Math.max(0, Math.floor((-top - AHEAD) / page));
    const to = Math.min(last, Math.floor((innerHeight - top + AHEAD) / page));
    for (const [number, wait] of near) {
      if (number >= from && number <= to) continue;
      clearTimeout(wait); // one scrolls fast past it
      near.delete(number);
    }
    for (let number = from; number <= to; number++) {
      if (!near.has(number)) near.set(number, setTimeout(load, 60, number));
    }
  }
  let seen = 0;
  const lookSoon = () => { seen = seen || requestAnimationFrame(look); };
  addEventListener("scroll", lookSoon, {passive: true});
  addEventListener("resize", lookSoon);
  let wait = 0;
  new ResizeObserver(() => {
    if (across === columns() && Math.abs(row() - height) < 1) return;
    clearTimeout(wait);
    wait = setTimeout(() => { measure(); look(); }, 100);
  }).observe(shelf);
  lookSoon();

  const choosing = document.getElementById("choosing");
  choosing.addEventListener("submit", () => {
    const here = new Set([...shelf.querySelectorAll("input:checked")].map(box => box.value));
    for (const name of ticked) {
      if (!here.has(name)) choosing.append(Object.assign(document.createElement("input"), {type: "hidden", name: "card", value: name}));
    }
  });

  // Back from an original, the list stands where it was left.
  const place = "place " + location.search;
  const before = sessionStorage.getItem(place);
  if (before) scrollTo(0, Number(before));
  addEventListener("pagehide", () => sessionStorage.setItem(place, scrollY));
}

const told = document.getElementById("ticked");
if (told) {
  const ticks = new Set();
  shelf.addEventListener("change", event => {
    if (event.target.checked) ticks.add(event.target.value);
    else ticks.delete(event.target.value);
    told.textContent = ticks.size ? told.dataset.said.replace("{count}", ticks.size) : "";
  });
}

const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => {
    for (const image of document.images) image.loading = "eager";
    window.print();
  });
}
for (const spot of document.querySelectorAll(".spot")) {
  spot.style.left = `${spot.dataset.x * 100}%`;
  spot.style.top = `${spot.dataset.y * 100}%`;
}
