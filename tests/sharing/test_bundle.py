"""Bundles: whole, the same each time, checked by others' tools; and what an opened one refuses."""

from __future__ import annotations

import json
import os
import pickle
import re
import shutil
import stat
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import pytest
import yaml

from geometries.errors import StudyError
from pipeline.errors import OutputError
from pipeline.sharing import opening
from pipeline.sharing.bundle import bundle
from pipeline.sharing.opening import opened
from pipeline.storage.checksums import checksum_lines, digest_of
from tests.made import COMMIT, DEMO, address_of
from tests.runs import CONSTRUCTS, write_run


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return write_run(tmp_path / "run")


@pytest.fixture
def packed(run: Path, tmp_path: Path) -> Path:
    return bundle(run, tmp_path / "run.zip")


def names(path: Path) -> list[str]:
    with zipfile.ZipFile(path) as archive:
        return archive.namelist()


# --- Packing -----------------------------------------------------------------------------------------


def test_a_bundle_holds_what_another_needs(packed: Path, run: Path):
    cases = {
        f"cases/{address_of(name)}/{file}"
        for name in CONSTRUCTS
        for file in ("rows.csv", "summary.json", "log.txt", "checksums.txt")
    }
    found = names(packed)
    assert found == sorted(found)
    assert set(found) == cases | {
        "study.toml", "inputs.json", "cases.csv", "results.csv", "results.parquet",
        "comparisons.csv", "dictionary.csv", "meshes.csv", "figures/overview.png", "environment.txt",
        "CITATION.cff", "README.txt", "checksums.txt",
    }  # fmt: skip
    full = names(bundle(run, packed.with_name("full.zip"), with_fields=True))
    assert set(full) - set(found) == {f"cases/{address_of(name)}/fields.vtu" for name in CONSTRUCTS}


@pytest.mark.parametrize("name", ["report.html", "claims.html"])
def test_a_page_is_packed_and_proved_where_there_is_one(name: str, run: Path, tmp_path: Path):
    page = "<!doctype html><title>made up</title>"
    (run / name).write_text(page)
    packed = bundle(run, tmp_path / "run.zip")
    into = opened(packed, tmp_path / "opened")
    assert (into / name).read_text() == page
    assert name in (into / "README.txt").read_text(encoding="utf-8")
    sums = (into / "checksums.txt").read_text().splitlines()
    assert f"{digest_of(page.encode())}  {name}" in sums
    (into / name).write_text(page + " ")
    with pytest.raises(StudyError, match=re.escape(name)):
        opened(into, tmp_path / "again")


def test_other_mesh_levels_and_a_claims_file_are_packed_too(run: Path, tmp_path: Path):
    write_run(run / "levels" / "fine")
    claims = tmp_path / "sentences.toml"
    claims.write_text("claims = []")
    found = names(bundle(run, tmp_path / "a.zip", claims=claims))
    assert f"levels/fine/cases/{address_of('nail-10')}/summary.json" in found
    assert "levels/fine/results.csv" in found
    assert "claims.toml" in found
    shutil.copy(claims, run / "claims.toml")
    assert "claims.toml" in names(bundle(run, tmp_path / "b.zip"))


def test_the_same_folder_gives_the_same_bytes(run: Path, tmp_path: Path):
    one = bundle(run, tmp_path / "one.zip").read_bytes()
    copy = tmp_path / "elsewhere"
    shutil.copytree(run, copy)
    for path in copy.rglob("*"):
        os.utime(path, (1e9, 1e9))
    assert bundle(copy, tmp_path / "two.zip").read_bytes() == one


def test_sha256sum_finds_every_file_as_it_was_packed(packed: Path, tmp_path: Path):
    """Reference: coreutils."""
    folder = tmp_path / "by-hand"
    zipfile.ZipFile(packed).extractall(folder)
    checked = subprocess.run(
        ["sha256sum", "--strict", "-c", "checksums.txt"], cwd=folder, capture_output=True, check=False
    )
    assert checked.returncode == 0, checked.stderr
    assert checked.stdout.count(b": OK") == len(names(packed)) - 1
    (folder / "results.csv").write_text("other")
    again = subprocess.run(
        ["sha256sum", "-c", "checksums.txt"], cwd=folder, capture_output=True, check=False
    )
    assert again.returncode == 1


CFF_KEYS = {  # of the guide to Citation File Format 1.2.0
    "abstract", "authors", "cff-version", "commit", "contact", "date-released", "doi", "identifiers",
    "keywords", "license", "license-url", "message", "preferred-citation", "references", "repository",
    "repository-artifact", "repository-code", "title", "type", "url", "version",
}  # fmt: skip


@pytest.mark.parametrize("title", [None, "Nail: 10 mm # \"or\" 'plate'\\", "- [é × 2]: yes"])
def test_the_citation_is_valid(run: Path, tmp_path: Path, title: str | None):
    if title is not None:
        path = run / "inputs.json"
        inputs = json.loads(path.read_text())
        inputs["study"]["title"] = title
        path.write_text(json.dumps(inputs))
    with zipfile.ZipFile(bundle(run, tmp_path / "x.zip")) as archive:
        found = yaml.safe_load(archive.read("CITATION.cff"))  # reference: PyYAML
    assert set(found) <= CFF_KEYS
    assert {"authors", "cff-version", "message", "title"} <= set(found)  # required by it
    assert found["cff-version"] == "1.2.0"
    assert found["type"] in ("dataset", "software")
    assert found["title"] == (title or "Nail, exchange nail, plate, or a plate over the nail")
    assert found["authors"] == [{"name": "the authors of this study"}]
    (reference,) = found["references"]
    assert {"authors", "title", "type"} <= set(reference)  # required, schema 1.2.0
    assert reference["version"] == "0.0.9"


def test_the_authors_own_citation_is_kept(run: Path, tmp_path: Path):
    (run / "CITATION.cff").write_text("cff-version: 1.2.0\n", encoding="utf-8")
    with zipfile.ZipFile(bundle(run, tmp_path / "x.zip")) as archive:
        assert archive.read("CITATION.cff") == b"cff-version: 1.2.0\n"


def test_the_papers_say_what_it_was_made_with_and_how_to_use_it(packed: Path):
    with zipfile.ZipFile(packed) as archive:
        plain = [name for name in archive.namelist() if re.fullmatch(r"\w+\.(?!parquet)\w+", name)]
        text = {name: archive.read(name).decode() for name in plain}
    assert text["environment.txt"].splitlines() == [
        "gapstrain 0.0.9", "numpy 1.25.9", "python not recorded", f"commit {COMMIT}",
        "platform Invented-1.0",
    ]  # fmt: skip
    assert text["meshes.csv"].splitlines()[0] == "case,mesh_hash,cells,unknowns"
    assert len(text["meshes.csv"].splitlines()) == 1 + len(CONSTRUCTS)
    assert ",4321,21007" in text["meshes.csv"]
    for words in ("sha256sum -c checksums.txt", "gapstrain reproduce BUNDLE", "medical device"):
        assert words in text["README.txt"]
    assert text["study.toml"] == DEMO.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "missing", ["study.toml", "inputs.json", "cases.csv", "results.csv", "dictionary.csv",
                f"cases/{address_of('nail-10')}/summary.json"]
)  # fmt: skip
def test_a_run_that_is_not_finished_is_refused(run: Path, tmp_path: Path, missing: str):
    (run / missing).unlink()
    with pytest.raises(StudyError, match=f"not a finished run, it has no {missing}; end the run"):
        bundle(run, tmp_path / "x.zip")
    assert not (tmp_path / "x.zip").exists()


def test_a_case_that_is_not_what_its_run_wrote_is_refused(run: Path, tmp_path: Path):
    (run / "cases" / address_of("nail-10") / "rows.csv").write_text("better numbers\n")
    with pytest.raises(StudyError, match=r"rows.csv: not what the run wrote"):
        bundle(run, tmp_path / "x.zip")


@pytest.mark.parametrize("name", ["../../elsewhere", "0123456789ABCDEF", ""])
def test_a_case_can_not_name_a_folder_elsewhere(run: Path, tmp_path: Path, name: str):
    path = run / "cases.csv"
    path.write_text(path.read_text().replace(address_of("nail-10"), name))
    with pytest.raises(StudyError, match="allowed are 16 hexadecimal digits"):
        bundle(run, tmp_path / "x.zip")


def test_a_file_that_can_not_be_written_is_a_sentence(run: Path, tmp_path: Path):
    (tmp_path / "taken.zip").mkdir()
    with pytest.raises(OutputError, match=r"taken.zip: can not be written \(.*choose another --out"):
        bundle(run, tmp_path / "taken.zip")
    assert not list(tmp_path.glob(".*.part"))


# --- Opening -----------------------------------------------------------------------------------------


def made(path: Path, files: dict[str, bytes], **marks: Any) -> Path:
    """A zip file with sound checksums, whatever its entries are."""
    sums = checksum_lines({name: digest_of(content) for name, content in files.items()})
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**files, "checksums.txt": sums.encode()}.items():
            entry = zipfile.ZipInfo(name)
            entry.external_attr = marks.get(name.partition(".")[0], stat.S_IFREG | 0o644) << 16
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return path


def test_what_was_packed_is_what_is_opened(packed: Path, run: Path, tmp_path: Path):
    folder = opened(packed, tmp_path / "new")
    found = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert found == set(names(packed))
    assert (folder / "results.csv").read_bytes() == (run / "results.csv").read_bytes()
    assert opened(folder, tmp_path / "unused") == folder
    assert opened(run, tmp_path / "unused") == run


@pytest.mark.parametrize(
    "name",
    ["../out.csv", "/out.csv", "a/../../out.csv", "a/./b.csv", "a//b.csv", "..\\out.csv", "C:x.csv",
     "a\nb.csv"],
)  # fmt: skip
def test_an_entry_that_leads_out_is_refused(tmp_path: Path, name: str):
    path = made(tmp_path / "x.zip", {name: b"1"})
    with pytest.raises(StudyError, match="leads out of the bundle"):
        opened(path, tmp_path / "in" / "new")
    assert not (tmp_path / "in").exists()


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR])
def test_links_and_devices_are_refused(tmp_path: Path, kind: int):
    path = made(tmp_path / "x.zip", {"secret.csv": b"/etc/hostname"}, secret=kind | 0o777)
    with pytest.raises(StudyError, match="is a link or a device"):
        opened(path, tmp_path / "new")


@pytest.mark.parametrize("name", ["rows.pkl", "rows.pickle", "rows.npy", "run.py", "run.sh", "run"])
def test_what_could_be_run_is_refused(tmp_path: Path, name: str):
    path = made(tmp_path / "x.zip", {name: pickle.dumps([1.0])})
    with pytest.raises(StudyError, match=r"is of an unknown kind; allowed are \.cff"):
        opened(path, tmp_path / "new")


def test_a_file_much_larger_than_packed_is_refused(tmp_path: Path):
    path = made(tmp_path / "x.zip", {"rows.csv": bytes(3 * 2**20)})
    with pytest.raises(StudyError, match="times larger than packed"):
        opened(path, tmp_path / "new")


@pytest.mark.parametrize("way", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_an_unusual_way_of_packing_is_refused(tmp_path: Path, way: int):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w", way) as archive:
        archive.writestr("rows.csv", "1")
    with pytest.raises(StudyError, match="packed in an unusual way; allowed are stored and deflated"):
        opened(path, tmp_path / "new")


def test_a_name_that_is_no_text_is_a_sentence(packed: Path, tmp_path: Path):
    content = packed.read_bytes().replace(b"results.csv", b"result\xff.csv")
    for mark in (b"PK\x01\x02", b"PK\x03\x04"):  # the mark that says that names are UTF-8
        at = 8 if mark.endswith(b"\x02") else 6
        content = b"".join(
            part if not number else mark + part[: at - 4] + b"\x00\x08" + part[at - 2 :]
            for number, part in enumerate(content.split(mark))
        )
    packed.write_bytes(content)
    with pytest.raises(StudyError, match="not a whole zip file"):
        opened(packed, tmp_path / "new")


def test_too_much_is_refused(packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(opening, "MOST_BYTES", 1000)
    with pytest.raises(StudyError, match="ask for it without fields"):
        opened(packed, tmp_path / "new")


def test_a_stated_size_that_is_too_small_unpacks_no_more(tmp_path: Path):
    path = made(tmp_path / "x.zip", {"rows.csv": bytes(5000)})
    content = bytearray(path.read_bytes())
    at = content.index(b"PK\x01\x02") + 24  # of the directory's first entry, its unpacked size
    content[at : at + 4] = (10).to_bytes(4, "little")
    path.write_bytes(content)
    with pytest.raises(StudyError, match="get the bundle again"):
        opened(path, tmp_path / "new")


def test_names_that_differ_by_case_alone_are_refused(tmp_path: Path):
    path = made(tmp_path / "x.zip", {"a.csv": b"1", "A.csv": b"2"})
    with pytest.raises(StudyError, match="occurs twice"):
        opened(path, tmp_path / "new")


def test_any_changed_byte_is_found(packed: Path, tmp_path: Path):
    folder = opened(packed, tmp_path / "new")
    path = folder / "cases" / address_of("nail-10") / "summary.json"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    with pytest.raises(StudyError, match=r"summary.json: its checksum is not that in checksums.txt"):
        opened(folder, tmp_path / "unused")


def test_a_damaged_file_is_a_sentence(packed: Path, tmp_path: Path):
    content = bytearray(packed.read_bytes())
    content[100] ^= 1
    packed.write_bytes(content)
    with pytest.raises(StudyError, match=r"get the bundle again|do not use this bundle"):
        opened(packed, tmp_path / "new")
    packed.write_bytes(content[: len(content) // 2])
    with pytest.raises(StudyError, match="not a whole zip file"):
        opened(packed, tmp_path / "newer")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda folder: (folder / "results.csv").unlink(), "results.csv is missing"),
        (lambda folder: (folder / "more.pkl").write_bytes(b""), "more.pkl: not named"),
        (lambda folder: (folder / "more.csv").symlink_to("/etc/hostname"), "more.csv: a link"),
        (lambda folder: (folder / "checksums.txt").write_text("trust me"), "line 1: allowed is a SHA"),
    ],
)
def test_an_unpacked_bundle_is_held_to_the_same(packed: Path, tmp_path: Path, spoil: Any, words: str):
    folder = opened(packed, tmp_path / "new")
    spoil(folder)
    with pytest.raises(StudyError, match=words):
        opened(folder, tmp_path / "unused")


def test_an_archive_without_checksums_proves_nothing(tmp_path: Path):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("rows.csv", "1")
    with pytest.raises(StudyError, match=r"no checksums.txt, so nothing proves the rest"):
        opened(path, tmp_path / "new")


def test_nothing_is_unpacked_over_other_files(packed: Path, tmp_path: Path):
    with pytest.raises(StudyError, match="not empty; give a new folder"):
        opened(packed, tmp_path)
    with pytest.raises(StudyError, match="can not be read or unpacked"):
        opened(tmp_path / "nowhere.zip", tmp_path / "new")
