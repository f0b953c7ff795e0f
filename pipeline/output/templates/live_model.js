/* Constructs in a few hundred coordinates: what bears, how far the bone ends move, who carries how much.

   The same small problem as the pipeline solves: the stiffness is a sum of terms, the answers to unit
   loads and to unit forces of stops come from one factor of it, and which stops bear follows from a cone
   program by a primal-dual interior-point method (Nesterov and Todd's scaling, Mehrotra's corrector). */
const liveModel = (() => {
  "use strict";
  const SPRING = 1e-8, MOST = 40, SHORT = 0.99, CLOSE = 1e-9, FARTHEST_MM = 50;
  const OVERLAP_MM = 0.005, OVERLAP_SHARE = 0.01;

  function numbers(text, Kind) {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
    return new Kind(bytes.buffer);
  }
  const doubles = text => numbers(text, Float64Array);

  /* --- Dense algebra: square matrices by rows, lower triangles ---------------------------------- */
  function factorize(A, n) {
    for (let i = 0; i < n; i++) {
      const own = i * n;
      for (let j = 0; j < i; j++) {
        const other = j * n;
        let total = A[own + j];
        for (let k = 0; k < j; k++) total -= A[own + k] * A[other + k];
        A[own + j] = total / A[other + j];
      }
      let total = A[own + i];
      for (let k = 0; k < i; k++) total -= A[own + k] * A[own + k];
      if (!(total > 0)) return false;
      A[own + i] = Math.sqrt(total);
    }
    return true;
  }
  function solveLower(L, n, v, at = 0) {
    for (let i = 0; i < n; i++) {
      const own = i * n;
      let total = v[at + i];
      for (let k = 0; k < i; k++) total -= L[own + k] * v[at + k];
      v[at + i] = total / L[own + i];
    }
  }
  function solveUpper(L, n, v) {
    for (let i = n - 1; i >= 0; i--) {
      const own = i * n;
      v[i] /= L[own + i];
      for (let k = 0; k < i; k++) v[k] -= L[own + k] * v[i];
    }
  }
  function dot(a, i, b, j, n) {
    let total = 0;
    for (let k = 0; k < n; k++) total += a[i + k] * b[j + k];
    return total;
  }
  const largest = v => v.reduce((most, one) => Math.max(most, Math.abs(one)), 0);

  /* --- Cones u0 >= |(u1, u2, ...)| ---------------------------------------------------------------- */
  function across(u, v) {
    let total = 0;
    for (let i = 1; i < u.length; i++) total += u[i] * v[i];
    return total;
  }
  const depth = u => (u[0] > 0 ? Math.sqrt(Math.max(u[0] * u[0] - across(u, u), 0)) : 0);
  function stretched(w, eta, u, sign) {
    const size = sign > 0 ? eta : 1 / eta, aside = across(w, u), start = sign * u[0] + aside / (1 + w[0]);
    const out = [size * (w[0] * u[0] + sign * aside)];
    for (let i = 1; i < u.length; i++) out.push(size * (u[i] + w[i] * start));
    return out;
  }
  function reach(u, d) {
    let far = d[0] < 0 ? -u[0] / d[0] : Infinity;
    const a = d[0] * d[0] - across(d, d), b = u[0] * d[0] - across(u, d), c = depth(u) ** 2, root = b * b - a * c;
    if (root >= 0) {
      const q = -(b + (b >= 0 ? Math.sqrt(root) : -Math.sqrt(root)));
      if (q * a > 0) far = Math.min(far, q / a);
      if (c * q > 0) far = Math.min(far, c / q);
    }
    return far;
  }

  /* Each cone has `place`: the component of each entry, -1 of the bound of a force's size, and `room`. */
  class Program {
    constructor(C, B, n, m, cones, free, loads) {
      Object.assign(this, { C, B, n, m, cones, free, loads });
      this.x = new Float64Array(n);
      this.q = new Float64Array(m);
      this.s = cones.map(cone => cone.place.map((_, i) => (i ? 0 : 1)));
      this.z = this.s.map(u => [...u]);
      for (const cone of cones) if (cone.place[0] >= 0) this.x[cone.place[0]] = 1;
    }
    left() {
      const { C, B, n, m, x, q, cones, z } = this;
      const moves = new Float64Array(n), sizes = new Float64Array(cones.length), bodies = new Float64Array(m);
      for (let i = 0; i < n; i++) moves[i] = this.free[i] + dot(C, i * n, x, 0, n) + dot(B, i * m, q, 0, m);
      cones.forEach((cone, k) => {
        cone.place.forEach((at, j) => { if (at >= 0) moves[at] -= z[k][j]; });
        if (cone.place[0] < 0) sizes[k] = cone.room - z[k][0];
      });
      for (let j = 0; j < m; j++) {
        bodies[j] = this.loads[j] - SPRING * q[j];
        for (let i = 0; i < n; i++) bodies[j] += B[i * m + j] * x[i];
      }
      return { moves, sizes, bodies };
    }
    scale() {
      this.w = []; this.eta = []; this.middle = [];
      for (let k = 0; k < this.cones.length; k++) {
        const s = this.s[k], z = this.z[k], a = depth(s), b = depth(z);
        if (!(a > 0 && b > 0)) return false;
        const both = Math.sqrt(2 * (1 + (s[0] * z[0] + across(s, z)) / (a * b)));
        this.w.push(s.map((one, i) => (i ? one / a - z[i] / b : one / a + z[i] / b) / both));
        this.eta.push(Math.sqrt(a / b));
        this.middle.push(stretched(this.w[k], this.eta[k], z, 1));
      }
      return true;
    }
    factor() {
      const { n, m, B } = this, A = Float64Array.from(this.C);
      this.first = this.cones.map((cone, k) => {
        const w = this.w[k], own = 1 / this.eta[k] ** 2;
        const first = w.map((one, i) => (i ? -2 * w[0] * one : 2 * one * one - 1) * own);
        if (cone.place[0] >= 0) A[cone.place[0] * (n + 1)] += first[0];
        else for (let i = 1; i < w.length; i++) for (let j = 1; j < w.length; j++) {
          if (cone.place[i] < 0 || cone.place[j] < 0) continue;
          A[cone.place[i] * n + cone.place[j]] +=
            2 * w[i] * w[j] * own + (i === j ? own : 0) - first[i] * first[j] / first[0];
        }
        return first;
      });
      if (!factorize(A, n)) return false;
      const Y = new Float64Array(m * n), small = new Float64Array(m * m);
      for (let j = 0; j < m; j++) {
        for (let i = 0; i < n; i++) Y[j * n + i] = B[i * m + j];
        solveLower(A, n, Y, j * n);
      }
      for (let i = 0; i < m; i++) for (let j = 0; j <= i; j++) {
        small[i * m + j] = dot(Y, i * n, Y, j * n, n) + (i === j ? SPRING : 0);
      }
      Object.assign(this, { A, Y, small });
      return factorize(small, m);
    }
    solved(off, aim) {
      const { A, Y, small, n, m, cones, first } = this, dx = off.moves.map(one => -one);
      const bounds = cones.map((cone, k) => {
        const own = stretched(this.w[k], this.eta[k], aim[k], -1);
        own[0] -= off.sizes[k];
        const share = cone.place[0] < 0 ? own[0] / first[k][0] : 0;
        cone.place.forEach((at, j) => { if (at >= 0) dx[at] += own[j] - first[k][j] * share; });
        return own[0];
      });
      solveLower(A, n, dx);
      const dq = new Float64Array(m);
      for (let j = 0; j < m; j++) dq[j] = dot(Y, j * n, dx, 0, n) + off.bodies[j];
      solveLower(small, m, dq);
      solveUpper(small, m, dq);
      for (let j = 0; j < m; j++) for (let i = 0; i < n; i++) dx[i] -= Y[j * n + i] * dq[j];
      solveUpper(A, n, dx);
      const ds = cones.map((cone, k) => {
        const own = cone.place.map(at => (at >= 0 ? dx[at] : 0));
        if (cone.place[0] < 0) own[0] = (bounds[k] - across(first[k], own)) / first[k][0];
        return own;
      });
      return { dx, dq, ds };
    }
    along(aim, ds) {
      let far = Infinity;
      const forces = ds.map((one, k) => stretched(this.w[k], this.eta[k], one, -1));
      const moves = forces.map((one, k) => one.map((part, i) => aim[k][i] - part));
      forces.forEach((one, k) => { far = Math.min(far, reach(this.middle[k], one), reach(this.middle[k], moves[k])); });
      return { far, forces, moves };
    }
    aim(first, wanted) {
      return this.middle.map((own, k) => {
        const ds = first.forces[k], dz = first.moves[k];
        const u = own.map((_, i) => (i ? -(ds[0] * dz[i] + dz[0] * ds[i]) : wanted - ds[0] * dz[0] - across(ds, dz)));
        const ahead = (own[0] * u[0] - across(own, u)) / depth(own) ** 2;
        return u.map((one, i) => (i ? (one - ahead * own[i]) / own[0] - own[i] : ahead - own[0]));
      });
    }
    run() {
      let best = { x: this.x, q: this.q, left: Infinity };
      for (let step = 0; step < MOST; step++) {
        const off = this.left();
        let gap = 0;
        this.s.forEach((one, k) => { gap += one[0] * this.z[k][0] + across(one, this.z[k]); });
        gap /= Math.max(this.s.length, 1);
        const left = Math.max(gap, largest(off.moves), largest(off.sizes), largest(off.bodies));
        const isDone = gap < CLOSE * Math.max(1, largest(this.x)) && left > best.left / 2;
        if (left < best.left) best = { x: Float64Array.from(this.x), q: Float64Array.from(this.q), left };
        if (isDone || !this.scale() || !this.factor()) break;
        const start = this.middle.map(u => u.map(one => -one));
        const guess = this.along(start, this.solved(off, start).ds);
        const aim = this.aim(guess, gap * Math.max(0, 1 - guess.far) ** 3);
        const { dx, dq, ds } = this.solved(off, aim), { far, moves } = this.along(aim, ds);
        const share = Math.min(1, SHORT * far);
        for (let i = 0; i < this.n; i++) this.x[i] += share * dx[i];
        for (let j = 0; j < this.m; j++) this.q[j] += share * dq[j];
        moves.forEach((one, k) => {
          const dz = stretched(this.w[k], this.eta[k], one, -1);
          one.forEach((_, i) => { this.s[k][i] += share * ds[k][i]; this.z[k][i] += share * dz[i]; });
        });
      }
      return { ...best, isFound: best.left < 100 * CLOSE * Math.max(1, largest(best.x)) };
    }
  }

  /* Solve A v = b by elimination with pivots; A by rows and b are used up. */
  function eliminated(A, n, b) {
    for (let k = 0; k < n; k++) {
      let most = k;
      for (let i = k + 1; i < n; i++) if (Math.abs(A[i * n + k]) > Math.abs(A[most * n + k])) most = i;
      if (most !== k) {
        for (let j = k; j < n; j++) [A[k * n + j], A[most * n + j]] = [A[most * n + j], A[k * n + j]];
        [b[k], b[most]] = [b[most], b[k]];
      }
      for (let i = k + 1; i < n; i++) {
        const share = A[i * n + k] / A[k * n + k];
        if (!share) continue;
        for (let j = k; j < n; j++) A[i * n + j] -= share * A[k * n + j];
        b[i] -= share * b[k];
      }
    }
    for (let i = n - 1; i >= 0; i--) {
      for (let j = i + 1; j < n; j++) b[i] -= A[i * n + j] * b[j];
      b[i] /= A[i * n + i];
    }
    return b;
  }

  /* The program's answer to round-off by Newton's method, if the stops that bear can be told. */
  function settled({ C, B, n, m, cones, free, loads }, found) {
    const x = Float64Array.from(found.x), q = Float64Array.from(found.q), move = new Float64Array(n);
    const moves = () => {
      for (let i = 0; i < n; i++) move[i] = free[i] + dot(C, i * n, x, 0, n) + dot(B, i * m, q, 0, m);
    };
    const parts = (cone, v) => cone.place.filter(at => at >= 0).map(at => v[at]);
    const room = cone => (cone.place[0] < 0 ? cone.room - Math.hypot(...parts(cone, move)) : move[cone.place[0]]);
    moves();
    const bears = cones.map(cone => Math.hypot(...parts(cone, x)) > room(cone));
    const idle = new Set(cones.flatMap((cone, k) => (bears[k] ? [] : cone.place)));
    const own = [...Array(n).keys()].filter(i => !idle.has(i)), count = own.length, at = new Map(own.map((i, k) => [i, k]));
    for (const i of idle) if (i >= 0) x[i] = 0;
    for (let step = 0, before = Infinity; step < 20; step++) {
      moves();
      const size = count + m, K = new Float64Array(size * size), off = new Float64Array(size);
      own.forEach((i, a) => {
        off[a] = -move[i];
        own.forEach((j, b) => { K[a * size + b] = C[i * n + j]; });
        for (let j = 0; j < m; j++) K[a * size + count + j] = K[(count + j) * size + a] = B[i * m + j];
      });
      cones.forEach((cone, k) => {
        if (!bears[k] || cone.place[0] >= 0) return;
        const f = parts(cone, x), force = Math.hypot(...f), places = cone.place.slice(1).filter(i => i >= 0).map(i => at.get(i));
        places.forEach((a, i) => {
          off[a] -= cone.room * f[i] / force;
          places.forEach((b, j) => {
            K[a * size + b] += cone.room / force * ((i === j ? 1 : 0) - f[i] * f[j] / (force * force));
          });
        });
      });
      for (let j = 0; j < m; j++) {
        K[(count + j) * (size + 1)] = -SPRING;
        off[count + j] = -loads[j];
        for (let i = 0; i < n; i++) off[count + j] -= B[i * m + j] * x[i];
      }
      const left = largest(off), is_close = left < 1e-10 * Math.max(1, largest(x));
      if (is_close && left >= before / 2) {
        const fits = cones.every((cone, k) => bears[k] || room(cone) > -1e-9);
        const pushes = cones.every(cone => cone.place[0] < 0 || x[cone.place[0]] >= 0);
        return fits && pushes ? { x, q } : null;
      }
      if (!(left < 10 * before)) return null;
      before = left;
      eliminated(K, size, off);
      own.forEach((i, a) => { x[i] += off[a]; });
      for (let j = 0; j < m; j++) q[j] += off[count + j];
    }
    return null;
  }

  /* --- A construct ---------------------------------------------------------------------------------- */
  class Construct {
    constructor(told) {
      this.told = told;
      this.name = told.name;
      this.terms = told.stiffness.map(doubles);
      this.F = doubles(told.forces);
      this.rigid = doubles(told.rigid);
      this.works = doubles(told.works);
      this.elsewhere = numbers(told.elsewhere, Float32Array);
      this.apart = doubles(told.apart);
      this.rim = doubles(told.rim);
      this.shaft = doubles(told.shaft_moved);
      this.parts = told.parts.map(part => ({ ...part, rows: doubles(part.rows) }));
      this.bearing = told.stops.filter(stop => stop.chosen);
      this.clear = told.stops.filter(stop => !stop.chosen);
      this.made = "";
    }
    weights(at) {
      return this.told.groups.flatMap(group => {
        const [first, second] = group.written;
        if (group.kind === "tissue") {
          const poisson = (3 * first - 2 * second) / (2 * (3 * first + second));
          return [at.tissue_modulus_mpa / (3 * (1 - 2 * poisson)), at.tissue_modulus_mpa / (2 * (1 + poisson))];
        }
        const factor = at[`${group.kind}_factor`] ?? 1;
        return group.written.map(one => factor * one);
      });
    }
    /* The load's one force, N. */
    push(at) {
      const { force } = this.told;
      const turned = at.tilt_deg ? tilted(force, at.tilt_deg * Math.PI / 180, at.azimuth_deg * Math.PI / 180) : force;
      return turned.map(one => at.weight_factor * one);
    }
    load(at) {
      const { load, per_force } = this.told;
      if (!at.tilt_deg) return load.map(one => at.weight_factor * one);
      const force = this.push(at);
      return per_force.map(row => row[0] * force[0] + row[1] * force[1] + row[2] * force[2]);
    }
    /* Products of all columns' forces with the answers to each; one factor serves every load. */
    answer(weights) {
      if (this.made === String(weights)) return;
      const n = this.told.coordinates, count = this.F.length / n, L = new Float64Array(n * n);
      for (let i = 0, at = 0; i < n; i++) for (let j = 0; j <= i; j++, at++) {
        let total = 0;
        for (let k = 0; k < weights.length; k++) total += weights[k] * this.terms[k][at];
        L[i * n + j] = total;
      }
      if (!factorize(L, n)) throw new Error("no answer at these materials");
      const Y = Float64Array.from(this.F), G = new Float64Array(count * count);
      for (let c = 0; c < count; c++) solveLower(L, n, Y, c * n);
      for (let c = 0; c < count; c++) for (let d = 0; d <= c; d++) {
        G[c * count + d] = G[d * count + c] = dot(Y, c * n, Y, d * n, n);
      }
      Object.assign(this, { L, Y, G, count, made: String(weights) });
    }
    /* Forces of the stops, N, and rigid motions, mm. */
    borne(load, play) {
      const units = this.told.units, modes = this.told.modes, n = this.count - units;
      const works = new Float64Array(modes);
      for (let j = 0; j < modes; j++) works[j] = dot(this.works, j * units, load, 0, units);
      if (!n) return { forces: new Float64Array(0), motion: works };
      const scale = new Float64Array(n), free = new Float64Array(n), cones = [];
      let at = 0;
      for (const stop of this.bearing) {
        let own = 0;
        for (let i = at; i < at + stop.size; i++) own = Math.max(own, this.G[(units + i) * (this.count + 1)]);
        for (let i = at; i < at + stop.size; i++) scale[i] = 1 / Math.sqrt(own);
        const room = (stop.bolt ? play : 1) * stop.clearance * scale[at];
        for (let i = at; i < at + stop.size; i++) {
          free[i] = scale[i] * (stop.rest[i - at] + dot(this.G, (units + i) * this.count, load, 0, units));
        }
        const place = Array.from({ length: stop.size }, (_, i) => at + i);
        if (stop.pushes) cones.push({ place, room, pushes: at });
        else if (room > 0) cones.push({ place: [-1, ...place], room });
        at += stop.size;
      }
      const widest = largest(this.rigid.map((one, i) => one * scale[Math.floor(i / modes)])) || 1;
      const drive = Math.max(largest(free), largest(works) / widest);
      const size = Math.sqrt(drive * Math.max(drive, ...cones.map(cone => cone.room))) || 1;
      const C = new Float64Array(n * n), B = new Float64Array(n * modes);
      for (let i = 0; i < n; i++) {
        for (let j = 0; j < n; j++) C[i * n + j] = scale[i] * scale[j] * this.G[(units + i) * this.count + units + j];
        for (let j = 0; j < modes; j++) B[i * modes + j] = scale[i] * this.rigid[i * modes + j] / widest;
        free[i] /= size;
      }
      for (const cone of cones) {
        cone.room /= size;
        if (cone.pushes !== undefined) free[cone.pushes] += cone.room;
      }
      const program = new Program(C, B, n, modes, cones, free, works.map(one => one / (widest * size))), near = program.run();
      const found = settled(program, near) ?? near;
      if (!near.isFound) throw new Error("no state of balance was found");
      const motion = found.q.map(one => one * size / widest);
      if (largest(motion) > FARTHEST_MM) throw new Error("nothing holds this load");
      return { forces: found.x.map((one, i) => one * scale[i] * size), motion };
    }
    /* Coordinates of the state of balance: the space, rigid motions, forces of stops, shares of loads. */
    state(at) {
      this.answer(this.weights(at));
      const load = this.load(at), { forces, motion } = this.borne(load, at.play_factor);
      const n = this.told.coordinates, x = new Float64Array(n), columns = [...load, ...forces];
      columns.forEach((share, c) => { if (share) for (let i = 0; i < n; i++) x[i] += share * this.Y[c * n + i]; });
      solveUpper(this.L, n, x);
      this.refuse(x, motion, at.play_factor);
      return Float64Array.from([...x, ...motion, ...forces, ...load]);
    }
    refuse(x, motion, play) {
      const width = x.length + motion.length;
      let row = 0;
      for (const stop of this.clear) {
        const moved = stop.rest.map((rest, i) => rest
          + dot(this.elsewhere, (row + i) * width, x, 0, x.length)
          + dot(this.elsewhere, (row + i) * width + x.length, motion, 0, motion.length));
        row += stop.size;
        const room = (stop.bolt ? play : 1) * stop.clearance;
        const over = (stop.pushes ? -moved[0] : Math.hypot(...moved)) - room;
        if (over > Math.max(OVERLAP_MM, OVERLAP_SHARE * room)) throw new Error(`${stop.touch} bears where the model has no answer`);
      }
    }
    values(at) { return this.found(at).values; }
    /* Values by quantity and place; how far the proximal bone end moves at any point against the distal
       one, and places up the bone, mm. */
    found(at) {
      const v = this.state(at), size = v.length, rows = [0, 1, 2, 3, 4, 5].map(i => dot(this.apart, i * size, v, 0, size));
      const { about, normal, points } = this.told, found = {};
      const moved = (x, y, z) => {
        const [a, b, c] = [x - about[0], y - about[1], z - about[2]], [, , , p, q, r] = rows;
        return [rows[0] + q * c - r * b, rows[1] + r * a - p * c, rows[2] + p * b - q * a];
      };
      const along = u => u[0] * normal[0] + u[1] * normal[1] + u[2] * normal[2];
      for (const [name, [x, y, z, length]] of Object.entries(points)) {
        const u = moved(x, y, z);
        found[`gap_movement/${name}`] = Math.hypot(...u);
        found[`gap_axial_movement/${name}`] = u[2];
        found[`gap_shear_movement/${name}`] = Math.hypot(u[0], u[1]);
        found[`interfragmentary_strain/${name}`] = 100 * along(u) / length;
      }
      let closing = 0, opening = 0;
      for (let k = 0; k < this.rim.length; k += 4) {
        const share = along(moved(this.rim[k], this.rim[k + 1], this.rim[k + 2])) / this.rim[k + 3];
        closing = Math.max(closing, -share); opening = Math.max(opening, share);
      }
      found["rim_strain/closing"] = 100 * closing;
      found["rim_strain/opening"] = 100 * opening;
      const weights = this.weights(at), forces = this.parts.map(part => {
        let total = dot(part.rows, part.terms.length * size, v, 0, size);
        part.terms.forEach((term, layer) => { total += weights[term] * dot(part.rows, layer * size, v, 0, size); });
        return total;
      });
      const all = forces.reduce((sum, one) => sum + one, 0);
      this.parts.forEach((part, k) => { found[`share_at_gap/${part.name}`] = all ? 100 * forces[k] / all : 0; });
      const shaft = this.told.shaft.map((_, k) => [0, 1, 2].map(i => dot(this.shaft, (3 * k + i) * size, v, 0, size)));
      return { values: found, moved, shaft, state: v };
    }
  }

  /* A force turned from its own direction by an angle, towards an azimuth round it; 0 is lateral. */
  function tilted(force, angle, azimuth) {
    const size = Math.hypot(...force), own = force.map(one => one / size);
    let lateral = own.map((one, i) => own[0] * one - (i ? 0 : 1));
    const length = Math.hypot(...lateral);
    lateral = lateral.map(one => one / length);
    const other = [own[1] * lateral[2] - own[2] * lateral[1], own[2] * lateral[0] - own[0] * lateral[2],
      own[0] * lateral[1] - own[1] * lateral[0]];
    return own.map((one, i) => size * (Math.cos(angle) * one
      + Math.sin(angle) * (Math.cos(azimuth) * lateral[i] + Math.sin(azimuth) * other[i])));
  }
  return { Construct, Program, numbers, settled };
})();
