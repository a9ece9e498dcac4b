// A scan at its own resolution, from tiles; never more of it than is looked at.
"use strict";
for (const glass of document.querySelectorAll(".glass")) {
  const width = +glass.dataset.width, height = +glass.dataset.height;
  const levels = +glass.dataset.levels, size = +glass.dataset.tile;
  const layer = glass.appendChild(document.createElement("div"));
  layer.className = "layer";
  let scale = 1, x = 0, y = 0; // screen pixels per scan pixel; the scan pixel in the middle
  const tiles = new Map();
  const whole = () => Math.min(glass.clientWidth / width, glass.clientHeight / height);

  function draw() {
    const least = whole();
    scale = Math.min(4, Math.max(least, scale));
    const spanX = glass.clientWidth / scale / 2, spanY = glass.clientHeight / scale / 2;
    x = spanX * 2 >= width ? width / 2 : Math.min(width - spanX, Math.max(spanX, x));
    y = spanY * 2 >= height ? height / 2 : Math.min(height - spanY, Math.max(spanY, y));
    const level = Math.min(levels - 1, Math.max(0, Math.floor(Math.log2(1 / (scale * devicePixelRatio)) + 0.001)));
    const edge = size * 2 ** level;
    const wanted = new Set();
    const add = (at, column, row) => {
      const key = `${at}/${column}/${row}`;
      wanted.add(key);
      let tile = tiles.get(key);
      if (!tile) {
        tile = Object.assign(document.createElement("img"), {alt: "", src: `${glass.dataset.tiles}/${key}`, draggable: false});
        tiles.set(key, tile);
        tile.style.zIndex = levels - at;
        layer.append(tile);
      }
      const span = size * 2 ** at;
      tile.style.left = `${(column * span - x) * scale + glass.clientWidth / 2}px`;
      tile.style.top = `${(row * span - y) * scale + glass.clientHeight / 2}px`;
      tile.style.width = `${Math.min(span, width - column * span) * scale}px`;
      tile.style.height = `${Math.min(span, height - row * span) * scale}px`;
    };
    add(levels - 1, 0, 0); // the whole, small, below the rest
    if (level < levels - 1) {
      for (let row = Math.max(0, Math.floor((y - spanY) / edge)); row * edge < Math.min(height, y + spanY); row++) {
        for (let column = Math.max(0, Math.floor((x - spanX) / edge)); column * edge < Math.min(width, x + spanX); column++) add(level, column, row);
      }
    }
    for (const [key, tile] of tiles) {
      if (wanted.has(key)) continue;
      tile.remove();
      tiles.delete(key);
    }
    glass.dataset.scale = scale;
  }

  const doing = {
    in: () => { scale *= 1.5; },
    out: () => { scale /= 1.5; },
    whole: () => { scale = 0; },
  };
  const keys = {"+": "in", "=": "in", "-": "out", "0": "whole"};
  glass.addEventListener("keydown", event => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const far = 80 / scale;
    const ways = {ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far]}[event.key];
    if (ways) {
      x += ways[0];
      y += ways[1];
    } else if (keys[event.key]) doing[keys[event.key]]();
    else return;
    event.preventDefault();
    draw();
  });
  glass.addEventListener("wheel", event => {
    event.preventDefault();
    const area = glass.getBoundingClientRect();
    const dx = event.clientX - area.left - area.width / 2, dy = event.clientY - area.top - area.height / 2;
    const before = scale;
    scale = Math.min(4, Math.max(whole(), scale * 1.0015 ** -event.deltaY));
    x += dx / before - dx / scale; // what lies under the pointer stays there
    y += dy / before - dy / scale;
    draw();
  }, {passive: false});
  glass.addEventListener("pointerdown", event => {
    glass.setPointerCapture(event.pointerId);
    let last = [event.clientX, event.clientY];
    const follow = moved => {
      x -= (moved.clientX - last[0]) / scale;
      y -= (moved.clientY - last[1]) / scale;
      last = [moved.clientX, moved.clientY];
      draw();
    };
    glass.addEventListener("pointermove", follow);
    glass.addEventListener("pointerup", () => glass.removeEventListener("pointermove", follow), {once: true});
  });
  for (const button of glass.closest("figure").querySelectorAll("button[data-do]")) {
    button.addEventListener("click", () => {
      doing[button.dataset.do]();
      draw();
    });
  }
  scale = 0;
  new ResizeObserver(draw).observe(glass);
}
