// Cards come as one scrolls; far-off ones go again. Without this file the list has pages. Also the sheet of questions.
"use strict";
const shelf = document.getElementById("shelf");
const pages = document.getElementById("pages");
const KEPT = 8; // pages of cards in the document at a time

if (shelf && pages && shelf.dataset.page === "1") {
  pages.remove();
  const count = Number(shelf.dataset.count), onAPage = Number(shelf.dataset.onAPage);
  const first = shelf.firstElementChild;
  const chunks = [];
  for (let start = 0; start < count; start += onAPage) {
    const chunk = document.createElement("div");
    chunk.className = "chunk";
    chunk.dataset.number = chunks.length;
    chunks.push(chunk);
  }
  shelf.replaceChildren(...chunks);
  chunks[0].append(first);
  const loaded = new Map([[0, 0]]); // number of the chunk, time of its last look
  const row = () => first.children[0].getBoundingClientRect().height + parseFloat(getComputedStyle(first).rowGap);
  const columns = () => getComputedStyle(first).gridTemplateColumns.split(" ").length;
  let height = row(), across = columns();
  const measure = () => {
    height = row();
    across = columns();
    chunks.forEach((chunk, number) => {
      const cards = Math.min(onAPage, count - number * onAPage);
      chunk.style.height = `${Math.ceil(cards / across) * height}px`;
    });
  };
  measure();
  let wait = 0;
  new ResizeObserver(() => {
    if (across === columns() && Math.abs(row() - height) < 1) return;
    clearTimeout(wait);
    wait = setTimeout(measure, 100);
  }).observe(shelf);

  const ticked = new Set();
  shelf.addEventListener("change", event => {
    if (event.target.checked) ticked.add(event.target.value);
    else ticked.delete(event.target.value);
  });

  const asked = new Set();
  const near = new Set();
  async function load(number) {
    if (loaded.has(number) || asked.has(number)) return;
    asked.add(number);
    const query = new URLSearchParams(shelf.dataset.within);
    query.set("page", number + 1);
    const answer = await fetch("/cards?" + query).catch(() => null);
    asked.delete(number);
    if (!answer || !answer.ok || !near.has(number)) return;
    const cards = document.createRange().createContextualFragment(await answer.text());
    for (const box of cards.querySelectorAll("input")) box.checked = ticked.has(box.value);
    chunks[number].replaceChildren(cards);
    loaded.set(number, performance.now());
    if (loaded.size > KEPT) unload();
  }
  function unload() {
    for (const number of [...loaded.keys()]) {
      if (loaded.size <= KEPT) return;
      if (number === 0 || near.has(number) || chunks[number].contains(document.activeElement)) continue;
      loaded.delete(number);
      chunks[number].replaceChildren();
    }
  }
  const settle = new Map(); // while one scrolls fast past a page it is not asked for
  const watch = new IntersectionObserver(entries => {
    for (const {target, isIntersecting} of entries) {
      const number = Number(target.dataset.number);
      clearTimeout(settle.get(number));
      if (isIntersecting) {
        near.add(number);
        settle.set(number, setTimeout(load, 60, number));
      } else near.delete(number);
    }
  }, {rootMargin: "600px"});
  chunks.forEach(chunk => watch.observe(chunk));

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
