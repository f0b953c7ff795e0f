(function () {
  "use strict";
  const data = JSON.parse(document.getElementById("solids").textContent);
  const place = document.getElementById("turning"), canvas = place.querySelector("canvas");
  const by = id => document.getElementById(id);
  const STEP_DEG = 15, STEEPEST_DEG = 85, LEAST_ZOOM = 0.5, MOST_ZOOM = 8, STEP_ZOOM = 1.3, ASIDE_MM = 16, TALL_MM = 24;
  const SIDES = ["anterior", "anterolateral", "lateral", "posterolateral", "posterior", "posteromedial", "medial", "anteromedial"];
  const BARS_MM = [1, 2, 5, 10, 20, 50, 100];
  const START = { azimuth: 20, tilt: 12, zoom: 1, shift: [0, 0] };
  const first = data.constructs.findIndex(one => one.shells.some(shell => !shell.cut));
  const state = { construct: Math.max(0, first), field: "parts", half: true, near: false, ...START };
  const drawing = scene.on(canvas, data.step, data.cut, data.top);
  let waiting = false;

  const construct = () => data.constructs[state.construct];
  const chosen = () => ({ stage: by("solid-stage").value, load: by("solid-load").value });
  function number() { // of the stage and load among what is stored; -1 where it is not
    const { stage, load } = chosen();
    return data.shows.findIndex(one => one.stage === stage && one.load === load);
  }
  const is_filled = () => data.stages[chosen().stage] > 0;
  const has_gap = () => construct().legend.some(row => is_tissue(row.role));
  const is_tissue = role => ["gap", "inner", "cuff"].includes(role);

  function directions() { // right, up and towards the viewer; 0° is anterior, 90° lateral of a right femur
    const a = state.azimuth * Math.PI / 180, t = state.tilt * Math.PI / 180;
    const [ca, sa, ct, st] = [Math.cos(a), Math.sin(a), Math.cos(t), Math.sin(t)];
    return [[-ca, sa, 0], [-sa * st, -ca * st, ct], [sa * ct, ca * ct, st]];
  }
  function extent(one) { // of the whole construct: half its height, and how far it reaches from the middle
    if (one.extent) return one.extent;
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (const shell of one.shells) {
      const points = new Int16Array(scene.bytes(shell.points).buffer);
      for (let k = 0; k < points.length; k++) {
        low[k % 3] = Math.min(low[k % 3], points[k] * data.step); high[k % 3] = Math.max(high[k % 3], points[k] * data.step);
      }
    }
    const at = [0, 1, 2].map(k => (low[k] + high[k]) / 2), half = [0, 1, 2].map(k => (high[k] - low[k]) / 2);
    one.extent = { at, aside: Math.hypot(half[0], half[1]) + 4, tall: half[2] + 4 };
    return one.extent;
  }
  function frame() {
    const one = construct(), gap = one.gap;
    if (!state.near || !gap) return extent(one);
    const { aside, tall } = extent(one); // nothing gets smaller by coming near
    return { at: gap.at, aside: Math.min(aside, Math.max(gap.half[0], gap.half[1]) + ASIDE_MM), tall: Math.min(tall, gap.half[2] + TALL_MM) };
  }
  function view() {
    const { at, aside, tall } = frame(), turn = directions(), t = state.tilt * Math.PI / 180;
    const upright = tall * Math.cos(t) + aside * Math.abs(Math.sin(t));
    const per_px = Math.max(2 * aside / canvas.clientWidth, 2 * upright / canvas.clientHeight) / state.zoom;
    const centre = at.map((value, k) => value + turn[0][k] * state.shift[0] + turn[1][k] * state.shift[1]);
    return { turn, centre, half: [per_px * canvas.clientWidth / 2, per_px * canvas.clientHeight / 2], per_px };
  }
  const plain = name => getComputedStyle(place).getPropertyValue(name).trim(); // follows the page's scheme
  function colour_of(shell) {
    const at = number();
    const hidden = is_tissue(shell.role) && !is_filled();
    if (state.field === "parts") return { hidden, colour: shell.colour, field: null };
    const colour = plain(is_tissue(shell.role) ? "--tissue" : shell.cut ? "--pale" : "--steel");
    const has = shell.shows === state.field && at >= 0 && shell.fields[at];
    return { hidden, colour, field: has ? at : null };
  }
  const paints = () => construct().shells.some(shell => colour_of(shell).field !== null && !colour_of(shell).hidden);

  function side(azimuth) {
    return SIDES[((Math.round(azimuth / 45) % 8) + 8) % 8];
  }
  function seen_from() {
    const raised = state.tilt > 30 ? ", from above" : state.tilt < -30 ? ", from below" : "";
    return `seen from ${side(state.azimuth)}${raised}`;
  }
  function label() {
    const { stage, load } = chosen(), words = { parts: "parts", stress: "implant stress", strain: "tissue strain" };
    const shows = state.field === "parts" || paints() ? words[state.field] : `no ${words[state.field]}: ${why_plain()}`;
    const what = `${construct().name}, ${state.half ? "cut in half" : "whole"}, ${!state.near || !construct().gap ? "all of it" : has_gap() ? "near the gap" : "where others have the gap"}`;
    return `${what}, ${seen_from()}, stage ${stage}, load ${load}, colours show ${shows}`;
  }
  function why_plain() {
    const { stage, load } = chosen();
    if (state.field === "stress" && !construct().shells.some(shell => shell.shows === "stress")) return "no implant";
    if (state.field === "strain" && !has_gap()) return "no gap in this bone";
    if (state.field === "strain" && !is_filled()) return `nothing is in the gap at stage ${stage}`;
    return `no fields are stored here of stage ${stage} under load ${load}, or it was not solved`;
  }

  function row(colour, words) {
    const item = document.createElement("li"), mark = document.createElement("span");
    mark.className = "swatch";
    mark.style.background = colour || "none";
    item.append(mark, words);
    return item;
  }
  function rounded(value) {
    return String(Number(value.toPrecision(3)));
  }
  function bar(look, top) {
    const box = document.createElement("li"), strip = document.createElement("div"), ticks = document.createElement("div");
    box.className = "scale"; strip.className = "strip"; ticks.className = "ticks";
    strip.style.background = `linear-gradient(to right, ${look.colours.join(", ")})`;
    for (const share of [0, 0.5, 1]) ticks.append(Object.assign(document.createElement("span"), { textContent: rounded(share * top) }));
    box.append(look.label, strip, ticks);
    return box;
  }
  function legend() {
    const list = by("solid-legend"), one = construct(), { stage } = chosen();
    const parts = one.legend.map(({ role, colour, cut, words }) => {
      if (!is_tissue(role)) return row(state.half ? cut : colour, words);
      return is_filled() ? row(colour, `${words}, stage ${stage}`) : row("", `no ${words}: stage ${stage} leaves it empty`);
    });
    if (!has_gap()) parts.push(row("", "no gap in this bone"));
    if (state.field === "parts") { list.replaceChildren(...parts); return; }
    const rows = [];
    if (paints()) {
      const look = data.looks[state.field], top = data.shows[number()].tops[state.field];
      rows.push(bar(look, top), row(look.over, `above ${rounded(top)}: the highest hundredth of all constructs' cells at this stage and load`));
    } else {
      rows.push(row("", `No colours: ${why_plain()}.`));
    }
    if (state.field === "stress" && is_filled() && has_gap()) rows.push(row(plain("--tissue"), "tissue, not coloured"));
    rows.push(row(plain("--pale"), "bone, not coloured"));
    if (state.field === "strain" && one.shells.some(shell => !shell.cut)) rows.push(row(plain("--steel"), "implants, not coloured"));
    list.replaceChildren(...rows);
  }
  function scale_bar(per_px) {
    const length = BARS_MM.filter(mm => mm / per_px < 120).pop() || BARS_MM[0], mark = by("scale-bar");
    mark.style.width = `${length / per_px}px`;
    mark.textContent = `${length} mm`;
  }
  function render() {
    waiting = false;
    const now = view();
    drawing.draw(construct(), now, state.half, colour_of, state.field === "parts" ? null : data.looks[state.field]);
    by("side-left").textContent = side(state.azimuth + 90);
    by("side-right").textContent = side(state.azimuth - 90);
    scale_bar(now.per_px);
  }
  function again() {
    for (const key of ["azimuth", "tilt", "zoom"]) place.dataset[key] = String(Math.round(state[key] * 1000) / 1000);
    place.setAttribute("aria-label", label());
    if (!waiting) { waiting = true; requestAnimationFrame(render); }
  }
  function draw() {
    document.querySelectorAll("[data-field]").forEach(b => b.setAttribute("aria-pressed", String(b.dataset.field === state.field)));
    by("half").setAttribute("aria-pressed", String(state.half));
    by("near").setAttribute("aria-pressed", String(state.near));
    by("near").disabled = !construct().gap;
    legend();
    again();
  }

  function turn(aside, up) {
    state.azimuth = (((state.azimuth + aside) % 360) + 360) % 360;
    state.tilt = Math.max(-STEEPEST_DEG, Math.min(STEEPEST_DEG, state.tilt + up));
    again();
  }
  function zoom(times) {
    state.zoom = Math.max(LEAST_ZOOM, Math.min(MOST_ZOOM, state.zoom * times));
    again();
  }
  function move(right, up) { // in pixels
    const { per_px } = view();
    state.shift = [state.shift[0] - right * per_px, state.shift[1] - up * per_px];
    again();
  }
  function reset() {
    Object.assign(state, START, { near: false });
    draw();
  }
  const KEYS = {
    ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1],
  };
  place.addEventListener("keydown", event => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const way = KEYS[event.key];
    if (way && event.shiftKey) move(30 * way[0], -30 * way[1]);
    else if (way) turn(STEP_DEG * way[0], STEP_DEG * way[1]);
    else if (event.key === "+" || event.key === "=") zoom(STEP_ZOOM);
    else if (event.key === "-") zoom(1 / STEP_ZOOM);
    else if (event.key === "Home") reset();
    else return;
    event.preventDefault();
  });
  place.addEventListener("wheel", event => { // without ctrl, which a pinch on a touchpad sets, the page scrolls
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoom(Math.exp(-0.002 * event.deltaY * (event.deltaMode ? 30 : 1)));
  }, { passive: false });
  const fingers = new Map();
  const apart = () => { const [a, b] = [...fingers.values()]; return Math.hypot(a.x - b.x, a.y - b.y); };
  canvas.addEventListener("pointerdown", event => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  canvas.addEventListener("pointermove", event => {
    const last = fingers.get(event.pointerId);
    if (!last) return;
    const before = fingers.size === 2 ? apart() : 0, [right, down] = [event.clientX - last.x, event.clientY - last.y];
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size === 2) { if (before > 0) zoom(apart() / before); move(right / 2, -down / 2); }
    else if (event.shiftKey) move(right, -down);
    else turn(0.5 * right, 0.5 * down);
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, event => fingers.delete(event.pointerId));

  function on(id, change) {
    by(id).addEventListener("click", () => { change(); draw(); });
  }
  function ready() {
    by("construct").value = String(state.construct);
    by("construct").addEventListener("change", event => { state.construct = Number(event.target.value); state.shift = [0, 0]; draw(); });
    for (const id of ["solid-stage", "solid-load"]) by(id).addEventListener("change", draw);
    document.querySelectorAll("[data-field]").forEach(b => b.addEventListener("click", () => { state.field = b.dataset.field; draw(); }));
    on("half", () => { state.half = !state.half; });
    on("near", () => { state.near = !state.near; state.zoom = 1; state.shift = [0, 0]; });
    on("left", () => turn(-STEP_DEG, 0));
    on("right", () => turn(STEP_DEG, 0));
    on("above", () => turn(0, STEP_DEG));
    on("below", () => turn(0, -STEP_DEG));
    on("larger", () => zoom(STEP_ZOOM));
    on("smaller", () => zoom(1 / STEP_ZOOM));
    on("reset", reset);
    canvas.addEventListener("again", again);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
    new ResizeObserver(again).observe(place);
    draw();
  }
  if (!drawing) {
    place.textContent = "This browser draws nothing in three dimensions, since it has no WebGL 2: the pictures below show each construct.";
    place.setAttribute("role", "note");
    place.removeAttribute("aria-label");
    document.querySelectorAll("#constructs .tools, #turning-keys").forEach(one => { one.hidden = true; });
    return;
  }
  new IntersectionObserver((seen, watch) => {
    if (seen.some(one => one.isIntersecting)) { watch.disconnect(); ready(); }
  }, { rootMargin: "200px" }).observe(place);
})();
