// The page: what comes from Python is shown, what the hand does is told. Nothing is computed here that a picture shows.

import { Filmed } from "./filmed.js";
import { Hand } from "./hand.js";
import { List } from "./list.js";
import { Screen } from "./screen.js";
import { Strip } from "./strip.js";
import { Words } from "./text.js";
import { Wire } from "./wire.js";

const $ = (id) => document.getElementById(id);
// the keys, as far as they move a thing in the lesson's unit
const keysOf = ([[, fine], [, one], [, far]]) => [
  ["Space", "play, pause"], ["← →", "a frame back, on; with Shift ten"], ["[ ]", "a step back, on"],
  ["↑ ↓", "the clip before, after"], ["C", "the clip"], ["T", "table and eye"], ["M", "the filmed still"], ["E", "the text"],
  ["F8", "next fault"], ["Ctrl S", "write, save"], ["Ctrl Z, Ctrl Y", "undo, redo a move"], ["F", "full screen"],
  ["Tab", "from handle to handle"], ["← → ↑ ↓ on a handle", `move it ${one}; with Shift ${far}, with Alt ${fine}`],
  ["Esc", "put back what was moved"], ["?", "these keys"],
];

const SAID_MS = 4000;

function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return ""; // not written by this page
  }
}

function remembered() {
  // the address holds the token, and where to begin: #token or #token/clip/frame
  const [token, clip, frame] = location.hash.slice(1).split("/").map(decoded);
  if (token) sessionStorage.setItem("token", token);
  if (location.hash) history.replaceState(null, "", location.pathname);
  const last = JSON.parse(sessionStorage.getItem("place") ?? "{}");
  return { token: sessionStorage.getItem("token") ?? "", clip: clip ?? last.clip ?? "", frame: Number(frame ?? last.frame ?? 0) };
}

class Page {
  constructor() {
    const { token, clip, frame } = remembered();
    Object.assign(this, { token, place: { clip, frame }, lesson: null, mode: "clip", flight: null, next: null, n: 0, latest: 0, isReady: false });
    this.isSoft = !this.hasCard();
    this.screen = new Screen($("screen"), this.isSoft);
    this.strip = new Strip(this);
    this.list = new List(this);
    this.hand = new Hand(this);
    this.filmed = new Filmed(this);
    this.words = new Words(this);
    this.wire = new Wire(token, (message) => this.hear(message), (state) => this.state(state), () => this.hello());
    new ResizeObserver(() => this.fit()).observe($("stage"));
    addEventListener("resize", () => this.fit());
    this.buttons();
    this.keys();
  }

  hasCard() {
    const gl = document.createElement("canvas").getContext("webgl2");
    this.hasGl = Boolean(gl);
    const told = gl?.getExtension("WEBGL_debug_renderer_info");
    const name = told ? gl.getParameter(told.UNMASKED_RENDERER_WEBGL) : "";
    gl?.getExtension("WEBGL_lose_context")?.loseContext();
    return this.hasGl && !/swiftshader|llvmpipe|software/i.test(name);
  }

  // ------------------------------------------------------------ the line

  hello() {
    this.isReady = true;
    this.flight = null;
    this.hand.begin();
    this.filmed.isAnew = true;
    const place = this.strip.clip ? { clip: this.strip.clip.clip, frame: this.strip.frame } : this.place;
    if (this.hasGl && !this.screen.told) setTimeout(() => this.wish({ do: "shaders" }));
    setTimeout(() => {
      this.list.again();
      this.words.again();
      if (this.mode === "hand") this.hand.again();
    });
    return { ...place, size_px: this.size(), paints: this.hasGl ? "orders" : "pictures" };
  }

  state(text) {
    if (text) this.isReady = false;
    $("state").textContent = text;
    $("state").hidden = !text;
  }

  wish(wish) {
    return this.wire?.wish(wish);
  }

  hear(message) {
    const does = {
      lesson: () => this.read(message),
      clip: () => this.clip(message),
      frame: () => (message.why === "ahead" ? this.strip.ahead(message) : this.framed(message)),
      ahead: () => this.strip.ahead(message),
      thumb: () => this.list.drawn(message),
      shaders: () => this.shade(message),
      sound: () => this.strip.heard(message),
      hand: () => this.hand.take(message),
      said: () => this.say(message.sentence),
      saved: () => this.words.saved(message),
      png: () => this.download(message),
      film: () => this.film(message),
      made: () => this.making(message),
      effect: () => this.hand.effect(message),
      filmed: () => this.filmed.opened(message),
      match: () => this.filmed.matched(message),
      match_file: () => this.filmed.wrote(message),
      numbers: () => this.hand.numbered(message),
      schema: () => this.words.told(message.schema),
    }[message.is];
    does?.();
  }

  shade(message) {
    if (this.screen.shade(message)) this.list.shade(message);
    else if (this.wish({ do: "paints", paints: "pictures" })) this.hasGl = false;
  }

  // ------------------------------------------------------------ the file

  read(message) {
    const before = this.lesson;
    this.lesson = message;
    const clock = (seconds) => new Date(seconds * 1000).toLocaleTimeString([], { hour12: false });
    $("title").textContent = message.title ?? "aimgeo live";
    document.title = `${message.title ?? message.file} – aimgeo live`;
    $("where").textContent = `${message.file}${message.read_at ? `, read ${clock(message.read_at)}` : ""}${message.is_draft ? ", not saved" : ""}`;
    const faults = message.faults ?? [];
    const told = message.is_missing
      ? `${message.file} is not there or empty; waiting for it.`
      : faults.length ? `${faults[0].file ?? message.file}:${faults[0].line}:${faults[0].column}  ${faults[0].sentence}` : "";
    if ($("faults").textContent !== told) $("faults").textContent = told;
    // what was just said stays long enough to be read
    const isRead = performance.now() - (this.saidAt ?? -SAID_MS) > SAID_MS;
    if (told || isRead) $("good").textContent = told && message.shown_at ? `The picture is that of ${clock(message.shown_at)}, before this.` : "";
    $("next-fault").hidden = !faults.length;
    $("next-fault").firstChild.textContent = faults.length > 1 ? `${faults.length} faults, next ` : "show it ";
    if (message.clips) this.list.take(message);
    this.words.take(message, before);
    this.hand.offer(message);
    this.filmed.offer(message);
    for (const id of ["b-film", "b-png", "m-hand"]) $(id).disabled = !message.clips;
    document.body.classList.toggle("bare", !message.clips);
  }

  clip(message) {
    this.strip.take(message);
    this.list.mark(message.clip);
    if (!this.isMarked) this.list.reveal();
    if (!this.isMarked && this.hand.kept(message.clip)) this.turn("hand");
    this.isMarked = true;
    this.remember();
    if (this.mode === "hand") this.hand.again();
    else this.hand.ofClip();
  }

  remember() {
    if (this.strip.clip) sessionStorage.setItem("place", JSON.stringify({ clip: this.strip.clip.clip, frame: this.strip.frame }));
  }

  // ------------------------------------------------------------ frames

  size() {
    const box = $("stage").getBoundingClientRect(), ratio = Math.min(devicePixelRatio || 1, 3);
    const most = this.isSoft ? 1280 : 3840;
    const board = this.board ?? [16, 9];
    const wide = Math.min(box.width, (this.room() * board[0]) / board[1]);
    const width = Math.max(64, Math.min(most, Math.round(wide * ratio)));
    return [width, Math.max(36, Math.round((width * board[1]) / board[0]))];
  }

  room() {
    if (document.fullscreenElement === $("stage")) return innerHeight;
    if (this.mode === "hand") return innerWidth <= 760 ? innerHeight * 0.66 : Math.max(innerHeight - 250, 380);
    if (this.words?.isBelow()) return innerHeight * 0.32;
    if (innerWidth <= 760) return innerHeight * 0.52;
    // what stands above and below; words that take a line more scroll rather than make the picture smaller
    const others = document.querySelector("header").offsetHeight + 318 + ($("sound").hidden ? 0 : 36);
    return Math.max(innerHeight - others, innerHeight * 0.42);
  }

  // the screen as large as its place allows, in the board's shape
  fit() {
    const [wide, high] = this.board ?? [16, 9];
    const width = Math.min($("stage").clientWidth, (this.room() * wide) / high);
    const height = (width * high) / wide;
    if (this.wide === width && this.high === height) return;
    this.wide = width;
    this.high = height;
    $("screen").style.width = `${width}px`;
    $("screen").style.height = `${height}px`;
    this.hand.fit();
    clearTimeout(this.fitting);
    this.fitting = setTimeout(() => this.refresh(), 120);
  }

  refresh() {
    if (this.mode === "hand") this.hand.again();
    else if (this.strip.clip) this.show(this.strip.frame);
  }

  // wish for a frame: one is on its way at most, and of those that wait the newest
  show(frame, clip = this.strip.clip?.clip ?? this.place.clip) {
    const wish = { do: "show", clip, frame, size_px: this.size(), n: ++this.n };
    if (this.flight) this.next = wish;
    else if (this.wish(wish)) this.flight = wish;
  }

  // the strip stands at another frame: under the hand that is another step of the construction
  stand(frame) {
    if (this.mode !== "hand") return this.show(frame);
    this.remember();
    this.hand.again();
  }

  // answers that are still on their way are of no interest any more
  letGo() {
    this.latest = this.n + 1;
    this.n = this.latest;
    this.flight = this.next = null;
  }

  framed(message) {
    if (message.why === "hand") return this.hand.framed(message);
    if (message.n) {
      if (message.n < this.latest) return;
      this.latest = message.n;
      this.flight = null;
      if (this.next) {
        const next = this.next;
        this.next = null;
        this.show(next.frame, next.clip);
      }
    }
    if (message.why === "save" && this.next) this.next.frame = message.frame;
    if (this.mode !== "clip" || (this.strip.playing && message.why !== "save")) return;
    this.put(message, message.frame);
    // while a newer frame is wished for, the strip stands at that one already
    if (this.flight && message.why !== "save") return;
    this.strip.frame = message.frame;
    this.strip.tell();
    this.remember();
  }

  put(message, frame) {
    if (!message) return;
    const isOther = !this.board || this.board.some((side, k) => side !== message.board[k]);
    this.board = message.board;
    if (isOther) this.fit();
    this.screen.show(message);
    $("screen").dataset.frame = String(frame);
    $("screen").dataset.clip = message.clip ?? "";
    $("screen").setAttribute("aria-label", `${message.clip ?? "the shot"}, frame ${frame}`);
  }

  open(name) {
    if (!name) return;
    this.strip.stop();
    this.list.mark(name);
    if (name !== this.strip.clip?.clip) this.strip.clip = null; // until Python has told of it
    this.place = { clip: name, frame: 0 };
    this.show(0, name);
  }

  // on a narrow screen the clips stand below the picture
  toPicture() {
    const { top, bottom } = $("stage").getBoundingClientRect();
    if (top < 0 || bottom > innerHeight) $("middle").scrollIntoView({ block: "start" });
  }

  turn(mode) {
    if (this.mode === mode) return;
    this.mode = mode;
    this.strip.stop();
    $("m-clip").setAttribute("aria-pressed", String(mode === "clip"));
    $("m-hand").setAttribute("aria-pressed", String(mode === "hand"));
    $("m-filmed").setAttribute("aria-pressed", String(mode === "filmed"));
    if (mode !== "filmed") this.filmed.turn(false);
    this.hand.turn(mode === "hand");
    if (mode === "filmed") this.filmed.turn(true);
    this.wide = 0;
    this.fit();
    if (mode === "clip") this.show(this.strip.frame);
  }

  // ------------------------------------------------------------ what is said and handed over

  say(text) {
    $("said").textContent = "";
    $("said").textContent = text;
    $("good").textContent = text;
    this.saidAt = performance.now();
  }

  toLine(line) {
    this.words.open();
    this.words.toLine(line);
  }

  download(message) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([message.body], { type: "image/png" }));
    link.download = message.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
    this.say(`${message.name} is saved, ${message.width} × ${message.height}.`);
  }

  film(message) {
    const box = $("film"), text = document.createElement("p");
    box.hidden = false;
    text.textContent = message.sentence;
    box.replaceChildren(text);
    if (message.body && message.is_done) {
      const video = document.createElement("video");
      video.controls = true;
      if (this.filmUrl) URL.revokeObjectURL(this.filmUrl);
      this.filmUrl = URL.createObjectURL(new Blob([message.body], { type: "video/mp4" }));
      video.src = this.filmUrl;
      box.append(video);
    }
    $("b-film").disabled = !message.is_done;
    this.say(message.sentence);
  }

  making(message) {
    if (message.fault) {
      $("make-said").textContent = message.fault;
      return;
    }
    $("make").close();
    this.say(`${message.file} is made.`);
  }

  // ------------------------------------------------------------ buttons and keys

  buttons() {
    const click = (id, run) => $(id).addEventListener("click", run);
    click("m-clip", () => this.turn("clip"));
    click("m-hand", () => this.turn("hand"));
    click("m-filmed", () => this.turn("filmed"));
    click("b-text", () => this.words.toggle());
    click("b-full", () => this.full());
    click("b-leave", () => this.full());
    // where nothing but the picture is to be seen, a tap plays and stops
    click("screen", () => document.fullscreenElement && this.mode === "clip" && this.strip.toggle());
    click("c-undo", () => this.hand.undo(-1));
    click("c-redo", () => this.hand.undo(1));
    click("b-keys", () => this.tellKeys());
    click("b-png", () => {
      const clip = this.lesson?.clips?.find(({ name }) => name === this.strip.clip?.clip);
      if (!clip) return;
      const form = $("picture-form").elements;
      form.width.value ||= String(clip.size[0]);
      $("picture-what").textContent = `${clip.name}, frame ${this.strip.frame}. Filmed it is ${clip.size[0]} × ${clip.size[1]}.`;
      $("picture").showModal();
    });
    $("picture-form").addEventListener("submit", (event) => {
      if (event.submitter?.value !== "save") return;
      const width = Number($("picture-form").elements.width.value);
      this.wish({ do: "png", clip: this.strip.clip?.clip, frame: this.strip.frame, width_px: width });
    });
    click("b-film", () => {
      $("b-film").disabled = true;
      this.wish({ do: "film", clip: this.strip.clip?.clip });
    });
    click("b-link", () => this.copy());
    click("o-theirs", () => this.words.outside(false));
    click("o-mine", () => this.words.outside(true));
    click("next-fault", () => this.words.nextFault());
    click("to-line", () => this.toLine(Number($("to-line").dataset.line)));
    click("b-new", () => {
      const tables = this.lesson?.tables ?? ["9ft"];
      $("make-form").elements.table.replaceChildren(...tables.map((name) => new Option(name, name)));
      $("make-said").textContent = "";
      $("make").showModal();
    });
    $("make-form").addEventListener("submit", (event) => {
      if (event.submitter?.value !== "make") return;
      event.preventDefault();
      const told = Object.fromEntries(new FormData($("make-form")));
      this.wish({ do: "make", ...told });
    });
    document.addEventListener("fullscreenchange", () => {
      this.fit();
      if (this.mode === "hand") this.hand.again();
    });
  }

  full() {
    if (document.fullscreenElement) document.exitFullscreen();
    else $("stage").requestFullscreen?.();
  }

  async copy() {
    const place = [this.token, this.strip.clip?.clip ?? "", String(this.strip.frame)].map(encodeURIComponent).join("/");
    const address = `${location.origin}/#${place}`;
    try {
      await navigator.clipboard.writeText(address);
      this.say("The address of this moment is copied; it opens on this machine, while the server runs.");
    } catch {
      prompt("The address of this moment:", address);
    }
  }

  tellKeys() {
    const strides = this.lesson?.strides ?? [["", "a little"], ["", "a step"], ["", "farther"]];
    $("key-list").replaceChildren(...keysOf(strides).flatMap(([key, what]) => {
      const dt = document.createElement("dt"), dd = document.createElement("dd"), kbd = document.createElement("kbd");
      kbd.textContent = key;
      dt.append(kbd);
      dd.textContent = what;
      return [dt, dd];
    }));
    $("keys").showModal();
  }

  keys() {
    addEventListener("keydown", (event) => {
      const { key, target } = event;
      const command = event.ctrlKey || event.metaKey;
      if (document.querySelector("dialog[open]")) return;
      if (command && key.toLowerCase() === "s") {
        event.preventDefault();
        this.words.hasNews() ? this.words.save() : this.hand.write();
        return;
      }
      if (key === "F8") {
        event.preventDefault();
        this.words.nextFault();
        return;
      }
      const isWriting = target.closest?.("#editor, input:not([type=range]):not([type=radio]), select, textarea");
      if (isWriting) return;
      if (command && "zyZY".includes(key) && this.mode === "hand") {
        event.preventDefault();
        this.hand.undo(key.toLowerCase() === "z" && !event.shiftKey ? -1 : 1);
        return;
      }
      if (this.mode === "hand" && document.fullscreenElement && key.startsWith("Arrow") && !command) {
        event.preventDefault();
        this.hand.arrow(event);
        return;
      }
      if (command || event.altKey) return;
      if (target.closest?.(".handle") && key.startsWith("Arrow")) return;
      const isButton = target.closest?.("button, a, summary, video");
      const does = {
        " ": () => (isButton ? false : this.strip.toggle()),
        ArrowLeft: () => this.strip.to(this.strip.frame - (event.shiftKey ? 10 : 1)),
        ArrowRight: () => this.strip.to(this.strip.frame + (event.shiftKey ? 10 : 1)),
        ArrowUp: () => this.open(this.list.beside(-1)),
        ArrowDown: () => this.open(this.list.beside(1)),
        "[": () => this.strip.step(-1),
        "]": () => this.strip.step(1),
        c: () => this.turn("clip"),
        t: () => ($("m-hand").disabled ? false : this.turn("hand")),
        m: () => ($("m-filmed").hidden ? false : this.turn("filmed")),
        e: () => void this.words.toggle(true),
        f: () => this.full(),
        "?": () => this.tellKeys(),
        Escape: () => this.hand.putBack(),
      }[key];
      if (does && does() !== false) event.preventDefault();
    });
  }
}

globalThis.page = new Page();
