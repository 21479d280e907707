"""Trouble codes as evidence: what each means, what the packs point to by it, and what they share.

A code is a pointer, as a clue is, and never a verdict. Of one state of the truck every pair of
number and failure mode counts once, whoever told it and however often. The weights are judgement.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from witnessmark.analyses.an_analysis import Bench
from witnessmark.knowledge.codes.code_numbers import CodeNumbers, code_numbers
from witnessmark.knowledge.records import Knowledge
from witnessmark.knowledge.rules import CodeMeaning
from witnessmark.model.details.code_details import CodeRead, CodesShare
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import CodeData, OutcomeData, TestData
from witnessmark.model.entries.ledger_data import CloseData
from witnessmark.model.finding import Evidence, Finding, Support
from witnessmark.words.say import codes as say

__all__ = ["NEEDS", "analyse"]

NEEDS = ("trouble codes, written down or on a bus recording",)

_METHOD = "codes/1"
#: Factor on the odds of a cause that a code points to (judgement).
_FACTOR = {"strong": 6.0, "fair": 3.0, "weak": 1.5}
#: What a code is worth that is not active now, as a share of its log factor (judgement).
_BEFORE = 0.25
#: The same of a number that is only fairly sure, of a code that may be the victim of a shared
#: wire, and beside a test by hand that read the same codes (judgement).
_HALF = 0.5
#: Weight of the second code that points to a cause, and of any further.
_FURTHER = (1.0, 0.5, 0.25)
_DRIVES = ("park", "tow", "limp")


@dataclass(frozen=True, slots=True)
class _Told:
    """One code of one state of the truck, however often and by whomever it was told."""

    spn: int
    fmi: int
    stage: int
    active: bool
    count: int | None = None
    units: tuple[int, ...] = ()
    lamps: tuple[str, ...] = ()
    entries: tuple[str, ...] = ()
    recording: str | None = None
    span: tuple[float | None, float | None] = (None, None)

    def and_by(self, other: _Told) -> _Told:
        """Return both as one: active where either says so, the newer lamps and counts kept."""
        counts = [c for c in (self.count, other.count) if c is not None]
        return replace(
            self,
            active=self.active or other.active,
            count=max(counts, default=None),
            units=tuple(sorted({*self.units, *other.units})),
            lamps=tuple(dict.fromkeys((*self.lamps, *other.lamps))),
            entries=tuple(dict.fromkeys((*self.entries, *other.entries))),
            recording=self.recording or other.recording,
            span=self.span if self.recording else other.span,
        )


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return a finding for every code, and one for each wire or supply that several may share."""
    numbers = code_numbers()
    by_stage: dict[int, list[_Told]] = defaultdict(list)
    for told in _told(bench):
        by_stage[told.stage].append(told)
    found: list[Finding] = []
    for stage, codes in sorted(by_stage.items()):
        shared = tuple(_shared(codes, stage, numbers))
        shares = {(c.spn, c.fmi) for members, _ in shared for c in members}
        supports = _supports(codes, shares, bench, numbers)
        order = sorted(codes, key=lambda c: (not c.active, -numbers.rank(c.fmi), c.spn, c.fmi))
        found += [finding for _, finding in shared]
        found += [_finding(c, codes, supports.get((c.spn, c.fmi), ()), bench, numbers)
                  for c in order]  # fmt: skip
    return tuple(found)


def _told(bench: Bench) -> Iterator[_Told]:
    """Yield every code of every stage once."""
    found: dict[tuple[int, int, int], _Told] = {}
    for one in (*_written(bench), *_recorded(bench)):
        key = (one.stage, one.spn, one.fmi)
        found[key] = found[key].and_by(one) if key in found else one
    yield from found.values()


def _written(bench: Bench) -> Iterator[_Told]:
    for entry, data in bench.case.of(CodeData):
        yield _Told(
            data.spn,
            data.fmi,
            bench.stage(entry.id),
            data.active,
            data.count,
            () if data.source is None else (data.source,),
            (data.lamp,) if data.lamp not in {None, "none"} and data.lamp else (),
            (entry.id,),
        )


def _recorded(bench: Bench) -> Iterator[_Told]:
    """Yield the codes on the recordings of a case that has a complaint."""
    if not bench.case.complaints():
        return
    for entry_id, recording in bench.recordings.items():
        for code in recording.trouble_codes:
            yield _Told(
                code.spn,
                code.fmi,
                bench.stage(entry_id),
                code.active,
                code.count,
                (code.source,),
                code.lamps,
                (entry_id,),
                recording.sha256,
                (code.first_s, code.last_s),
            )


def _shared(
    codes: Sequence[_Told], stage: int, numbers: CodeNumbers
) -> Iterator[tuple[Sequence[_Told], Finding]]:
    """Yield (the codes, the finding) of what several active codes may share."""
    active = [c for c in codes if c.active]
    low = [c for c in active if c.spn in numbers.voltage and c.fmi in numbers.low]
    rest = [c for c in active if c.spn not in numbers.voltage]
    if low and len({c.spn for c in rest}) > 1:
        yield rest, _share("voltage", [*low, *rest], stage, say.low_voltage(_pairs(rest)))
    volts = [c for c in rest if c.fmi in {3, 4}]
    if len({c.spn for c in volts}) > 1:
        own = any(c.spn in numbers.supplies for c in volts)
        yield volts, _share("supply", volts, stage, say.one_supply(_pairs(volts), own))
    silent = [c for c in rest if c.fmi in numbers.network]
    if len({c.spn for c in silent}) > 1:
        yield silent, _share("network", silent, stage, say.one_network(_pairs(silent)))
    for spn in sorted({c.spn for c in active}):
        ways = [c for c in active if c.spn == spn and c.fmi in numbers.circuit]
        if len(ways) > 1:
            modes = [str(c.fmi) for c in ways]
            yield (), _share("circuit", ways, stage, say.one_circuit(spn, modes))


def _share(kind: str, codes: Sequence[_Told], stage: int, sentence: str) -> Finding:
    entries = tuple(dict.fromkeys(e for c in codes for e in c.entries))
    return Finding(
        code="trouble_codes_share",
        sentence=sentence,
        outcome="seen",
        method=_METHOD,
        evidence=Evidence(entries),
        source=code_numbers().source,
        stage=stage,
        details=CodesShare(kind=kind, spns=tuple(sorted({c.spn for c in codes}))),
    )


def _pairs(codes: Sequence[_Told]) -> list[str]:
    return [f"{c.spn}/{c.fmi}" for c in codes]


def _behind_its_circuit(code: _Told, codes: Sequence[_Told], numbers: CodeNumbers) -> bool:
    """Say whether the circuit of a reading has a code of its own."""
    return code.fmi in numbers.reading and any(
        c.spn == code.spn and c.active and c.fmi in numbers.circuit for c in codes
    )


def _supports(
    codes: Sequence[_Told],
    shares: set[tuple[int, int]],
    bench: Bench,
    numbers: CodeNumbers,
) -> Mapping[tuple[int, int], tuple[Support, ...]]:
    """Return (SPN, FMI) -> what the code says of the causes, several of one cause weighed down."""
    weights: dict[str, list[tuple[float, tuple[int, int]]]] = defaultdict(list)
    for code in codes:
        if _behind_its_circuit(code, codes, numbers):
            continue
        pair = (code.spn, code.fmi)
        best: dict[str, float] = {}
        for row in bench.knowledge.code(*pair):
            worth = _worth(row, code) * (_HALF if pair in shares else 1.0)
            for cause in row.causes:
                best[cause] = max(best.get(cause, 0.0), worth)
        for cause, worth in best.items():
            if worth > 0.0:
                weights[cause].append((worth, pair))
    found: dict[tuple[int, int], dict[str, dict[str, float]]] = defaultdict(dict)
    read = _read_by_hand(bench, codes[0].stage if codes else 0)
    for cause, told in weights.items():
        family = bench.knowledge.family_of(cause)
        if family is None:
            continue
        for place, (worth, pair) in enumerate(sorted(told, reverse=True)):
            share = _FURTHER[min(place, len(_FURTHER) - 1)] * (_HALF if family.id in read else 1.0)
            found[pair].setdefault(family.id, {})[cause] = worth * share
    return {
        pair: tuple(Support(family, logs) for family, logs in sorted(each.items()))
        for pair, each in found.items()
    }


def _worth(row: CodeMeaning, code: _Told) -> float:
    """Return the log factor of what a pack points to by a code."""
    if row.points not in _FACTOR:
        return 0.0
    worth = math.log(_FACTOR[row.points])
    if not code.active:
        # After work, what was stored before says nothing of the new part.
        worth *= _BEFORE if code.stage == 0 else 0.0
    return worth * (1.0 if row.number_sure == "sure" else _HALF)


def _read_by_hand(bench: Bench, stage: int) -> set[str]:
    """Return the families of which a test by hand has read the codes in a stage already."""
    done = {
        data.test
        for entry, data in bench.case.of(TestData)
        if bench.stage(entry.id) == stage and data.result not in {"negative", "maybe"}
    }
    return {
        family.id
        for family in bench.knowledge.families.values()
        if any(test.kind == "code" and test.id in done for test in family.tests)
    }


def _over(case: Case) -> bool:
    """Tell whether every complaint of a case is closed: nobody waits for what a code forbids."""
    gone: dict[str, bool] = {}
    for _, said in case.of(OutcomeData):
        gone[said.complaint] = said.gone is True
    for _, closed in case.of(CloseData):
        gone[closed.complaint] = gone.get(closed.complaint, True)
    complaints = [entry.id for entry, _ in case.complaints()]
    return bool(complaints) and all(gone.get(one, False) for one in complaints)


def _finding(
    code: _Told,
    codes: Sequence[_Told],
    support: Sequence[Support],
    bench: Bench,
    numbers: CodeNumbers,
) -> Finding:
    rows = bench.knowledge.code(code.spn, code.fmi)
    proves = tuple(dict.fromkeys(t for row in rows for t in row.tests))
    drives = {row.drive for row in rows if code.active}
    drive = next((d for d in _DRIVES if d in drives), "") if not _over(bench.case) else ""
    how = next((p for p in (*_FACTOR, "consequence") if any(r.points == p for r in rows)), "")
    return Finding(
        code="trouble_code",
        sentence=" ".join(_said(code, codes, rows, drive, bench, numbers)),
        outcome="seen",
        method=_METHOD,
        evidence=Evidence(code.entries, code.recording, None, *code.span),
        source="; ".join(dict.fromkeys([*(row.source.words for row in rows), numbers.source])),
        stage=code.stage,
        support=tuple(support),
        details=CodeRead(
            short=say.number(code.spn, code.fmi),
            spn=code.spn,
            fmi=code.fmi,
            active=code.active,
            count=code.count,
            units=code.units,
            lamps=code.lamps,
            points=how,
            proves=proves,
            drive=drive,
        ),
    )


def _said(
    code: _Told,
    codes: Sequence[_Told],
    rows: Sequence[CodeMeaning],
    drive: str,
    bench: Bench,
    numbers: CodeNumbers,
) -> Iterator[str]:
    mode, remark = numbers.fmi[code.fmi]
    state = say.state(code.active, code.count, code.units, code.lamps)
    name = numbers.spn.get(code.spn) or next((row.words for row in rows), "")
    number = say.number(code.spn, code.fmi)
    if name:
        yield say.known(number, state, name, mode, remark)
    else:
        yield say.unknown(number, state, mode, code.spn >= numbers.own_from)
    if not rows:
        if name:
            yield say.unlisted()
        return
    if _behind_its_circuit(code, codes, numbers):
        yield say.before_its_reading(code.spn)
    pointing = [row for row in rows if row.points in _FACTOR]
    if pointing:
        yield from _points(pointing, bench)
    else:
        yield say.follows()
    tests = [bench.knowledge.test(t) for t in dict.fromkeys(t for row in rows for t in row.tests)]
    if pointing or any(tests):
        yield say.proves([t.name for t in tests if t is not None][:3])
    if drive:
        yield say.meanwhile(drive)


def _points(rows: Sequence[CodeMeaning], bench: Bench) -> Iterator[str]:
    knowledge: Knowledge = bench.knowledge
    complained = set(bench.case.families())
    for how in _FACTOR:
        causes = dict.fromkeys(c for row in rows if row.points == how for c in row.causes)
        names = [part.name for c in causes if (part := knowledge.cause(c)) is not None]
        families = {f.id for c in causes if (f := knowledge.family_of(c)) is not None}
        if names:
            yield say.points(how, names, not families & complained)
    if not any(row.causes for row in rows):
        yield say.points("fair", [], False)
