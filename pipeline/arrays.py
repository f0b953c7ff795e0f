"""Plain arrays in a zip, as NumPy stores them, read as from someone else.

No array is larger than what of the file is its own: what says otherwise is refused before anything is
made of it.
"""

from __future__ import annotations

import zipfile
import zlib
from io import BytesIO
from math import prod
from pathlib import Path
from typing import Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

ENDING = ".npy"
_HEADS = {(1, 0): npy.read_array_header_1_0, (2, 0): npy.read_array_header_2_0}
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OverflowError)


def read_arrays(path: Path) -> dict[str, NDArray[Any]]:
    """All arrays of a file, by name.

    Raises
    ------
    OSError
        If the file can not be opened.
    ValueError
        If it is not as NumPy writes plain arrays, unpacked.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            return {
                entry.filename.removesuffix(ENDING): _array(archive, entry)
                for entry in archive.infolist()
            }
    except _BROKEN as error:
        raise ValueError(f"not a whole zip file: {error}") from None


def _array(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> NDArray[Any]:
    if entry.compress_type != zipfile.ZIP_STORED or entry.file_size != entry.compress_size:
        raise ValueError(f"{entry.filename[:80]!r} is packed; allowed are arrays as they are")
    content = archive.read(entry)
    file = BytesIO(content)
    head = _HEADS.get(npy.read_magic(file))
    if head is None:
        raise ValueError(f"{entry.filename[:80]!r} is of an unknown version")
    shape, _, kind = head(file)
    size = prod(shape) * kind.itemsize
    if kind.hasobject or min(shape, default=0) < 0 or size != len(content) - file.tell():
        raise ValueError(f"{entry.filename[:80]!r} is not as long as it says")
    file.seek(0)
    return np.asarray(npy.read_array(file, allow_pickle=False))
