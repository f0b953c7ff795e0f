"""The shape of the source, read from its syntax trees: who may import whom, and how long things get."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# Each room of the house and the rooms that its modules may import, besides their own.
GROUND = {"geometries", "pipeline.errors"}
PHYSICS = GROUND | {"pipeline.fem", "pipeline.measures", "pipeline.measures.dictionary"}
ROOMS = {
    "geometries": set(),
    "pipeline": set(),
    "pipeline.__main__": {"pipeline.cli"},
    "pipeline.errors": {"geometries"},
    "pipeline.clock": set(),
    "pipeline.brackets": {"geometries", "pipeline.comparisons"},
    "pipeline.lookup": {"pipeline.comparisons", "pipeline.measures.dictionary"},
    "pipeline.published": {"geometries", "pipeline.lookup", "pipeline.measures.dictionary"},
    "pipeline.question": {"geometries", "pipeline.measures.dictionary"},
    "pipeline.sweeps": GROUND
    | {"pipeline.comparisons", "pipeline.config", "pipeline.measures.dictionary"},
    "pipeline.sharing": PHYSICS
    | {"pipeline.caution", "pipeline.casebook", "pipeline.checksums", "pipeline.comparisons"}
    | {"pipeline.config", "pipeline.lookup", "pipeline.planning", "pipeline.sampling"}
    | {"pipeline.store"},
    "pipeline.config": GROUND
    | {"pipeline.brackets", "pipeline.inputs", "pipeline.statics", "pipeline.units"}
    | {"pipeline.measures.dictionary", "pipeline.published", "pipeline.question"}
    | {"pipeline.sweeps"},
    "pipeline.readings": PHYSICS,
    "pipeline.superposition": PHYSICS | {"pipeline.applied", "pipeline.inputs", "pipeline.statics"},
    "pipeline.fem": GROUND,
    "pipeline.measures": GROUND | {"pipeline.fem", "pipeline.measures.dictionary"},
    "pipeline.measures.dictionary": set(),
    "pipeline.store": {"pipeline.errors", "pipeline.fem"},
    "pipeline.casebook": GROUND | {"pipeline.checksums", "pipeline.store"},
    "pipeline.provenance": set(),
    "pipeline.meshes": GROUND | {"pipeline.fem", "pipeline.provenance", "pipeline.store"},
    "pipeline.engine": GROUND | {"pipeline.fem"},
    "pipeline.activities": set(),
    "pipeline.loads_input": GROUND,
    "pipeline.units": {"pipeline.loads_input"},
    "pipeline.inputs": GROUND | {"pipeline.loads_input", "pipeline.units"},
    "pipeline.applied": GROUND | {"pipeline.activities", "pipeline.inputs"},
    "pipeline.statics": GROUND | {"pipeline.applied", "pipeline.inputs"},
    "pipeline.case": PHYSICS
    | {"pipeline.clock", "pipeline.inputs", "pipeline.config", "pipeline.meshes"}
    | {"pipeline.readings", "pipeline.superposition", "pipeline.brackets", "pipeline.provenance"},
    "pipeline.record": PHYSICS
    | {"pipeline.clock", "pipeline.store", "pipeline.case", "pipeline.casebook", "pipeline.config"}
    | {"pipeline.provenance"},
    "pipeline.jobs": PHYSICS
    | {"pipeline.case", "pipeline.clock", "pipeline.meshes", "pipeline.record", "pipeline.store"},
    "pipeline.planning": GROUND
    | {"pipeline.case", "pipeline.config", "pipeline.fem", "pipeline.meshes", "pipeline.superposition"}
    | {"pipeline.sweeps"},
    "pipeline.collect": GROUND
    | {"pipeline.added_plate", "pipeline.brackets", "pipeline.case", "pipeline.casebook"}
    | {"pipeline.comparisons", "pipeline.config", "pipeline.jobs", "pipeline.planning"}
    | {"pipeline.measures.dictionary", "pipeline.published", "pipeline.record", "pipeline.store"}
    | {"pipeline.sweeps"},
    "pipeline.added_plate": {"geometries", "pipeline.case", "pipeline.measures"},
    "pipeline.study": GROUND
    | {"pipeline.casebook", "pipeline.collect", "pipeline.config", "pipeline.engine", "pipeline.fem"}
    | {"pipeline.jobs", "pipeline.planning", "pipeline.record", "pipeline.store"},
    "pipeline.comparisons": {"pipeline.measures.dictionary"},
    "pipeline.convergence": set(),
    "pipeline.verification": PHYSICS
    | {"pipeline.config", "pipeline.case", "pipeline.inputs", "pipeline.store"}
    | {"pipeline.superposition"},
    "pipeline.levels": {"pipeline.config", "pipeline.convergence", "pipeline.fem", "pipeline.store"}
    | {"pipeline.borrowed", "pipeline.casebook", "pipeline.collect", "pipeline.comparisons"}
    | {"pipeline.jobs", "pipeline.planning", "pipeline.study"},
    "pipeline.borrowed": {"pipeline.comparisons"},
    "pipeline.sampling": {"pipeline.case"},
    "pipeline.caution": set(),
    "pipeline.schema": {"pipeline.config"},
    "pipeline.starting": GROUND,
    "pipeline.writing": PHYSICS
    | {"pipeline.brackets", "pipeline.caution", "pipeline.config", "pipeline.convergence"}
    | {"pipeline.inputs", "pipeline.loads_input", "pipeline.planning", "pipeline.sweeps"}
    | {"pipeline.units"},
    "pipeline.checksums": GROUND,
    "pipeline.output": GROUND
    | {
        "pipeline.casebook",
        "pipeline.caution",
        "pipeline.comparisons",
        "pipeline.config",
        "pipeline.store",
    }
    | {"pipeline.measures.dictionary"},
    "pipeline.report": GROUND
    | {"pipeline.casebook", "pipeline.comparisons", "pipeline.config", "pipeline.store"}
    | {"pipeline.measures.dictionary", "pipeline.output", "pipeline.sharing"},
    "pipeline.cli": GROUND
    | {"pipeline.casebook", "pipeline.config", "pipeline.engine", "pipeline.jobs", "pipeline.levels"}
    | {"pipeline.output", "pipeline.planning", "pipeline.provenance", "pipeline.record"}
    | {"pipeline.reporting", "pipeline.sampling", "pipeline.statics", "pipeline.store"}
    | {"pipeline.study", "pipeline.terminal", "pipeline.verification", "pipeline.caution"}
    | {"pipeline.schema", "pipeline.sharing", "pipeline.starting", "pipeline.terminal_sharing"}
    | {"pipeline.report", "pipeline.writing"},
    "pipeline.reporting": {"pipeline.jobs", "pipeline.terminal"},
    "pipeline.terminal": {"geometries", "pipeline.config", "pipeline.jobs", "pipeline.output"}
    | {"pipeline.planning", "pipeline.statics", "pipeline.store", "pipeline.verification"},
    "pipeline.terminal_sharing": {"pipeline.sharing", "pipeline.terminal"},
}
FLOORS = {  # inside geometries: a module may import those of a lower number, no neighbours
    "assembly": 7,
    **dict.fromkeys(("lint", "loadpath"), 6),
    **dict.fromkeys(("nail", "plate", "defect", "stem", "clearance"), 5),
    "femur": 4,
    **dict.fromkeys(("profiles", "constructs"), 3),
    **dict.fromkeys(("bone", "plating", "rods"), 2),
    **dict.fromkeys(("parameters", "waves", "slices"), 1),
    **dict.fromkeys(("solids", "materials", "errors"), 0),
    **dict.fromkeys(("readout", "tools"), -1),
    **dict.fromkeys(("faces", "bow"), -2),
    "frame": -3,
}
OWNERS = {  # a library and the only modules or packages that may import it
    "gmsh": "pipeline.fem.mesher",
    "numba": "pipeline.fem.kernels",
    "llvmlite": "pipeline.fem.kernels",
    "pymetis": "pipeline.fem.factors",
    "skfem": "pipeline.fem",
    "dask": "pipeline.engine",
    "distributed": "pipeline.engine",
    "filelock": "pipeline.casebook",
    "meshio": "pipeline.store",
    "pyarrow": "pipeline.store",
    "SALib": "pipeline.sweeps.effects",
    "pyvista": "pipeline.output",
    "vtk": "pipeline.output",
    "vtkmodules": "pipeline.output",
    "matplotlib": "pipeline.output",
    "mpl_toolkits": "pipeline.output",
    "jinja2": "pipeline.output",
    "xlsxwriter": "pipeline.output.spreadsheet",
    "PIL": "pipeline.report.pictures",
    "plotly": "pipeline.report.viewer",
    "itables": "pipeline.report.sorting",
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
    return max((r for r in ROOMS if name == r or name.startswith(f"{r}.")), key=len)


def _is_command(node: Function) -> bool:
    return any(ast.unparse(decorator) == "app.command()" for decorator in node.decorator_list)


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
        if (_room(name) == "pipeline" and name != "pipeline")
        or (_room(name) == "geometries" and name.partition(".")[2] not in {*FLOORS, ""})
    ])  # fmt: skip


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
        if len(arguments) > ARGUMENTS and not _is_command(node)
    ])  # fmt: skip


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
