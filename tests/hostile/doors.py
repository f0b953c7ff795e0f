"""Every door of the program, and what comes through it changed."""

from __future__ import annotations

import json
import shutil
import stat
import struct
import tomllib
import zipfile
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from geometries.materials import Strength
from pipeline.door import gapstrain
from pipeline.measures.exploring import LIVE
from pipeline.reduced.packed import pack, unpack
from pipeline.sharing.bundle import bundle
from pipeline.sharing.opening import opened
from pipeline.storage.casebook import FIELDS, SUMMARY
from pipeline.storage.files import check_writable
from pipeline.storage.proof import seal
from tests.hostile.guard import DONE, FAULT, Ended, called, command
from tests.hostile.live import live
from tests.hostile.mutate import Mutator, as_json, as_toml
from tests.made import DEMO, reseal
from tests.output.report.made_up import write_fields
from tests.runs import write_run

ROOT = Path(__file__).parents[2]
CLAIMS = ROOT / "configs" / "claims-demo.toml"
STUDIES = tuple(path for path in sorted((ROOT / "configs").glob("*.toml")) if path != CLAIMS)
ADDRESS = "0123456789abcdef"
Door = Callable[[Mutator, Path], Ended]
SLOW = "design"  # tables whose plan takes long are looked at without one


@cache
def studies() -> tuple[dict[str, Any], ...]:
    """Contents of the study files of this project that are planned in a moment."""
    read = [tomllib.loads(path.read_text(encoding="utf-8")) for path in STUDIES]
    return tuple({key: value for key, value in one.items() if key != SLOW} for one in read)


@cache
def designs() -> tuple[dict[str, Any], ...]:
    """Contents of those that have a design."""
    read = [tomllib.loads(path.read_text(encoding="utf-8")) for path in STUDIES]
    return tuple(one for one in read if SLOW in one)


def study(chance: Mutator, inside: Path) -> Ended:
    """A study file of which values, tables or bytes are others."""
    path = inside / "study.toml"
    data = chance.one_of(designs() if chance.random.random() < 0.02 else studies())
    if chance.random.random() < 0.85:
        content = as_toml(chance.table(data)).encode("utf-8", "surrogatepass")
    else:
        content = chance.data(chance.one_of(STUDIES).read_bytes())
    path.write_bytes(content)
    return command(chance.one_of(("check", "check", "check", "methods")), path)


def changes(chance: Mutator, inside: Path) -> Ended:  # noqa: ARG001 (doors are called alike)
    """Values of ``--set``."""
    keys = (
        "mesh.level", "title", "defect.gap_mm", "constructs.0.nail.diameter_mm", "stages.0.name",
        "loads", "constructs", "femur", "femur.length_mm", "design.factors", "question.text",
        "stages.9.name", "show.stage", "takeover", "constructs.nail-10.nail.bolts.play_mm", "loads.0",
        "stages", ".".join(["a"] * 3000), "constructs." + "9" * 30, "", ".", "defect..gap_mm",
    )  # fmt: skip
    key = chance.word() if chance.random.random() < 0.1 else chance.one_of(keys)
    value = chance.value()
    written = value if isinstance(value, str) else as_toml({"x": value}).partition("= ")[2].strip()
    word = f"{key}={written}".replace("\x00", "")[:100_000]  # the most that a system passes on
    return command("check", DEMO, "--set", word.encode("utf-8", "replace").decode())


def claims(chance: Mutator, inside: Path) -> Ended:
    """A claims file beside a sound run."""
    data = tomllib.loads(CLAIMS.read_text(encoding="utf-8"))
    path = inside / "sentences.toml"
    text = as_toml(chance.table(data)).encode("utf-8", "surrogatepass")
    path.write_bytes(text if chance.random.random() < 0.8 else chance.data(CLAIMS.read_bytes()))
    return command("bundle", _run(inside), "--claims", path, "--out", inside / "x.zip")


def bundles(chance: Mutator, inside: Path) -> Ended:
    """A bundle whose entries, directory or bytes are others."""
    packed = bundle(_run(inside), inside / "run.zip")
    odd = inside / "odd.zip"
    if chance.random.random() < 0.5:
        content = packed.read_bytes()
        odd.write_bytes(chance.one_of((chance.data, chance.flipped))(content))
    else:
        _repacked(chance, packed, odd)
    ended = called(lambda: opened(odd, inside / "unpacked"))
    return command("compare", odd, packed) if ended.how == DONE else ended


def _repacked(chance: Mutator, packed: Path, odd: Path) -> None:
    """The same files with some entry of another name, kind, size or packing, or one that swells."""
    names = (
        chance.word(), "/escaped.csv", "../../escaped.csv", "a" * 300 + ".csv", "results.csv/x.csv",
        "a/" * 500 + "x.csv", "\u202evsc.csv", "CASES.csv", "x.csv", "x.sh", "checksums.txt",
    )  # fmt: skip
    kinds = (stat.S_IFREG, stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFDIR, 0)
    ways = (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    contents = (b"1", b"/etc/hostname", bytes(40_000_000), chance.random.bytes(3000))
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(odd, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name))
        for _ in range(int(chance.random.integers(1, 4))):
            name = chance.one_of(names).encode("utf-8", "replace").decode()[:20_000]
            entry = zipfile.ZipInfo(name.replace("\x00", "") or "x.csv")
            entry.external_attr = (chance.one_of(kinds) | 0o777) << 16
            entry.compress_type = chance.one_of(ways)
            new.writestr(entry, chance.one_of(contents))
    content = bytearray(odd.read_bytes())
    if chance.random.random() < 0.5:  # a word of the last entry's own directory line
        at = content.rindex(b"PK\x01\x02") + 4 + 2 * int(chance.random.integers(0, 21))
        content[at : at + 2] = struct.pack("<H", int(chance.random.integers(0, 2**16)))
        odd.write_bytes(content)


def twins(chance: Mutator, inside: Path) -> Ended:
    """A reduced model of other bytes, other words, or arrays of other sizes."""
    path = inside / "reduced.npz"
    sound = {
        "strength": Strength(800.0, 400.0, 300.0, "none"),
        "arrays": (np.eye(40), np.arange(7)),
        "none": None,
    }
    pack(path, ADDRESS, sound)
    way = chance.random.random()
    if way < 0.4:
        path.write_bytes(chance.one_of((chance.data, chance.flipped))(path.read_bytes()))
    else:
        _rewritten(chance, path)
    return called(lambda: unpack(path, ADDRESS))


def _rewritten(chance: Mutator, path: Path) -> None:
    """The same archive with another form, or an array that claims to be large."""
    with np.load(path) as stored:
        arrays = dict(stored)
    form = json.loads(arrays.pop("form").tobytes())
    deep = '{"tuple": [' * 3000 + "1" + "]}" * 3000
    texts = (as_json(chance.table(form)), chance.data(json.dumps(form).encode()).decode("latin-1"),
             json.dumps({"address": ADDRESS, "content": 1})[:-2] + deep + "}")  # fmt: skip
    text = chance.one_of(texts) if chance.random.random() < 0.6 else json.dumps(form)
    arrays["form"] = np.frombuffer(text.encode("utf-8", "replace"), np.uint8)
    np.savez(path, **arrays)
    if chance.random.random() < 0.4:
        with zipfile.ZipFile(path, "w", chance.one_of((0, 8, 12, 14))) as archive:
            for name, array in arrays.items():
                shape = chance.one_of(((10**12,), (10**7,), (2**62, 4), (-1,), array.shape))
                head = f"{{'descr': '<f8', 'fortran_order': False, 'shape': {shape!r}, }}\n".encode()
                body = chance.one_of((array.tobytes(), bytes(3_000_000)))
                content = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head + body
                archive.writestr(f"{name}.npy", content)


def folders(chance: Mutator, inside: Path) -> Ended:
    """A run's folder of which a table, a record or a file is another."""
    run = _run(inside)
    if chance.random.random() < 0.5:
        seal(run)
    for _ in range(int(chance.random.integers(1, 3))):
        _changed(chance, chance.one_of([path for path in sorted(run.rglob("*")) if path.is_file()]))
    return _asked(chance, run, inside)


def pages(chance: Mutator, inside: Path) -> Ended:
    """The same, and its page and papers are made, which takes seconds."""
    run = _run(inside)
    (run / LIVE).write_text(json.dumps(live()), encoding="utf-8")
    for case in run.glob("cases/*"):
        write_fields(case)
    if chance.random.random() < 0.2:
        seal(run)
    read = ("results.csv", "comparisons.csv", "cases.csv", "inputs.json", LIVE, "figures/overview.png")
    of_cases = [path for name in (SUMMARY, FIELDS) for path in run.glob(f"cases/*/{name}")]
    path = chance.one_of([*(run / name for name in read), *of_cases, run / LIVE])
    _changed(chance, path)
    if path.parent.parent.name == "cases" and path.exists():
        reseal(path.parent)
    return command(
        *chance.one_of((("report", run), ("report", run), ("export", run, "--format", "svg")))
    )


def _changed(chance: Mutator, path: Path) -> None:
    content = path.read_bytes()
    way = chance.random.random()
    if path.suffix == ".csv" and way < 0.7:
        text = chance.lines(content.decode("utf-8", "replace"))
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
    elif path.suffix == ".json" and way < 0.7 and content.startswith(b"{"):
        with suppress(ValueError, RecursionError):  # it may be changed already
            text = as_json(chance.table(json.loads(content)))
            path.write_bytes(text.encode("utf-8", "surrogatepass"))
    elif way < 0.75:
        path.unlink()
    else:
        path.write_bytes(chance.data(content) if content else b"\xff")


def links(chance: Mutator, inside: Path) -> Ended:
    """A run's folder in which some file or folder is a link that leads out."""
    run, outside = _run(inside), inside.parent / "outside"
    more = (".report.html.part", ".probe", "export", "meshes", "logs", ".lock", "report.html")
    places = [*sorted(run.rglob("*")), *(run / name for name in more)]
    path = chance.one_of(places)
    if path.is_dir():
        shutil.rmtree(path)
        path.symlink_to(outside)
    else:
        path.unlink(missing_ok=True)
        path.symlink_to(chance.one_of((outside / "keep.csv", outside / "new.csv", outside)))
    ended = _asked(chance, run, inside)
    packed = inside / "x.zip"
    if packed.is_file():
        with zipfile.ZipFile(packed) as archive:
            if any(b"secret of another" in archive.read(name) for name in archive.namelist()):
                return Ended(FAULT, f"{path} brought a file from elsewhere into a bundle")
    return ended


def _asked(chance: Mutator, run: Path, inside: Path) -> Ended:
    """What reads a run's folder and takes no seconds."""
    sound = write_run(inside / "sound") if not (inside / "sound").exists() else inside / "sound"
    other = inside / "x.zip"
    return chance.one_of((
        lambda: command("compare", run, sound),
        lambda: command("compare", sound, run),
        lambda: command("bundle", run, "--with-fields", "--out", other),
        lambda: called(lambda: _read(run)),
        lambda: called(lambda: opened(run, inside / "unpacked")),
        lambda: called(lambda: check_writable(run)),
    ))()  # fmt: skip


def _read(folder: Path) -> None:
    """As a notebook does."""
    run = gapstrain.open(folder)
    if len(run.table()) and run.rows[0].quantity:
        first = run.rows[0]
        run.pivot(first.quantity, location=first.location, load=first.load)


def _run(inside: Path) -> Path:
    """A copy of a run, made up once for all."""
    kept = inside.parent / "kept"
    if not kept.exists():
        write_run(kept)
    return Path(shutil.copytree(kept, inside / "run"))


DOORS: dict[str, Door] = {
    "study": study, "set": changes, "claims": claims, "bundle": bundles, "twin": twins,
    "folder": folders, "links": links, "page": pages,
}  # fmt: skip
