// The lesson's text beside the picture: what is typed is shown at once, saved when its author says so.

const $ = (id) => document.getElementById(id);
const TYPING_MS = 140;
const NARROW = 1180; // where the text stands below the picture

function lines(text) {
  return text.replace(/\r\n?/g, "\n");
}

export class Words {
  constructor(page) {
    Object.assign(this, { page, editor: null, isOpen: false, isOwn: false, sent: null, fault: -1, schema: null, waits: null });
    $("text-save").addEventListener("click", () => this.save());
  }

  // ------------------------------------------------------------ what comes from Python

  take(message) {
    this.message = message;
    const faults = message.faults ?? [];
    this.fault = Math.min(this.fault, faults.length - 1);
    if (this.editor) {
      // what is being typed, or is on its way, is newer than what was read
      const text = lines(message.text ?? "");
      if (text === this.sent) this.sent = null;
      const isOlder = this.waiting() || this.sent !== null || (this.isOwn && message.is_draft);
      if (!isOlder) {
        this.editor.take(text);
        this.isOwn = Boolean(message.is_draft);
      }
      this.editor.faults(faults.filter(({ file }) => !file));
    }
    this.tell();
  }

  saved(message) {
    if (message.is_done) this.isOwn = false;
    this.page.say(message.sentence);
    this.tell();
  }

  told(schema) {
    this.schema = schema;
  }

  tell() {
    const message = this.message ?? {};
    const isNew = this.hasNews();
    $("text-save").disabled = !isNew;
    $("text-state").textContent = message.is_outside ? "" : isNew ? "shown, not saved" : "saved";
    const bar = $("outside");
    bar.hidden = !message.is_outside;
  }

  hasNews() {
    return Boolean(this.message?.is_draft || this.isOwn);
  }

  // ------------------------------------------------------------ opening

  // by a key one goes on writing; a finger would call up its keyboard over the picture
  async toggle(isByKey = false) {
    if (this.isOpen) return this.close();
    await this.open();
    if (isByKey) this.editor.focus();
  }

  async open() {
    if (this.isOpen) return;
    this.isOpen = true;
    document.body.classList.add("writes");
    $("text").hidden = false;
    $("b-text").setAttribute("aria-pressed", "true");
    if (!this.schema) this.page.wish({ do: "schema" });
    if (!this.editor) {
      const { makeEditor } = await import("./editor.js");
      this.editor ??= makeEditor($("editor"), {
        nonce: document.querySelector("meta[name=nonce]").content,
        label: "The lesson’s text",
        changed: () => this.typed(),
        schema: () => this.schema,
        names: () => this.message?.names ?? {},
      });
      if (this.message) this.take(this.message);
    }
    if (this.wanted) this.editor.to(...this.wanted);
    this.wanted = null;
    this.page.fit();
    // on a narrow screen it stands below the picture, which stays in sight
    if (this.isBelow()) $("text").scrollIntoView({ block: "end" });
  }

  close() {
    this.isOpen = false;
    document.body.classList.remove("writes");
    $("text").hidden = true;
    $("b-text").setAttribute("aria-pressed", "false");
    $("b-text").focus();
    this.page.fit();
  }

  isBelow() {
    return this.isOpen && innerWidth <= NARROW;
  }

  toLine(line, column = 1) {
    if (this.editor && this.isOpen) this.editor.to(line, column);
    else this.wanted = [line, column];
  }

  nextFault() {
    const faults = this.message?.faults ?? [];
    if (!faults.length) return;
    this.fault = (this.fault + 1) % faults.length;
    const { line, column, file, sentence } = faults[this.fault];
    if (file) return this.page.say(`${file}:${line}:${column}  ${sentence} It stands in that file, which is not open here.`);
    this.open();
    this.toLine(line, column);
  }

  // ------------------------------------------------------------ typing and saving

  waiting() {
    return this.waits !== null;
  }

  typed() {
    this.isOwn = true;
    clearTimeout(this.waits);
    this.waits = setTimeout(() => this.send(), TYPING_MS);
    this.tell();
  }

  send() {
    clearTimeout(this.waits);
    this.waits = null;
    const text = this.editor.text();
    if (this.page.wish({ do: "draft", text })) this.sent = text;
  }

  save() {
    if (!this.hasNews()) return;
    if (this.waiting()) this.send();
    this.page.wish({ do: "save", ...(this.editor ? { text: this.editor.text() } : {}) });
  }

  // the line was down: what was typed is told again
  again() {
    this.sent = null;
    if (this.editor && this.isOwn) this.send();
  }

  outside(keeps) {
    this.page.wish({ do: "outside", keeps });
    if (keeps) return;
    this.isOwn = false;
    this.sent = null;
  }
}
