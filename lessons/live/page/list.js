// The clips in the lesson's order, by its parts; their pictures are made when they come into sight and nothing else waits.

import { Thumbs } from "./screen.js";

const $ = (id) => document.getElementById(id);

function made(kind, text, name) {
  const element = document.createElement(kind);
  if (text) element.textContent = text;
  if (name) element.className = name;
  return element;
}

export function minutes(seconds) {
  const whole = Math.round(seconds);
  return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, "0")} s`;
}

export class List {
  constructor(page) {
    Object.assign(this, { page, cards: new Map(), keys: new Map(), asked: new Set(), thumbs: null, first: null });
    this.seen = new IntersectionObserver((entries) => {
      for (const { isIntersecting, target } of entries) if (isIntersecting) this.ask(target.dataset.name);
    }, { rootMargin: "120px" });
    $("pick").addEventListener("input", () => this.pick());
  }

  shade(told) {
    try {
      this.thumbs = new Thumbs(told);
    } catch {
      return;
    }
    this.asked.clear();
    for (const card of this.cards.values()) {
      this.seen.unobserve(card.button);
      this.seen.observe(card.button);
    }
  }

  take(message) {
    const clips = message.clips ?? [];
    this.first ??= new Map(clips.map((clip) => [clip.name, clip.key]));
    const nodes = [];
    const old = this.cards;
    this.cards = new Map();
    for (const clip of clips) {
      if (clip.is_card && clip.kind === "section") nodes.push(made("h3", clip.label));
      const card = old.get(clip.name) ?? this.card(clip.name);
      old.delete(clip.name);
      card.clip = clip;
      card.label.textContent = clip.label;
      card.about.textContent = `${clip.about}, ${minutes(clip.seconds)}`;
      card.words = `${clip.name} ${clip.label} ${clip.about} ${clip.kind}`.toLowerCase();
      const isNew = this.first.size > 0 && this.first.get(clip.name) !== clip.key;
      card.news.textContent = isNew ? (this.first.has(clip.name) ? "changed" : "new") : "";
      card.button.title = clip.name;
      if (card.key !== clip.key) {
        card.key = clip.key;
        this.asked.delete(clip.name);
        this.seen.unobserve(card.button);
        this.seen.observe(card.button);
      }
      this.cards.set(clip.name, card);
      nodes.push(card.button);
    }
    for (const card of old.values()) this.seen.unobserve(card.button);
    const focused = document.activeElement, scroll = $("list").scrollTop;
    const isSame = nodes.length === $("list").children.length && nodes.every((node, k) => node === $("list").children[k]);
    if (!isSame) {
      $("list").replaceChildren(...nodes);
      $("list").scrollTop = scroll;
      if (focused?.isConnected) focused.focus({ preventScroll: true });
    }
    $("count").textContent = `${clips.length}, ${minutes(clips.reduce((sum, clip) => sum + clip.seconds, 0))}`;
    const left = message.left_out ?? [];
    $("left-out").hidden = !left.length;
    $("left-out").firstElementChild.textContent = `Left out: ${left.length}`;
    $("left-out").lastElementChild.replaceChildren(...left.map(({ name, reason, line }) => {
      const item = made("li", `${name}: ${reason} `), link = made("button", `line ${line}`, "link");
      link.addEventListener("click", () => this.page.toLine(line));
      item.append(link);
      return item;
    }));
    this.pick();
    this.mark(this.current);
  }

  card(name) {
    const button = made("button", "", "card"), canvas = made("canvas"), text = made("span", "", "text");
    const label = made("strong"), about = made("span"), news = made("span", "", "new");
    button.dataset.name = name;
    canvas.width = 160;
    canvas.height = 90;
    canvas.setAttribute("aria-hidden", "true");
    text.append(label, about, news);
    button.append(canvas, text);
    button.addEventListener("click", () => {
      this.page.open(name);
      this.page.toPicture();
    });
    return { button, canvas, label, about, news, key: "" };
  }

  ask(name) {
    if (this.asked.has(name) || !this.page.isReady) return;
    this.asked.add(name);
    this.page.wish({ do: "thumb", clip: name, width_px: 168 });
  }

  // after the line was down everything is asked for again
  again() {
    this.asked.clear();
    for (const { button } of this.cards.values()) {
      this.seen.unobserve(button);
      this.seen.observe(button);
    }
  }

  drawn(message) {
    const card = this.cards.get(message.clip);
    if (!card || !this.thumbs) return;
    this.thumbs.draw(card.canvas, message);
    card.drawn = message.key;
  }

  // every picture that was asked for has come
  isWhole() {
    return [...this.asked].every((name) => this.cards.get(name)?.drawn === this.cards.get(name)?.key);
  }

  mark(name) {
    this.current = name;
    for (const [each, { button }] of this.cards) {
      if (each === name) button.setAttribute("aria-current", "true");
      else button.removeAttribute("aria-current");
    }
  }

  reveal() {
    // within the list alone: the page itself stays where it is
    const button = this.cards.get(this.current)?.button, list = $("list");
    if (!button) return;
    const a = button.getBoundingClientRect(), b = list.getBoundingClientRect();
    if (a.top < b.top) list.scrollTop -= b.top - a.top;
    else if (a.bottom > b.bottom) list.scrollTop += a.bottom - b.bottom;
  }

  pick() {
    const words = $("pick").value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const { button, words: known } of this.cards.values()) button.hidden = !words.every((word) => known.includes(word));
  }

  // the clip before or after
  beside(by) {
    const names = [...this.cards].filter(([, { button }]) => !button.hidden).map(([name]) => name);
    return names[Math.max(0, Math.min(names.length - 1, names.indexOf(this.current) + by))];
  }
}
