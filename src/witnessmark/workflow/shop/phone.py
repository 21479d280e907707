"""The phone and the roadside: questions, what the answers free, and the case to come."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.rules import Answer, Question
from witnessmark.words.say import phone as say
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line

__all__ = [
    "MOST",
    "UNKNOWN",
    "Asked",
    "Question",
    "Told",
    "answer_lines",
    "questions_of",
    "told",
    "write_down",
]

#: Questions of one family at most.
MOST = 6
#: The answer that stands under every question.
UNKNOWN = "?"
#: From what forbids most to what forbids nothing.
_ORDER = ("park", "tow", "ask", "limp", "drive")
#: What keeps the truck where it stands, and what the packs call a truck that was told so.
_STAYS = frozenset({"park", "tow"})
_TOLD_TO_STAY = "told_to_stay"
#: What lets it move: an order for the way ("gently") is none for a truck that stays.
_MOVES = frozenset({"limp", "drive"})


@dataclass(frozen=True, slots=True)
class Asked:
    """The questions of a call.

    Attributes:
        truck: of the whole truck.
        family: of the complaints, at most six each.
        stay: clue that says that the driver was told to leave the truck where it stands.
    """

    truck: tuple[Question, ...]
    family: tuple[Question, ...]
    stay: str = ""

    @property
    def every(self) -> tuple[Question, ...]:
        """Return all of them, those of the complaint first."""
        return (*self.family, *self.truck)


@dataclass(frozen=True, slots=True)
class Told:
    """What came of a call.

    Attributes:
        drive: park, tow, limp, drive; ask: not decided yet.
        word: the same in words.
        tell: what the driver is told.
        reasons: why, what forbids most first.
        also: what else to tell him, an order each.
        later: orders for a truck that moves, while this one stays; they hold once it may move.
        unasked: questions that must be asked before it may move.
        said: every answer in words.
        opens: families that an answer points to.
        clues: (condition, seen) that an answer settles, and that it was told to stay.
    """

    drive: str
    word: str
    tell: str
    reasons: tuple[str, ...]
    also: tuple[str, ...]
    later: tuple[str, ...]
    unasked: tuple[str, ...]
    said: tuple[str, ...]
    opens: tuple[str, ...]
    clues: tuple[tuple[str, bool], ...]


def questions_of(knowledge: Knowledge, families: Sequence[str]) -> Asked:
    """Return the questions of a call about these families; none: those of the whole truck alone."""
    mine = [q for f in dict.fromkeys(families) if f in knowledge.families
            for q in knowledge.families[f].triage[:MOST]]  # fmt: skip
    told_so = (c.id for c in knowledge.conditions.values() if c.truck_state == _TOLD_TO_STAY)
    return Asked(knowledge.triage, tuple(mine), next(told_so, ""))


def told(asked: Asked, answers: Mapping[str, str]) -> Told:
    """Return what the answers free.

    The worst answer of all counts. "Don't know" is the worst answer of a question that says so.
    What must be known and was not asked frees nothing: then it is not decided yet.

    Args:
        asked: the questions.
        answers: question id -> number of its answer from 1, or ``?``; left out: not asked.

    Raises:
        InputRefused: no such question, or no such answer.
    """
    known = {q.id: q for q in asked.every}
    for identity in answers:
        if identity not in known:
            raise InputRefused(
                f"'{identity[:60]}' is no question of this call.",
                where="answers",
                do=f"The questions are {', '.join(known)}.",
            )
    rows: list[tuple[str, str, str]] = []
    said: list[str] = []
    opens: list[str] = []
    clues: dict[str, bool] = {}
    for question in asked.every:
        given = answers.get(question.id, "")
        if not given:
            continue
        answer = _answer(question, given)
        if answer is None:
            worst = _worst(question) if question.worse_if_unknown else None
            words = say.not_known() if worst else say.unknown()
            line = say.reason(question.ask, words, "")
            rows += [(worst, line, "")] if worst else []
        else:
            line = say.reason(question.ask, answer.answer, answer.means)
            rows += [(answer.drive, line, answer.say)] if answer.drive else []
            opens += [answer.opens] if answer.opens else []
            if answer.clue:
                clues[answer.clue] = clues.get(answer.clue, False) or answer.seen
        said.append(line)
    unasked = tuple(q.ask for q in asked.every if q.worse_if_unknown and not answers.get(q.id))
    drive = min((row[0] for row in rows), key=_ORDER.index, default="ask")
    if unasked and _ORDER.index(drive) > _ORDER.index("ask"):
        drive = "ask"
    if asked.stay and drive in _STAYS:
        # An answer may say more than its clue: the case frees no truck that the phone has stopped.
        clues[asked.stay] = True
    rows.sort(key=lambda row: _ORDER.index(row[0]))
    forbids = [row for row in rows if row[0] != "drive"] or rows
    moves = drive in _MOVES
    now = dict.fromkeys(row[2] for row in rows if row[2] and (moves or row[0] not in _MOVES))
    later = dict.fromkeys(row[2] for row in rows if row[2] and row[2] not in now)
    return Told(
        drive=drive,
        word=say.word(drive),
        tell=say.tell(drive),
        reasons=tuple(row[1] for row in forbids),
        also=tuple(now),
        later=tuple(later),
        unasked=unasked,
        said=tuple(said),
        opens=tuple(dict.fromkeys(opens)),
        clues=tuple(clues.items()),
    )


def answer_lines(found: Told, *, base: str | None = None) -> list[str]:
    """Return the lines of a case that the answers make: what was looked at, and what was said.

    Args:
        found: what came of the call.
        base: an id that a second sending makes again.
    """

    def made(what: str) -> str | None:
        return f"{base[:60]}.{hashlib.sha256(what.encode()).hexdigest()[:8]}" if base else None

    lines = [
        entry_line("clue", {"clue": clue, "seen": seen}, entry_id=made(f"{clue}/{seen}"))
        for clue, seen in found.clues
    ]
    note = {"words": say.note(found.said, found.drive)[:4000], "about": "phone"}
    return [*lines, entry_line("note", note, entry_id=made("note"))] if found.said else lines


def write_down(
    shop: Shop,
    case_id: str,
    found: Told,
    *,
    by: str | None = None,
    base: str | None = None,
) -> list[str]:
    """Add what was said on the phone to a case that is open; sent again it changes nothing.

    Returns:
        The ids of the new entries.
    """
    held = {e.id for e in shop.case(case_id).entries}
    lines = answer_lines(found, base=base)
    fresh = [line for line in lines if not any(f'"id":"{i}"' in line for i in held)]
    return shop.append(case_id, fresh, by=by) if fresh else []


def _answer(question: Question, given: str) -> Answer | None:
    if given == UNKNOWN:
        return None
    number = int(given) if given.isascii() and given.isdecimal() and len(given) < 4 else 0
    if not 1 <= number <= len(question.answers):
        raise InputRefused(
            f"'{given[:20]}' is no answer to {question.id}.",
            where=question.id,
            do=f"Give 1 to {len(question.answers)}, or {UNKNOWN} for don't know.",
        )
    return question.answers[number - 1]


def _worst(question: Question) -> str:
    drives = [a.drive for a in question.answers if a.drive]
    return min(drives, key=_ORDER.index, default="park")
