// Corners as handles on the scan; the numbers beside it say the same and are what is saved.
"use strict";
{
  const drawing = document.getElementById("drawing");
  const form = document.getElementById("outlines");
  const width = +drawing.dataset.width, height = +drawing.dataset.height;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("aria-hidden", "true");
  drawing.append(svg);

  const fields = (part, corner) => ["x", "y"].map(axis => form.elements[`p${part}${axis}${corner}`]);
  const parts = () => [...form.querySelectorAll(".part")].map(each => +each.dataset.part);
  const value = input => parseFloat(input.value.replace(",", "."));

  function shape(part) {
    const polygon = svg.querySelector(`[data-part="${part}"]`) || svg.appendChild(document.createElementNS(svg.namespaceURI, "polygon"));
    polygon.dataset.part = part;
    const points = [1, 2, 3, 4].map(corner => fields(part, corner).map(value));
    const drawn = points.every(point => point.every(Number.isFinite));
    polygon.setAttribute("points", drawn ? points.map(point => point.join(",")).join(" ") : "");
    points.forEach(([px, py], index) => {
      const handle = drawing.querySelector(`[data-handle="${part}-${index + 1}"]`);
      handle.hidden = !drawn;
      handle.style.left = `${px / width * 100}%`;
      handle.style.top = `${py / height * 100}%`;
    });
  }

  function put(part, corner, px, py) {
    const [fx, fy] = fields(part, corner);
    fx.value = Math.min(width, Math.max(0, px)).toFixed(1);
    fy.value = Math.min(height, Math.max(0, py)).toFixed(1);
    shape(part);
  }

  function handle(part, corner) {
    const button = Object.assign(document.createElement("button"), {type: "button", className: "handle"});
    button.dataset.handle = `${part}-${corner}`;
    button.textContent = part;
    button.setAttribute("aria-label", drawing.dataset.corner.replace("{part}", part).replace("{corner}", corner));
    button.addEventListener("keydown", event => {
      const far = Math.max(1, Math.round(Math.max(width, height) / 2000)) * (event.shiftKey ? 10 : 1);
      const way = {ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far]}[event.key];
      if (!way) return;
      event.preventDefault();
      const [px, py] = fields(part, corner).map(value);
      put(part, corner, px + way[0], py + way[1]);
    });
    button.addEventListener("pointerdown", event => {
      button.setPointerCapture(event.pointerId);
      const follow = moved => {
        const area = drawing.getBoundingClientRect();
        put(part, corner, (moved.clientX - area.left) / area.width * width, (moved.clientY - area.top) / area.height * height);
      };
      button.addEventListener("pointermove", follow);
      button.addEventListener("pointerup", () => button.removeEventListener("pointermove", follow), {once: true});
    });
    drawing.append(button);
  }

  function begin(part) {
    for (const corner of [1, 2, 3, 4]) handle(part, corner);
    const set = form.querySelector(`.part[data-part="${part}"]`);
    set.addEventListener("input", () => shape(part));
    const remove = set.querySelector(".remove");
    remove.hidden = false;
    remove.addEventListener("click", () => {
      set.remove();
      svg.querySelector(`[data-part="${part}"]`).remove();
      for (const old of drawing.querySelectorAll(`[data-handle^="${part}-"]`)) old.remove();
      add.focus();
    });
    shape(part);
  }

  const add = document.getElementById("add");
  add.hidden = false;
  add.addEventListener("click", () => {
    let part = 1;
    while (parts().includes(part)) part++;
    if (part > +form.dataset.most) return;
    const blank = document.getElementById("blank").content.cloneNode(true);
    for (const each of blank.querySelectorAll("[name],[aria-label]")) {
      if (each.name) each.name = each.name.replace("p0", `p${part}`);
      each.setAttribute("aria-label", (each.getAttribute("aria-label") || "").replace(/\b0\b/, part));
    }
    blank.querySelector("fieldset").dataset.part = part;
    for (const each of blank.querySelectorAll("legend,.remove")) each.textContent = each.textContent.replace(/\b0\b/, part);
    add.closest("p").before(blank);
    begin(part);
    [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]].forEach(([px, py], index) => put(part, index + 1, px * width, py * height));
    drawing.querySelector(`[data-handle="${part}-1"]`).focus();
  });
  parts().forEach(begin);
}
