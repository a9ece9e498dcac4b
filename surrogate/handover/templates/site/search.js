// Search in pieces: scripts are loaded as they are needed, so that it also works from a memory stick.
"use strict";
(() => {
  const FIRST = 12; // results shown at once: each may lie in a piece of its own
  const FURTHER = 24; // results that "Show more" adds
  const PIECES = 3; // pieces of the terms that one word may load
  const arrived = new Map();
  const told = document.getElementById("told");
  const hits = document.getElementById("hits");
  const further = document.getElementById("further");
  const field = document.getElementById("q");

  window.surrogatePiece = (name, content) => arrived.get(name).resolve(content);

  function expect(name, script) {
    const entry = {};
    entry.promise = new Promise((resolve, reject) => {
      entry.resolve = resolve;
      script.onerror = () => reject(new Error(name));
    });
    arrived.set(name, entry);
  }

  function piece(name) {
    if (!arrived.has(name)) {
      const script = document.createElement("script");
      script.src = `search/${name}.js`;
      expect(name, script);
      document.head.append(script);
    }
    return arrived.get(name).promise;
  }

  expect("start", document.getElementById("start")); // the page loads it beside this script

  function wordsOf(text) {
    const bare = text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
    return bare.match(/[\p{L}\p{N}]+/gu) || [];
  }

  function mark(packed, into) {
    const bytes = atob(packed.slice(1));
    if (packed[0] === "b") {
      for (let i = 0; i < bytes.length; i++) {
        const byte = bytes.charCodeAt(i);
        for (let bit = 0; bit < 8; bit++) if (byte & (1 << bit)) into[i * 8 + bit] = 1;
      }
      return;
    }
    let number = -1;
    let step = 0;
    let shift = 0;
    for (let i = 0; i < bytes.length; i++) {
      const byte = bytes.charCodeAt(i);
      step |= (byte & 0x7f) << shift;
      shift += 7;
      if (byte < 0x80) {
        number += step;
        into[number] = 1;
        step = shift = 0;
      }
    }
  }

  async function itemsWith(word, start) {
    const into = new Uint8Array(start.items);
    let at = start.starts.findLastIndex((term) => term <= word);
    if (at < 0) at = 0;
    const names = [`terms_${at}`];
    while (names.length < PIECES && start.starts[++at]?.startsWith(word)) names.push(`terms_${at}`);
    for (const terms of await Promise.all(names.map(piece))) {
      for (const [term, packed] of Object.entries(terms)) if (term.startsWith(word)) mark(packed, into);
    }
    return into;
  }

  function card([name, reference, heading, when, key], query) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = `items/${encodeURIComponent(name)}.html#find=${encodeURIComponent(query)}`;
    const image = document.createElement("img");
    image.loading = "lazy";
    image.alt = "";
    image.src = `iiif/${encodeURIComponent(key)}/thumbnail.jpg`;
    const title = document.createElement("span");
    title.className = "t";
    title.textContent = heading;
    const note = document.createElement("span");
    note.className = "quiet";
    note.textContent = [when, reference].filter(Boolean).join(" · ");
    link.append(image, title, note);
    item.append(link);
    return item;
  }

  async function show(numbers, from, most, query, start) {
    const now = numbers.slice(from, from + most);
    const loaded = await Promise.all(now.map((number) => piece(`items_${Math.floor(number / start.inPiece)}`)));
    hits.append(...now.map((number, n) => card(loaded[n][number % start.inPiece], query)));
    const next = from + most;
    further.hidden = next >= numbers.length;
    further.onclick = async () => {
      const first = hits.children.length;
      await show(numbers, next, FURTHER, query, start);
      hits.children[first].firstChild.focus();
    };
    document.body.dataset.ready = query;
    performance.mark("found");
  }

  async function find(query) {
    const words = wordsOf(query);
    hits.replaceChildren();
    further.hidden = true;
    if (!words.length) return;
    const start = await piece("start");
    const all = new Uint8Array(start.items).fill(1);
    for (const some of await Promise.all(words.map((word) => itemsWith(word, start)))) {
      for (let i = 0; i < all.length; i++) all[i] &= some[i];
    }
    const numbers = [];
    all.forEach((is, number) => is && numbers.push(number));
    const found = numbers.length === 1 ? "1 item" : `${numbers.length.toLocaleString("en")} items`;
    told.textContent = numbers.length ? `${found} with “${query}”.` : `Nothing found with “${query}”.`;
    await show(numbers, 0, FIRST, query, start);
  }

  const query = (new URLSearchParams(location.search).get("q") || "").trim().slice(0, 200);
  field.value = query;
  find(query).catch(() => {
    told.textContent = "The search could not be loaded. Browse the collection instead.";
  });
})();
