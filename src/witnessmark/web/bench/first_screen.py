"""The first screen of a case: what we think, how sure, what stops it, what to do next.

One complaint at a time; every number is one fold deeper.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import ApprovalData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ClueData,
    CodeData,
    ComplaintData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.odds import Odds
from witnessmark.model.step import Step
from witnessmark.web.bench.page_words import count_words, usd
from witnessmark.words.plain import sentences
from witnessmark.words.say import stops as stops_say
from witnessmark.words.strength import (
    ALMOST_SURE,
    FOUND,
    LIKELY,
    NOT_LIKELY,
    POSSIBLE,
    SUSPECTED,
    capital,
    listed,
)

__all__ = ["SCALE", "FirstScreen", "Tab", "first_screen", "folds_told"]

#: The five steps of how sure, weakest first.
SCALE = ("not clear", POSSIBLE, "suspected", LIKELY, FOUND)
#: Word of a cause -> its step in the scale.
_PLACE: Mapping[str, int] = {
    NOT_LIKELY: 0, "not clear": 0, POSSIBLE: 1, "suspected": 2, SUSPECTED: 2, LIKELY: 3,
    ALMOST_SURE: 3, FOUND: 4,
}  # fmt: skip
#: Cautions on the first screen are no longer than this, or one sentence [characters].
_CARE_MOST = 130
#: Longer than this, what comes second waits in its fold [characters].
_SECOND_MOST = 110


@dataclass(frozen=True, slots=True)
class Tab:
    """One complaint of the truck: its entry, the driver's words, whether it is shown."""

    entry: str
    words: str
    chosen: bool
    gone: bool


@dataclass(frozen=True, slots=True)
class FirstScreen:
    """What the first screen says.

    Attributes:
        tabs: every complaint, one of them chosen.
        think: what we think, one sentence; empty before there are odds.
        second: what comes second, one sentence; may be empty.
        place: step in :data:`SCALE`; ``None`` where no cause is weighed any more.
        word: what stands at that step, such as ``almost sure``.
        stops: the stops that stand.
        stands: that the truck does not run; empty where it does.
        step: what to do next for that complaint, no stop.
        place_of_step: where it stands among all steps.
        care: the step's own first cautions; all of them stand one fold deeper.
        more_care: how many more there are.
        until: what lifts the first stop, in short.
        others: the next two, with their places.
        odds: the odds of that complaint, the family of the step first.
        rest: the odds of the other complaints.
    """

    tabs: tuple[Tab, ...]
    think: str
    second: str
    place: int | None
    word: str
    stops: tuple[tuple[int, Step], ...]
    step: Step | None
    place_of_step: int
    care: str
    more_care: int
    until: str
    others: tuple[tuple[int, Step], ...]
    odds: tuple[Odds, ...]
    rest: tuple[Odds, ...]
    stands: str = ""

    @property
    def chosen(self) -> Tab | None:
        """The complaint that is shown."""
        return next((t for t in self.tabs if t.chosen), None)


def first_screen(case: Case, assessment: Dossier | None, chosen: str = "") -> FirstScreen:
    """Return the first screen of a case.

    Args:
        case: the case.
        assessment: its dossier, ``None`` before the first one.
        chosen: entry id of the complaint that was asked for; the one whose step stands first
            where there is none such.
    """
    complaints = case.complaints()
    gone = {d.complaint for _, d in case.of(OutcomeData) if d.gone is True}
    steps = list(enumerate(assessment.steps if assessment else ()))
    todo = [(i, s) for i, s in steps if s.kind != "safety"]
    shown = _shown(complaints, [s for _, s in todo], gone, chosen)
    families = set(shown[1].families) if shown else set()
    mine = [(i, s) for i, s in todo if _serves(s, families)] or ([] if chosen else todo)
    place, step = mine[0] if mine else (0, None)
    first = step.family if step else ""
    odds = assessment.odds if assessment else ()
    ours = {o.family: o for o in odds if o.family in families or not families}
    here = tuple(sorted(ours.values(), key=lambda o: o.family != first))
    think, second, at, word = _thought(here[0]) if here else ("", "", None, "")
    stops = tuple((i, s) for i, s in steps if s.kind == "safety")
    care, more_care = _care(step)
    return FirstScreen(
        tabs=tuple(
            Tab(e.id, d.words, shown is not None and e.id == shown[0].id, e.id in gone)
            for e, d in complaints
        ),
        think=think,
        second=second,
        place=at,
        word=word,
        stops=stops,
        step=step,
        place_of_step=place,
        care=care,
        more_care=more_care,
        until=sentences(stops[0][1].until)[0].rstrip(".") if stops and stops[0][1].until else "",
        others=tuple(mine[1:3]),
        odds=here,
        rest=tuple({o.family: o for o in odds if o.family not in ours}.values()),
        stands=stops_say.does_not_run(assessment.does_not_run)
        if assessment and assessment.does_not_run
        else "",
    )


def _shown(
    complaints: list[tuple[Entry, ComplaintData]], steps: list[Step], gone: set[str], chosen: str
) -> tuple[Entry, ComplaintData] | None:
    """Return the complaint to show: the one asked for, else whose step stands first."""
    asked = next((row for row in complaints if row[0].id == chosen), None)
    if asked is not None:
        return asked
    still = [row for row in complaints if row[0].id not in gone] or complaints
    for step in steps:
        for row in still:
            if _serves(step, set(row[1].families)):
                return row
    return still[0] if still else None


def _serves(step: Step, families: set[str]) -> bool:
    return step.family in families or bool(families & set(step.also))


def _care(step: Step | None) -> tuple[str, int]:
    """Return the step's own first cautions, and how many more sentences of caution there are.

    The first caution of a step is its family's, which holds for all of its steps.
    """
    if step is None or not step.cautions:
        return "", 0
    said = [s for words in step.cautions[1:] or step.cautions for s in sentences(words)]
    shown = said[0]
    for number, sentence in enumerate(said[1:], 1):
        if len(shown) + len(sentence) > _CARE_MOST:
            return _ended(shown), sum(len(sentences(w)) for w in step.cautions) - number
        shown = f"{_ended(shown)} {sentence}"
    return _ended(shown), sum(len(sentences(w)) for w in step.cautions) - len(said)


def _ended(words: str) -> str:
    return capital(words if words.endswith((".", "!")) else f"{words}.")


def _thought(odds: Odds) -> tuple[str, str, int | None, str]:
    """Return what we think, what comes second, and where that stands in the scale."""
    said = sentences(odds.statement) or ["Decided." if odds.decided else "Not decided yet."]
    second = next((s for s in said[1:] if len(s) <= _SECOND_MOST), "")
    if not odds.causes or not odds.fits:
        return said[0], second, None, ""
    word = odds.causes[0].strength
    place = _PLACE.get(word)
    if said[0].startswith(("Nothing", "Proven")):
        return said[0], second, None, ""
    if said[0].startswith("Not clear"):
        # No part may be named alone: whatever leads is no more than possible.
        return "Not clear yet.", listed([c.name for c in odds.causes[:2]], "or") + "?", 0, SCALE[0]
    return said[0], second, place, word if place is None or place == 3 else SCALE[place]


def folds_told(case: Case, assessment: Dossier | None) -> dict[str, str]:
    """Return what the folds say of what is in them: known, proof, paper."""
    looks = sum(1 for _ in case.of(ClueData)) + sum(1 for _ in case.of(TestData))
    counts = [
        count_words(n, one)
        for n, one in (
            (sum(1 for _ in case.of(ReadingData)), "reading"),
            (looks, "look"),
            (sum(1 for _ in case.of(CodeData)), "code"),
            (sum(1 for _ in case.of(RecordingData)), "recording"),
        )
        if n
    ]
    verdicts = [p.verdict for p in assessment.proofs] if assessment else []
    worst = next((v for v in ("not proven", "not enough evidence", "proven") if v in verdicts), "")
    worked = any(True for _ in case.of(WorkData))
    return {
        "known_told": ", ".join(counts) or "nothing yet",
        "proof_told": (worst if worked else "") or "nothing yet",
        "paper_told": _agreed(case),
    }


def _agreed(case: Case) -> str:
    """Return the newest estimate or approval in a few words."""
    told = "report, estimate, cards"
    for entry in case.live():
        if isinstance(entry.data, QuoteData):
            total = entry.data.total_usd
            told = "estimate" + (f" of {usd(total)}" if total is not None else ", no sum yet")
        elif isinstance(entry.data, ApprovalData):
            limit = entry.data.limit_usd
            told = "agreed" if entry.data.granted else "refused"
            told += f" up to {usd(limit)}" if limit is not None and entry.data.granted else ""
    return told
