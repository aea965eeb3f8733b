// Steps, frame, playing. The clock is the sound's while there is sound; frames are skipped and counted, sound never waits.

const $ = (id) => document.getElementById(id);
const AHEAD_S = 0.6;

export class Strip {
  // `page` has show(frame), wish(...), screen and said(text)
  constructor(page) {
    Object.assign(this, { page, clip: null, frame: 0, playing: null, store: new Map(), keys: [], end: 0, skipped: 0, sound: null });
    $("seek").addEventListener("input", () => this.to(Number($("seek").value)));
    $("t-play").addEventListener("click", () => this.toggle());
    $("t-back").addEventListener("click", () => this.to(this.frame - 1));
    $("t-on").addEventListener("click", () => this.to(this.frame + 1));
    $("t-prev").addEventListener("click", () => this.step(-1));
    $("t-next").addEventListener("click", () => this.step(1));
    $("speed").addEventListener("change", () => this.playing && this.start());
  }

  get fps() {
    return this.clip.rate[0] / this.clip.rate[1];
  }

  // the clip as Python tells it: after a save it may be longer, and goes on at the frame that Python says
  take(clip) {
    const isOther = this.clip?.clip !== clip.clip;
    const wasPlaying = this.playing;
    if (!this.clip || this.clip.key !== clip.key) this.forget();
    this.clip = clip;
    if (isOther) this.stop();
    const steps = clip.steps.map((step, index) => {
      const button = document.createElement("button");
      button.textContent = step.name;
      button.title = step.title || step.name;
      button.style.flexGrow = String(step.end - step.first);
      button.addEventListener("click", () => this.to(this.clip.steps[index].first));
      return button;
    });
    const focused = [...$("strip").children].indexOf(document.activeElement);
    $("strip").replaceChildren(...steps);
    this.toldAt = -1;
    if (focused >= 0) steps[Math.min(focused, steps.length - 1)]?.focus();
    $("seek").max = String(clip.frames - 1);
    this.sound = this.sound?.key === clip.key ? this.sound : null;
    if (!clip.has_sound) $("sound").hidden = true;
    if (clip.has_sound && !this.sound) this.page.wish({ do: "sound", clip: clip.clip });
    this.tell();
    if (wasPlaying && !isOther) this.start();
  }

  forget() {
    this.store.clear();
    this.keys = [];
    this.end = 0;
    this.asked = 0;
  }

  at() {
    return this.clip?.steps.findIndex((step) => step.first <= this.frame && this.frame < step.end) ?? -1;
  }

  tell() {
    const clip = this.clip;
    if (!clip) return;
    const index = this.at(), step = clip.steps[index];
    [...$("strip").children].forEach((button, k) => (k === index ? button.setAttribute("aria-current", "step") : button.removeAttribute("aria-current")));
    if (index !== this.toldAt) {
      // on a narrow screen the steps are a row to be pushed; the current one is kept in sight
      this.toldAt = index;
      const button = $("strip").children[index];
      if (button) $("strip").scrollLeft = button.offsetLeft - $("strip").offsetLeft - 44;
    }
    $("seek").value = String(this.frame);
    const seconds = (this.frame / this.fps).toFixed(2);
    $("seek").setAttribute("aria-valuetext", `frame ${this.frame} of ${clip.frames}, ${seconds} seconds${step ? `, step ${step.name}` : ""}`);
    $("clock").textContent = `frame ${this.frame} of ${clip.frames}, ${seconds} s${this.skipped ? `, ${this.skipped} skipped` : ""}`;
    const caption = clip.captions.find((one) => one.first <= this.frame && this.frame < one.end);
    $("caption").textContent = caption ? caption.lines.join(" ") : "";
    $("step-name").textContent = step ? `${step.name}:` : "";
    $("narration").textContent = step?.narration ?? "";
    $("to-line").textContent = step ? `line ${step.line}` : "";
    $("to-line").dataset.line = String(step?.line ?? 0);
  }

  to(frame) {
    if (!this.clip) return;
    const wasPlaying = this.playing;
    this.frame = Math.max(0, Math.min(this.clip.frames - 1, Math.floor(frame)));
    this.tell();
    this.page.stand(this.frame);
    if (wasPlaying) this.start();
  }

  step(by) {
    if (!this.clip) return;
    const index = Math.max(this.at(), 0), steps = this.clip.steps;
    const isInside = by < 0 && this.frame > steps[index].first + this.fps / 2;
    const next = steps[Math.max(0, Math.min(steps.length - 1, index + (isInside ? 0 : by)))];
    this.to(by > 0 && index === steps.length - 1 ? this.clip.frames - 1 : next.first);
  }

  // ------------------------------------------------------------ playing

  toggle() {
    if (this.playing) return this.stop();
    this.page.turn("clip");
    this.start();
  }

  async heard(message) {
    if (message.key !== this.clip?.key) return;
    this.outline(message.outline);
    this.audio ??= new AudioContext();
    const buffer = await this.audio.decodeAudioData(message.body);
    this.sound = { key: message.key, buffer };
    $("t-play").dataset.sound = "yes";
    if (this.playing) this.start();
  }

  // the sound's outline, a column for each of its heights
  outline(heights) {
    const canvas = $("sound"), ctx = canvas.getContext("2d"), half = canvas.height / 2;
    canvas.hidden = false;
    this.page.fit();
    canvas.width = heights.length;
    ctx.fillStyle = getComputedStyle(canvas).color;
    heights.forEach((height, x) => ctx.fillRect(x, half - height * half, 1, Math.max(2 * height * half, 1)));
  }

  start() {
    if (!this.clip) return;
    this.hush();
    this.page.letGo();
    if (this.frame >= this.clip.frames - 1) this.frame = 0;
    const speed = Number($("speed").value), from = this.frame;
    const playing = { from, speed, began: performance.now() / 1000, shown: -1 };
    if (this.sound && this.audio) {
      this.audio.resume();
      const source = this.audio.createBufferSource();
      source.buffer = this.sound.buffer;
      source.playbackRate.value = speed;
      source.connect(this.audio.destination);
      playing.began = this.audio.currentTime + 0.02;
      source.start(playing.began, from / this.fps);
      playing.source = source;
    }
    this.playing = playing;
    this.skipped = 0;
    if (this.end <= from || !this.store.size || this.keys[0] > from) this.forget();
    this.ask(from);
    $("t-play").textContent = "Pause";
    requestAnimationFrame(() => this.tick(playing));
  }

  hush() {
    this.playing?.source?.stop();
    this.playing = null;
  }

  stop() {
    this.hush();
    $("t-play").textContent = "Play";
    this.tell();
  }

  now(playing) {
    const clock = playing.source ? this.audio.currentTime : performance.now() / 1000;
    // a little more, so that the first moment of a frame is not told to be the last of the one before
    return playing.from + Math.floor(Math.max(clock - playing.began, 0) * playing.speed * this.fps + 1e-6);
  }

  ask(frame) {
    const first = Math.max(this.end, frame), more = Math.floor(AHEAD_S * this.fps * this.playing.speed) + 2;
    if (this.asked > first || this.end - frame > more || first >= this.clip.frames) return;
    this.asked = first + 1;
    this.page.wish({ do: "ahead", clip: this.clip.clip, first, count: more });
  }

  // frames that Python sent for playing
  ahead(message) {
    if (message.key !== this.clip?.key) return;
    if (message.is === "frame") {
      this.store.set(message.frame, message);
      this.keys.push(message.frame);
    } else {
      this.end = Math.max(this.end, message.end);
      this.asked = 0;
      if (this.playing) this.ask(this.frame);
    }
  }

  tick(playing) {
    if (this.playing !== playing) return;
    const frame = this.now(playing);
    if (frame >= this.clip.frames) {
      this.frame = this.clip.frames - 1;
      this.stop();
      this.page.show(this.frame);
      return;
    }
    let newest = -1;
    let passed = 0;
    while (this.keys.length && this.keys[0] <= frame) {
      passed += newest >= 0 ? 1 : 0;
      if (newest >= 0) this.store.delete(newest);
      newest = this.keys.shift();
    }
    if (newest >= 0 && newest !== playing.shown) {
      this.skipped += passed;
      this.page.put(this.store.get(newest), frame);
      this.store.delete(newest);
      playing.shown = newest;
    }
    if (this.frame !== frame) {
      this.frame = frame;
      this.tell();
    }
    this.ask(frame);
    requestAnimationFrame(() => this.tick(playing));
  }
}
