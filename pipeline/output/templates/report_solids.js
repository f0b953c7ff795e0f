(function () {
  "use strict";
  const data = turntable.solids();
  const place = document.getElementById("turning"), { row, bar, rounded, is_tissue } = turntable;
  const by = id => document.getElementById(id);
  const first = data.constructs.findIndex(one => one.shells.some(shell => !shell.cut));
  const state = { construct: Math.max(0, first), field: "parts", half: true, near: false };

  const construct = () => data.constructs[state.construct];
  const chosen = () => ({ stage: by("solid-stage").value, load: by("solid-load").value });
  function number() { // of the stage and load among what is stored; -1 where it is not
    const { stage, load } = chosen();
    return data.shows.findIndex(one => one.stage === stage && one.load === load);
  }
  const is_filled = () => data.stages[chosen().stage] > 0;
  const has_gap = () => construct().legend.some(row => is_tissue(row.role));

  const plain = name => turntable.plain(place, name);
  function colour_of(shell) {
    const at = number();
    const hidden = is_tissue(shell.role) && !is_filled();
    if (state.field === "parts") return { hidden, colour: shell.colour, field: null };
    const colour = turntable.uncoloured(place, shell);
    const has = shell.shows === state.field && at >= 0 && shell.fields[at];
    return { hidden, colour, field: has ? at : null };
  }
  const paints = () => construct().shells.some(shell => colour_of(shell).field !== null && !colour_of(shell).hidden);

  function label(seen_from) {
    const { stage, load } = chosen(), words = { parts: "parts", stress: "implant stress", strain: "tissue strain" };
    const shows = state.field === "parts" || paints() ? words[state.field] : `no ${words[state.field]}: ${why_plain()}`;
    const what = `${construct().name}, ${state.half ? "cut in half" : "whole"}, ${!state.near || !construct().gap ? "all of it" : has_gap() ? "near the gap" : "where others have the gap"}`;
    return `${what}, ${seen_from}, stage ${stage}, load ${load}, colours show ${shows}`;
  }
  function why_plain() {
    const { stage, load } = chosen();
    if (state.field === "stress" && !construct().shells.some(shell => shell.shows === "stress")) return "no implant";
    if (state.field === "strain" && !has_gap()) return "no gap in this bone";
    if (state.field === "strain" && !is_filled()) return `nothing is in the gap at stage ${stage}`;
    return `no fields are stored here of stage ${stage} under load ${load}, or it was not solved`;
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
  function draw() {
    document.querySelectorAll("[data-field]").forEach(b => b.setAttribute("aria-pressed", String(b.dataset.field === state.field)));
    by("half").setAttribute("aria-pressed", String(state.half));
    by("near").setAttribute("aria-pressed", String(state.near));
    by("near").disabled = !construct().gap;
    legend();
    view.again();
  }

  function on(id, change) {
    by(id).addEventListener("click", () => { change(); draw(); });
  }
  function ready() {
    view.listen();
    by("construct").value = String(state.construct);
    by("construct").addEventListener("change", event => { state.construct = Number(event.target.value); view.centred(); draw(); });
    for (const id of ["solid-stage", "solid-load"]) by(id).addEventListener("change", draw);
    document.querySelectorAll("[data-field]").forEach(b => b.addEventListener("click", () => { state.field = b.dataset.field; draw(); }));
    on("half", () => { state.half = !state.half; });
    on("near", () => { state.near = !state.near; view.centred(1); });
    on("left", () => view.step(-1, 0));
    on("right", () => view.step(1, 0));
    on("above", () => view.step(0, 1));
    on("below", () => view.step(0, -1));
    on("larger", () => view.larger(1));
    on("smaller", () => view.larger(-1));
    on("reset", () => view.reset());
    draw();
  }
  const view = turntable.on(place, data, {
    construct, colour_of, label, is_half: () => state.half, is_near: () => state.near, changed: draw,
    look: () => (state.field === "parts" ? null : data.looks[state.field]),
    reset: () => { state.near = false; draw(); },
  });
  if (view) turntable.when_seen(place, ready);
  else document.querySelectorAll("#constructs .tools, #turning-keys").forEach(one => { one.hidden = true; });
})();
