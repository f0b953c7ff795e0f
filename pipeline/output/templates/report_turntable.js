// A construct on a canvas that turns by drag, keys, ctrl and the wheel, or fingers. What is drawn, and in
// which colours, is said by whoever puts it on: `shows` has construct(), is_half(), is_near(), colour_of(shell),
// look() and label(seen_from), and is told when the view begins again, reset(), or the scheme changes, changed().
const turntable = (function () {
  "use strict";
  const STEP_DEG = 15, STEEPEST_DEG = 85, LEAST_ZOOM = 0.5, MOST_ZOOM = 8, STEP_ZOOM = 1.3, ASIDE_MM = 16, TALL_MM = 24;
  const SIDES = ["anterior", "anterolateral", "lateral", "posterolateral", "posterior", "posteromedial", "medial", "anteromedial"];
  const BARS_MM = [1, 2, 5, 10, 20, 50, 100];
  const START = { azimuth: 20, tilt: 12, zoomed: 1, shift: [0, 0] };
  const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  let parsed = null;
  const solids = () => (parsed ??= JSON.parse(document.getElementById("solids").textContent)); // megabytes: once
  const is_tissue = role => ["gap", "inner", "cuff"].includes(role);
  const rounded = value => String(Number(value.toPrecision(3)));
  const plain = (place, name) => getComputedStyle(place).getPropertyValue(name).trim(); // follows the page's scheme
  const uncoloured = (place, shell) => plain(place, is_tissue(shell.role) ? "--tissue" : shell.cut ? "--pale" : "--steel");

  function row(colour, words) {
    const item = document.createElement("li"), mark = document.createElement("span");
    mark.className = "swatch";
    mark.style.background = colour || "none";
    item.append(mark, words);
    return item;
  }
  function bar(look, top) {
    const box = document.createElement("li"), strip = document.createElement("div"), ticks = document.createElement("div");
    box.className = "scale"; strip.className = "strip"; ticks.className = "ticks";
    strip.style.background = `linear-gradient(to right, ${look.colours.join(", ")})`;
    for (const share of [0, 0.5, 1]) ticks.append(Object.assign(document.createElement("span"), { textContent: rounded(share * top) }));
    box.append(look.label, strip, ticks);
    return box;
  }
  function side(azimuth) {
    return SIDES[((Math.round(azimuth / 45) % 8) + 8) % 8];
  }
  function extent(one, step) { // of the whole construct: half its height, and how far it reaches from the middle
    if (one.extent) return one.extent;
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (const shell of one.shells) {
      const points = new Int16Array(scene.bytes(shell.points).buffer);
      for (let k = 0; k < points.length; k++) {
        low[k % 3] = Math.min(low[k % 3], points[k] * step); high[k % 3] = Math.max(high[k % 3], points[k] * step);
      }
    }
    const at = [0, 1, 2].map(k => (low[k] + high[k]) / 2), half = [0, 1, 2].map(k => (high[k] - low[k]) / 2);
    one.extent = { at, aside: Math.hypot(half[0], half[1]) + 4, tall: half[2] + 4 };
    return one.extent;
  }

  class Turntable {
    constructor(place, data, shows, drawing) {
      Object.assign(this, { place, data, shows, drawing, canvas: place.querySelector("canvas"), waiting: false }, START);
      this.marks = ["left", "right", "bar"].map(name => place.querySelector(`.at-${name}`));
    }
    directions() { // right, up and towards the viewer; 0° is anterior, 90° lateral of a right femur
      const a = this.azimuth * Math.PI / 180, t = this.tilt * Math.PI / 180;
      const [ca, sa, ct, st] = [Math.cos(a), Math.sin(a), Math.cos(t), Math.sin(t)];
      return [[-ca, sa, 0], [-sa * st, -ca * st, ct], [sa * ct, ca * ct, st]];
    }
    frame() {
      const one = this.shows.construct(), gap = one.gap, whole = extent(one, this.data.step);
      if (!this.shows.is_near() || !gap) return whole;
      const { aside, tall } = whole; // nothing gets smaller by coming near
      return { at: gap.at, aside: Math.min(aside, Math.max(gap.half[0], gap.half[1]) + ASIDE_MM), tall: Math.min(tall, gap.half[2] + TALL_MM) };
    }
    view() {
      const { at, aside, tall } = this.frame(), turn = this.directions(), t = this.tilt * Math.PI / 180;
      const upright = tall * Math.cos(t) + aside * Math.abs(Math.sin(t));
      const per_px = Math.max(2 * aside / this.canvas.clientWidth, 2 * upright / this.canvas.clientHeight) / this.zoomed;
      const centre = at.map((value, k) => value + turn[0][k] * this.shift[0] + turn[1][k] * this.shift[1]);
      return { turn, centre, half: [per_px * this.canvas.clientWidth / 2, per_px * this.canvas.clientHeight / 2], per_px };
    }
    seen_from() {
      const raised = this.tilt > 30 ? ", from above" : this.tilt < -30 ? ", from below" : "";
      return `seen from ${side(this.azimuth)}${raised}`;
    }
    render() {
      this.waiting = false;
      const now = this.view(), [left, right, scale] = this.marks, { shows } = this;
      this.drawing.draw(shows.construct(), now, shows.is_half(), shows.colour_of, shows.look());
      left.textContent = side(this.azimuth + 90);
      right.textContent = side(this.azimuth - 90);
      const length = BARS_MM.filter(mm => mm / now.per_px < 120).pop() || BARS_MM[0];
      scale.style.width = `${length / now.per_px}px`;
      scale.textContent = `${length} mm`;
    }
    again() {
      const { place } = this;
      for (const [key, value] of [["azimuth", this.azimuth], ["tilt", this.tilt], ["zoom", this.zoomed]]) place.dataset[key] = String(Math.round(value * 1000) / 1000);
      place.setAttribute("aria-label", this.shows.label(this.seen_from()));
      if (!this.waiting) { this.waiting = true; requestAnimationFrame(() => this.render()); }
    }
    turn(aside, up) {
      this.azimuth = (((this.azimuth + aside) % 360) + 360) % 360;
      this.tilt = Math.max(-STEEPEST_DEG, Math.min(STEEPEST_DEG, this.tilt + up));
      this.again();
    }
    step(aside, up) { this.turn(STEP_DEG * aside, STEP_DEG * up); }
    zoom(times) {
      this.zoomed = Math.max(LEAST_ZOOM, Math.min(MOST_ZOOM, this.zoomed * times));
      this.again();
    }
    larger(steps) { this.zoom(STEP_ZOOM ** steps); }
    move(right, up) { // in pixels
      const { per_px } = this.view();
      this.shift = [this.shift[0] - right * per_px, this.shift[1] - up * per_px];
      this.again();
    }
    centred(zoomed = this.zoomed) { Object.assign(this, { zoomed, shift: [0, 0] }); }
    reset() { Object.assign(this, START); this.shows.reset(); }
    listen() {
      const { place, canvas } = this, fingers = new Map();
      const apart = () => { const [a, b] = [...fingers.values()]; return Math.hypot(a.x - b.x, a.y - b.y); };
      place.addEventListener("keydown", event => {
        if (event.ctrlKey || event.altKey || event.metaKey) return;
        const way = KEYS[event.key];
        if (way && event.shiftKey) this.move(30 * way[0], -30 * way[1]);
        else if (way) this.step(...way);
        else if (event.key === "+" || event.key === "=") this.larger(1);
        else if (event.key === "-") this.larger(-1);
        else if (event.key === "Home") this.reset();
        else return;
        event.preventDefault();
      });
      place.addEventListener("wheel", event => { // without ctrl, which a pinch on a touchpad sets, the page scrolls
        if (!event.ctrlKey) return;
        event.preventDefault();
        this.zoom(Math.exp(-0.002 * event.deltaY * (event.deltaMode ? 30 : 1)));
      }, { passive: false });
      canvas.addEventListener("pointerdown", event => {
        canvas.setPointerCapture(event.pointerId);
        fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
      });
      canvas.addEventListener("pointermove", event => {
        const last = fingers.get(event.pointerId);
        if (!last) return;
        const before = fingers.size === 2 ? apart() : 0, [right, down] = [event.clientX - last.x, event.clientY - last.y];
        fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
        if (fingers.size === 2) { if (before > 0) this.zoom(apart() / before); this.move(right / 2, -down / 2); }
        else if (event.shiftKey) this.move(right, -down);
        else this.turn(0.5 * right, 0.5 * down);
      });
      for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, event => fingers.delete(event.pointerId));
      canvas.addEventListener("again", () => this.again());
      matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.shows.changed());
      new ResizeObserver(() => this.again()).observe(place);
    }
  }
  // Null where the browser has no WebGL 2, which the page then says in the view's place.
  function on(place, data, shows) {
    const drawing = scene.on(place.querySelector("canvas"), data.step, data.cut, data.top);
    if (drawing) return new Turntable(place, data, shows, drawing);
    place.textContent = "This browser draws nothing in three dimensions, since it has no WebGL 2: the pictures below show each construct.";
    place.setAttribute("role", "note");
    place.removeAttribute("aria-label");
    return null;
  }
  function when_seen(place, ready) {
    new IntersectionObserver((seen, watch) => {
      if (seen.some(one => one.isIntersecting)) { watch.disconnect(); ready(); }
    }, { rootMargin: "200px" }).observe(place);
  }
  return { on, when_seen, solids, row, bar, rounded, plain, uncoloured, is_tissue };
})();
