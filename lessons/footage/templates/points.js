"use strict";
const told = /*values*/null;
const SVG = "http://www.w3.org/2000/svg";
const $ = (id) => document.getElementById(id);
const [wide, high] = told.size;
const points = new Map();
const balls = {cue: null, object: null, others: []};
const history = [];
let foot = null;
let next = Object.keys(told.points)[0];
let last = null;

function element(parent, name, values, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

function place(key) {
  if (key === "foot") return foot;
  if (key === "cue" || key === "object") return balls[key];
  if (key.startsWith("others ")) return balls.others[Number(key.slice(7))] || null;
  return points.get(key) || null;
}

function put(key, at) {
  if (key === "foot") foot = at;
  else if (key === "cue" || key === "object") balls[key] = at;
  else if (key.startsWith("others ")) {
    const k = Number(key.slice(7));
    if (at) balls.others[k] = at; else balls.others.splice(k, 1);
  } else if (at) points.set(key, at);
  else points.delete(key);
}

function set(key, at) {
  history.push([key, place(key)]);
  put(key, at);
  last = at ? key : null;
  show();
}

function number(value) { return String(Math.round(value * 10) / 10); }
function pair(at) { return `[${number(at[0])}, ${number(at[1])}]`; }

function yaml() {
  // a JSON text is a YAML text, whatever the file is called
  const lines = [`footage: ${JSON.stringify(told.footage)}`, `at: ${$("at").value || 0} s`, `table: ${$("size").value}`];
  lines.push(`target: ${$("target").value}`, `picked_on: ${wide} x ${high}`);
  if (points.size) {
    lines.push("points:");
    for (const [name, at] of points) lines.push(`  ${name}: ${pair(at)}`);
  }
  if (foot && points.size < 3) lines.push(`foot: ${pair(foot)}`);
  if (balls.cue || balls.object || balls.others.length) {
    lines.push("balls:");
    for (const key of ["cue", "object"]) if (balls[key]) lines.push(`  ${key}: ${pair(balls[key])}`);
    if (balls.others.length) lines.push(`  others: [${balls.others.map(pair).join(", ")}]`);
  }
  return lines.join("\n") + "\n";
}

function mark(over, at, text, colour, size) {
  const [x, y] = at;
  element(over, "circle", {cx: x, cy: y, r: size, fill: "none", stroke: "#04110F", "stroke-width": size / 2.2});
  element(over, "circle", {cx: x, cy: y, r: size, fill: "none", stroke: colour, "stroke-width": size / 5});
  element(over, "circle", {cx: x, cy: y, r: size / 10, fill: colour});
  element(over, "text", {
    x: x + 1.6 * size, y: y - size, fill: colour, "font-size": 2 * size, stroke: "#04110F", "stroke-width": size / 2.5,
    "paint-order": "stroke",
  }, text);
}

function show() {
  const over = $("over");
  over.replaceChildren();
  over.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  const size = Math.max(wide, high) / 140;
  for (const [name, at] of points) mark(over, at, name, name === last ? "#FFC13D" : "#B5EE9C", size);
  if (balls.cue) mark(over, balls.cue, "cue ball", "#FFFFFF", size);
  if (balls.object) mark(over, balls.object, "object ball", "#FFC13D", size);
  balls.others.forEach((at, k) => mark(over, at, `other ${k + 1}`, "#63CCFF", size));
  if (foot) mark(over, foot, "foot", "#FF9C86", size);
  for (const dot of document.querySelectorAll("#table circle")) {
    const name = dot.dataset.name;
    dot.setAttribute("fill", name === next ? "#FFC13D" : points.has(name) ? "#B5EE9C" : "#173739");
    dot.setAttribute("aria-pressed", name === next);
  }
  for (const button of document.querySelectorAll("#kinds button")) {
    button.setAttribute("aria-pressed", button.dataset.key === (next.startsWith("others") ? "others" : next));
  }
  $("now").textContent = `Next: ${{cue: "the cue ball", object: "the object ball", foot: "anywhere towards the foot rail"}[next]
    || (next.startsWith("others") ? "another ball" : next)}`;
  $("yaml").value = yaml();
  $("undo").disabled = !history.length;
}

function choose(key) {
  next = key === "others" ? `others ${balls.others.length}` : key;
  show();
}

function table() {
  const svg = $("table");
  const [length, width] = told.bed;
  svg.setAttribute("viewBox", `${-length / 2 - 330} ${-width / 2 - 260} ${length + 660} ${width + 520}`);
  element(svg, "rect", {x: -length / 2 - 150, y: -width / 2 - 150, width: length + 300, height: width + 300, rx: 60, fill: "#5B4636"});
  element(svg, "rect", {x: -length / 2, y: -width / 2, width: length, height: width, fill: "#1D5F55"});
  element(svg, "text", {x: -length / 2 - 240, y: 20, fill: "#B4CCC6", "font-size": 80, "text-anchor": "middle"}, "head");
  element(svg, "text", {x: length / 2 + 240, y: 20, fill: "#B4CCC6", "font-size": 80, "text-anchor": "middle"}, "foot");
  for (const [name, [x, y]] of Object.entries(told.points)) {
    const dot = element(svg, "circle", {
      cx: x, cy: -y, r: 34, stroke: "#FFFFFF", "stroke-width": 8, tabindex: 0, role: "button", "aria-label": name,
    });
    dot.dataset.name = name;
    element(dot, "title", {}, name);
    dot.addEventListener("click", () => choose(name));
    dot.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(name); }
    });
  }
}

function at(event) {
  const box = $("picture").getBoundingClientRect();
  const x = (event.clientX - box.left) / box.width * wide, y = (event.clientY - box.top) / box.height * high;
  return [Math.min(Math.max(x, 0), wide), Math.min(Math.max(y, 0), high)];
}

function look(event) {
  const loupe = $("loupe"), [x, y] = at(event), reach = 15, side = loupe.width;
  const box = $("screen").getBoundingClientRect();
  const left = event.clientX - box.left, top = event.clientY - box.top;
  loupe.hidden = false;
  loupe.style.left = `${left + 200 > box.width ? left - 200 : left + 20}px`;
  loupe.style.top = `${top + 200 > box.height ? top - 200 : top + 20}px`;
  const pen = loupe.getContext("2d");
  pen.imageSmoothingEnabled = false;
  pen.fillStyle = "#061715";
  pen.fillRect(0, 0, side, side);
  pen.drawImage($("picture"), x - reach, y - reach, 2 * reach, 2 * reach, 0, 0, side, side);
  pen.strokeStyle = "#FFC13D";
  pen.beginPath();
  pen.moveTo(side / 2, 0); pen.lineTo(side / 2, side); pen.moveTo(0, side / 2); pen.lineTo(side, side / 2);
  pen.stroke();
}

$("screen").addEventListener("pointermove", look);
$("screen").addEventListener("pointerleave", () => { $("loupe").hidden = true; });
$("screen").addEventListener("click", (event) => {
  set(next, at(event));
  if (next.startsWith("others")) choose("others");
});
document.addEventListener("keydown", (event) => {
  if (/^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName) || !last || !place(last)) return;
  const step = event.shiftKey ? 5 : 0.2;
  const move = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step]}[event.key];
  if (move) {
    event.preventDefault();
    const [x, y] = place(last);
    set(last, [x + move[0], y + move[1]]);
  } else if (event.key === "Delete" || event.key === "Backspace") {
    event.preventDefault();
    set(last, null);
  }
});
$("undo").addEventListener("click", () => {
  const [key, before] = history.pop();
  put(key, before);
  last = null;
  show();
});
$("save").addEventListener("click", () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([yaml()], {type: "text/yaml"}));
  link.download = `${told.stem}.yaml`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
});
for (const [key, text] of [["cue", "Cue ball"], ["object", "Object ball"], ["others", "Another ball"], ["foot", "Towards the foot"]]) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = text;
  button.dataset.key = key;
  button.addEventListener("click", () => choose(key));
  $("kinds").append(button);
}
for (const [id, names, first] of [["size", told.tables, "9ft"], ["target", told.pockets, "foot-left"]]) {
  for (const name of names) $(id).append(new Option(name, name, name === first, name === first));
  $(id).addEventListener("change", show);
}
$("at").value = told.at;
$("at").addEventListener("input", show);
$("title").textContent = told.footage;
table();
show();
