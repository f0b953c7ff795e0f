// Draws surfaces of a construct in parallel projection: no camera moves here, and no text is written.
const scene = (function () {
  "use strict";
  const POINTS = `#version 300 es
    in vec3 point; in vec3 normal; in float value;
    uniform mat3 turn; uniform vec3 centre; uniform vec2 scale; uniform float step;
    out vec3 lit; out float share; out float front;
    void main() {
      vec3 p = turn * (point * step - centre);
      gl_Position = vec4(p.xy * scale, -p.z / 2000.0, 1.0);
      lit = turn * normal; share = value; front = point.y * step;
    }`;
  const COLOURS = `#version 300 es
    precision highp float;
    in vec3 lit; in float share; in float front;
    uniform vec3 colour; uniform vec3 over; uniform vec3 scale_of[11]; uniform float top; uniform float cut;
    uniform bool is_halved; uniform bool has_field;
    out vec4 found;
    void main() {
      if (is_halved && front > cut) discard;
      vec3 base = colour;
      if (has_field) {
        if (share > 0.997) discard;
        float at = share / top;
        float place = clamp(at, 0.0, 1.0) * 10.0;
        int k = int(min(place, 9.0));
        base = at > 1.0 ? over : mix(scale_of[k], scale_of[k + 1], place - float(k));
      }
      vec3 n = length(lit) > 1e-4 ? normalize(lit) : vec3(0, 0, 1);
      n *= n.z < 0.0 ? -1.0 : 1.0;
      float light = 0.5 * max(dot(n, normalize(vec3(-0.5, 0.6, 1.0))), 0.0)
                  + 0.3 * max(dot(n, normalize(vec3(0.6, -0.6, 0.9))), 0.0);
      found = vec4(base * ((has_field ? 0.7 : 0.5) + (has_field ? 0.5 : 0.8) * light), 1.0);
    }`;

  function bytes(text) {
    const raw = atob(text), found = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) found[k] = raw.charCodeAt(k);
    return found;
  }
  function normals(points, cells) { // the mean of a point's triangles, each as much as it is large
    const found = new Float32Array(points.length);
    for (let c = 0; c < cells.length; c += 3) {
      const [a, b, d] = [3 * cells[c], 3 * cells[c + 1], 3 * cells[c + 2]];
      const u = [0, 1, 2].map(k => points[b + k] - points[a + k]), v = [0, 1, 2].map(k => points[d + k] - points[a + k]);
      for (const at of [a, b, d]) {
        for (let k = 0; k < 3; k++) found[at + k] += u[(k + 1) % 3] * v[(k + 2) % 3] - u[(k + 2) % 3] * v[(k + 1) % 3];
      }
    }
    for (let k = 0; k < found.length; k += 3) {
      const size = Math.hypot(found[k], found[k + 1], found[k + 2]) || 1;
      for (let d = 0; d < 3; d++) found[k + d] /= size;
    }
    return found;
  }
  function rgb(hex) {
    return [1, 3, 5].map(k => parseInt(hex.slice(k, k + 2), 16) / 255);
  }

  // Null where the browser has no WebGL 2, which the caller says.
  function on(canvas, step, cut, top) {
    const gl = canvas.getContext("webgl2", { antialias: true, alpha: true });
    if (!gl) return null;
    let program, places, held, buffers = [];

    function compiled(kind, text) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl.getShaderInfoLog(shader));
      return shader;
    }
    function begin() {
      program = gl.createProgram();
      gl.attachShader(program, compiled(gl.VERTEX_SHADER, POINTS));
      gl.attachShader(program, compiled(gl.FRAGMENT_SHADER, COLOURS));
      gl.linkProgram(program);
      gl.useProgram(program);
      places = new Proxy({}, { get: (_, name) => gl.getUniformLocation(program, name) });
      gl.enable(gl.DEPTH_TEST);
      held = null;
    }
    function buffer(kind, values) {
      const made = gl.createBuffer();
      gl.bindBuffer(kind, made);
      gl.bufferData(kind, values, gl.STATIC_DRAW);
      buffers.push(made);
      return made;
    }
    function attribute(name, made, size, kind, normalized) {
      const at = gl.getAttribLocation(program, name);
      gl.bindBuffer(gl.ARRAY_BUFFER, made);
      gl.enableVertexAttribArray(at);
      gl.vertexAttribPointer(at, size, kind, normalized, 0, 0);
    }
    function uploaded(shell) {
      const points = new Int16Array(bytes(shell.points).buffer), raw = bytes(shell.cells).buffer;
      const cells = shell.wide ? new Uint32Array(raw) : new Uint16Array(raw);
      const shape = gl.createVertexArray();
      gl.bindVertexArray(shape);
      attribute("point", buffer(gl.ARRAY_BUFFER, points), 3, gl.SHORT, false);
      attribute("normal", buffer(gl.ARRAY_BUFFER, normals(points, cells)), 3, gl.FLOAT, false);
      buffer(gl.ELEMENT_ARRAY_BUFFER, cells);
      gl.bindVertexArray(null);
      return { shell, shape, count: cells.length, kind: shell.wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT, fields: {} };
    }
    function load(construct) {
      if (held && held.construct === construct) return;
      buffers.forEach(one => gl.deleteBuffer(one));
      if (held) held.drawn.forEach(one => gl.deleteVertexArray(one.shape));
      buffers = [];
      held = { construct, drawn: construct.shells.map(uploaded) };
    }
    function paint(one, field) {
      gl.bindVertexArray(one.shape);
      if (field === null) { gl.disableVertexAttribArray(gl.getAttribLocation(program, "value")); return; }
      const changes = typeof field !== "number", key = changes ? "now" : field;
      one.fields[key] ||= buffer(gl.ARRAY_BUFFER, changes ? field : bytes(one.shell.fields[field]));
      attribute("value", one.fields[key], 1, gl.UNSIGNED_BYTE, true);
      if (changes) gl.bufferSubData(gl.ARRAY_BUFFER, 0, field);
    }
    // `view` has turn (rows: right, up, towards the viewer), centre and mm per half window; `colour_of`
    // tells of a shell whether it is hidden, its colour, and what paints it: the number of a stored field
    // or bytes that change, one for each point; null for its colour alone.
    function draw(construct, view, halved, colour_of, look) {
      const wide = Math.round(canvas.clientWidth * devicePixelRatio), tall = Math.round(canvas.clientHeight * devicePixelRatio);
      if (canvas.width !== wide || canvas.height !== tall) { canvas.width = wide; canvas.height = tall; }
      gl.viewport(0, 0, wide, tall);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      if (gl.isContextLost()) return;
      load(construct);
      gl.uniformMatrix3fv(places.turn, true, view.turn.flat());
      gl.uniform3fv(places.centre, view.centre);
      gl.uniform2f(places.scale, 1 / view.half[0], 1 / view.half[1]);
      gl.uniform1f(places.step, step);
      gl.uniform1f(places.cut, cut);
      gl.uniform1f(places.top, top / 255);
      if (look) {
        gl.uniform3fv(places.scale_of, look.colours.flatMap(rgb));
        gl.uniform3fv(places.over, rgb(look.over));
      }
      for (const one of held.drawn) {
        const { hidden, colour, field } = colour_of(one.shell);
        if (hidden || (one.shell.face && !halved)) continue;
        paint(one, field);
        gl.uniform1i(places.has_field, field === null ? 0 : 1);
        gl.uniform1i(places.is_halved, halved && one.shell.cut && !one.shell.face ? 1 : 0);
        gl.uniform3fv(places.colour, rgb(colour));
        gl.drawElements(gl.TRIANGLES, one.count, one.kind, 0);
      }
    }
    canvas.addEventListener("webglcontextlost", event => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => { begin(); canvas.dispatchEvent(new Event("again")); });
    begin();
    return { draw };
  }
  return { on, bytes };
})();
