(function () {
  "use strict";
  const told = JSON.parse(document.getElementById("live-data").textContent);
  const constructs = told.constructs.map(one => new liveModel.Construct(one));
  const panel = document.getElementById("explore"), find = id => document.getElementById(`live-${id}`);
  const start = { tissue_modulus_mpa: told.modulus, cortical_factor: 1, cancellous_factor: 1, metal_factor: 1,
                  weight_factor: 1, play_factor: 1, tilt_deg: 0, azimuth_deg: 0 };
  const at = { ...start };
  const SLICE_MS = 25, LOADS = 15, MODULI = 17, WIDE = 460, HIGH = 250, EDGE = { left: 58, right: 14, top: 12, bottom: 42 };
  const COLOURS = told.colours, SHAPES = ["circle", "square", "triangle", "diamond", "cross"];
  let shown = told.shown, work = 0, solids = null;

  /* --- What is shown ------------------------------------------------------------------------------ */
  const brief = value => {
    const size = Math.abs(value);
    if (!size) return "0";
    return size >= 1e5 || size < 1e-4 ? value.toExponential(1) : String(Number(value.toPrecision(3)));
  };
  function half(construct, key, values) {
    const [quantity] = key.split("/"), like = told.alike[quantity];
    const size = Math.max(...Object.entries(values).filter(([name]) => like.includes(name.split("/")[0])).map(([, v]) => Math.abs(v)));
    const rows = construct.told.mesh_error[key] ?? [], modulus = Math.log(at.tissue_modulus_mpa);
    const near = rows.filter(([m]) => m > 0).sort((a, b) => Math.abs(Math.log(a[0]) - modulus) - Math.abs(Math.log(b[0]) - modulus))[0];
    const own = construct.told.off[quantity] * size;
    return { own, mesh: near ? Math.abs(values[key]) * near[1] / 100 : null };
  }
  function answer(construct, settings) {
    try { return construct.found(settings); } catch (error) { return { why: error.message }; }
  }
  const node = (name, features, text) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(features)) one.setAttribute(key, value);
    if (text !== undefined) one.textContent = text;
    return one;
  };
  function mark(x, y, number, is_solved) {
    const look = { fill: is_solved ? COLOURS[number % 5] : "none", stroke: COLOURS[number % 5], "stroke-width": 1.8 }, r = 4.5;
    const shape = SHAPES[number % 5];
    if (shape === "circle") return node("circle", { cx: x, cy: y, r, ...look });
    const path = { square: `M${x - r} ${y - r}h${2 * r}v${2 * r}h${-2 * r}z`, triangle: `M${x} ${y - r}l${r} ${2 * r}h${-2 * r}z`,
      diamond: `M${x} ${y - r - 1}l${r} ${r + 1}l${-r} ${r + 1}l${-r} ${-r - 1}z`, cross: `M${x - r} ${y - r}l${2 * r} ${2 * r}M${x - r} ${y + r}l${2 * r} ${-2 * r}` }[shape];
    return node("path", { d: path, ...look });
  }
  function ticks(low, high) {
    const step = 10 ** Math.floor(Math.log10((high - low) / 3)), wide = [1, 2, 5, 10].map(k => k * step).find(one => (high - low) / one <= 5);
    const found = [];
    for (let k = Math.ceil(low / wide); k * wide <= high * (1 + 1e-9); k++) found.push(k * wide);
    return found;
  }
  /* A chart of lines: `series` of [x, y or null], a mark at the settings of now. */
  function lines(place, { label, unit, x, series, now, own, is_own, powers }) {
    const svg = place.querySelector("svg"), all = series.flatMap(one => one.points.map(p => p[1])).concat(now.map(p => p?.[1]), is_own ? written : []).filter(Number.isFinite);
    svg.replaceChildren();
    if (!all.length) return;
    const low = Math.min(0, ...all), high = Math.max(...all) || 1e-9, put = powers ? Math.log10 : v => v;
    const [a, b] = [put(x[0]), put(x[x.length - 1])];
    const across = v => EDGE.left + (put(v) - a) / (b - a) * (WIDE - EDGE.left - EDGE.right);
    const up = v => HIGH - EDGE.bottom - (v - low) / (high * 1.05 - low) * (HIGH - EDGE.bottom - EDGE.top);
    for (const v of ticks(low, high * 1.05)) {
      svg.append(node("line", { x1: EDGE.left, x2: WIDE - EDGE.right, y1: up(v), y2: up(v), class: "grid-line" }));
      svg.append(node("text", { x: EDGE.left - 6, y: up(v) + 4, "text-anchor": "end" }, brief(v)));
    }
    for (const v of powers ? [0.1, 1, 10, 100, 1000, 1e4].filter(one => put(one) >= a - 1e-9 && put(one) <= b + 1e-9) : ticks(x[0], x[x.length - 1])) {
      svg.append(node("text", { x: across(v), y: HIGH - EDGE.bottom + 16, "text-anchor": "middle" }, brief(v)));
    }
    svg.append(node("text", { x: (WIDE + EDGE.left) / 2, y: HIGH - 8, "text-anchor": "middle" }, label));
    svg.append(node("text", { x: 14, y: HIGH / 2 - 10, "text-anchor": "middle", transform: `rotate(-90 14 ${HIGH / 2 - 10})` }, unit));
    series.forEach((one, k) => {
      const path = one.points.reduce((d, [p, v]) => (Number.isFinite(v) ? `${d}${d ? "L" : "M"}${across(p).toFixed(1)} ${up(v).toFixed(1)}` : d), "");
      svg.append(node("path", { d: path, fill: "none", stroke: COLOURS[k % 5], "stroke-width": 1.6, "stroke-dasharray": ["", "6 3", "2 3", "8 3 2 3", "4 2"][k % 5] }));
      if (now[k] && Number.isFinite(now[k][1])) svg.append(mark(across(now[k][0]), up(now[k][1]), k, false));
      if (is_own && written[k] !== null) svg.append(mark(across(own), up(written[k]), k, true));
    });
    place.setAttribute("aria-label", series.map((one, k) => `${constructs[k].name}: ${now[k] && Number.isFinite(now[k][1]) ? `${brief(now[k][1])} ${unit}` : "no answer"}`).join("; "));
  }
  /* Both from the front and from the lateral side, the distal end held, movement enlarged. */
  const SIDES = [["lateral", "medial", 0], ["posterior", "anterior", 1]], STRIPS = 12;
  const HUES = { closing: [179, 88, 6], none: [247, 247, 247], opening: [33, 102, 172] };
  const hue = share => `rgb(${HUES.none.map((v, i) => Math.round(v + (HUES[share < 0 ? "closing" : "opening"][i] - v) * Math.min(1, Math.abs(share)))).join(" ")})`;
  /* Of a gap in one view: how long it is along the normal at shares -1 to 1 of its width, and its strain there. */
  function gapSeen(construct, axis, moved) {
    const { about, normal, points } = construct.told, rim = construct.rim, rows = [];
    for (let k = 0; k < rim.length; k += 4) rows.push([rim[k + axis], rim[k + 3]]);
    rows.sort((a, b) => a[0] - b[0]);
    const radius = Math.max(...Object.values(points).map(([x, y]) => Math.hypot(x - about[0], y - about[1])));
    const [low, high] = [rows[0][1], rows[rows.length - 1][1]], length = share => low + (high - low) * (share + 1) / 2;
    const place = share => about.map((v, i) => (i === axis ? v + share * radius : v));
    const slope = share => -(normal[axis] * share * radius) / normal[2];
    const strain = share => { const u = moved(...place(share)); return u.reduce((sum, v, i) => sum + v * normal[i], 0) / length(share); };
    return { radius, length, place, slope, strain };
  }
  function ends(found) {
    const factor = Number(find("factor").value), views = found.map(({ moved }, k) => SIDES.map(([, , axis]) => gapSeen(constructs[k], axis, moved)));
    const shares = Array.from({ length: STRIPS }, (_, k) => -1 + (2 * k + 1) / STRIPS);
    const most = Math.max(1e-9, ...views.flatMap((pair, k) => (found[k].moved ? pair.flatMap(one => shares.map(s => Math.abs(one.strain(s)))) : [])));
    find("strained").textContent = `${brief(100 * most)} %`;
    find("ends").replaceChildren(...found.map(({ moved, shaft }, k) => {
      const { about, name, shaft: places } = constructs[k].told, colour = COLOURS[k % 5];
      const svg = node("svg", { viewBox: "0 0 300 134", role: "img", "aria-label": `${name}: shaft and bone ends, movement times ${factor}` });
      svg.append(node("text", { x: 150, y: 12, "text-anchor": "middle", class: "live-name" }, name));
      SIDES.forEach(([left, right, axis], side) => {
        const one = views[k][side], length = one.length(0), middle = 155 + 90 * side;
        const scale = Math.min(66 / (2.4 * one.radius), 96 / (length + 1.4 * one.radius)), bone = 0.55 * one.radius;
        const put = (share, up, high) => {
          const u = up > 0 && moved ? moved(...one.place(share)) : [0, 0, 0], level = one.slope(share) + up * one.length(share) / 2 + high;
          return `${(middle + scale * (share * one.radius + factor * u[axis])).toFixed(1)},${(68 - scale * (level + factor * u[2])).toFixed(1)}`;
        };
        if (moved) for (const s of shares) {
          const [a, b] = [s - 1 / STRIPS, s + 1 / STRIPS];
          svg.append(node("polygon", { points: [put(a, -1, 0), put(b, -1, 0), put(b, 1, 0), put(a, 1, 0)].join(" "), fill: hue(one.strain(s) / most) }));
        }
        for (const up of moved ? [-1, 1] : [-1]) {
          svg.append(node("polygon", { points: [put(-1, up, 0), put(1, up, 0), put(1, up, up * bone), put(-1, up, up * bone)].join(" "), class: "live-bone", stroke: colour }));
        }
        svg.append(node("text", { x: middle - 42, y: 126 }, left), node("text", { x: middle + 42, y: 126, "text-anchor": "end" }, right));
        const tall = places[places.length - 1][2] - places[0][2], mm = 100 / tall, at = 25 + 50 * side;
        const line = u => places.reduce((d, place, i) => {
          const broken = !i || (place[2] > about[2] && places[i - 1][2] < about[2]), [dx, dz] = u ? [factor * u[i][axis], factor * u[i][2]] : [0, 0];
          return `${d}${broken ? "M" : "L"}${(at + mm * (place[axis] + dx)).toFixed(1)} ${(120 - mm * (place[2] - places[0][2] + dz)).toFixed(1)}`;
        }, "");
        svg.append(node("path", { d: line(null), class: "live-rest" }));
        if (shaft) svg.append(node("path", { d: line(shaft), fill: "none", stroke: colour, "stroke-width": 2.2 }));
        svg.append(node("line", { x1: at - 6, x2: at + 6, y1: 122, y2: 122, class: "live-held" }), node("text", { x: at, y: 132, "text-anchor": "middle" }, side ? "side" : "front"));
      });
      return svg;
    }));
  }
  function fill(found) {
    const unit = told.units[shown.split("/")[0]], body = find("table").querySelector("tbody");
    find("table").querySelector("caption span").textContent = `${told.labels[shown]}, ${unit}`;
    body.replaceChildren(...found.map(({ values, why }, k) => {
      const row = document.createElement("tr"), cell = (text, kind) => {
        const one = document.createElement(kind ?? "td");
        one.textContent = text;
        row.append(one);
        return one;
      };
      cell(constructs[k].name, "th").setAttribute("scope", "row");
      if (why) {
        cell(`not covered: ${why}; run the study with these inputs`).colSpan = 4;
        return row;
      }
      const { own, mesh } = half(constructs[k], shown, values);
      row.dataset.value = values[shown];
      for (const text of [brief(values[shown]), `± ${brief(own)}`, mesh === null ? "not known" : `± ${brief(mesh)}`, written[k] === null ? "–" : brief(written[k])]) cell(text).className = "number";
      return row;
    }));
  }

  /* --- What follows the controls --------------------------------------------------------------------- */
  const written = constructs.map(one => one.told.solved[shown] ?? null);
  const is_as_written = but => Object.keys(start).every(name => name === but || at[name] === start[name]);
  const kept = { load: {}, tissue: {} }; // all values of each point, whichever quantity is shown
  const drawn = kind => kept[kind].series.map(one => ({ points: one.points.map(([p, values]) => [p, values?.[shown]]) }));
  function curve(kind, points, of) {
    const fixed = { ...at };
    delete fixed[kind === "load" ? "weight_factor" : "tissue_modulus_mpa"];
    const key = JSON.stringify(fixed);
    if (kept[kind].key !== key) kept[kind] = { key, series: constructs.map(() => ({ points: [] })) };
    const todo = [];
    constructs.forEach((one, k) => points.slice(kept[kind].series[k].points.length).forEach(p => todo.push([one, k, p])));
    return { todo, add: ([one, k, p]) => kept[kind].series[k].points.push([p, answer(one, { ...at, ...of(p) }).values]) };
  }
  const span = (low, high, count, powers) => Array.from({ length: count }, (_, k) => (powers ? low * (high / low) ** (k / (count - 1)) : low + (high - low) * k / (count - 1)));
  const shares = span(0, 1.5, LOADS + 1, false).map(one => Math.max(one, 1e-3)), moduli = span(told.limits.tissue_modulus_mpa[0], told.limits.tissue_modulus_mpa[1], MODULI, true);
  function draw() {
    const began = performance.now(), own = ++work, found = constructs.map(one => answer(one, at));
    fill(found);
    ends(found);
    solids?.follow(found, at.metal_factor);
    const now = (key, to) => found.map(({ values }) => (values ? [to, values[key]] : null));
    const jobs = [curve("load", shares, p => ({ weight_factor: p })), curve("tissue", moduli, p => ({ tissue_modulus_mpa: p }))];
    const both = () => {
      const unit = told.units[shown.split("/")[0]];
      lines(find("load-chart"), { label: "share of the stated load", unit, x: shares, series: drawn("load"), now: now(shown, at.weight_factor), own: 1, is_own: is_as_written("weight_factor") });
      lines(find("tissue-chart"), { label: "modulus of the gap tissue, MPa", unit, x: moduli, series: drawn("tissue"), now: now(shown, at.tissue_modulus_mpa), own: told.modulus, is_own: is_as_written("tissue_modulus_mpa"), powers: true });
    };
    both();
    panel.dataset.milliseconds = (performance.now() - began).toFixed(1);
    const more = () => {
      if (own !== work) return;
      const from = performance.now();
      for (const job of jobs) while (job.todo.length && performance.now() - from < SLICE_MS) job.add(job.todo.shift());
      both();
      if (jobs.some(job => job.todo.length)) setTimeout(more); else panel.dataset.drawn = String(own);
    };
    setTimeout(more);
  }
  function lettered() {
    find("tissue_modulus_mpa").value = Math.log10(at.tissue_modulus_mpa);
    for (const name of Object.keys(at)) {
      const input = find(name);
      if (!input) continue;
      if (name !== "tissue_modulus_mpa") input.value = at[name];
      const text = { tissue_modulus_mpa: `${brief(at[name])} MPa`, weight_factor: `× ${brief(at[name])}`, tilt_deg: `${brief(at[name])}°`, azimuth_deg: `${brief(at[name])}°` }[name] ?? `× ${brief(at[name])}`;
      find(`${name}-now`).textContent = text;
      input.setAttribute("aria-valuetext", text);
    }
    find("lines").hidden = true;
  }
  let asked = false;
  function changed() {
    lettered();
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; draw(); });
  }
  for (const name of Object.keys(at)) find(name)?.addEventListener("input", event => {
    const value = Number(event.target.value);
    at[name] = name === "tissue_modulus_mpa" ? Math.min(Math.max(10 ** value, told.limits[name][0]), told.limits[name][1]) : value;
    changed();
  });
  panel.querySelectorAll("[data-modulus]").forEach(button => button.addEventListener("click", () => {
    at.tissue_modulus_mpa = Number(button.dataset.modulus);
    changed();
  }));
  find("quantity").addEventListener("change", event => {
    shown = event.target.value;
    constructs.forEach((one, k) => { written[k] = one.told.solved[shown] ?? null; });
    changed();
  });
  find("factor").addEventListener("change", changed);
  find("reset").addEventListener("click", () => { Object.assign(at, start); changed(); });
  find("copy").addEventListener("click", () => {
    const { point, support, force } = constructs[0].told, stage = told.stages.find(one => one.name === told.stage);
    const number = v => String(Number(v.toPrecision(6))), load = constructs[0].push(at);
    const said = ["[[stages]]", 'name = "explored"', `modulus_mpa = ${number(at.tissue_modulus_mpa)}`, `poisson_ratio = ${number(stage.poisson)}`];
    if (force) said.push("", "[[loads]]", 'kind = "forces"', 'name = "explored"', `support = "${support}"`,
      `forces = [{ name = "one", at = [${point.map(number).join(", ")}], force_n = [${load.map(number).join(", ")}] }]`);
    const factors = ["cortical", "cancellous", "metal", "play"].filter(one => at[`${one}_factor`] !== 1).map(one => `${one} × ${number(at[`${one}_factor`])}`);
    if (factors.length) said.push("", `# Besides: ${factors.join(", ")}. Change the moduli, the alloys and play_mm by these factors.`);
    const text = find("lines");
    text.value = said.join("\n") + "\n";
    text.hidden = false;
    text.select();
    navigator.clipboard?.writeText(text.value).catch(() => {});
  });
  lettered();
  new IntersectionObserver((seen, watch) => {
    if (!seen.some(one => one.isIntersecting)) return;
    watch.disconnect();
    solids = liveSolids.on(constructs, constructs.map(one => answer(one, start)), (number, field) => constructs[number].told.off[field]);
    draw();
  }, { rootMargin: "300px" }).observe(panel);
})();
