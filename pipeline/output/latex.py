"""Tables as LaTeX with booktabs; whatever a study file says comes out as text, never as a command."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

Cells = Sequence[str]
SIGNS = {
    "\\": r"\textbackslash{}", "{": r"\{", "}": r"\}", "$": r"\$", "&": r"\&", "#": r"\#", "%": r"\%",
    "_": r"\_", "^": r"\textasciicircum{}", "~": r"\textasciitilde{}", "<": r"\textless{}",
    ">": r"\textgreater{}", "|": r"\textbar{}", '"': r"\textquotedbl{}", "'": r"\textquotesingle{}",
    "`": r"\textasciigrave{}", "[": "{[}", "]": "{]}", "±": r"$\pm$", "·": r"$\cdot$",
    "×": r"$\times$", "°": r"\textdegree{}", "²": r"\textsuperscript{2}", "³": r"\textsuperscript{3}",
    "–": r"\textendash{}", "≤": r"$\le$", "≥": r"$\ge$", "μ": r"$\mu$", "ν": r"$\nu$", "σ": r"$\sigma$",
    "†": r"\textdagger{}",
}  # fmt: skip
"""Signs that LaTeX would take for something else, or that not every font of it has."""
MINUS = re.compile(r"(?<![\w.])-(?=\d)")
DASHES = re.compile("-(?=-)")
LATIN = "\u017f"  # the last letter that the T1 fonts of every LaTeX have
QUOTES = "\u2018\u2019\u201c\u201d\u201e\u2014\u2026"  # which they have besides
PACKAGES = "% needs \\usepackage[T1]{fontenc} and \\usepackage{booktabs,longtable,textcomp}"


def escaped(text: str) -> str:
    """A text as LaTeX prints it, in one line; a letter that it has not is named by its number."""
    spaced = " ".join(text.split())
    plain = "".join(map(_sign, filter(str.isprintable, spaced)))
    return MINUS.sub("$-$", DASHES.sub("-{}", plain))


def _sign(sign: str) -> str:
    unknown = sign if sign <= LATIN or sign in QUOTES else f"(U+{ord(sign):04X})"
    return SIGNS.get(sign, unknown)


def table(headings: Sequence[Cells], rows: Iterable[Cells], caption: str, notes: Cells = ()) -> str:
    r"""A floating table with text on the left, numbers on the right of their columns.

    Parameters
    ----------
    headings : sequence of sequence of str
        Lines of the head, such as names and units.
    rows : iterable of sequence of str
        The rows; the first column holds names.
    caption : str
        What it shows.
    notes : sequence of str
        Lines below it.

    Returns
    -------
    str
        The text of a file to ``\input``.
    """
    count = len(headings[0])
    return _lines(
        PACKAGES, r"\begin{table}", r"\centering", r"\footnotesize", f"\\caption{{{escaped(caption)}}}",
        f"\\begin{{tabular}}{{l{'r' * (count - 1)}}}", r"\toprule", *map(_row, headings), r"\midrule",
        *map(_row, rows), r"\bottomrule", r"\end{tabular}",
        *(f"\\par\\smallskip {escaped(note)}" for note in notes), r"\end{table}",
    )  # fmt: skip


def long_table(headings: Cells, rows: Iterable[Cells], caption: str, numbers: int) -> str:
    """A table over many pages, whose last columns, as many as `numbers` says, hold numbers."""
    columns = "l" * (len(headings) - numbers) + "r" * numbers
    head = _row(headings)
    return _lines(
        PACKAGES, r"\begingroup\footnotesize", f"\\begin{{longtable}}{{{columns}}}",
        f"\\caption{{{escaped(caption)}}}\\\\", r"\toprule", head, r"\midrule", r"\endfirsthead",
        r"\toprule", head, r"\midrule", r"\endhead", r"\bottomrule", r"\endfoot", *map(_row, rows),
        r"\end{longtable}", r"\endgroup",
    )  # fmt: skip


def _row(cells: Cells) -> str:
    return " & ".join(map(escaped, cells)) + r" \\"


def _lines(*lines: str) -> str:
    return "\n".join(lines) + "\n"
