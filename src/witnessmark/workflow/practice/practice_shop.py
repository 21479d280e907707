"""A shop of one virtual truck. What is entered as a result is taken as a prediction.

The pages are the bench's own. A look, a test or a gauge reading that is entered gets the truck's
answer instead of what was said, and what was said is kept as the prediction; a repair is followed
by the driver's word. A truck with a machine brings a recording, and another after each repair.
Nothing of it lies in a real shop, so no real history learns from it.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any, Protocol

from witnessmark.errors import EntryRefused, InputRefused
from witnessmark.knowledge import Family, Test
from witnessmark.machine import put_in_place
from witnessmark.model.entries.entry import Entry, parse_entry
from witnessmark.model.entries.entry_data import OutcomeData, ReadingData, WorkData
from witnessmark.words.say import practice as say
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.practice.virtual_truck import VirtualTruck, drawn_cause

__all__ = [
    "CASE",
    "PracticeShop",
    "TruckMachine",
    "is_practice",
    "new_practice",
    "open_practice",
    "twin_of",
]

#: The one case of a practice shop.
CASE = "practice"
_FILE = "practice.json"
#: Entries whose content only the truck or its driver could know.
_ANSWERS = {"recording", "outcome", "code"}


class TruckMachine(Protocol):
    """What stands behind the gauges and the recorder of a practice truck."""

    def gauges(self, family: str) -> tuple[str, ...] | None:
        """Return the quantities that can be read; ``None``: nothing stands behind that family."""

    def reading(self, cause: str, quantity: str, rpm: float, load: float, seed: int) -> str | None:
        """Return what a gauge shows, with its unit; ``None``: there is no such gauge."""

    def recording(self, family: str, cause: str, seed: int) -> tuple[str, bytes] | None:
        """Return (file name, content) of a drive; ``None``: the truck has no recorder."""


@dataclass(frozen=True, slots=True)
class PracticeShop(Shop):
    """A shop whose truck answers.

    Attributes:
        truck: the truck.
        at_the_end: says what it came to, once the truck is cured; it then stands on every page.
        machine: its gauges and its recorder; ``None``: it has none.
    """

    truck: VirtualTruck = field(default_factory=lambda: VirtualTruck(0, {}))
    at_the_end: Callable[[PracticeShop], str] | None = None
    machine: TruckMachine | None = None

    @property
    def told_everywhere(self) -> str:
        """Say on every page that this is practice."""
        return str(_state(self.folder).get("review") or say.banner())

    def add(
        self,
        case_id: str,
        kind: str,
        data: Mapping[str, Any],
        *,
        by: str | None = None,
        entry_id: str | None = None,
        at: str | None = None,
    ) -> Entry:
        """Make one entry; the truck answers a test, a clue and a repair.

        Raises:
            EntryRefused: a recording, a code or the driver's word, or a reading of a gauge that
                the truck has not, or without its engine speed.
        """
        if case_id != CASE or kind not in {"test", "clue", "work", "reading", *_ANSWERS}:
            return Shop.add(self, case_id, kind, data, by=by, entry_id=entry_id, at=at)
        if kind in _ANSWERS:
            raise EntryRefused(say.not_here(kind), do=say.what_there_is())
        held = self.casebook.line_of(case_id, entry_id) if entry_id is not None else None
        if held is not None:
            return parse_entry(held)[0]  # sent twice: answered once
        if kind == "test":
            return self._tested(data, by=by, entry_id=entry_id, at=at)
        if kind == "reading":
            return self._read(data, by=by, entry_id=entry_id, at=at)
        if kind == "clue":
            data = {**data, "seen": self._seen(data)}
        made = Shop.add(self, case_id, kind, data, by=by, entry_id=entry_id, at=at)
        self._answer_repair(made)
        return made

    def enter(self, case_id: str, lines: Iterable[str], *, by: str | None = None) -> list[str]:
        """Add lines one by one, each answered as :meth:`add` does.

        Raises:
            EntryRefused: as :meth:`add`, or a line is no entry.
        """
        fresh = [parse_entry(line)[0] for line in lines if line.strip()]
        return [
            self.add(case_id, e.kind, json.loads(e.data.model_dump_json(exclude_none=True)),
                     by=by, entry_id=e.id, at=e.at).id
            for e in fresh
        ]  # fmt: skip

    def predictions(self) -> dict[str, str]:
        """Return entry id of a test -> the result that was expected."""
        return {str(k): str(v) for k, v in _state(self.folder)["expected"].items()}

    def _tested(
        self, data: Mapping[str, Any], *, by: str | None, entry_id: str | None, at: str | None
    ) -> Entry:
        family, test = self._test(str(data.get("test", "")))
        if family is None or test is None:
            return Shop.add(self, CASE, "test", data, by=by, entry_id=entry_id, at=at)  # refused
        told = {**data, "result": self.truck.result(family, test)}
        made = Shop.add(self, CASE, "test", told, by=by, entry_id=entry_id, at=at)
        state = _state(self.folder)
        state["expected"][made.id] = data.get("result", "")
        _save(self.folder, state)
        return made

    def readings_expected(self) -> dict[str, str]:
        """Return entry id of a reading -> the value that was expected, as it was typed."""
        return {str(k): str(v) for k, v in _state(self.folder).get("readings", {}).items()}

    def _read(
        self, data: Mapping[str, Any], *, by: str | None, entry_id: str | None, at: str | None
    ) -> Entry:
        """Enter what the gauge shows instead of what was foretold."""
        [(family, _)] = self.truck.families.items()
        trial = entry_line("reading", data)
        told = parse_entry(trial)[0].data
        assert isinstance(told, ReadingData)  # noqa: S101
        point = told.point.at()
        gauges = (self.machine.gauges(family) if self.machine is not None else None) or ()
        if self.machine is None or not gauges:
            raise EntryRefused(say.not_here("reading"), do=say.what_there_is())
        if point.rpm is None:
            raise EntryRefused(say.at_which_speed(), do=say.name_the_speed())
        what = f"{self.truck.seed}/{told.quantity}/{point.rpm:.0f}/{point.load}/{self._works()}"
        seed = int.from_bytes(hashlib.sha256(what.encode()).digest()[:6], "big")
        cause = "" if self._cured() else self.truck.families[family]
        shown = self.machine.reading(cause, told.quantity, point.rpm, point.load or 0.0, seed)
        if shown is None or told.quantity not in gauges:
            raise EntryRefused(say.no_such_gauge(), do=say.gauges(gauges))
        made = Shop.add(
            self, CASE, "reading", {**data, "value": shown}, by=by, entry_id=entry_id, at=at
        )
        state = _state(self.folder)
        state.setdefault("readings", {})[made.id] = data.get("value", "")
        _save(self.folder, state)
        return made

    def drive(self) -> Entry | None:
        """Store a recording of the truck as it is now; ``None`` where it has no recorder."""
        [(family, hidden)] = self.truck.families.items()
        if self.machine is None:
            return None
        works = self._works()
        found = self.machine.recording(
            family, "" if self._cured() else hidden, self.truck.seed + works
        )
        if found is None:
            return None
        name, content = found
        sha256 = self.store_file(BytesIO(content), name)
        told = {"path": name, "sha256": sha256}
        return Shop.add(self, CASE, "recording", told, entry_id=f"drive-{works}")

    def _works(self) -> int:
        return sum(1 for _ in self.case(CASE).of(WorkData))

    def _cured(self) -> bool:
        return any(d.gone is True for _, d in self.case(CASE).of(OutcomeData))

    def _seen(self, data: Mapping[str, Any]) -> bool:
        """Return whether a clue is there; one that nobody knows is refused where it is entered."""
        knowledge = knowledge_of(self)
        condition = knowledge.conditions.get(str(data.get("clue", "")))
        if condition is None:
            return bool(data.get("seen"))
        name, hidden = next(iter(self.truck.families.items()))
        cause = knowledge.families[name].cause(hidden)
        factor = cause.odds_multipliers.get(condition.id, 1.0) if cause is not None else 1.0
        if condition.part_scoped and data.get("cause") != hidden:
            factor = 1.0
        return self.truck.shows(name, condition.id, condition.base_rate, factor)

    def _test(self, identity: str) -> tuple[Family | None, Test | None]:
        """Return the family of the truck's complaints that has a test, and the test."""
        for name in self.truck.families:
            family = knowledge_of(self).families[name]
            test = family.test(identity)
            if test is not None:
                return family, test
        return None, None

    def _answer_repair(self, made: Entry) -> None:
        if not isinstance(made.data, WorkData) or made.data.cause is None:
            return
        for complaint, data in self.case(CASE).complaints():
            family = data.families[0]
            gone = self.truck.cured_by(family, made.data.cause)
            told = {"complaint": complaint.id, "gone": gone, "after_days": 1}
            Shop.add(self, CASE, "outcome", told, entry_id=f"{made.id[:60]}.{complaint.id[:40]}")
            self.drive()
            if gone and self.at_the_end is not None:
                words = self.at_the_end(self)
                _save(self.folder, {**_state(self.folder), "review": words})


def new_practice(
    folder: Path,
    family: str = "",
    *,
    seed: int | None = None,
    at_the_end: Callable[[PracticeShop], str] | None = None,
    machine: TruckMachine | None = None,
) -> PracticeShop:
    """Make a folder with one virtual truck.

    Args:
        folder: a folder that is not there yet, or an empty one.
        family: of the complaint; empty: any drawn, with a machine those too that a physical model
            reads and the machine can show.
        seed: of all draws; a new one when not given.
        at_the_end: says what it came to; see :class:`PracticeShop`.
        machine: its gauges and its recorder.

    Raises:
        InputRefused: the folder holds something, or there is no such family.
    """
    if folder.exists() and any(folder.iterdir()):
        raise InputRefused(
            "This folder holds something already.", where=str(folder), do="Name a new one."
        )
    seed = secrets.randbelow(2**31) if seed is None else seed
    plain = open_shop(folder, create=True)
    families = knowledge_of(plain).families
    if family and family not in families:
        raise InputRefused(
            f"There is no family '{family[:40]}'.", do="witnessmark pack lists them."
        )
    shown = [n for n in families if machine is not None and machine.gauges(n) is not None]
    can = [n for n, f in families.items() if not f.modelled_by or n in shown]
    name = family or can[seed % len(can)]
    chosen = families[name]
    words = chosen.complaint_words.split(";")[0].split(",")[0].strip().strip("'\"") or chosen.name
    plain.new_case(
        CASE,
        [
            entry_line("truck", {"label": say.truck_name(), "miles": 300_000 + seed % 400_000}),
            entry_line("complaint", {"words": words, "families": [name]}, entry_id="c1"),
        ],
    )
    _save(folder, {"seed": seed, "families": {name: drawn_cause(chosen, seed)}, "expected": {}})
    plain.close()
    made = open_practice(folder, at_the_end, machine)
    made.drive()
    return made


def open_practice(
    folder: Path,
    at_the_end: Callable[[PracticeShop], str] | None = None,
    machine: TruckMachine | None = None,
) -> PracticeShop:
    """Open a practice shop again.

    Args:
        folder: its folder.
        at_the_end: says what it came to; see :class:`PracticeShop`.
        machine: its gauges and its recorder.

    Raises:
        InputRefused: it is none.
    """
    if not is_practice(folder):
        raise InputRefused(
            "This is no practice truck.", where=str(folder), do="Make one: witnessmark practice."
        )
    state = _state(folder)
    shop = open_shop(folder)
    truck = VirtualTruck(int(state["seed"]), dict(state["families"]))
    return PracticeShop(shop.folder, shop.casebook, shop.originals, shop.name, truck=truck,
                        at_the_end=at_the_end, machine=machine)  # fmt: skip


def is_practice(folder: Path) -> bool:
    """Say whether a folder holds a practice truck."""
    return (folder / _FILE).is_file()


def twin_of(shop: PracticeShop, folder: Path) -> PracticeShop:
    """Make the same truck once more as it came in: nothing done, the same answers."""
    lines = zip(shop.export(CASE).splitlines(), shop.case(CASE).entries, strict=True)
    plain = open_shop(folder, create=True)
    plain.new_case(CASE, [line for line, e in lines if e.kind in {"truck", "complaint"}])
    plain.close()
    _save(folder, {**_state(shop.folder), "expected": {}, "readings": {}})
    twin = open_practice(folder, machine=shop.machine)
    twin.drive()
    return twin


def _state(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / _FILE).read_text(encoding="utf-8"))
    return found


def _save(folder: Path, state: Mapping[str, Any]) -> None:
    fresh = folder / f"{_FILE}.new"
    fresh.write_text(json.dumps(state, indent=1), encoding="utf-8")
    put_in_place(fresh, folder / _FILE)
