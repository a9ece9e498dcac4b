// Who is where: a mark for each person on the front, set by a click or moved by arrow keys.
"use strict";
{
  const box = document.getElementById("faces");
  const frame = document.getElementById("picture-recto");
  const people = document.getElementById("people");
  const form = document.getElementById("words");
  const usual = 0.035, step = 0.01;
  const marks = [...box.querySelectorAll("span")].filter(each => each.dataset.x)
    .map(each => ({name: each.dataset.name, x: +each.dataset.x, y: +each.dataset.y, r: +each.dataset.r}));
  let armed = null; // the person whose face is clicked next

  const named = () => people.value.split(";").map(name => name.trim()).filter(Boolean);
  const spoken = name => name === "?" ? box.dataset.unknown : name;
  const text = (key, name) => box.dataset[key].replace("{name}", spoken(name));

  // Everybody in the field with the mark of that name; two of the same name take their marks in turn.
  function rows() {
    const left = [...marks];
    return named().map(name => {
      const place = left.findIndex(mark => mark.name === name);
      return {name, mark: place < 0 ? null : left.splice(place, 1)[0]};
    });
  }

  async function keep() {
    const kept = rows().filter(row => row.mark).map(row => row.mark);
    const value = kept.map(mark => `${mark.name} @ ${mark.x.toFixed(4)} ${mark.y.toFixed(4)} ${mark.r.toFixed(4)}`).join("; ");
    const before = form.elements.before_faces;
    const body = new URLSearchParams({token: form.elements.token.value, faces: value, before_faces: before.value});
    const told = document.getElementById("told");
    const answer = await fetch(location.pathname, {method: "POST", body, headers: {"x-desk": "field"}, keepalive: true}).catch(() => null);
    if (!answer || !answer.ok) {
      told.textContent = form.dataset.notSaved.replace("{field}", box.dataset.title);
      return;
    }
    const [saved] = await answer.json();
    before.value = saved.value;
    told.textContent = saved.told;
  }

  let pause = 0;
  const keepSoon = () => {
    clearTimeout(pause);
    pause = setTimeout(keep, 400);
  };

  function place(button, mark) {
    button.style.left = `${mark.x * 100}%`;
    button.style.top = `${mark.y * 100}%`;
    button.style.width = `${Math.max(mark.r * 200, 3)}%`;
  }

  function move(event, mark, button) {
    const far = event.shiftKey ? step * 5 : step;
    const ways = {ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far]}[event.key];
    if (ways) {
      mark.x = Math.min(1, Math.max(0, mark.x + ways[0]));
      mark.y = Math.min(1, Math.max(0, mark.y + ways[1]));
    } else if (event.key === "+" || event.key === "-") {
      mark.r = Math.min(0.3, Math.max(0.01, mark.r * (event.key === "+" ? 1.15 : 1 / 1.15)));
    } else if (event.key === "Delete" || event.key === "Backspace") {
      forget(mark);
    } else return;
    event.preventDefault();
    if (marks.includes(mark)) place(button, mark);
    keepSoon();
  }

  function forget(mark) {
    marks.splice(marks.indexOf(mark), 1);
    draw();
    people.focus();
  }

  function draw(focused) {
    for (const old of frame.querySelectorAll(".face")) old.remove();
    const list = document.createElement("ol");
    rows().forEach(({name, mark}, index) => {
      const item = document.createElement("li");
      const button = Object.assign(document.createElement("button"), {type: "button", className: "plain"});
      const said = document.createElement("span");
      said.textContent = name === "?" ? "?" : name;
      button.append(said);
      if (mark) {
        button.setAttribute("aria-label", text("unmark", name));
        button.dataset.on = "1";
        button.addEventListener("click", () => { forget(mark); keepSoon(); });
        const spot = Object.assign(document.createElement("button"), {type: "button", className: "face"});
        spot.textContent = index + 1;
        spot.setAttribute("aria-label", `${index + 1}. ${text("move", name)}`);
        place(spot, mark);
        spot.addEventListener("keydown", event => move(event, mark, spot));
        spot.addEventListener("pointerdown", () => drag(spot, mark));
        frame.append(spot);
        if (mark === focused) spot.focus();
      } else {
        button.setAttribute("aria-label", text("mark", name));
        button.setAttribute("aria-pressed", String(armed === index));
        button.addEventListener("click", () => {
          if (armed === index) { // a second press, or Enter twice: a mark in the middle, to be moved by keys
            armed = null;
            add(name, 0.5, 0.5);
          } else {
            armed = index;
            draw();
            box.querySelectorAll("li button")[index].focus();
          }
        });
      }
      item.append(button);
      list.append(item);
    });
    const help = Object.assign(document.createElement("p"), {className: "quiet help", textContent: box.dataset.help});
    box.replaceChildren(list, help);
    box.hidden = !named().length;
    frame.classList.toggle("armed", armed !== null);
  }

  function add(name, x, y) {
    const mark = {name, x, y, r: usual};
    marks.push(mark);
    draw(mark);
    keepSoon();
  }

  function drag(spot, mark) {
    const area = frame.getBoundingClientRect();
    const follow = event => {
      mark.x = Math.min(1, Math.max(0, (event.clientX - area.left) / area.width));
      mark.y = Math.min(1, Math.max(0, (event.clientY - area.top) / area.height));
      place(spot, mark);
    };
    const end = () => {
      removeEventListener("pointermove", follow);
      keepSoon();
    };
    addEventListener("pointermove", follow);
    addEventListener("pointerup", end, {once: true});
  }

  if (frame) {
    frame.addEventListener("click", event => {
      if (armed === null || event.target.closest(".face")) return;
      const area = frame.getBoundingClientRect();
      const name = named()[armed];
      armed = null;
      add(name, (event.clientX - area.left) / area.width, (event.clientY - area.top) / area.height);
    });
    people.addEventListener("change", () => draw());
    draw();
  }
}
