// Paints plates with the project's own shaders in WebGL 2. All values come from Python; the first row of the picture
// is the canvas's lowest, and the style sheet turns it over.

const STATES = { cover: ["ALWAYS", false, true], over: ["ALWAYS", true, false], solid: ["LEQUAL", false, true], soft: ["LEQUAL", true, true] };

const COPY = [
  "#version 300 es\nin vec2 corner; void main() { gl_Position = vec4(corner, 0.0, 1.0); }",
  "#version 300 es\nprecision highp float; uniform sampler2D plate; uniform float opacity; out vec4 colour;\n"
  + "void main() { colour = vec4(texelFetch(plate, ivec2(gl_FragCoord.xy), 0).rgb, opacity); }",
];

export class Plates {
  // `told` are the programs as Python words them. Throws where WebGL 2 can't be had.
  constructor(canvas, told) {
    const gl = canvas.getContext("webgl2", { alpha: false, antialias: false, powerPreference: "high-performance" });
    if (!gl) throw new Error("no WebGL 2");
    Object.assign(this, { canvas, gl, corners: told.corners, tables: new WeakMap(), aimed: {}, aside: null, last: "" });
    this.programs = Object.fromEntries(Object.entries(told.programs).map(([name, texts]) => [name, this.program(texts)]));
    const [height, width] = told.weave;
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.R8, width, height, 0, gl.RED, gl.UNSIGNED_BYTE, new Uint8Array(told.body, 0, width * height));
    gl.generateMipmap(gl.TEXTURE_2D);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.LINEAR);
    gl.blendFuncSeparate(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA, gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.enable(gl.SCISSOR_TEST);
  }

  program([vertex, fragment]) {
    const gl = this.gl, program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    const uniforms = {};
    for (let k = 0; k < gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS); k += 1) {
      const { name, type } = gl.getActiveUniform(program, k);
      uniforms[name] = [gl.getUniformLocation(program, name), type];
    }
    const attributes = {};
    for (let k = 0; k < gl.getProgramParameter(program, gl.ACTIVE_ATTRIBUTES); k += 1) {
      const { name } = gl.getActiveAttrib(program, k);
      attributes[name] = gl.getAttribLocation(program, name);
    }
    return { program, uniforms, attributes };
  }

  buffer(numbers, place = this.gl.ARRAY_BUFFER) {
    const gl = this.gl, buffer = gl.createBuffer();
    gl.bindBuffer(place, buffer);
    gl.bufferData(place, numbers, gl.STATIC_DRAW);
    return buffer;
  }

  // rows of floats as a program's attributes; one that draws quads has each row four times, with its corners: without
  // a graphics card a draw call for each row would take ten times as long
  array(name, layout, floats, count) {
    const gl = this.gl, { attributes } = this.programs[name], corners = this.corners[name];
    const array = gl.createVertexArray(), width = layout.reduce((sum, [, size]) => sum + size, 0);
    gl.bindVertexArray(array);
    const buffers = corners ? this.quads(corners, floats, width, count) : [this.buffer(floats)];
    const told = corners ? [["corner", 2], ...layout] : layout, stride = (corners ? width + 2 : width) * 4;
    let at = 0;
    for (const [attribute, size] of told) {
      const where = attributes[attribute];
      if (where >= 0) {
        gl.enableVertexAttribArray(where);
        gl.vertexAttribPointer(where, size, gl.FLOAT, false, stride, at);
      }
      at += size * 4;
    }
    return { name, array, buffers, count, isQuad: Boolean(corners) };
  }

  quads(corners, floats, width, count) {
    const rows = new Float32Array(count * 4 * (width + 2)), order = new Uint32Array(count * 6);
    for (let row = 0, at = 0; row < count; row += 1) {
      const one = floats.subarray(row * width, (row + 1) * width);
      order.set([0, 1, 2, 2, 1, 3].map((corner) => 4 * row + corner), 6 * row);
      for (const corner of corners) {
        rows.set(corner, at);
        rows.set(one, at + 2);
        at += width + 2;
      }
    }
    return [this.buffer(order, this.gl.ELEMENT_ARRAY_BUFFER), this.buffer(rows)];
  }

  table(part) {
    if (!this.tables.has(part)) {
      let at = 0;
      this.tables.set(part, part.batches.map(([name, layout, count]) => {
        const size = count * layout.reduce((sum, [, n]) => sum + n, 0);
        at += size;
        return count ? this.array(name, layout, part.floats.subarray(at - size, at), count) : null;
      }));
    }
    return this.tables.get(part);
  }

  // only what differs from before is told: programs keep their values
  aim(uniforms, floats) {
    const gl = this.gl;
    let at = 0;
    for (const [name, count] of uniforms) {
      const value = floats.subarray(at, at + count), before = this.aimed[name];
      at += count;
      if (before?.length === count && value.every((number, k) => number === before[k])) continue;
      this.aimed[name] = value.slice();
      for (const { program, uniforms: known } of Object.values(this.programs)) {
        if (!known[name]) continue;
        const [where, type] = known[name];
        gl.useProgram(program);
        if (type === gl.FLOAT_MAT4) gl.uniformMatrix4fv(where, false, value);
        else if (type === gl.FLOAT_MAT3) gl.uniformMatrix3fv(where, false, value);
        else gl[`uniform${count}fv`](where, value);
      }
    }
    return at;
  }

  one(part, table, rect) {
    const gl = this.gl;
    gl.scissor(...rect);
    gl.depthMask(true);
    gl.clearColor(...part.surround, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    let at = this.aim(part.uniforms, part.floats);
    for (const [state, which, layout, count] of part.batches) {
      let batch = null;
      if (layout) {
        const size = count * layout.reduce((sum, [, n]) => sum + n, 0);
        batch = this.array(which, layout, part.floats.subarray(at, at + size), count);
        at += size;
      } else {
        batch = table[which];
      }
      if (!batch) continue;
      const [depth, blends, looks] = STATES[state];
      gl.depthFunc(gl[depth]);
      (blends ? gl.enable : gl.disable).call(gl, gl.BLEND);
      (looks ? gl.enable : gl.disable).call(gl, gl.DEPTH_TEST);
      gl.useProgram(this.programs[batch.name].program);
      gl.bindVertexArray(batch.array);
      if (batch.isQuad) gl.drawElements(gl.TRIANGLES, 6 * batch.count, gl.UNSIGNED_INT, 0);
      else gl.drawArrays(gl.TRIANGLES, 0, batch.count);
      if (layout) {
        gl.deleteVertexArray(batch.array);
        batch.buffers.forEach((buffer) => gl.deleteBuffer(buffer));
      }
    }
  }

  // a plate that fades over another one is painted aside and laid over it
  faded(part, table, rect, opacity) {
    const gl = this.gl, { width, height } = this.canvas;
    if (!this.aside || this.aside.width !== width || this.aside.height !== height) {
      if (this.aside) [gl.deleteFramebuffer(this.aside.frame), gl.deleteTexture(this.aside.texture), gl.deleteRenderbuffer(this.aside.depth)];
      const frame = gl.createFramebuffer(), texture = gl.createTexture(), depth = gl.createRenderbuffer();
      gl.activeTexture(gl.TEXTURE1);
      gl.bindTexture(gl.TEXTURE_2D, texture);
      gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, width, height);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
      gl.activeTexture(gl.TEXTURE0);
      gl.bindRenderbuffer(gl.RENDERBUFFER, depth);
      gl.renderbufferStorage(gl.RENDERBUFFER, gl.DEPTH_COMPONENT24, width, height);
      gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
      gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.RENDERBUFFER, depth);
      const { program, uniforms } = this.program(COPY), corner = gl.getAttribLocation(program, "corner");
      const array = gl.createVertexArray();
      gl.bindVertexArray(array);
      this.buffer(new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]));
      gl.enableVertexAttribArray(corner);
      gl.vertexAttribPointer(corner, 2, gl.FLOAT, false, 0, 0);
      this.aside = { frame, texture, depth, program, uniforms, array, width, height };
    }
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.aside.frame);
    this.one(part, table, rect);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.useProgram(this.aside.program);
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, this.aside.texture);
    gl.activeTexture(gl.TEXTURE0);
    gl.uniform1i(this.aside.uniforms.plate[0], 1);
    gl.uniform1f(this.aside.uniforms.opacity[0], opacity);
    gl.enable(gl.BLEND);
    gl.disable(gl.DEPTH_TEST);
    gl.bindVertexArray(this.aside.array);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }

  // plates: [{name, part, table, rect, opacity, isOver}], the lowest first; nothing is painted that stands already
  draw(plates, width, height) {
    const now = JSON.stringify([width, height, plates.map(({ name, rect, opacity, isOver }) => [name, rect, isOver ? opacity : 1])]);
    if (now === this.last) return;
    this.last = now;
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
    }
    this.gl.viewport(0, 0, width, height);
    for (const { part, table, rect, opacity, isOver } of plates) {
      if (isOver && opacity < 1) this.faded(part, this.table(table), rect, opacity);
      else this.one(part, this.table(table), rect);
    }
  }
}
