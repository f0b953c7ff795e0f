"""The shape of the source, read from its syntax trees: who may import whom, and how long things get."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from pipeline.storage.provenance import ROOTS, computing

ROOT = Path(__file__).parents[1]

# Each room of the house and the rooms that its modules may import, besides their own.
GROUND = {"geometries", "pipeline"}  # of pipeline itself: errors, cautions
MODEL = GROUND | {"pipeline.loading", "pipeline.fem", "pipeline.measures"}
RESULTS = MODEL | {"pipeline.study", "pipeline.storage", "pipeline.tables"}
ROOMS = {
    "geometries": set(),
    "pipeline": {"geometries"},
    "pipeline.loading": GROUND,
    "pipeline.fem": GROUND,
    "pipeline.measures": GROUND | {"pipeline.fem"},
    "pipeline.reduced": GROUND | {"pipeline.fem", "pipeline.measures"},
    "pipeline.study": GROUND | {"pipeline.loading", "pipeline.measures"},
    "pipeline.storage": GROUND | {"pipeline.fem"},
    "pipeline.tables": GROUND | {"pipeline.measures", "pipeline.study", "pipeline.storage"},
    "pipeline.sweeps": GROUND | {"pipeline.measures", "pipeline.study", "pipeline.tables"},
    "pipeline.output": GROUND
    | {"pipeline.measures", "pipeline.study", "pipeline.storage", "pipeline.tables"},
    "pipeline.run": RESULTS | {"pipeline.reduced", "pipeline.sweeps", "pipeline.output"},
    "pipeline.writing": RESULTS | {"pipeline.run"},
    "pipeline.sharing": RESULTS | {"pipeline.run"},
    "pipeline.verification": RESULTS | {"pipeline.run"},
    "pipeline.door": RESULTS | {"pipeline.cli", "pipeline.output", "pipeline.run"},
    "pipeline.cli": RESULTS
    | {"pipeline.run", "pipeline.output", "pipeline.writing", "pipeline.sharing"}
    | {"pipeline.verification"},
}
FLOORS = {  # inside geometries: a module may import those of a lower number, no neighbours
    "assembly": 8,
    **dict.fromkeys(("touch", "facts"), 7),
    **dict.fromkeys(("lint", "loadpath", "canal"), 6),
    **dict.fromkeys(("nail", "plate", "defect", "stem", "clearance"), 5),
    **dict.fromkeys(("femur", "rigidity"), 4),
    **dict.fromkeys(("profiles", "constructs"), 3),
    **dict.fromkeys(("bone", "plating", "rods"), 2),
    **dict.fromkeys(("parameters", "waves", "slices"), 1),
    "bolts": 0.5,
    **dict.fromkeys(("solids", "materials", "base"), 0),
    **dict.fromkeys(("readout", "tools", "stops"), -1),
    **dict.fromkeys(("faces", "bow", "errors", "sources"), -2),
    "frame": -3,
}
OWNERS = {  # a library and the only modules or packages that may import it
    "gmsh": "pipeline.fem.meshing.mesher",
    "numba": "pipeline.fem.kernels",
    "llvmlite": "pipeline.fem.kernels",
    "pymetis": "pipeline.fem.solver.elimination",
    "skfem": "pipeline.fem",
    "dask": "pipeline.run.engine",
    "distributed": "pipeline.run.engine",
    "filelock": "pipeline.storage.casebook",
    "meshio": "pipeline.storage.fields",
    "pyarrow": "pipeline.storage.parquet",
    "SALib": "pipeline.sweeps.effects",
    "pandas": "pipeline.door",
    "pyvista": "pipeline.output",
    "vtk": "pipeline.output",
    "vtkmodules": "pipeline.output",
    "matplotlib": "pipeline.output",
    "mpl_toolkits": "pipeline.output",
    "jinja2": "pipeline.output",
    "xlsxwriter": "pipeline.output.spreadsheet",
    "PIL": "pipeline.output.report.pictures",
    "itables": "pipeline.output.report.sorting",
    "typer": "pipeline.cli",
}
MODULE_LINES, FUNCTION_LINES, ARGUMENTS = 300, 60, 6
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "Makefile"} | {
    "pipeline", "geometries", "configs", "tests", "results"
}  # fmt: skip


def _name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


FILES = {
    _name(path): path for room in ("pipeline", "geometries") for path in (ROOT / room).rglob("*.py")
}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in FILES.items()}
Function = ast.FunctionDef | ast.AsyncFunctionDef


def _imports(name: str) -> Iterator[str]:
    """Full names of what a module imports, wherever the statement stands."""
    package = name.split(".") if FILES[name].stem == "__init__" else name.split(".")[:-1]
    for node in ast.walk(TREES[name]):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            source = ".".join([*base, *([node.module] if node.module else [])])
            for alias in node.names:
                inner = f"{source}.{alias.name}"
                yield inner if inner in FILES else source


OURS = {
    name: {i for i in _imports(name) if i.split(".")[0] in ("pipeline", "geometries")} for name in FILES
}


def _room(name: str) -> str:
    if name == "pipeline.__main__":
        return "pipeline.cli"
    return max((r for r in ROOMS if name == r or name.startswith(f"{r}.")), key=len)


def _is_command(name: str, node: Function) -> bool:
    return name == f"pipeline.cli.commands.{node.name}"


def _functions(name: str) -> Iterator[tuple[str, Function]]:
    for node in ast.walk(TREES[name]):
        if isinstance(node, Function):
            yield f"{name}:{node.lineno} {node.name}", node


def _docstring_lines(node: Function) -> int:
    first = node.body[0]
    return (first.end_lineno or 0) - first.lineno + 1 if ast.get_docstring(node) else 0


def _code_lines(node: Function, lines: list[str]) -> int:
    """Lines of a function that are neither blank, comment nor its docstring."""
    body = [line.strip() for line in lines[node.lineno - 1 : node.end_lineno]]
    return sum(bool(line) and not line.startswith("#") for line in body) - _docstring_lines(node)


def _public(node: ast.Module | ast.ClassDef, where: str) -> Iterator[tuple[str, ast.AST]]:
    """A module or class, and the public functions and classes in it."""
    yield where, node
    for child in node.body:
        if isinstance(child, Function | ast.ClassDef) and not child.name.startswith("_"):
            place = f"{where}.{child.name}"
            if isinstance(child, ast.ClassDef):
                yield from _public(child, place)
            else:
                yield place, child


def _report(offenders: list[str]) -> None:
    assert not offenders, "\n" + "\n".join(sorted(offenders))


def test_rooms_import_only_what_lies_below_them():
    _report([
        f"{name} must not import {target}"
        for name, targets in OURS.items()
        for target in targets
        if _room(target) not in ROOMS[_room(name)] | {_room(name)}
    ])  # fmt: skip


def test_every_module_has_a_room():
    _report([
        f"{name}: say in ROOMS or FLOORS what it may import"
        for name in FILES
        if (_room(name) == "pipeline" and len(FILES[name].relative_to(ROOT).parts) > 2)
        or (_room(name) == "geometries" and name.partition(".")[2] not in {*FLOORS, ""})
    ])  # fmt: skip


def test_the_house_is_small():
    assert len(ROOMS) <= 17
    assert len(list((ROOT / "pipeline").glob("*.py"))) <= 4


def test_arrows_between_folders_run_one_way():
    """Every folder counts, those inside rooms too; a cycle of any length is refused."""

    def folder(name: str) -> Path:
        own = ROOT / "pipeline" / "cli" if name == "pipeline.__main__" else FILES[name].parent
        return own.relative_to(ROOT)

    arrows: dict[Path, set[Path]] = {}
    for name, targets in OURS.items():
        beside = {folder(target) for target in targets} - {folder(name)}
        arrows.setdefault(folder(name), set()).update(beside)
    try:
        TopologicalSorter(arrows).prepare()
    except CycleError as error:
        _report([" -> ".join(str(one) for one in error.args[1])])


def test_geometries_import_only_lower_floors():
    floors = {f"geometries.{name}": floor for name, floor in FLOORS.items()}
    _report([
        f"{name} must not import {target}"
        for name, floor in floors.items()
        for target in OURS[name]
        if floors.get(target, floor) >= floor
    ])  # fmt: skip


def test_no_import_cycles():
    try:
        TopologicalSorter(OURS).prepare()
    except CycleError as error:
        _report([" -> ".join(error.args[1])])


def test_each_library_has_one_owner():
    _report([
        f"{name} must not import {library}; only {OWNERS[library]} may"
        for name in FILES
        for library in {target.split(".")[0] for target in _imports(name)} & set(OWNERS)
        if not f"{name}.".startswith(f"{OWNERS[library]}.")
    ])  # fmt: skip


def test_modules_are_short():
    sizes = {name: len(path.read_text().splitlines()) for name, path in FILES.items()}
    _report([f"{n}: {s} lines, allowed {MODULE_LINES}" for n, s in sizes.items() if s > MODULE_LINES])


def test_functions_are_short():
    _report([
        f"{place}: {size} code lines, allowed {FUNCTION_LINES}"
        for name, path in FILES.items()
        for place, node in _functions(name)
        if (size := _code_lines(node, path.read_text().splitlines())) > FUNCTION_LINES
    ])  # fmt: skip


def test_functions_take_few_arguments():
    _report([
        f"{place}: {len(arguments)} arguments, allowed {ARGUMENTS}"
        for name in FILES
        for place, node in _functions(name)
        for a in [node.args]
        for arguments in [[*a.posonlyargs, *a.args, *a.kwonlyargs, *filter(None, [a.vararg, a.kwarg])]]
        if len(arguments) > ARGUMENTS and not _is_command(name, node)
    ])  # fmt: skip


def test_no_two_classes_share_a_name():
    places: dict[str, list[str]] = {}
    for name, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(name)
    _report([f"{one} is in {', '.join(found)}" for one, found in places.items() if len(found) > 1])


def test_everything_public_has_a_docstring():
    _report([
        f"{place} has no docstring"
        for name, tree in TREES.items()
        for place, node in _public(tree, name)
        if not ast.get_docstring(node)
    ])  # fmt: skip


def test_only_the_command_line_prints_and_exits():
    _report([
        f"{name}:{node.lineno} {ast.unparse(node)}"
        for name, tree in TREES.items()
        if _room(name) != "pipeline.cli"
        for node in ast.walk(tree)
        if (isinstance(node, ast.Name) and node.id in {"print", "SystemExit", "exit", "quit"})
        or (isinstance(node, ast.Attribute) and ast.unparse(node) in {"sys.exit", "os._exit"})
        or (isinstance(node, ast.ImportFrom) and node.module == "sys")
    ])  # fmt: skip


def test_no_error_is_swallowed():
    """No bare except, and nothing as wide as Exception unless it does something."""
    _report([
        f"{name}:{node.lineno} {ast.unparse(node).splitlines()[0]}"
        for name, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ExceptHandler)
        and (
            node.type is None
            or "BaseException" in ast.unparse(node.type)
            or (
                "Exception" in ast.unparse(node.type).replace("(", "").replace(")", "").split(", ")
                and all(isinstance(step, ast.Pass | ast.Continue) for step in node.body)
            )
        )
    ])  # fmt: skip


def test_top_level_holds_only_what_belongs_there():
    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listing.returncode != 0:
        pytest.skip("not a git checkout")
    tracked = {line.split("/")[0] for line in listing.stdout.splitlines()}
    stray = {name for name in tracked if not name.startswith(".")} - TOP_LEVEL
    missing = {name for name in TOP_LEVEL - {"DEVELOPERS.md"} if not (ROOT / name).exists()}
    _report([*(f"{n} does not belong there" for n in stray), *(f"{n} is missing" for n in missing)])


def test_nothing_runs_what_it_reads():
    """No pickles and no evaluation: result folders and study files of others are data."""
    _report([
        f"{name}:{node.lineno} {ast.unparse(node)}"
        for name, tree in TREES.items()
        for node in ast.walk(tree)
        if (isinstance(node, ast.Name) and node.id in {"eval", "exec", "compile", "__import__"})
        or (
            isinstance(node, ast.Import | ast.ImportFrom)
            and {"pickle", "cloudpickle", "dill", "shelve", "marshal", "joblib"}
            & {*(alias.name for alias in node.names), getattr(node, "module", "")}
        )
    ])  # fmt: skip


def test_what_computes_is_all_that_solving_and_recording_import():
    """By the syntax trees: a result made by other code may be another number."""
    found: set[str] = set()
    waiting = list(ROOTS)
    while waiting:
        name = waiting.pop()
        if name and name not in found:
            found.add(name)
            waiting += [name.rpartition(".")[0], *OURS[name]]
    assert set(computing()) == found
    digits, meshes, solver = (
        "pipeline.tables.rows",
        "pipeline.storage.meshes",
        "pipeline.fem.kernels.lanes",
    )
    assert {digits, meshes, solver, "pipeline.storage.files", "geometries.assembly"} <= found
    assert not [name for name in found if name.startswith(("pipeline.cli", "pipeline.output"))]
