"""The first screen: what is asked, what of each construct answers it, and what stays open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.measures.dictionary import QUANTITIES
from pipeline.output.report.cells import Entry
from pipeline.output.report.charts import Chart, answer_chart, answers, words_of
from pipeline.output.report.doubts import flags_in
from pipeline.output.report.robust import over_inputs
from pipeline.output.report.run import ReportedRun
from pipeline.output.report.swept import Swept
from pipeline.tables.comparisons import UNDECIDED, UNKNOWN

VERDICTS = {
    "a lower": "{a} is lower than {b}",
    "a higher": "{a} is higher than {b}",
    UNDECIDED: "{a} and {b}: undecided",
    UNKNOWN: "{a} and {b}: error not known",
}

AS_BEFORE, MOVEMENT = "same relative movement", "Movement"  # refers to an entry that begins so
MOST_NAMED, MOST_PAIRS, MOST_SHARES = 8, 6, 4  # constructs, pairs, pairs over inputs in a sentence
NARROW = "\N{NO-BREAK SPACE}"
MOST_PERCENT = 100.0  # an error beyond it is not printed in figures


@dataclass(frozen=True)
class Answer:
    """The question and what answers it.

    Parameters
    ----------
    text, outcome, definition : str
        The question, the primary outcome in words, and how that is computed.
    opening, others : list of Chart
        Charts of the first screen, none if no construct has the outcome; and of a design those that
        have no room there.
    pairs : list of (str, Entry)
        Of all pairs of constructs at one gap the verdict as a sentence, and its row.
    said : list of str
        The answer in sentences, without any order.
    doubted : dict of str to str
        Constructs whose value is flagged, and by what, or of a design how many values are.
    """

    text: str
    outcome: str
    definition: str
    opening: list[Chart]
    others: list[Chart]
    pairs: list[tuple[str, Entry]]
    said: list[str]
    doubted: dict[str, str]


def answer_of(run: ReportedRun, swept: Swept | None) -> Answer:
    """Read the answer to the study's question; of a design its charts come first."""
    asked = run.study.asked
    outcome = f"{_what(run)}, at stage {asked.stage} under load {asked.load}"
    own = run.comparisons
    pairs = [
        (VERDICTS.get(one["verdict"], "{a} and {b}: no verdict").format(a=one["a"], b=one["b"]), one)
        for one in own
    ]
    found, chart = answers(run), answer_chart(run)
    charts = [chart] if chart else []
    return Answer(
        run.study.question.text or run.study.title,
        outcome,
        _definition(asked.quantity),
        swept.opening if swept else charts,
        [*charts, *swept.others] if swept else [],
        pairs,
        _said(run, found, pairs, swept),
        _doubted(found, swept),
    )


def _what(run: ReportedRun) -> str:
    asked = run.study.asked
    words = f"{words_of(asked.quantity)}, {asked.location}"
    return words[0].upper() + words[1:]


def _definition(quantity: str) -> str:
    """How a quantity is computed and where it is read, with the entry that it refers back to."""
    entry = QUANTITIES[quantity]
    names = list(QUANTITIES)
    before = (QUANTITIES[name].definition for name in names[: names.index(quantity)])
    whole = [said for said in before if said.startswith(MOVEMENT) and AS_BEFORE in entry.definition]
    return " ".join([*whole[-1:], entry.definition, f"Where: {entry.locations}."])


def _said(
    run: ReportedRun,
    found: dict[str, Entry],
    pairs: Sequence[tuple[str, Entry]],
    swept: Swept | None,
) -> list[str]:
    """What the tables say of the question, in sentences."""
    if swept:
        held = _differences(pairs) if pairs else []
        at = f"At the point {run.variant} alone, which pictures and tables show: "
        return [*swept.said, *(at + one[0].lower() + one[1:] for one in held)]
    if not found:
        return [_nothing(run)]
    differences = _differences(pairs) or ["There are no two constructs at one gap to compare."]
    return [_values(run, found), *differences, *over_inputs(run, MOST_SHARES)]


def _doubted(found: dict[str, Entry], swept: Swept | None) -> dict[str, str]:
    if swept:
        return {name: f"{one.flagged} of {one.rows} values" for name, one in swept.doubts.items()}
    return {name: "; ".join(flags_in([one])) for name, one in found.items() if one["flags"]}


def _values(run: ReportedRun, found: dict[str, Entry]) -> str:
    """Each construct's value with its error."""
    what, unit = _what(run), QUANTITIES[run.study.asked.quantity].unit
    if len(found) > MOST_NAMED:
        sound = sorted(
            (one for one in found.values() if not one.result.is_singular),
            key=lambda one: one.result.number,
        )
        ends = " to ".join(one.cell("value").text for one in (sound[:1] + sound[-1:]))
        return f"{what}, is {ends} {unit} over {len(found)} constructs; the chart has each."
    said = "; ".join(f"{_with_error(entry, unit)} with {name}" for name, entry in found.items())
    return f"{what}, is {said}."


def _with_error(entry: Entry, unit: str) -> str:
    if entry.result.is_singular:
        return "singular, not to be quoted"
    value = f"{entry.cell('value').text}{NARROW}{unit}"
    if not entry["error"]:
        return f"{value} (error not known)"
    error = entry.cell("error").text
    most = f"over{NARROW}100" if (entry.result.error or 0.0) > MOST_PERCENT else error
    return f"{value}{NARROW}±{NARROW}{most}{NARROW}%"


def _differences(pairs: Sequence[tuple[str, Entry]]) -> list[str]:
    """Which differences exceed the errors of the mesh, and which do not."""
    open_ = [f"{pair['a']} and {pair['b']}" for _, pair in pairs if pair["verdict"] == UNDECIDED]
    unknown = sum(pair["verdict"] == UNKNOWN for _, pair in pairs)
    decided = [words for words, pair in pairs if pair["verdict"] not in (UNDECIDED, UNKNOWN)]
    said = []
    if unknown:
        said.append(
            f"In {unknown} of {len(pairs)} pairs the error is not known, so no difference is said "
            "to be one. Three meshes estimate it: run with --levels 3."
        )
    if decided:
        named = f": {'; '.join(decided)}" if len(decided) <= MOST_PAIRS else ""
        said.append(
            f"In {len(decided)} of {len(pairs)} pairs the difference exceeds both errors of the mesh "
            f"in sum{named}."
        )
    if open_:
        names = "; ".join(open_[:MOST_PAIRS])
        more = f"; and {len(open_) - MOST_PAIRS} more" if len(open_) > MOST_PAIRS else ""
        said.append(f"Undecided, since the errors are larger than the difference: {names}{more}.")
    return said


def _nothing(run: ReportedRun) -> str:
    asked = run.study.asked
    places = dict.fromkeys(
        entry["location"] for entry in run.first if entry["quantity"] == asked.quantity
    )
    where = f" It is read at: {', '.join(places)}; correct question.location." if places else ""
    return f"No construct has this result.{where}"
