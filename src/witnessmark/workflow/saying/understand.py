"""From a line to what it means: every reader looks at it, and what is left over is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

from witnessmark.words.say import line as say
from witnessmark.workflow.case.packs_of_shop import Knowledge
from witnessmark.workflow.saying.cards import Card, Meaning, Part
from witnessmark.workflow.saying.facts.checks_said import checks_of
from witnessmark.workflow.saying.facts.codes_said import codes_of
from witnessmark.workflow.saying.facts.measured_said import measured_checks
from witnessmark.workflow.saying.facts.pack_words import pack_words_of
from witnessmark.workflow.saying.facts.part_names import part_names
from witnessmark.workflow.saying.facts.work_said import work_of
from witnessmark.workflow.saying.figures.figure_marks import figure_marks
from witnessmark.workflow.saying.figures.readings_said import readings_of
from witnessmark.workflow.saying.hearing.figures_in_words import with_figures
from witnessmark.workflow.saying.hearing.moods import Clause, clauses_of
from witnessmark.workflow.saying.hearing.spelling import respelled
from witnessmark.workflow.saying.hearing.spoken_tables import Phrases, phrases, table
from witnessmark.workflow.saying.hearing.tokens import Token, longest, made_plain, tokens_of

__all__ = ["MOST_CHARACTERS", "understand"]

#: A line that is longer is a letter; it is kept as a note.
MOST_CHARACTERS = 600

#: Kinds that may be taken with one tap for all.
_TAKEN = frozenset({"reading", "test", "clue", "code"})
#: A figure of then is not one of now, nor one of a sensor that of a gauge.
_PAST = frozenset({"was", "were", "had", "used", "yesterday", "last", "sensor", "scanner", "bus"})
_FILLERS = frozenset(table("speech")["fillers"]["words"])


@cache
def _corrections() -> Phrases:
    return phrases([(said, True) for said in table("speech")["corrections"]["words"]])


def understand(
    line: str,
    knowledge: Knowledge,
    usual: Sequence[str] = (),
    families: Sequence[str] = (),
) -> Meaning:
    """Return what a line means, judged by the words of the tables and the packs.

    Args:
        line: as it was typed or heard.
        knowledge: the packs; a test or look that they do not hold is never made.
        usual: quantities that the case is measured by, the likeliest first.
        families: the families of the case; looks and tests are read by their words, too.
    """
    line = " ".join(line.split())
    if not line or len(line) > MOST_CHARACTERS:
        return Meaning(line, left=line)
    heard = tokens_of(line)
    whole = with_figures(made_plain(respelled(heard)))
    tokens = _corrected(whole)
    dropped = [t for t in whole if t not in tokens]
    if not tokens:
        return Meaning(line, left=line)
    clauses = clauses_of(tokens)
    work = work_of(tokens, clauses)
    if any(card.kind == "retract" for card in work.cards):
        return _meaning(line, tokens, [work], dropped)
    codes = codes_of(tokens, clauses)
    taken = work.used | codes.used
    figures = figure_marks(tokens, taken)
    measured = measured_checks(tokens, clauses, figures, knowledge)
    checks = checks_of(tokens, clauses, knowledge, measured.cards)
    worked = any(c.kind == "work" and c.data["did"] != "cleared codes" for c in work.cards)
    counted = {n for n in checks.used if tokens[n].number is not None}
    staged = any(t.text in {"before", "after", "now"} for t in tokens)
    readings = readings_of(tokens, taken | measured.used | counted, clauses, worked, usual)
    if worked and not staged:
        readings.cards = [replace(c, needs=(*c.needs, say.ask_stage())) for c in readings.cards]
    taken = set().union(*(p.used for p in (readings, measured, checks, codes, work)))
    named = checks.named | {str(c.data.get("test", "")) for c in measured.cards}
    by_words = pack_words_of(tokens, clauses, knowledge, families, taken, named)
    parts = [readings, measured, checks, by_words, codes, work]
    return _meaning(line, tokens, parts, dropped)


def _corrected(tokens: list[Token]) -> list[Token]:
    """Take out what the speaker took back: "78 psi no wait 71", "65 idle no, 68"."""
    at = 0
    while at < len(tokens):
        count = _correction(tokens, at)
        new = next((p for p in range(at + count, min(len(tokens), at + count + 4))
                    if tokens[p].number is not None), None) if count else None  # fmt: skip
        old = _meant(tokens, at, new) if new is not None else None
        if old is None or new is None:
            at += 1
            continue
        end = old + 1
        while end < at and tokens[end].text in {"psi", "lbs", "f", "c", "v", "volts", "rpm"}:
            end += 1
        kept = tokens[old + 1 : at]
        unit_after = new + 1 < len(tokens) and tokens[new + 1].text in {t.text for t in kept}
        replaced = [tokens[new]]
        if unit_after:
            replaced.append(tokens[new + 1])
            kept = tokens[end:at]
        tail = tokens[new + 1 + int(unit_after) :]
        tokens = [*tokens[:old], *replaced, *kept, *tail]
        at = old + 1
    return tokens


def _correction(tokens: Sequence[Token], at: int) -> int:
    hit = longest(tokens, at, _corrections())
    if hit is not None:
        return hit[0]
    if tokens[at].text == "no" and at and any(t.number is not None for t in tokens[:at]):
        step = 2 if at + 1 < len(tokens) and tokens[at + 1].text == "," else 1
        if at + step < len(tokens) and tokens[at + step].number is not None:
            return step
    return 0


def _meant(tokens: Sequence[Token], at: int, new: int) -> int | None:
    """Find the figure before *at* that the one at *new* stands for: of its own kind."""
    value = tokens[new].number or 0.0
    after = tokens[new + 1].text if new + 1 < len(tokens) else ""
    is_speed = after == "rpm" or (value >= 450 and after not in {"psi", "f", "kpa", "miles"})
    for place in range(at - 1, -1, -1):
        old = tokens[place].number
        if old is None:
            continue
        follows = tokens[place + 1].text if place + 1 < len(tokens) else ""
        old_speed = follows == "rpm" or (old >= 450 and follows not in {"psi", "f", "kpa"})
        if old_speed == is_speed:
            return place
    return None


def _meaning(
    line: str, tokens: Sequence[Token], parts: Sequence[Part], dropped: Sequence[Token]
) -> Meaning:
    used = set().union(*(p.used for p in parts))
    asks = [a for p in parts for a in p.asks]
    cards = _in_order([c for p in parts for c in p.cards])
    rest = [t for n, t in enumerate(tokens) if n not in used and t.text not in _FILLERS]
    left = _left(line, [*rest, *dropped]) if cards else line
    clauses = clauses_of(tokens)
    unclear = any(_correction(tokens, at) > 1 for at in range(len(tokens)))
    if unclear:
        asks.append(say.ask_retract())
    open_figures = unclear or bool(dropped) or any(t.number is not None for t in rest)
    finished = []
    for card in cards:
        first, _, last = card.said.partition(":")
        sure = card.kind in _TAKEN and not card.needs and not open_figures
        sure = sure and not (card.kind in {"test", "clue"} and card.also)
        sure = sure and (card.kind != "code" or card.sure)
        slips = any(t.doubt and t.number is None and int(first) <= t.start < int(last)
                    for t in tokens)  # fmt: skip
        sure = (
            sure
            and not slips
            and not _doubtful(tokens, clauses, rest, int(first), int(last), card.kind)
        )
        finished.append(replace(card, said=line[int(first) : int(last)], sure=sure))
    if not cards and not asks:
        asks = _asks_of_rest(tokens, set().union(*(c.moods for c in clauses)))
    return Meaning(line, tuple(finished), tuple(dict.fromkeys(asks)), left)


def _doubtful(
    tokens: Sequence[Token],
    clauses: Sequence[Clause],
    rest: Sequence[Token],
    start: int,
    end: int,
    kind: str,
) -> bool:
    """Tell whether words beside a card were not understood, or may turn its meaning."""
    spans = [
        (tokens[c.first].start, tokens[c.end - 1].end)
        for c in clauses
        if tokens[c.first].start < end and tokens[c.end - 1].end > start
    ]
    inside = [t for t in rest if any(a <= t.start < b for a, b in spans)]
    turning = set(table("speech")["doubtful"]["words"])
    if kind == "reading":  # what was used for a reading is understood, but for these
        said = {t.text for t in tokens if any(a <= t.start < b for a, b in spans)}
        return len(inside) > 1 or bool(said & _PAST) or any(t.text in turning for t in inside)
    return len(inside) > 2 or any(t.text in turning for t in inside)


def _in_order(cards: list[Card]) -> list[Card]:
    """Put work between what was read before it and after it."""
    later = [c for c in cards if "after" in c.marks]
    rest = [c for c in cards if "after" not in c.marks]
    return [*rest, *(replace(c, marks=tuple(m for m in c.marks if m != "after")) for c in later)]


def _left(line: str, rest: Sequence[Token]) -> str:
    """Return the words that no card came from, as they stand in the line."""
    pieces: list[str] = []
    last_end = -1
    for token in sorted(rest, key=lambda t: t.start):
        if token.start >= last_end:
            pieces.append(line[token.start : token.end])
            last_end = token.end
    return " ".join(pieces)


def _asks_of_rest(tokens: Sequence[Token], moods: set[str]) -> list[str]:
    """Ask about a line of which nothing was taken."""
    words = {t.text for t in tokens}
    if "hearsay" in moods:
        return [say.ask_hearsay()]
    if "guess" in moods:
        return [say.ask_guess()]
    needed = "need" in words and "to" not in words and part_names(tokens, 0, len(tokens))
    if needed:
        return [say.ask_order()]
    if moods and moods <= {"plan", "other"} and not words & {"order", "buy"}:
        return []
    if words & {"order", "buy"}:
        return [say.ask_order()]
    if words & set(table("speech")["asked_about"]["smokes"]):
        return [say.ask_smoke()]
    if {"does", "not"} <= words:
        return [say.ask_gone_where()]
    if words & set(table("speech")["asked_about"]["leaks"]):
        return [say.ask_fluid()]
    if words & {"bubbles", "air"}:
        return [say.ask_bubbles()]
    asked = set(table("speech")["asked_about"]["plainly"])
    if words & asked or any(t.number is not None for t in tokens):
        return [say.ask_plain()]
    return []
