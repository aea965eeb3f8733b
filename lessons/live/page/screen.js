// A frame's parts on the screen: plates below, in WebGL; curves above, on a 2D canvas with a hole for each plate.

import { drawPaths } from "./lines.js";
import { Plates } from "./plate.js";
import { parts } from "./wire.js";

// pixels of a rectangle of the board
function pixels([x, y, w, h], zoom) {
  const left = Math.round(x * zoom), top = Math.round(y * zoom);
  return [left, top, Math.round((x + w) * zoom) - left, Math.round((y + h) * zoom) - top];
}

function meet(a, b) {
  return a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3];
}

// a picture's pixels: whoever draws it before they are there waits for the same ones
function pictured(part) {
  part.coming ??= createImageBitmap(part.blob).then((bitmap) => Object.assign(part, { bitmap, blob: null }));
  return part.coming;
}

export function size(frame) {
  return frame.board.map((side) => Math.round(side * frame.zoom));
}

// Draws a frame's curves; gives back the plates, and whether all was there. `again` is called when a picture that was
// missing has come.
export function drawInk(ctx, frame, again, plateTo) {
  const [width, height] = size(frame), zoom = frame.zoom, plates = [];
  let isWhole = true;
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.clearRect(0, 0, width, height);
  for (const [name, opacity, x = 0, y = 0] of frame.shown) {
    const part = parts.get(name);
    if (!part) continue;
    if (part.is === "paths") {
      ctx.setTransform(zoom, 0, 0, zoom, x * zoom, y * zoom);
      drawPaths(ctx, part, opacity);
      continue;
    }
    const rect = pixels(part.rect, zoom);
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    if (part.is === "cloth") {
      const image = parts.get(part.image);
      ctx.globalAlpha = opacity;
      if (image?.bitmap) ctx.drawImage(image.bitmap, rect[0], rect[1], rect[2], rect[3]);
      else if (image) {
        isWhole = false;
        pictured(image).then(again);
      }
      ctx.globalAlpha = 1;
    } else if (part.is === "plate") {
      const under = plates.filter((other) => meet(other.rect, rect)), isOver = under.length > 0;
      // what is seen of the curves' ground through all of them is left by the holes: here its share of the rest counts
      const clear = under.reduce((left, other) => left * (1 - other.told), 1 - opacity);
      plates.push({ name, part, table: parts.get(part.table), rect, told: opacity, opacity: opacity / (1 - clear), isOver });
      if (plateTo) {
        plateTo(plates.at(-1), opacity);
      } else {
        ctx.globalCompositeOperation = "destination-out";
        ctx.globalAlpha = opacity;
        ctx.fillRect(...rect);
        ctx.globalAlpha = 1;
        ctx.globalCompositeOperation = "source-over";
      }
    }
  }
  return { plates, isWhole };
}

export class Screen {
  constructor(holder, isSoft) {
    this.holder = holder;
    this.below = document.createElement("canvas");
    this.below.className = "gl";
    this.above = document.createElement("canvas");
    holder.append(this.below, this.above);
    // without a graphics card a 2D canvas that lies in memory is far quicker
    this.ctx = this.above.getContext("2d", { willReadFrequently: isSoft });
    this.plates = null;
    this.frame = null;
    this.below.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.plates = null;
    });
    this.below.addEventListener("webglcontextrestored", () => this.shade(this.told));
  }

  // take the shaders; false where WebGL 2 can't be had
  shade(told) {
    this.told = told;
    try {
      this.plates = new Plates(this.below, told);
    } catch (fault) {
      console.warn(String(fault));
      return false;
    }
    this.draw();
    return true;
  }

  show(frame) {
    this.frame = frame;
    this.draw();
  }

  draw() {
    const frame = this.frame;
    if (!frame) return;
    const [width, height] = size(frame);
    if (this.above.width !== width || this.above.height !== height) {
      this.above.width = width;
      this.above.height = height;
    }
    const { plates, isWhole } = drawInk(this.ctx, frame, () => this.frame === frame && this.draw());
    // a picture without a plate is one layer less to lay over each other
    this.below.hidden = !plates.length;
    if (this.plates && plates.length) this.plates.draw(plates, width, height);
    // told when no picture and no shader is waited for any more
    this.isWhole = isWhole && (Boolean(this.plates) || !plates.length);
  }
}

// A frame as one picture, for the list of clips.
export class Thumbs {
  constructor(told) {
    this.canvas = document.createElement("canvas");
    this.plates = new Plates(this.canvas, told);
  }

  draw(canvas, frame, isLate = false) {
    const [width, height] = size(frame);
    canvas.width = width;
    canvas.height = height;
    const ctx = canvas.getContext("2d", { willReadFrequently: true });
    const again = () => isLate || this.draw(canvas, frame, true);
    drawInk(ctx, frame, again, (plate, opacity) => {
      this.plates.draw([{ ...plate, isOver: false }], width, height);
      this.plates.last = "";
      const [x, y, w, h] = plate.rect;
      ctx.save();
      ctx.globalAlpha = opacity;
      ctx.translate(0, height);
      ctx.scale(1, -1);
      ctx.drawImage(this.canvas, x, height - y - h, w, h, x, height - y - h, w, h);
      ctx.restore();
    });
  }
}
