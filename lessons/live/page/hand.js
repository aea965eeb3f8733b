// Table and eye under the hand. Where a thing lands, how it snaps and what follows is Python's to say: pointers and
// keys are told as they are, in pixels of the picture.

const $ = (id) => document.getElementById(id);
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const SAY_MS = 500, REST_MS = 150, LATE_MS = 100;
// where a name stands best
const FIRST = { cue_ball: ["below"], object_ball: ["above"], eye: ["below"], target: ["above"], eye_side: ["above"] };

function made(kind, text, name) {
  const element = document.createElement(kind);
  if (text) element.textContent = text;
  if (name) element.className = name;
  return element;
}

// writes what differs alone: a page that is told the same has nothing to lay out anew
function told(element, key, value) {
  if (element.getAttribute(key) !== value) element.setAttribute(key, value);
}

export class Hand {
  constructor(page) {
    Object.assign(this, { page, isOn: false, told: null, n: 0, latest: 0, latestNumbers: 0, found: [], flight: false, next: null, waits: [], drag: null, picked: "cue_ball", gesture: 0, isTold: false, asked: 0, grips: new Map() });
    this.layer = $("handles");
    this.layer.addEventListener("pointerdown", (event) => this.down(event));
    this.layer.addEventListener("pointermove", (event) => this.move(event));
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) this.layer.addEventListener(end, (event) => this.up(event));
    $("method").addEventListener("change", () => this.act({ by: "choose", method: $("method").value }));
    $("eye").addEventListener("change", () => this.act({ by: "choose", eye: $("eye").value }));
    $("c-write").addEventListener("click", () => this.write());
    $("c-back").addEventListener("click", () => this.putBack());
    for (const radio of document.querySelectorAll("input[name=scope]")) radio.addEventListener("change", () => this.act({ by: "none", scope: radio.value }));
    this.nudges();
  }

  // ------------------------------------------------------------ what is shown

  turn(isOn) {
    this.isOn = isOn;
    document.body.classList.toggle("by-hand", isOn);
    for (const id of ["choices", "fields"]) $(id).hidden = !isOn;
    for (const id of ["transport", "caption", "words"]) $(id).hidden = isOn;
    this.layer.hidden = !isOn;
    $("hint").hidden = isOn;
    this.told = null; // the last shot's grips are none of this one's
    if (isOn) {
      this.again();
    } else {
      this.release();
      this.layer.replaceChildren();
      this.grips.clear();
      this.ofClip();
    }
  }

  // the numbers of the clip's own shot, while nothing is held
  ofClip() {
    const rows = this.page.strip.clip?.rows ?? [];
    this.numbers({ rows });
    this.limit({ limit: "" });
    $("hint").textContent = rows.length ? "“Table and eye” moves the balls." : "This clip shows no single shot.";
  }

  open(clip) {
    this.release();
    this.page.wish({ do: "act", clip, ...this.about() });
  }

  offer(message) {
    // the file has changed under the hand: what is dragged is let go, what was moved stays
    if (this.drag && message.version !== this.version) this.release();
    this.version = message.version;
    if (!message.clips) this.turn(false);
  }

  about() {
    const strip = this.page.strip;
    return { size_px: this.page.size(), shape: document.fullscreenElement ? "eye" : innerWidth <= 760 ? "tall" : "wide", step: strip.clip?.steps[strip.at()]?.name ?? "" };
  }

  again() {
    // what was on its way when the line broke is answered no more
    this.flight = false;
    this.next = null;
    const clip = this.page.strip.clip?.clip ?? "", moves = this.isTold ? null : this.kept(clip);
    if (!this.isTold) this.asked = this.n + 1;
    this.act({ clip, ...this.about(), ...(moves ? { by: "restore", moves } : {}) });
  }

  take(message) {
    // no shot here
    this.paint();
    this.forget();
    this.layer.replaceChildren();
    this.grips.clear();
    this.numbers({ rows: [] });
    this.limit({ limit: message.sentence });
    $("changes").hidden = true;
  }

  // while the hand moves, a picture waits for the browser's next one, and the numbers a while for the next picture:
  // without a graphics card to show anything costs as much as to show all, and what is never seen costs nothing
  framed(message) {
    if (message.n && message.n < this.latest) return;
    if (message.n) this.latest = message.n;
    this.isAnswered ||= Boolean(message.n);
    this.fresh = message;
    if (this.drag && message.is_moving && !document.hidden) this.painting ||= requestAnimationFrame(() => this.paint());
    else this.paint();
  }

  // the numbers come after the picture
  numbered(message) {
    if (message.n && message.n < this.latestNumbers) return;
    this.late = message;
    if (this.drag && !document.hidden) this.waiting ||= setTimeout(() => this.paint(), LATE_MS);
    else this.paint();
  }

  paint() {
    const { fresh, late } = this;
    cancelAnimationFrame(this.painting);
    clearTimeout(this.waiting);
    Object.assign(this, { painting: 0, waiting: 0, fresh: null, late: null });
    if (this.isAnswered) this.answered();
    if (fresh) this.shown(fresh);
    if (late) this.counted(late);
  }

  answered() {
    Object.assign(this, { isAnswered: false, flight: false });
    if (this.next) {
      const next = this.next;
      this.next = null;
      this.send(next);
    }
    if (!this.flight) for (const run of this.waits.splice(0)) run();
  }

  shown(message) {
    if (message.is_moving) this.rest();
    if (!this.isOn) return;
    this.told = message;
    this.page.put(message, 0);
    told($("screen"), "aria-label", `The shot of ${message.clip}: what the eye sees, and the table from above`);
    this.choices(message);
    this.place(message);
    this.limit(message);
    this.fields(message);
    [$("c-undo").disabled, $("c-redo").disabled] = message.undo.map((deep) => !deep);
  }

  counted(message) {
    this.latestNumbers = message.n;
    this.changes(message);
    this.isTold ||= message.n >= this.asked && this.asked > 0;
    if (this.isTold) this.keep(message);
    if (this.isOn) this.numbers(message);
  }

  // the page may be loaded again, or the server started again: what was moved is not lost
  keep({ clip, moves }) {
    if (Object.keys(moves).length) sessionStorage.setItem("moves", JSON.stringify({ clip, moves }));
    else sessionStorage.removeItem("moves");
  }

  kept(of) {
    const { clip, moves } = JSON.parse(sessionStorage.getItem("moves") ?? "{}");
    return clip === of && moves ? moves : null;
  }

  // another server, or another page to it: neither knows what was moved here
  begin() {
    this.forget();
    Object.assign(this, { isTold: false, asked: 0 });
  }

  fit() {
    const screen = $("screen");
    Object.assign(this.layer.style, { left: `${screen.offsetLeft}px`, top: `${screen.offsetTop}px`, width: screen.style.width, height: screen.style.height });
    if (this.told && this.isOn) this.place(this.told);
  }

  choices({ methods, eyes, method, eye }) {
    const key = JSON.stringify([methods, eyes]);
    if (this.offered !== key) {
      this.offered = key;
      $("method").replaceChildren(...methods.map(([name, words]) => new Option(words, name)));
      $("eye").replaceChildren(...eyes.map((name) => new Option(name, name)));
    }
    $("method").value = method ?? "";
    $("eye").value = eye;
  }

  place({ grips, board }) {
    const [wide, high] = board;
    // while the eye's picture fills the screen there is nothing to take hold of; the arrows move what was chosen
    this.layer.hidden = grips.every(({ at_px: at }) => !at);
    if (this.layer.hidden) return;
    for (const { id, name, value, at_px: at } of grips) {
      let grip = this.grips.get(id);
      if (!grip) {
        grip = made("button", "", "handle");
        grip.dataset.grip = id;
        grip.append(made("span", name));
        grip.addEventListener("keydown", (event) => this.key(event, id));
        grip.addEventListener("focus", () => this.pick(id));
        grip.addEventListener("click", () => this.pick(id));
        this.grips.set(id, grip);
        this.layer.append(grip);
      }
      told(grip, "aria-label", `${name}, ${value}`);
      told(grip, "aria-pressed", String(this.picked === id));
      grip.style.left = `${(at[0] / wide) * 100}%`;
      grip.style.top = `${(at[1] / high) * 100}%`;
    }
    this.name(grips, board);
  }

  // each name beside its grip where it lies over no other grip and no other name, within the picture
  name(grips, [wide, high]) {
    const zoom = this.page.wide / wide, placed = [];
    const circles = grips.map(({ id, at_px: [x, y] }) => {
      const grip = this.grips.get(id);
      grip.size ??= [grip.offsetWidth / 2 + 3, grip.firstChild.offsetWidth / 2, grip.firstChild.offsetHeight];
      return { id, x: x * zoom, y: y * zoom, grip, r: grip.size[0] };
    });
    for (const { id, x, y, grip } of circles) {
      const [r, half, tall] = grip.size;
      const sides = {
        below: [x - half, y + r, x + half, y + r + tall], above: [x - half, y - r - tall, x + half, y - r],
        right: [x + r, y - tall / 2, x + r + 2 * half, y + tall / 2], left: [x - r - 2 * half, y - tall / 2, x - r, y + tall / 2],
      };
      const isFree = ([a, b, c, d]) => a >= 0 && b >= 0 && c <= wide * zoom && d <= high * zoom
        && circles.every((one) => one.id === id || one.x + one.r <= a || one.x - one.r >= c || one.y + one.r <= b || one.y - one.r >= d)
        && placed.every(([e, f, g, h]) => g <= a || e >= c || h <= b || f >= d);
      const beside = [grip.dataset.name, ...FIRST[id], "below", "above", "right", "left"].filter((side) => sides[side]);
      const side = beside.find((one) => isFree(sides[one])) ?? beside[0];
      grip.dataset.name = side;
      placed.push(sides[side]);
    }
  }

  limit({ limit }) {
    if ($("limits").textContent !== limit) $("limits").textContent = limit;
  }

  numbers({ rows }) {
    const key = JSON.stringify(rows);
    if (this.rowsKey !== key) {
      this.rowsKey = key;
      const cells = $("rows").querySelectorAll("td"), values = rows.filter(([, value]) => value !== undefined);
      const heads = JSON.stringify(rows.map(([name, value]) => [name, value === undefined]));
      if (this.headsKey === heads) {
        // the same numbers of another shot: only what differs is written
        values.forEach(([, value], k) => cells[k].textContent === value || (cells[k].textContent = value));
      } else {
        this.headsKey = heads;
        $("rows").replaceChildren(...rows.map(([name, value]) => {
          const row = made("tr", "", value === undefined ? "part" : ""), head = made("th", name);
          head.scope = value === undefined ? "colgroup" : "row";
          if (value === undefined) head.colSpan = 2;
          row.append(head);
          if (value !== undefined) row.append(made("td", value));
          return row;
        }));
      }
      clearTimeout(this.saying);
      this.saying = setTimeout(() => {
        if (this.isOn && !this.drag) $("said").textContent = rows.slice(0, 3).map((row) => row.join(" ")).join(", ");
      }, SAY_MS);
    }
  }

  fields({ grips, unit, strides }) {
    const box = $("fields");
    if (this.unit !== unit) {
      this.unit = unit;
      this.strides = strides;
      this.stride.replaceChildren(...strides.map(([, name], k) => new Option(name, k, k === 1, k === 1)));
      this.inputs = new Map();
      const words = { mm: "millimetres", in: "inches" }[unit];
      const rows = grips.filter(({ id, fields }) => id !== "target" && fields.length).map(({ id, name, fields }) => {
        const row = made("div", "", "field");
        row.append(made("span", name));
        for (const [key, label] of fields) {
          const input = made("input");
          Object.assign(input, { type: "number", step: "any", inputMode: "decimal" });
          input.addEventListener("keydown", (event) => this.fieldKey(event, id, key));
          input.setAttribute("aria-label", `${name}, ${label}, ${words}`);
          input.title = `${label}, ${unit}`;
          input.addEventListener("change", () => input.value !== "" && this.act({ by: "move", grip: id, values: { [key]: Number(input.value) } }));
          this.inputs.set(`${id} ${key}`, input);
          row.append(input);
        }
        return row;
      });
      box.replaceChildren(made("h3", `By keys, in ${words}`), ...rows, this.pad);
      this.pick(this.picked);
    }
    for (const { id, fields } of grips) {
      for (const [key, , value] of fields) {
        const input = this.inputs.get(`${id} ${key}`);
        if (input && document.activeElement !== input && input.value !== String(value)) input.value = String(value);
      }
    }
  }

  // four arrows for whoever has neither keys nor a steady hand
  nudges() {
    this.pad = made("div", "", "nudge");
    for (const [key, sign, words] of [["ArrowLeft", "←", "left"], ["ArrowRight", "→", "right"], ["ArrowUp", "↑", "up"], ["ArrowDown", "↓", "down"]]) {
      const button = made("button", sign);
      button.dataset.words = words;
      button.addEventListener("click", () => this.nudge(this.picked, key, Number(this.stride.value)));
      this.pad.append(button);
    }
    this.stride = made("select");
    this.stride.setAttribute("aria-label", "How far an arrow moves");
    this.pad.append(this.stride);
  }

  changes({ changes, is_scoped: isScoped, scope }) {
    this.found = changes;
    $("changes").hidden = !changes.length;
    $("scope").hidden = !isScoped;
    for (const radio of document.querySelectorAll("input[name=scope]")) radio.checked = radio.value === scope;
    const key = JSON.stringify([changes, scope]);
    if (this.effectKey === key) return;
    this.effectKey = key;
    $("effect").textContent = "";
    this.rest();
    $("changes").querySelector("ul").replaceChildren(...changes.map(({ key, text, was, line, clips, why_not: whyNot, note }) => {
      const item = made("li"), about = made("span");
      item.append(made("strong", `${key}: ${text}`));
      const where = line ? `line ${line}` : "a new line";
      about.textContent = whyNot ? `not written: ${whyNot}` : `${where}${was ? `, was ${was}` : ""}, ${clips} ${clips === 1 ? "clip" : "clips"}${note && `, ${note}`}`;
      item.append(about);
      return item;
    }));
    $("c-write").disabled = !changes.some(({ why_not: whyNot }) => !whyNot);
  }

  // when the hand rests, labels find new places, and it is asked what would become of the other clips
  rest() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      // a hand whose last move is not answered yet does not rest, however long the answer takes
      if (this.flight) return this.rest();
      if (this.isOn) this.send({ by: "rest" });
      if (!$("changes").hidden) this.page.wish({ do: "effect" });
    }, REST_MS);
  }

  effect({ sentence }) {
    $("effect").textContent = sentence;
  }

  pick(id) {
    this.picked = id;
    for (const [each, grip] of this.grips) told(grip, "aria-pressed", String(each === id));
    const name = id === "eye_side" ? "eye" : id.replace("_", " ");
    for (const button of this.pad.querySelectorAll("button")) button.setAttribute("aria-label", `${name} ${button.dataset.words}`);
  }

  // ------------------------------------------------------------ pointers

  at(event) {
    const box = this.layer.getBoundingClientRect(), [wide, high] = this.told.board;
    return [((event.clientX - box.left) / box.width) * wide, ((event.clientY - box.top) / box.height) * high];
  }

  down(event) {
    if (!this.isOn || !this.told || this.drag || event.button) return;
    const grip = event.target.closest(".handle");
    const id = grip?.dataset.grip ?? this.picked;
    const at = this.at(event);
    // beside the handles a tap on the table moves the chosen one there, beside the eye from the side that eye
    if (!grip && !this.isIn(at, id === "eye_side" ? this.told.side_px : this.told.table_px)) return;
    event.preventDefault();
    this.layer.setPointerCapture(event.pointerId);
    const start = grip ? this.told.grips.find((one) => one.id === id).at_px : at;
    this.drag = { id, pointer: event.pointerId, off: [start[0] - at[0], start[1] - at[1]], gesture: ++this.gesture, from: at, isMoved: !grip };
    this.pick(id);
    grip?.focus({ preventScroll: true });
    if (!grip) this.ask(event);
  }

  isIn([x, y], [left, top, width, height]) {
    return x >= left && x <= left + width && y >= top && y <= top + height;
  }

  move(event) {
    if (!this.drag || event.pointerId !== this.drag.pointer) return;
    const at = this.at(event);
    // a hand that only trembles does not move anything
    if (!this.drag.isMoved && Math.max(Math.abs(at[0] - this.drag.from[0]), Math.abs(at[1] - this.drag.from[1])) < 4) return;
    this.drag.isMoved = true;
    this.ask(event);
  }

  ask(event) {
    const { id, off, gesture } = this.drag, at = this.at(event);
    this.send({ by: "move", grip: id, to_px: [at[0] + off[0], at[1] + off[1]], is_free: event.altKey, gesture });
  }

  // the five endings of a drag are one: released, cancelled, capture lost, Esc, the file has changed
  up(event) {
    if (this.drag && event.pointerId === this.drag.pointer) this.release();
  }

  release() {
    const drag = this.drag;
    this.drag = null;
    if (drag && this.layer.hasPointerCapture?.(drag.pointer)) this.layer.releasePointerCapture(drag.pointer);
  }

  // one move is on its way at most; of those that wait the newest counts
  send(wish) {
    if (this.flight) {
      this.next = wish;
      return;
    }
    this.flight = Boolean(this.page.wish({ do: "hand", n: ++this.n, size_px: this.page.size(), ...wish }));
  }

  // what is to come after the moves that are on their way
  then(run) {
    if (this.flight) this.waits.push(run);
    else run();
  }

  // no answer will come: the line was down, or this clip shows no shot
  forget() {
    Object.assign(this, { flight: false, next: null, waits: [], isAnswered: false });
  }

  act(wish) {
    this.page.wish({ do: "act", n: ++this.n, ...wish });
  }

  // ------------------------------------------------------------ keys

  key(event, id) {
    if (event.key === "Escape") {
      event.stopPropagation();
      this.putBack();
      return;
    }
    if (!WAYS[event.key] || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    this.arrow(event, id);
  }

  // in a number's field the arrows go by the same strides
  fieldKey(event, id, key) {
    const way = WAYS[event.key]?.[1];
    if (!way || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    const { target } = event, far = this.strides[this.strideOf(event)][0];
    target.value = String(Number((Number(target.value) + way * far).toFixed(4)));
    target.dispatchEvent(new Event("change"));
  }

  strideOf({ altKey, shiftKey }) {
    return altKey ? 0 : shiftKey ? 2 : 1;
  }

  arrow(event, id = this.picked) {
    this.nudge(id, event.key, this.strideOf(event));
  }

  nudge(id, key, stride) {
    this.act({ by: "move", grip: id, toward: WAYS[key], stride });
  }

  putBack() {
    if (this.drag) {
      const { gesture } = this.drag;
      this.release();
      this.next = null;
      this.then(() => this.act({ by: "undo", gesture }));
      return true;
    }
    if ($("changes").hidden && !this.isOn) return false;
    this.act({ by: "back" });
    return true;
  }

  undo(by) {
    this.act({ by: by < 0 ? "undo" : "redo" });
  }

  write() {
    // the numbers of the last move may not have come yet: Python knows whether there is anything to write
    if (this.isOn || this.found.length) this.then(() => this.page.wish({ do: "write" }));
  }
}
