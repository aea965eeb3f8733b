// A filmed still: the page for clicking points and balls stands in a frame; what is clicked goes to Python, and the
// match comes back to be laid over the picture.

const $ = (id) => document.getElementById(id);
const CLICK_MS = 150;

export class Filmed {
  constructor(page) {
    Object.assign(this, { page, isOn: false, which: 0, n: 0, yaml: "", picture: "", version: "", isAnew: false });
    $("filmed-file").addEventListener("change", () => this.open(Number($("filmed-file").value)));
    $("filmed-frame").addEventListener("load", () => this.loaded());
    this.grown = new ResizeObserver(() => this.fit());
  }

  // the files that the lesson names
  offer({ matches = [] }) {
    $("m-filmed").hidden = !matches.length;
    $("filmed-file").replaceChildren(...matches.map((name, k) => new Option(name, String(k), k === this.which, k === this.which)));
    $("filmed-choice").hidden = matches.length < 2;
    if (this.isOn && !matches.length) this.page.turn("clip");
    else if (this.isOn) this.hide(true);
    if (this.isAnew && matches.length) this.again();
  }

  // the line was down: what was asked for meanwhile is asked for again
  again() {
    this.isAnew = false;
    const { yaml } = this;
    this.yaml = "";
    if (yaml) this.clicked(yaml);
    else if (this.isOn && !this.address) this.open(this.which);
  }

  turn(isOn) {
    if (this.isOn === isOn) return;
    this.isOn = isOn;
    document.body.classList.toggle("on-still", isOn);
    this.hide(isOn);
    if (isOn && !this.address) this.open(this.which);
  }

  hide(isOn) {
    $("filmed").hidden = !isOn;
    for (const id of ["stage", "strip", "seek", "transport", "caption", "words"]) $(id).hidden = isOn;
    if (isOn) $("sound").hidden = true;
  }

  open(which, text = "") {
    this.which = which;
    this.tell(["The picture is being opened …"]);
    this.page.wish({ do: "filmed", which, text });
  }

  opened({ which, file, address, sentence, version = this.version }) {
    if (which !== this.which) return;
    this.version = version;
    this.address = address;
    $("filmed-frame").hidden = !address;
    $("filmed-frame").title = `Points and balls of ${file}`;
    if (address) $("filmed-frame").src = address;
    else this.tell([sentence]);
  }

  loaded() {
    const inner = $("filmed-frame").contentWindow;
    if (!inner?.document.getElementById("yaml")) return;
    inner.clicked = (yaml) => this.clicked(yaml);
    inner.moved = (yaml) => this.open(this.which, yaml);
    inner.written = (yaml) => {
      const isAsked = this.page.wish({ do: "write_match", which: this.which, text: yaml, version: this.version });
      if (!isAsked) this.page.say("Not written: the server is not there. Your clicks stay on this page; write again when it is.");
    };
    this.yaml = "";
    this.grown.disconnect();
    this.grown.observe(inner.document.body);
    this.fit();
    this.clicked(inner.document.getElementById("yaml").value);
  }

  wrote({ which, version }) {
    if (which === this.which) this.version = version;
  }

  fit() {
    const body = $("filmed-frame").contentDocument?.body;
    if (body) $("filmed-frame").style.height = `${Math.max(body.scrollHeight, 320)}px`;
  }

  // choosing what is clicked next changes nothing; a row of clicks is matched once
  clicked(yaml) {
    if (yaml === this.yaml) return;
    this.yaml = yaml;
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => {
      const hasClicks = /^(points|foot|balls):/m.test(yaml);
      if (!hasClicks) return this.tell(["Click the named points and the balls: the match follows each click."]);
      this.tell(["Matching …"], true);
      this.page.wish({ do: "match", which: this.which, n: ++this.n, text: yaml });
    }, CLICK_MS);
  }

  matched({ n, is_matched: isMatched, sentences, body }) {
    if (n !== this.n) return;
    const over = $("filmed-frame").contentDocument?.getElementById("match");
    if (!over) return;
    if (this.picture) URL.revokeObjectURL(this.picture);
    this.picture = isMatched ? URL.createObjectURL(new Blob([body], { type: "image/jpeg" })) : "";
    over.hidden = !isMatched;
    if (isMatched) over.src = this.picture;
    this.tell(sentences);
    $("match-said").dataset.matched = String(isMatched);
  }

  tell(sentences, keeps = false) {
    if (!keeps) delete $("match-said").dataset.matched;
    $("match-said").replaceChildren(...sentences.map((sentence) => {
      const line = document.createElement("p");
      line.textContent = sentence;
      return line;
    }));
  }
}
