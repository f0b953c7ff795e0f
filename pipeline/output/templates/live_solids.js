/* The view of one construct in Explore: its colours follow the controls. `first` are the answers with the
   inputs of the study, which the colours' ranges are of. Null if no surface has such colours. */
const liveSolids = (() => {
  "use strict";
  function on(constructs, first, off) {
    if (!document.getElementById("solids")) return null;
    const find = id => document.getElementById(`live-${id}`), panel = find("solid");
    const data = turntable.solids(), { row, bar, rounded } = turntable;
    const shown = constructs.map((one, number) => [data.constructs.find(other => other.name === one.name), number])
      .filter(([surfaces]) => surfaces && Object.keys(surfaces.fields).length).map(([surfaces, number]) => ({ surfaces, number, fields: fields_of(surfaces) }));
    if (!shown.length) return null;
    const state = { at: 0, field: "stress", near: false }, place = panel.querySelector(".turning");
    const own = () => shown[state.at], plain = name => turntable.plain(place, name);
    const tops = {};
    let answers = [], metal = 1;

    function fields_of(surfaces) {
      return Object.fromEntries(Object.entries(surfaces.fields).map(([name, told]) => [name, new liveColours.Field(told)]));
    }
    const levels = (one, field, answer, factor) => one.fields[field].levels(answer.state).map(v => (field === "stress" ? factor * v : v));
    function rows_of(shell, field) { // which row of the values each point of a surface has
      shell.rows ||= Array.from(liveModel.numbers(shell.near, Uint32Array), cell => field.row_of.get(cell));
      return shell.rows;
    }
    const is_painted = shell => shell.shows === state.field && shell.near && own().fields[state.field] && answers[own().number]?.state;
    function colour_of(shell) {
      return { hidden: false, colour: turntable.uncoloured(place, shell), field: is_painted(shell) ? shell.painted : null };
    }
    function paint() {
      const { fields, surfaces, number } = own(), field = fields[state.field], answer = answers[number];
      if (!field || !answer?.state) return;
      const now = levels(own(), state.field, answer, metal);
      for (const shell of surfaces.shells.filter(is_painted)) shell.painted = liveColours.painted(rows_of(shell, field), now, tops[state.field], data.top);
    }
    function why() {
      if (!own().fields[state.field]) return state.field === "stress" ? "no implant" : "no tissue";
      return answers[own().number]?.why;
    }
    const said = textContent => Object.assign(document.createElement("li"), { textContent });
    function legend() {
      const look = data.looks[state.field], reason = why(), rows = [];
      if (reason) rows.push(said(`No colours: ${reason}.`));
      else rows.push(bar(look, tops[state.field]), row(look.over, `above ${rounded(tops[state.field])}: the highest hundredth of all constructs' cells with the inputs of the study`),
        said(`In 99 of 100 cells within ± ${rounded(off(own().number, state.field))} of what the reduced model has, at random settings; the mesh adds its own.`));
      if (state.field === "stress") rows.push(row(plain("--tissue"), "tissue, not coloured"));
      else rows.push(row(plain("--steel"), "implants, not coloured"));
      rows.push(row(plain("--pale"), "bone, not coloured"));
      panel.querySelector(".legend").replaceChildren(...rows);
    }
    function draw() {
      panel.querySelectorAll("[data-live-field]").forEach(b => b.setAttribute("aria-pressed", String(b.dataset.liveField === state.field)));
      find("near").setAttribute("aria-pressed", String(state.near));
      paint();
      legend();
      view.again();
    }
    function label(seen_from) {
      const words = { stress: "implant stress", strain: "tissue strain" }[state.field], reason = why();
      return `${own().surfaces.name}, cut in half, ${state.near ? "near the gap" : "all of it"}, ${seen_from}, colours show ${reason ? `no ${words}: ${reason}` : `${words} with the inputs of now`}`;
    }
    const view = turntable.on(place, data, {
      construct: () => own().surfaces, colour_of, label, is_half: () => true, is_near: () => state.near, changed: draw,
      look: () => data.looks[state.field], reset: () => { state.near = false; draw(); },
    });
    if (!view) { panel.querySelector(".tools").hidden = true; panel.hidden = false; return null; }
    function ready() {
      const select = find("construct");
      select.replaceChildren(...shown.map(({ surfaces }, k) => new Option(surfaces.name, String(k))));
      select.addEventListener("change", () => { state.at = Number(select.value); view.centred(); draw(); });
      panel.querySelectorAll("[data-live-field]").forEach(b => b.addEventListener("click", () => { state.field = b.dataset.liveField; draw(); }));
      find("near").addEventListener("click", () => { state.near = !state.near; view.centred(1); draw(); });
      find("view").addEventListener("click", () => view.reset());
      panel.hidden = false;
      view.listen();
    }
    for (const field of Object.keys(data.looks)) {
      const every = shown.filter(one => one.fields[field] && first[one.number].state).map(one => levels(one, field, first[one.number], 1));
      tops[field] = liveColours.top_of(every.flatMap(one => Array.from(one)));
    }
    ready();
    function follow(found, factor) {
      answers = found;
      metal = factor;
      draw();
    }
    return { follow };
  }
  return { on };
})();
