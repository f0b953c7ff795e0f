"""Arrays from someone else's file: as NumPy writes them, or refused before anything is made of them."""

from __future__ import annotations

import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from geometries.errors import StudyError
from pipeline.arrays import read_arrays
from pipeline.reduced.packed import pack, unpack

ADDRESS = "0123456789abcdef"
ARRAYS = {"a": np.arange(12.0).reshape(3, 4), "b": np.array([3, 1], np.uint8), "c": np.array(7)}


def npy(shape: object, body: bytes, kind: str = "<f8") -> bytes:
    head = f"{{'descr': {kind!r}, 'fortran_order': False, 'shape': {shape!r}, }}\n".encode()
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head + body


def written(path: Path, content: bytes, way: int = zipfile.ZIP_STORED) -> Path:
    with zipfile.ZipFile(path, "w", way) as archive:
        archive.writestr("a.npy", content)
    return path


def test_what_numpy_stored_is_read(tmp_path: Path):
    np.savez(tmp_path / "x.npz", **ARRAYS, f=np.asfortranarray(ARRAYS["a"]))
    found = read_arrays(tmp_path / "x.npz")
    assert found.keys() == {*ARRAYS, "f"}
    for name, array in {**ARRAYS, "f": ARRAYS["a"]}.items():
        np.testing.assert_array_equal(found[name], array)
        assert found[name].dtype == array.dtype
    np.testing.assert_array_equal(
        read_arrays(written(tmp_path / "y.npz", npy((2,), bytes(16))))["a"], 0
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (npy((10**12,), bytes(16)), "not as long as it says"),
        (npy((2**62, 4), bytes(16)), "not as long as it says"),
        (npy((-1,), bytes(16)), "not as long as it says"),
        (npy((1,), bytes(16)), "not as long as it says"),
        (npy((2,), bytes(16), "|O"), "not as long as it says"),
        (b"\x93NUMPY\x07\x00" + bytes(40), "format version|unknown version"),
        (b"PK", "magic|EOF"),
    ],
)
def test_an_array_that_is_none_is_refused(tmp_path: Path, content: bytes, words: str):
    with pytest.raises(ValueError, match=words):
        read_arrays(written(tmp_path / "x.npz", content))


def test_a_packed_array_is_refused(tmp_path: Path):
    with pytest.raises(ValueError, match="is packed"):
        read_arrays(written(tmp_path / "x.npz", npy((10**6,), bytes(8 * 10**6)), zipfile.ZIP_DEFLATED))


def test_a_reduced_model_from_someone_else_is_a_sentence(tmp_path: Path):
    path = tmp_path / "reduced.npz"
    pack(path, ADDRESS, (np.eye(3), "word"))
    np.testing.assert_array_equal(unpack(path, ADDRESS)[0], np.eye(3))
    with pytest.raises(StudyError, match="is the reduced model of case '0123456789abcdef'"):
        unpack(path, "f" * 16)
    deep = f'{{"address": "{ADDRESS}", "content": ' + '{"tuple": [' * 5000
    np.savez(path, form=np.frombuffer(deep.encode(), np.uint8))
    with pytest.raises(StudyError, match="no reduced model can be read from it"):
        unpack(path, ADDRESS)
    written(path, npy((10**12,), b""))
    with pytest.raises(StudyError, match="no reduced model can be read from it"):
        unpack(path, ADDRESS)
