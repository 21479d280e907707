"""When the technician does something else than proposed: the reason, and the score of both.

An override is a note about ``override`` whose words this module writes and reads, so that it
stays plain text in the case. Whether it was right is judged once a cause is proven, never before.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import NoteData
from witnessmark.model.step import OverriddenStop, Step
from witnessmark.words.say import steps as say

__all__ = ["ABOUT", "Override", "Score", "overridden_stops", "override_words", "overrides", "score"]

ABOUT = "override"
Right = Literal["tool", "technician", "both", "neither", "open"]
_WORDS = re.compile(
    r"Proposed (?P<proposed_kind>measure|test|repair|safety) (?P<proposed>[A-Za-z0-9._:-]+); "
    r"did (?P<chosen_kind>measure|test|repair|safety) (?P<chosen>[A-Za-z0-9._:-]+)"
    r"(?: \((?P<extra>-?\d+) USD more expected\))?"
    r"(?: against the stop (?P<stop>[A-Za-z0-9._-]+), by (?P<by>[^:]+))?: (?P<reason>.+)",
    re.S,
)


@dataclass(frozen=True, slots=True)
class Override:
    """One override.

    Attributes:
        case: case id.
        entry: note id.
        at: when.
        proposed: step id that was proposed, with its kind.
        chosen: step id that was done instead, with its kind.
        reason: the technician's reason.
        extra_usd: how much dearer the tool expected the choice to be, ``None`` if not noted.
        right: who was right, ``open`` until a cause is proven.
        stop: the standing stop that forbade the choice; empty for none.
        by: who decided against the stop.
    """

    case: str
    entry: str
    at: str
    proposed: tuple[str, str]
    chosen: tuple[str, str]
    reason: str
    extra_usd: float | None
    right: Right = "open"
    stop: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """The score of both.

    Attributes:
        rows: every override in order.
        tool: times the proposal was right and the choice was not.
        technician: the other way round.
        level: both or neither right.
        open: not judged, for nothing is proven yet.
    """

    rows: tuple[Override, ...]
    tool: int
    technician: int
    level: int
    open: int


def override_words(
    proposed: Step,
    chosen: tuple[str, str],
    reason: str,
    *,
    chosen_usd: float | None = None,
    against: Step | None = None,
    by: str = "",
) -> str:
    """Return the words of the note that records an override.

    Args:
        proposed: the step that was proposed.
        chosen: (kind, step id) of what is done instead.
        reason: why.
        chosen_usd: expected total of the choice, where the tool has priced it.
        against: the standing stop that forbids the choice.
        by: who decides; nobody overrides a stop without his name.

    Raises:
        InputRefused: without a reason, or against a stop without a name.
    """
    name = " ".join(by.replace(":", " ").split())
    if against is not None and not name:
        raise InputRefused(
            f"A stop that stands forbids this: {against.name}.",
            where="by",
            do="It may be overridden only by name and with a reason; both stand on every paper.",
        )
    if not reason.strip():
        raise InputRefused(
            "An override needs a reason.", do="Write in a few words why; it is kept with the case."
        )
    extra = None if chosen_usd is None else chosen_usd - proposed.expected_total_usd
    return say.override(
        f"{proposed.kind} {proposed.step}",
        f"{chosen[0]} {chosen[1]}",
        extra,
        reason.strip(),
        against=(against.step, name) if against is not None else None,
    )


def overrides(case: Case, proven: Iterable[str] = ()) -> tuple[Override, ...]:
    """Return the overrides of a case, judged by the causes that were *proven*.

    A repair was right if its cause is proven. Testing instead of a repair was right if that
    repair's cause is not proven: it saved a needless part.
    """
    causes = frozenset(proven)
    found = []
    for entry, data in case.of(NoteData):
        if data.about != ABOUT:
            continue
        match = _WORDS.match(data.words.strip())
        if match is None:
            continue
        proposed = (match["proposed_kind"], match["proposed"])
        chosen = (match["chosen_kind"], match["chosen"])
        extra = float(match["extra"]) if match["extra"] is not None else None
        right = _judge(proposed, chosen, causes) if causes else "open"
        found.append(
            Override(
                case.id, entry.id, entry.at, proposed, chosen, match["reason"], extra, right,
                match["stop"] or "", (match["by"] or "").strip(),
            )
        )  # fmt: skip
    return tuple(found)


def overridden_stops(case: Case, knowledge: Knowledge) -> tuple[OverriddenStop, ...]:
    """Return the stops against which something was done, by whom and why; none is forgotten."""
    said = {s.id: s.say for s in knowledge.stops}
    said |= {s.id: s.say for f in knowledge.families.values() for s in f.stops}
    found = []
    for o in overrides(case):
        if not o.stop:
            continue
        record = knowledge.test(o.chosen[1]) or knowledge.cause(o.chosen[1])
        words = record.name if record is not None else o.chosen[1].replace("_", " ")
        did = say.repair_name(words) if o.chosen[0] == "repair" else words
        stop = said.get(o.stop, o.stop.replace("_", " "))
        found.append(OverriddenStop(o.entry, o.at, o.stop, stop, o.chosen[1], did, o.by, o.reason))
    return tuple(found)


def score(cases: Iterable[Case], proven: Mapping[str, Iterable[str]]) -> Score:
    """Score the tool against the technician over many cases.

    Args:
        cases: the cases.
        proven: case id -> causes that were proven there.
    """
    rows = tuple(o for case in cases for o in overrides(case, proven.get(case.id, ())))
    return Score(
        rows,
        sum(o.right == "tool" for o in rows),
        sum(o.right == "technician" for o in rows),
        sum(o.right in {"both", "neither"} for o in rows),
        sum(o.right == "open" for o in rows),
    )


def _judge(proposed: tuple[str, str], chosen: tuple[str, str], causes: frozenset[str]) -> Right:
    if proposed[0] != "repair" and chosen[0] != "repair":
        return "both"
    tool = _was_right(proposed, chosen, causes)
    technician = _was_right(chosen, proposed, causes)
    if tool and technician:
        return "both"
    if not tool and not technician:
        return "neither"
    return "tool" if tool else "technician"


def _was_right(step: tuple[str, str], other: tuple[str, str], causes: frozenset[str]) -> bool:
    if step[0] == "repair":
        return step[1] in causes
    return other[1] not in causes
