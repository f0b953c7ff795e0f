"""What a paper takes from a finished run: tables as LaTeX, spreadsheet and CSV, charts to print."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from operator import itemgetter
from pathlib import Path

from matplotlib.figure import Figure

from geometries.errors import StudyError
from pipeline.output import latex
from pipeline.output.dots import CHARTS, HUES, draw_chart, flagged, left_out
from pipeline.output.growth import MOVED, READ_AS, by_curve, growths, printed
from pipeline.output.indices import index_pages
from pipeline.output.panels import save
from pipeline.output.spreadsheet import MOST_ROWS, write_sheets
from pipeline.output.tables import Printed, Short, short_table
from pipeline.storage.casebook import CURVES
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import (
    Texts,
    check_writable,
    stream_table,
    write_table,
    write_text,
)
from pipeline.storage.run_folder import RESULTS
from pipeline.study.config import StudyConfig
from pipeline.tables.comparisons import headline_rows
from pipeline.tables.flagged import FOOTNOTE, MARK, flag_reasons, footnotes, mark_of
from pipeline.tables.groups import grouped
from pipeline.tables.rows import Key, Row, first_variant, read_results

KINDS = ("png", "svg", "pdf")
RESOLUTIONS = (300, 600)  # dots an inch; journals ask for either (common practice, no source)
OTHERS = ("comparisons", "curves", "brackets", "published", "sensitivity", "dictionary")
"""Tables that become sheets where the run has them."""
MARKED = "Marks are tissue stages, whiskers the error of the mesh where it is known."
LARGE = 1e4  # from here on whole numbers are read more easily than powers of ten
LONG = ("construct", *Key._fields, "unit", "value", "error %")


@dataclass(frozen=True)
class Print:
    """How figures are written: endings of their files, and dots an inch of those that have any."""

    kinds: tuple[str, ...] = KINDS
    dpi: int = 300

    def __post_init__(self) -> None:
        for kind in self.kinds:
            if kind not in KINDS:
                raise StudyError(f"--format {kind}: allowed {', '.join(KINDS)}; choose among them")
        if self.dpi not in RESOLUTIONS:
            allowed = " or ".join(map(str, RESOLUTIONS))
            raise StudyError(f"--dpi {self.dpi}: allowed {allowed}; choose one of them")


def export(folder: Path, out: Path, study: StudyConfig, look: Print) -> list[Path]:
    """Write tables and figures of a finished run for a paper.

    Parameters
    ----------
    folder : Path
        Folder of the run.
    out : Path
        Folder to write to.
    study : StudyConfig
        What was run: its stages in their order, and the stage and load that it shows.
    look : Print
        How figures are written.

    Returns
    -------
    list of Path
        All files.

    Raises
    ------
    OutputError
        If one can not be written.
    """
    check_writable(out)
    rows = first_variant(read_results(folder / RESULTS))
    return [*_tables(folder, out, study.shown, rows), *_figures(folder, out, study, rows, look)]


def _tables(folder: Path, out: Path, shown: tuple[str, str], rows: Sequence[Row]) -> list[Path]:
    short = short_table(folder, *shown)
    cells = [_cells(short.headings, *line) | _flags(short, line[0]) for line in short.lines]
    paths = [out / name for name in ("main-table.csv", "main-table.tex", "results.tex", "tables.xlsx")]
    write_table(paths[0], cells, list(cells[0]) if cells else short.headings)
    write_text(paths[1], _main_latex(short, shown))
    write_text(paths[2], _long_latex(rows))
    fitting = {path.stem: _Fitting.of(path) for path in (folder / RESULTS, *_others(folder))}
    sheets = {"main table": cells, **{name: one.rows() for name, one in fitting.items()}}
    write_sheets(paths[3], sheets, [one.said for one in fitting.values() if one.said])
    return paths


def _others(folder: Path) -> list[Path]:
    """Tables besides the results that become sheets."""
    return [path for name in OTHERS if (path := folder / f"{name}.csv").exists()]


@dataclass(frozen=True)
class _Fitting:
    """A table, and what of it a sheet has room for.

    One that is too long is cut to its first variant, which all that is exported shows, and says so.
    """

    path: Path
    variant: str | None = None
    said: str = ""

    @classmethod
    def of(cls, path: Path) -> _Fitting:
        count, own, first = 0, 0, ""
        for count, row in enumerate(stream_table(path), start=1):
            first = row.get("variant", "") if count == 1 else first
            own += row.get("variant", "") == first
        if count <= MOST_ROWS:
            return cls(path)
        whose = f" of variant {first}" if first else ""
        said = (
            f"{path.stem}: the first {min(own, MOST_ROWS)} rows{whose} of {count}; {path.name} has all."
        )
        return cls(path, first, said)

    def rows(self) -> Iterator[Texts]:
        """Rows of its sheet."""
        every = stream_table(self.path)
        if self.variant is None:
            return every
        return islice((row for row in every if row.get("variant", "") == self.variant), MOST_ROWS)


def _cells(headings: Sequence[str], construct: str, figures: Sequence[Printed]) -> dict[str, str]:
    """A line of the short table with value, error and remark of each quantity in unlike columns."""
    cells = {headings[0]: construct}
    for heading, figure in zip(headings[1:], figures, strict=True):
        name, _, unit = heading.partition("\n")
        value, remark = _apart(figure)
        cells[f"{name}, {unit}"] = value
        cells[f"{name}, error"] = figure.error
        cells[f"{name}, remark"] = remark
    return cells


def _flags(short: Short, construct: str) -> dict[str, str]:
    """Why marked values of a construct are flagged; there is no such column where none is."""
    own = [f"{one.load}: {one.flags}" for one in short.flagged if one.construct == construct]
    return {f"{MARK} flags": "; ".join(own)} if short.flagged else {}


def _apart(figure: Printed) -> tuple[str, str]:
    """A number, and all words beside or in place of it."""
    is_number = figure.value[-1:].isdigit()
    value, words = (figure.value, "") if is_number else ("", figure.value)
    return value, " ".join(filter(None, (words, figure.note)))


def _main_latex(short: Short, shown: tuple[str, str]) -> str:
    stage, load = shown
    heads = [*zip(*(heading.partition("\n")[::2] for heading in short.headings), strict=True)]
    lines = [[name, *map(_joined, figures)] for name, figures in short.lines]
    caption = f"Main results at tissue stage {stage} under load {load}."
    why = [f"{reason.text}." for reason in short.flagged]
    return latex.table(heads, lines, caption, [*short.legend, *why, CAUTION])


def _joined(figure: Printed) -> str:
    value, remark = _apart(figure)
    return " ".join(filter(None, (value, figure.error and f"± {figure.error}", remark)))


def _long_latex(rows: Sequence[Row]) -> str:
    """Headline quantities of all stages and loads; a spreadsheet holds the others better."""
    lines = []
    printed = [row for row in headline_rows(rows) if not row.part]
    for row in printed:
        value = f"{row.number:.0f}" if abs(row.number) >= LARGE else f"{row.number:.4g}"
        error = "" if row.error is None else f"{row.error:.2g}"
        marked = " ".join(filter(None, (value, mark_of(row.flags))))
        lines.append([row.construct, *row.key, row.unit, marked, error])
    failed = sum(not row.is_ok for row in rows)
    lost = [f"{failed} rows failed and are left out."] if failed else []
    notes = [*lost, *footnotes(any(row.flags for row in printed)), CAUTION]
    caption = " ".join(["Headline quantities at all tissue stages and loads.", *notes])
    return latex.long_table(LONG, lines, caption, numbers=2)


def _figures(
    folder: Path, out: Path, study: StudyConfig, rows: Sequence[Row], look: Print
) -> Iterator[Path]:
    """Every figure in every format, and a file with their captions."""
    captions = []
    for name, figure, caption in _drawn(folder, study, rows):
        captions.append(f"{name}: {caption}")
        for kind in look.kinds:
            yield save(figure, out / "figures" / f"{name}.{kind}", look.dpi)
    write_text(out / "captions.txt", "\n\n".join([*captions, CAUTION]) + "\n")
    yield out / "captions.txt"


def _drawn(folder: Path, study: StudyConfig, rows: Sequence[Row]) -> Iterator[tuple[str, Figure, str]]:
    """Name, figure and caption of every chart."""
    stage, load = study.shown
    for chart in CHARTS:
        pages = list(draw_chart(chart, rows, [stage.name for stage in study.stages], load))
        lost = "; ".join(left_out(chart, rows, load))
        about = f"{chart.about.format(load=load)} {MARKED}" + (f" Left out: {lost}." if lost else "")
        caption = about + _flagged(flagged(chart, rows, load))
        for place, figure in enumerate(pages, start=1):
            yield f"{chart.name}-{place}" if len(pages) > 1 else chart.name, figure, caption
    yield from _grown(folder, study, rows)
    for name, figure in index_pages(folder, stage, load):
        about = f"Sensitivity of results at tissue stage {stage}, load {load}."
        is_marked = any(MARK in text.get_text() for axes in figure.axes for text in axes.texts)
        yield name, figure, " ".join([about, *footnotes(is_marked)])


def _flagged(places: Sequence[tuple[str, str]]) -> str:
    """The end of a caption: what the mark means, and at which stages or loads of each construct."""
    of_each = grouped(places, itemgetter(0))
    marked = (f"{name} ({', '.join(where for _, where in own)})" for name, own in of_each.items())
    return f" {FOOTNOTE} Marked: {'; '.join(marked)}." if places else ""


def _grown(
    folder: Path, study: StudyConfig, results: Sequence[Row]
) -> Iterator[tuple[str, Figure, str]]:
    """Movement as loads grow, of the first variant; none where the run has no such table."""
    rows: list[Texts] = []
    for row in stream_table(folder / CURVES) if (folder / CURVES).exists() else ():
        if not rows or row["variant"] == rows[0]["variant"]:
            rows.append(row)
    stage, _ = study.shown
    own = by_curve(rows, stage)
    found = list(growths(own, study, list(dict.fromkeys(name for name, _ in own))))
    if found:
        about = f"Movement of the bone ends as each load grows, at tissue stage {stage}. {READ_AS}"
        ends = flag_reasons(row for row in results if row.stage == stage and row.quantity in MOVED)
        doubted = {(end.construct, end.load) for end in ends}
        shown = ((line.name, growth.load) for growth in found for line in growth.lines)
        marked = [line for line in shown if line in doubted]
        yield "load-curves", printed(found, HUES, marked), about + _flagged(marked)
