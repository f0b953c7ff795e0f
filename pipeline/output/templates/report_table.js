(async function () {
  "use strict";
  const source = document.getElementById("sorting").textContent;
  const address = URL.createObjectURL(new Blob([source], { type: "text/javascript" }));
  const { ITable } = await import(address);
  URL.revokeObjectURL(address);
  const table = document.getElementById("results");
  const made = new ITable(table, {
    pageLength: 25, lengthMenu: [10, 25, 100, -1], order: [], autoWidth: false,
    layout: { topStart: "pageLength", topEnd: "search", bottomStart: "info", bottomEnd: "paging" },
    language: {
      search: "Filter all columns", lengthMenu: "_MENU_ rows", infoFiltered: "(of _MAX_ in all)",
      info: "Rows _START_ to _END_ of _TOTAL_, page _PAGE_ of _PAGES_", infoEmpty: "No row",
    },
  });
  const grid = made.dt || made;
  table.shownRows = () => grid.rows({ search: "applied", page: "all" }).nodes().toArray();
  document.querySelectorAll("[data-filter]").forEach(select => {
    select.addEventListener("change", () => {
      grid.column(Number(select.dataset.filter)).search(select.value, { exact: select.value !== "" }).draw();
    });
  });
  document.querySelectorAll("table.sorts").forEach(one => {
    new ITable(one, { paging: false, searching: false, info: false, order: [], autoWidth: false });
  });
  table.dataset.ready = "yes";
})();
