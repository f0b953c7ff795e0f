"""The first screen: what is asked, what of each construct answers it, and what stays open."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.measures.dictionary import QUANTITIES
from pipeline.output.report.cells import Entry
from pipeline.output.report.charts import Chart, answer_chart, words_of
from pipeline.output.report.run import ReportedRun
from pipeline.tables.comparisons import UNDECIDED, UNKNOWN

VERDICTS = {
    "a lower": "{a} is lower than {b}",
    "a higher": "{a} is higher than {b}",
    UNDECIDED: "{a} and {b}: undecided",
    UNKNOWN: "{a} and {b}: error not known",
}

AS_BEFORE, MOVEMENT = "same relative movement", "Movement"  # refers to an entry that begins so


@dataclass(frozen=True)
class Answer:
    """The question, the primary outcome in words and how that is computed; then what answers it.

    That is a chart, None if no construct has the outcome, of all pairs of constructs at one gap the
    verdict as a sentence and its row, and sentences beside the chart.
    """

    text: str
    outcome: str
    definition: str
    chart: Chart | None
    pairs: list[tuple[str, Entry]]
    summary: list[str]


def answer_of(run: ReportedRun) -> Answer:
    """Read the answer to the study's question."""
    asked = run.study.asked
    outcome = (
        f"{words_of(asked.quantity).capitalize()}, {asked.location}, at stage {asked.stage} under "
        f"load {asked.load}"
    )
    own = run.answering(run.comparisons)
    text = run.study.question.text or run.study.title
    definition = _definition(asked.quantity)
    chart = answer_chart(run)
    pairs = [
        (VERDICTS.get(one["verdict"], "{a} and {b}: no verdict").format(a=one["a"], b=one["b"]), one)
        for one in own
    ]
    return Answer(text, outcome, definition, chart, pairs, _summary(run, own, chart))


def _definition(quantity: str) -> str:
    """How a quantity is computed and where it is read, with the entry that it refers back to."""
    entry = QUANTITIES[quantity]
    names = list(QUANTITIES)
    before = (QUANTITIES[name].definition for name in names[: names.index(quantity)])
    whole = [said for said in before if said.startswith(MOVEMENT) and AS_BEFORE in entry.definition]
    return " ".join([*whole[-1:], entry.definition, f"Where: {entry.locations}."])


def _summary(run: ReportedRun, own: list[Entry], chart: Chart | None) -> list[str]:
    """What the pairs say together, without any order."""
    if chart is None:
        return [_nothing(run)]
    if not own:
        return ["There are no two constructs at one gap to compare."]
    open_ = [entry for entry in own if entry["verdict"] == UNDECIDED]
    unknown = [entry for entry in own if entry["verdict"] == UNKNOWN]
    decided = len(own) - len(open_) - len(unknown)
    said = []
    if unknown:
        said.append(
            f"In {len(unknown)} of {len(own)} pairs the error is not known, so no difference is said "
            "to be one. Three meshes estimate it: run with --levels 3."
        )
    if decided:
        said.append(f"In {decided} of {len(own)} pairs the difference exceeds both errors in sum.")
    if open_:
        names = "; ".join(f"{entry['a']} and {entry['b']}" for entry in open_[:4])
        more = f"; and {len(open_) - 4} more" if len(open_) > 4 else ""
        said.append(f"Undecided, since the errors are larger than the difference: {names}{more}.")
    if any(entry["flags"] for entry in own):
        said.append("Some of these values lie beyond the model's range: see flags below.")
    return said


def _nothing(run: ReportedRun) -> str:
    asked = run.study.asked
    places = dict.fromkeys(
        entry["location"] for entry in run.first if entry["quantity"] == asked.quantity
    )
    where = f" It is read at: {', '.join(places)}; correct question.location." if places else ""
    return f"No construct has this result.{where}"
