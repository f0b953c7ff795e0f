// Puts the charts of the chosen stage and load into the page; those of others lie in templates.
(function () {
  "use strict";
  const by = id => document.getElementById(id), stage = by("chart-stage"), load = by("chart-load");
  const kept = new Map();
  const key = one => `${one.dataset.stage}\n${one.dataset.load}`;
  for (const one of document.querySelectorAll("#charts template")) kept.set(key(one), one.content);
  for (const one of document.querySelectorAll("#charts .chosen")) {
    const content = document.createDocumentFragment();
    content.append(...[...one.childNodes].map(node => node.cloneNode(true)));
    kept.set(key(one), content);
  }
  function show(place, chosen) {
    place.dataset.stage = stage.value;
    if (place.dataset.load) place.dataset.load = chosen;
    const found = kept.get(key(place));
    place.replaceChildren(...(found ? [found.cloneNode(true)] : []));
    return Boolean(found);
  }
  function choose() {
    const [some] = [show(by("charts-of-load"), load.value), show(by("charts-of-stage"), "")];
    by("charts-shown").textContent = `Stage ${stage.value} and load ${load.value}`;
    by("charts-none").hidden = some;
  }
  stage.addEventListener("change", choose);
  load.addEventListener("change", choose);
})();
