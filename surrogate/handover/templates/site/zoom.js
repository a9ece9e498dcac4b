// Look closer: shows the tiles of an IIIF level 0 image that are needed for what is in view.
"use strict";
(() => {
  const TILE = 512;
  const wanted = new URLSearchParams(location.hash.slice(1)).get("find") || "";

  function fold(text) {
    return text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
  }

  const words = fold(wanted).match(/[\p{L}\p{N}]+/gu) || [];

  function isHit(text) {
    const said = fold(text).match(/[\p{L}\p{N}]+/gu) || [];
    return words.some((word) => said.some((each) => each.startsWith(word)));
  }

  for (const line of document.querySelectorAll("[data-line]")) {
    if (isHit(line.textContent)) {
      const marked = document.createElement("mark");
      marked.textContent = line.textContent;
      line.replaceChildren(marked);
      line.dataset.hit = "";
    }
  }

  function boxesOf(look) {
    const text = document.getElementById(`text-${look.dataset.folder.split("/").pop()}`);
    if (!text) return [];
    const all = look.dataset.lines.split(";");
    return [...text.parentElement.querySelectorAll("[data-hit]")]
      .map((line) => all[Number(line.dataset.line)])
      .filter(Boolean)
      .map((box) => box.split(",").map(Number));
  }

  function viewer(look) {
    const width = Number(look.dataset.width);
    const height = Number(look.dataset.height);
    const plane = document.createElement("div");
    plane.className = "plane";
    look.append(plane);
    const view = { x: 0, y: 0, scale: 1 };
    let held = null;

    function fit() {
      view.scale = Math.min(look.clientWidth / width, look.clientHeight / height);
      view.x = (look.clientWidth - width * view.scale) / 2;
      view.y = (look.clientHeight - height * view.scale) / 2;
      draw();
    }

    function level() {
      let factor = 1;
      while (view.scale * factor * 2 <= devicePixelRatio && Math.max(width, height) / factor > TILE) factor *= 2;
      return factor;
    }

    function draw() {
      plane.style.transform = `translate(${view.x}px,${view.y}px) scale(${view.scale})`;
      const factor = level();
      const step = TILE * factor;
      const kept = new Set();
      const first = [Math.max(0, Math.floor(-view.x / view.scale / step)), Math.max(0, Math.floor(-view.y / view.scale / step))];
      const last = [(look.clientWidth - view.x) / view.scale, (look.clientHeight - view.y) / view.scale];
      for (let row = first[1]; row * step < Math.min(height, last[1]); row++) {
        for (let column = first[0]; column * step < Math.min(width, last[0]); column++) {
          const x = column * step;
          const y = row * step;
          const w = Math.min(step, width - x);
          const h = Math.min(step, height - y);
          const whole = w === width && h === height;
          const region = whole ? "full" : `${x},${y},${w},${h}`;
          const size = whole && factor === 1 ? "max" : `${Math.ceil(w / factor)},${Math.ceil(h / factor)}`;
          const name = `${region}/${size}`;
          kept.add(name);
          if ([...plane.children].some((tile) => tile.dataset.name === name)) continue;
          const tile = document.createElement("img");
          tile.alt = "";
          tile.draggable = false;
          tile.dataset.name = name;
          tile.src = `${look.dataset.folder}/${name}/0/default.jpg`;
          Object.assign(tile.style, { left: `${x}px`, top: `${y}px`, width: `${w}px`, height: `${h}px`, zIndex: -factor });
          plane.append(tile);
        }
      }
      for (const tile of [...plane.querySelectorAll("img")]) {
        const finer = Number(tile.style.zIndex) > -factor;
        if (!kept.has(tile.dataset.name) && finer) tile.remove();
      }
    }

    function zoom(by, atX = look.clientWidth / 2, atY = look.clientHeight / 2) {
      const least = Math.min(look.clientWidth / width, look.clientHeight / height) / 2;
      const scale = Math.min(Math.max(view.scale * by, least), 4);
      view.x = atX - ((atX - view.x) * scale) / view.scale;
      view.y = atY - ((atY - view.y) * scale) / view.scale;
      view.scale = scale;
      draw();
    }

    function move(dx, dy) {
      view.x += dx;
      view.y += dy;
      draw();
    }

    const keys = {
      "+": () => zoom(1.5), "=": () => zoom(1.5), "-": () => zoom(1 / 1.5), 0: fit,
      ArrowLeft: () => move(80, 0), ArrowRight: () => move(-80, 0), ArrowUp: () => move(0, 80), ArrowDown: () => move(0, -80),
    };
    look.addEventListener("keydown", (event) => {
      if (event.target === look && keys[event.key] && !event.ctrlKey && !event.metaKey) {
        event.preventDefault();
        keys[event.key]();
      }
    });
    look.addEventListener("wheel", (event) => {
      event.preventDefault();
      const box = look.getBoundingClientRect();
      zoom(event.deltaY < 0 ? 1.25 : 0.8, event.clientX - box.left, event.clientY - box.top);
    }, { passive: false });
    plane.addEventListener("pointerdown", (event) => {
      held = [event.clientX, event.clientY];
      plane.setPointerCapture(event.pointerId);
    });
    plane.addEventListener("pointermove", (event) => {
      if (!held) return;
      move(event.clientX - held[0], event.clientY - held[1]);
      held = [event.clientX, event.clientY];
    });
    plane.addEventListener("pointerup", () => { held = null; });
    addEventListener("resize", fit);
    for (const [x, y, w, h] of boxesOf(look)) {
      const mark = document.createElement("div");
      mark.className = "line";
      Object.assign(mark.style, { left: `${x * width}px`, top: `${y * height}px`, width: `${w * width}px`, height: `${h * height}px` });
      plane.append(mark);
    }
    fit();
    return { zoom, fit };
  }

  function button(label, words, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = label;
    if (words) made.setAttribute("aria-label", words);
    made.onclick = act;
    return made;
  }

  for (const look of document.querySelectorAll(".look")) {
    const tools = document.createElement("div");
    tools.className = "tools";
    const open = button("Look closer", "", () => {
      look.classList.add("near");
      look.tabIndex = 0;
      look.setAttribute("role", "application");
      look.setAttribute("aria-label", `${look.dataset.label}. Plus and minus enlarge and reduce, arrow keys move.`);
      const { zoom, fit } = viewer(look);
      tools.replaceChildren(
        button("+", "Enlarge", () => zoom(1.5)),
        button("−", "Reduce", () => zoom(1 / 1.5)),
        button("Whole", "Show the whole picture", fit),
      );
      look.focus();
    });
    tools.append(open);
    look.append(tools);
    if (boxesOf(look).length) open.click();
  }
})();
