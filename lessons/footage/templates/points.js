"use strict";
const told = /*values*/null;
const SVG = "http://www.w3.org/2000/svg";
const $ = (id) => document.getElementById(id);
const [wide, high] = told.size;
const points = new Map();
const balls = {cue: null, object: null, others: []};
const history = [];
const given = told.given;
for (const [name, at] of Object.entries(given.points ?? {})) points.set(name, at);
Object.assign(balls, given.balls);
let foot = given.foot ?? null;
let next = Object.keys(told.points).find((name) => !points.has(name)) ?? "cue";
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

function set(key, at, isNudged = false) {
  // a run of small moves is taken back as one
  const before = history.at(-1);
  if (!isNudged || !before?.isNudged || before.key !== key) history.push({key, was: place(key), isNudged, isGone: !at});
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
  return lines.join("\n") + "\n" + told.more;
}

function mark(over, at, text, colour, size) {
  const [x, y] = at;
  element(over, "circle", {cx: x, cy: y, r: size, fill: "none", stroke: "#04110F", "stroke-width": size / 2.2});
  element(over, "circle", {cx: x, cy: y, r: size, fill: "none", stroke: colour, "stroke-width": size / 5});
  element(over, "circle", {cx: x, cy: y, r: size / 10, fill: colour});
  // near the right edge the name stands to the left
  const toLeft = x > 0.7 * wide;
  element(over, "text", {
    x: x + (toLeft ? -1.6 : 1.6) * size, y: y - size, "text-anchor": toLeft ? "end" : "start", fill: colour, "font-size": 2 * size, stroke: "#04110F", "stroke-width": size / 2.5,
    "paint-order": "stroke",
  }, text);
}

function show() {
  if (next.startsWith("others") && !place(next)) next = `others ${balls.others.length}`;
  const over = $("over");
  over.replaceChildren();
  over.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  // as large on a phone as on a large screen
  const size = Math.max(Math.max(wide, high) / 140, 6 * wide / ($("picture").clientWidth || wide));
  for (const [name, at] of points) mark(over, at, name, name === last ? "#FFC13D" : "#B5EE9C", size);
  if (balls.cue) mark(over, balls.cue, "cue ball", "#FFFFFF", size);
  if (balls.object) mark(over, balls.object, "object ball", "#FFC13D", size);
  balls.others.forEach((at, k) => mark(over, at, `other ${k + 1}`, "#63CCFF", size));
  if (foot) mark(over, foot, "foot", "#FF9C86", size);
  for (const dot of document.querySelectorAll("#table g")) {
    const name = dot.dataset.name;
    dot.querySelector(".mark").setAttribute("fill", name === next ? "#FFC13D" : points.has(name) ? "#B5EE9C" : "#173739");
    dot.setAttribute("aria-pressed", name === next);
  }
  $("point").value = next in told.points ? next : "";
  for (const option of $("point").options) {
    if (option.value) option.textContent = option.value + (points.has(option.value) ? " \u2713" : "");
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
  if (place(next)) last = next;
  show();
}

function table() {
  const svg = $("table");
  const [length, width] = told.bed;
  svg.setAttribute("viewBox", `${-length / 2 - 440} ${-width / 2 - 200} ${length + 880} ${width + 400}`);
  element(svg, "rect", {x: -length / 2 - 150, y: -width / 2 - 150, width: length + 300, height: width + 300, rx: 60, fill: "#5B4636"});
  element(svg, "rect", {x: -length / 2, y: -width / 2, width: length, height: width, fill: "#1D5F55"});
  for (const [text, x] of [["head", -length / 2 - 300], ["foot", length / 2 + 300]]) {
    element(svg, "text", {x, y: 36, "font-size": 100, "text-anchor": "middle"}, text);
  }
  for (const [name, [x, y]] of Object.entries(told.points)) {
    const dot = element(svg, "g", {tabindex: 0, role: "button", "aria-label": name});
    // a finger is wider than the mark; neighbours are 80 apart
    element(dot, "circle", {cx: x, cy: -y, r: name.startsWith("s") ? 62 : 52, fill: "transparent"});
    element(dot, "circle", {cx: x, cy: -y, r: 34, stroke: "#FFFFFF", "stroke-width": 8, class: "mark"});
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
  return inside([(event.clientX - box.left) / box.width * wide, (event.clientY - box.top) / box.height * high]);
}

function inside([x, y]) { return [Math.min(Math.max(x, 0), wide), Math.min(Math.max(y, 0), high)]; }

function look([x, y], event) {
  const loupe = $("loupe"), reach = 15, side = loupe.width;
  const box = $("screen").getBoundingClientRect();
  const left = event.clientX - box.left, top = event.clientY - box.top;
  loupe.hidden = false;
  const {offsetWidth: w, offsetHeight: h} = loupe;
  // beside the pointer, never under it
  loupe.style.left = `${Math.max(left + w + 24 > box.width ? left - w - 24 : left + 24, 0)}px`;
  loupe.style.top = `${Math.min(Math.max(top + h + 24 > box.height ? top - h - 24 : top + 24, 0), Math.max(box.height - h, 0))}px`;
  const pen = loupe.getContext("2d");
  pen.imageSmoothingEnabled = false;
  pen.fillStyle = "#061113";
  pen.fillRect(0, 0, side, side);
  pen.drawImage($("picture"), x - reach, y - reach, 2 * reach, 2 * reach, 0, 0, side, side);
  pen.strokeStyle = "#FFC13D";
  pen.lineWidth = 2;
  pen.beginPath();
  pen.moveTo(side / 2, 0); pen.lineTo(side / 2, side); pen.moveTo(0, side / 2); pen.lineTo(side, side / 2);
  pen.stroke();
}

// pressed: where, and the point; moving on from there moves the point by a quarter
let held = null;

$("screen").addEventListener("pointerdown", (event) => {
  if (event.button) return;
  event.preventDefault();
  $("screen").setPointerCapture(event.pointerId);
  held = {key: next, from: [event.clientX, event.clientY], at: at(event)};
  set(next, held.at);
  look(held.at, event);
});
$("screen").addEventListener("pointermove", (event) => {
  if (!held) {
    if (event.pointerType === "mouse") look(at(event), event);
    return;
  }
  const scale = wide / $("picture").clientWidth / 4;
  const moved = inside([0, 1].map((k) => held.at[k] + ([event.clientX, event.clientY][k] - held.from[k]) * scale));
  put(held.key, moved);
  look(moved, event);
  show();
});
for (const name of ["pointerup", "pointercancel"]) {
  $("screen").addEventListener(name, (event) => {
    if (held && held.key.startsWith("others")) choose("others");
    held = null;
    if (event.pointerType !== "mouse") $("loupe").hidden = true;
  });
}
$("screen").addEventListener("pointerleave", () => { if (!held) $("loupe").hidden = true; });
// by keys: a point that is chosen and not yet there begins at the last one, or in the middle
function begin() {
  set(next, (last && place(last)) || [wide / 2, high / 2]);
  if (next.startsWith("others")) choose("others");
}

function lookAt([x, y]) {
  const box = $("picture").getBoundingClientRect();
  look([x, y], {clientX: box.left + x / wide * box.width, clientY: box.top + y / high * box.height});
}

document.addEventListener("keydown", (event) => {
  if (/^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    $("undo").click();
    return;
  }
  const isThere = event.target === $("screen");
  if (isThere && (event.key === "Enter" || event.key === " ") && !place(next)) {
    event.preventDefault();
    begin();
    lookAt(place(last));
    return;
  }
  if (!last || !place(last)) return;
  const step = event.ctrlKey ? 50 : event.shiftKey ? 5 : 0.2;
  const move = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step]}[event.key];
  if (move) {
    event.preventDefault();
    const [x, y] = place(last);
    set(last, inside([x + move[0], y + move[1]]), true);
    if (isThere) lookAt(place(last));
  } else if (event.key === "Delete" || event.key === "Backspace") {
    event.preventDefault();
    set(last, null);
  }
});
$("screen").addEventListener("blur", () => { $("loupe").hidden = true; });
$("undo").addEventListener("click", () => {
  const {key, was, isGone} = history.pop();
  if (isGone && key.startsWith("others")) balls.others.splice(Number(key.slice(7)), 0, was);
  else put(key, was);
  last = was ? key : null;
  show();
});
$("save").addEventListener("click", () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([yaml()], {type: "text/yaml"}));
  link.download = `${told.stem}.yaml`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  $("now").textContent = `Saved as ${link.download}. Put it beside ${told.footage}, then: aimgeo match ${link.download}`;
});
for (const [key, text] of [["cue", "Cue ball"], ["object", "Object ball"], ["others", "Another ball"], ["foot", "Towards the foot"]]) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = text;
  button.dataset.key = key;
  button.addEventListener("click", () => choose(key));
  $("kinds").append(button);
}
for (const [id, names, first] of [["size", told.tables, given.table ?? "9ft"], ["target", told.pockets, given.target ?? "foot-left"]]) {
  for (const name of names) $(id).append(new Option(name, name, name === first, name === first));
  $(id).addEventListener("change", show);
}
$("point").append(new Option("\u2013", ""));
for (const name of Object.keys(told.points)) $("point").append(new Option(name, name));
$("point").addEventListener("change", () => { if ($("point").value) choose($("point").value); });
// a picture flatter than its room fills the width; a tall one stays as high as the window
function fit() {
  const room = $("screen").parentElement.clientWidth, most = Math.max(240, innerHeight - 9 * parseFloat(getComputedStyle(document.documentElement).fontSize));
  $("screen").classList.toggle("wide", high / wide * room <= most);
  show();
}
addEventListener("resize", fit);
$("at").value = told.at;
$("at").addEventListener("input", show);
$("title").textContent = told.footage;
table();
$("picture").decode().then(fit, fit);
show();
