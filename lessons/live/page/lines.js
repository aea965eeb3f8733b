// Fills and strokes the curves of a part on a 2D canvas, as Cairo does for the film.

function compiled(part, ctx) {
  const floats = part.floats;
  let at = 0;
  part.drawn = part.paths.map(([pieces, fill, stroke, width, cap, gradient]) => {
    const path = new Path2D();
    for (const piece of pieces) {
      path.moveTo(floats[at], floats[at + 1]);
      at += 2;
      for (let k = Math.abs(piece); k > 0; k -= 1, at += 6) {
        path.bezierCurveTo(floats[at], floats[at + 1], floats[at + 2], floats[at + 3], floats[at + 4], floats[at + 5]);
      }
      if (piece < 0) path.closePath();
    }
    let filling = fill;
    if (gradient) {
      const [focus, centre, radius, stops] = gradient;
      filling = ctx.createRadialGradient(focus[0], focus[1], 0, centre[0], centre[1], radius);
      for (const [offset, colour] of stops) filling.addColorStop(offset, colour);
    }
    return { path, filling, stroke, width, cap };
  });
  part.floats = null;
}

export function drawPaths(ctx, part, opacity) {
  if (!part.drawn) compiled(part, ctx);
  ctx.save();
  if (part.clip) {
    ctx.beginPath();
    ctx.roundRect(...part.clip);
    ctx.clip();
  }
  ctx.globalAlpha = opacity;
  ctx.lineJoin = "round";
  for (const { path, filling, stroke, width, cap } of part.drawn) {
    if (filling) {
      ctx.fillStyle = filling;
      ctx.fill(path);
    }
    if (stroke) {
      ctx.strokeStyle = stroke;
      ctx.lineWidth = width;
      ctx.lineCap = cap;
      ctx.stroke(path);
    }
  }
  ctx.restore();
}
