// The line to Python: wishes go up as JSON, messages come down with the parts of pictures. A part that has come once
// is kept under its name until Python says to drop it.

const decoder = new TextDecoder();

export const parts = new Map();

function head(buffer, at) {
  const size = new DataView(buffer, at, 4).getUint32(0, true);
  return [JSON.parse(decoder.decode(new Uint8Array(buffer, at + 4, size))), at + 4 + size];
}

function taken(buffer, at, length) {
  const [part, body] = head(buffer, at);
  const bytes = at + length - body;
  if (part.is === "image") {
    part.blob = new Blob([new Uint8Array(buffer, body, bytes)], { type: new Uint8Array(buffer, body, 1)[0] === 255 ? "image/jpeg" : "image/png" });
  } else {
    // copied: a view would keep the whole message alive
    part.floats = new Float32Array(buffer.slice(body, body + bytes - (bytes % 4)));
  }
  return part;
}

export function unpacked(buffer) {
  const [message, start] = head(buffer, 0);
  let at = start;
  for (const [name, length] of message.parts ?? []) {
    parts.set(name, taken(buffer, at, length));
    at += length + ((4 - (length % 4)) % 4);
  }
  message.body = at < buffer.byteLength ? buffer.slice(at) : null;
  return message;
}

const LATER_MS = [250, 500, 1000, 2000];

export class Wire {
  // `hears` takes each message, `says` the state of the line in words ("" when all is well), `hello` what to say first
  constructor(token, hears, says, hello) {
    Object.assign(this, { token, hears, says, hello, tries: 0, socket: null, isClosed: false });
    this.open();
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}/live`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      parts.clear();
      socket.send(JSON.stringify({ token: this.token, ...this.hello() }));
    };
    socket.onmessage = (event) => {
      const message = unpacked(event.data);
      if (this.tries || message.is === "lesson") this.says("");
      this.tries = 0;
      this.hears(message);
      for (const name of message.drop ?? []) parts.delete(name);
    };
    socket.onclose = (event) => {
      if (this.socket !== socket) return;
      if (event.code === 4403) return this.says("This address is not the server’s any more. Open the one that it printed.");
      if (event.code === 4429) return this.says("Four pages of this lesson are open already, or this one asked too much. Close one and reload.");
      this.says("The server is not there; waiting for it. Start “aimgeo live” again with the same lesson: this page goes on where it is.");
      setTimeout(() => this.open(), LATER_MS[Math.min(this.tries++, LATER_MS.length - 1)]);
    };
    this.socket = socket;
  }

  get isOpen() {
    return this.socket.readyState === WebSocket.OPEN;
  }

  wish(wish) {
    if (this.isOpen) this.socket.send(JSON.stringify(wish));
    return this.isOpen;
  }
}
