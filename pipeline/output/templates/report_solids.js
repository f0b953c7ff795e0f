(function () {
  "use strict";
  const data = JSON.parse(document.getElementById("solids").textContent);
  const place = document.getElementById("turning");
  const PALE = "#e6e3dc", NEAR_MM = 62, ASIDE_MM = 45;
  const start = data.constructs.findIndex(one => one.shells.some(shell => !shell.cut));
  const eye = { x: -0.85, y: 1.36, z: 0.25 };
  const state = { construct: Math.max(0, start), field: "parts", half: true, near: false, zoom: 1,
                  camera: { eye, up: { x: 0, y: 0, z: 1 }, projection: { type: "orthographic" } } };

  function numbers(text, kind) {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
    return new kind(bytes.buffer);
  }
  function column(values, first, scale) {
    const found = new Array(values.length / 3);
    for (let k = 0; k < found.length; k++) found[k] = values[3 * k + first] * scale;
    return found;
  }
  function trace(shell, number, bar) {
    const points = numbers(shell.points, Int16Array), cells = numbers(shell.cells, Uint32Array);
    const drawn = {
      type: "mesh3d", hoverinfo: "skip", showscale: false, name: shell.name, uid: `${state.construct}-${state.field}-${number}`,
      x: column(points, 0, data.step), y: column(points, 1, data.step), z: column(points, 2, data.step),
      i: column(cells, 0, 1), j: column(cells, 1, 1), k: column(cells, 2, 1),
      lighting: { ambient: 0.6, diffuse: 0.5, specular: 0.05, roughness: 0.8, fresnel: 0 },
      lightposition: { x: -3e4, y: -3e4, z: -1e5 }, // plotly turns it round: from above, before the viewer
    };
    if (state.field !== "parts" && shell.shows === state.field) {
      const range = data.ranges[state.field];
      Object.assign(drawn, {
        intensity: Array.from(numbers(shell.field, Float32Array)), cmin: 0, cmax: range.top,
        colorscale: range.colours, showscale: bar, lighting: { ambient: 0.85, diffuse: 0.25, specular: 0 },
        colorbar: { title: { text: range.label, side: "right" }, thickness: 12, len: 0.7, x: 1 },
      });
    } else {
      drawn.color = state.field === "parts" ? shell.colour : shell.cut ? PALE : data.steel;
    }
    return drawn;
  }
  function traces() {
    const shown = data.constructs[state.construct].shells.filter(s => !s.cut || s.half === state.half);
    let bars = 0;
    return shown.map((s, n) => trace(s, n, s.shows === state.field && bars++ === 0));
  }
  function turn(degrees) {
    const { x, y, z } = state.camera.eye, a = degrees * Math.PI / 180;
    const eye = { x: x * Math.cos(a) - y * Math.sin(a), y: x * Math.sin(a) + y * Math.cos(a), z };
    state.camera = { ...state.camera, eye };
  }
  function layout() {
    const gap = data.constructs[state.construct].gap, axis = { visible: false };
    const near = state.near && gap;
    const ranges = near ? [[-ASIDE_MM, ASIDE_MM], [-ASIDE_MM, ASIDE_MM], [gap - NEAR_MM, gap + NEAR_MM]] : [];
    const [x, y, z] = [0, 1, 2].map(n => near ? { ...axis, range: ranges[n] } : { ...axis, autorange: true });
    const ratio = near ? { x: ASIDE_MM / NEAR_MM, y: ASIDE_MM / NEAR_MM, z: 1 } : undefined;
    const size = state.zoom;
    const aspect = near ? { aspectmode: "manual", aspectratio: { x: 1.7 * ratio.x * size, y: 1.7 * ratio.y * size, z: 1.7 * size } }
                        : { aspectmode: "manual", aspectratio: whole(size) };
    return { margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "#fff",
             scene: { xaxis: x, yaxis: y, zaxis: z, ...aspect, camera: state.camera, dragmode: "orbit" } };
  }
  function whole(size) {
    const low = [1e9, 1e9, 1e9], high = [-1e9, -1e9, -1e9];
    for (const shell of data.constructs[state.construct].shells) {
      if (shell.cut && shell.half !== state.half) continue;
      const points = numbers(shell.points, Int16Array);
      for (let k = 0; k < points.length; k++) {
        low[k % 3] = Math.min(low[k % 3], points[k]); high[k % 3] = Math.max(high[k % 3], points[k]);
      }
    }
    const tall = high[2] - low[2], scale = 1.85 * size / tall;
    return { x: (high[0] - low[0]) * scale, y: (high[1] - low[1]) * scale, z: tall * scale };
  }
  function draw() {
    Plotly.react(place, traces(), layout(), { displayModeBar: false, responsive: true, scrollZoom: false });
    document.querySelectorAll("[data-field]").forEach(b => b.setAttribute("aria-pressed", String(b.dataset.field === state.field)));
    document.getElementById("half").setAttribute("aria-pressed", String(state.half));
    document.getElementById("near").setAttribute("aria-pressed", String(state.near));
    place.setAttribute("aria-label", `${data.constructs[state.construct].name}, ${state.half ? "cut in half" : "whole"}, colours show ${state.field}`);
  }
  function first() {
    const select = document.getElementById("construct");
    select.value = String(state.construct);
    draw();
    place.on("plotly_relayout", event => { if (event["scene.camera"]) state.camera = event["scene.camera"]; });
  }
  function on(id, change) {
    document.getElementById(id).addEventListener("click", () => { change(); draw(); });
  }
  document.getElementById("construct").addEventListener("change", e => { state.construct = Number(e.target.value); draw(); });
  document.querySelectorAll("[data-field]").forEach(b => b.addEventListener("click", () => { state.field = b.dataset.field; draw(); }));
  on("half", () => { state.half = !state.half; });
  on("near", () => { state.near = !state.near; state.zoom = 1; });
  on("left", () => turn(-20));
  on("right", () => turn(20));
  on("larger", () => { state.zoom = Math.min(4, state.zoom * 1.3); });
  on("smaller", () => { state.zoom = Math.max(0.5, state.zoom / 1.3); });
  new IntersectionObserver((seen, watch) => {
    if (seen.some(one => one.isIntersecting)) { watch.disconnect(); first(); }
  }, { rootMargin: "200px" }).observe(place);
})();
