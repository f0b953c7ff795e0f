(function () {
  "use strict";
  const all = (what, where = document) => [...where.querySelectorAll(what)];

  // Contents: which section is in view, and on narrow screens a list that opens.
  const nav = document.getElementById("contents"), opener = nav.querySelector("button");
  const links = all("a", nav).filter(link => document.getElementById(link.hash.slice(1)));
  const places = links.map(link => document.getElementById(link.hash.slice(1)));
  function mark() {
    const line = innerHeight / 3, end = scrollY + innerHeight >= document.documentElement.scrollHeight - 2;
    const above = places.filter(place => place.getBoundingClientRect().top <= line);
    const here = end ? links.length - 1 : Math.max(0, above.length - 1);
    links.forEach((link, number) => {
      if (number === here) link.setAttribute("aria-current", "true"); else link.removeAttribute("aria-current");
    });
    opener.querySelector("span").textContent = links[here].textContent;
  }
  let waits = false;
  function soon() {
    if (waits) return;
    waits = true;
    requestAnimationFrame(() => { waits = false; mark(); });
  }
  function open(whether) {
    nav.classList.toggle("open", whether);
    opener.setAttribute("aria-expanded", String(whether));
  }
  addEventListener("scroll", soon, { passive: true });
  addEventListener("resize", soon);
  opener.addEventListener("click", () => open(!nav.classList.contains("open")));
  nav.addEventListener("click", event => { if (event.target.closest("a")) open(false); });
  mark();

  // What stays in sight covers what one jumps to, unless the page knows how high it is.
  const bar = document.querySelector(".always");
  new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${bar.offsetHeight}px`)).observe(bar);

  // The library that sorts tables asks for a class where the page's own style asks the reader's wish.
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const dress = () => document.documentElement.classList.toggle("dark", dark.matches);
  dark.addEventListener("change", dress);
  dress();

  // Flags in words, beside what they flag.
  const tip = document.getElementById("tip");
  let told = null;
  function put() {
    const at = told.getBoundingClientRect(), own = tip.getBoundingClientRect();
    const below = at.bottom + 6 + own.height < innerHeight;
    tip.style.left = `${Math.max(8, Math.min(at.left, innerWidth - own.width - 8))}px`;
    tip.style.top = `${below ? at.bottom + 6 : at.top - own.height - 6}px`;
  }
  function tell(event) {
    const flag = event.target.closest("[data-flags]");
    if (!flag) return;
    told = flag;
    tip.textContent = told.dataset.flags;
    tip.showPopover();
    put();
  }
  function hush() {
    if (told) tip.hidePopover();
    told = null;
  }
  for (const name of ["focusin", "mouseover"]) addEventListener(name, tell);
  for (const name of ["focusout", "mouseout"]) addEventListener(name, hush);
  addEventListener("scroll", () => { if (told) put(); }, { passive: true, capture: true }); // of tables too
  addEventListener("keydown", event => { if (event.key === "Escape") { hush(); open(false); } });

  // Downloads: a table as CSV as it is shown, a chart as SVG, a picture as it is.
  const plain = text => text.replace(/\s+/g, " ").trim();
  function parts(cell) {
    const copy = cell.cloneNode(true), found = {};
    for (const name of ["error", "note"]) {
      found[name] = plain(all(`.${name}`, copy).map(one => { one.remove(); return one.textContent; }).join("; "));
    }
    all(".flag, summary, .dt-column-order", copy).forEach(one => one.remove());
    found.text = plain(copy.textContent);
    found.flags = all("[data-flags]", cell).map(one => one.dataset.flags).join("; ");
    return found;
  }
  function quoted(text) {
    const bare = text.replace(/^\u2212(?=\d)/, "-"), said = bare === "\u2013" ? "" : bare;
    const safe = /^[=+@\t]/.test(said) || /^-(?!\d)/.test(said) ? `'${said}` : said; // no formula of a sheet
    return /[",\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  }
  function csv(table) {
    const body = (table.shownRows ? table.shownRows() : all("tbody tr", table)).map(row => [...row.cells].map(parts));
    const heads = all("thead th", table).map(head => parts(head).text);
    const columns = heads.flatMap((head, at) => [["text", head], ["error", `${head} \u00b1`], ["note", `${head}, note`], ["flags", "flags"]]
      .filter(([name]) => name === "text" || body.some(row => row[at][name]))
      .map(([name, words]) => [words, row => row[at][name].replace(/^\u00b1 /, "")]));
    return [columns.map(([words]) => words), ...body.map(row => columns.map(([, read]) => read(row)))]
      .map(cells => cells.map(quoted).join(",")).join("\r\n") + "\r\n";
  }
  function save(name, address) {
    const link = document.createElement("a");
    link.href = address;
    link.download = name;
    link.click();
  }
  function saved(name, kind, text) {
    const address = URL.createObjectURL(new Blob([text], { type: kind }));
    save(name, address);
    setTimeout(() => URL.revokeObjectURL(address), 10000);
  }
  addEventListener("click", event => {
    const button = event.target.closest("[data-get]");
    if (!button) return;
    const figure = button.closest("figure"), get = button.dataset.get;
    if (get === "image") save(`${figure.id}.webp`, figure.querySelector("img").src);
    if (get === "svg") saved(`${figure.id}.svg`, "image/svg+xml", new XMLSerializer().serializeToString(figure.querySelector("svg")));
    if (get === "csv") saved(`${figure.id}.csv`, "text/csv", "\ufeff" + csv(figure.querySelector("table")));
  });
})();
