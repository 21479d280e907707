"""What an analysis is: it says what it needs, looks at a bench, and gives findings.

An analysis is a module with

- ``NEEDS``: what it needs, in words, one item a need;
- ``analyse(bench) -> tuple[Finding, ...]``.

It alters nothing it is given. Where a complaint of the case makes it relevant but a need is not
met, it returns a finding with the outcome ``not_run`` whose reason names what is missing, so the
planner can ask for it. Where no complaint makes it relevant, it returns nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

from witnessmark.knowledge import Knowledge
from witnessmark.late import late
from witnessmark.model.finding import Finding, OperatingPoint
from witnessmark.model.recording import Recording

if TYPE_CHECKING:
    from witnessmark.analyses import bus_readings
    from witnessmark.model.entries import entry_data
    from witnessmark.model.entries.case import Case
    from witnessmark.model.entries.entry import Entry
    from witnessmark.model.entries.entry_data import ReadingData
else:  # the entries load a library that a look into a file does not need
    bus_readings = late("witnessmark.analyses.bus_readings")
    entry_data = late("witnessmark.model.entries.entry_data")

__all__ = ["Analysis", "Bench", "Reading", "not_run"]


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading as the analyses use it: house units, with its stage.

    Attributes:
        entry: the entry it came in with.
        data: the data of the entry.
        value: value in the house unit of its quantity.
        point: operating point.
        stage: number of work entries before it.
    """

    entry: Entry
    data: ReadingData
    value: float
    point: OperatingPoint
    stage: int


@dataclass(frozen=True)
class Bench:
    """Everything an analysis may look at.

    Attributes:
        case: the case.
        recordings: entry id of a live recording entry -> recording.
        knowledge: the packs.
        stages: entry id -> number of work entries before it.
    """

    case: Case
    recordings: Mapping[str, Recording]
    knowledge: Knowledge
    stages: Mapping[str, int] = field(default_factory=dict)

    def readings(self, *quantities: str) -> Iterator[Reading]:
        """Yield the live readings, of these quantities when any are named, in order.

        Readings off the bus at steady operating points stand where their recording stands.
        """
        if not quantities:
            yield from self._readings
        elif len(quantities) == 1:
            yield from self._by_quantity.get(quantities[0], ())
        else:
            wanted = [n for q in set(quantities) for n in self._places.get(q, ())]
            yield from (self._readings[n] for n in sorted(wanted))

    @cached_property
    def _readings(self) -> tuple[Reading, ...]:
        return tuple(
            Reading(
                entry,
                data,
                data.house_value(),
                data.point.at(),
                self.stage(entry.id),
            )
            for entry, data in self._reading_data()
        )

    @cached_property
    def _places(self) -> Mapping[str, tuple[int, ...]]:
        """Quantity -> where its readings stand among all."""
        found: dict[str, list[int]] = {}
        for place, reading in enumerate(self._readings):
            found.setdefault(reading.data.quantity, []).append(place)
        return {quantity: tuple(places) for quantity, places in found.items()}

    @cached_property
    def _by_quantity(self) -> Mapping[str, tuple[Reading, ...]]:
        return {q: tuple(self._readings[n] for n in p) for q, p in self._places.items()}

    def _reading_data(self) -> Iterator[tuple[Entry, ReadingData]]:
        for entry in self.case.live():
            if isinstance(entry.data, entry_data.ReadingData):
                yield entry, entry.data
            elif entry.id in self.recordings and self.recordings[entry.id].kind == "bus":
                for data in self._off_the_bus[entry.id]:
                    yield entry, data

    @cached_property
    def _off_the_bus(self) -> Mapping[str, tuple[ReadingData, ...]]:
        truck = self.case.truck()
        return {
            entry_id: tuple(bus_readings.bus_readings(recording, truck))
            for entry_id, recording in self.recordings.items()
            if recording.kind == "bus"
        }

    def stage(self, entry_id: str) -> int:
        """Return how many work entries stand before an entry."""
        return self.stages.get(entry_id, 0)

    def last_stage(self) -> int:
        """Return the number of live work entries: the state the truck is in now."""
        return self.case.works()

    def complains_of(self, *families: str) -> bool:
        """Say whether a complaint names one of these families."""
        return bool(set(families) & set(self.case.families()))

    def bound_to(self, model: str) -> tuple[str, ...]:
        """Return the families that a pack binds to a physical model."""
        return tuple(f.id for f in self.knowledge.families.values() if model in f.modelled_by)

    def asks(self, model: str) -> bool:
        """Say whether a complaint names a family that is bound to a physical model."""
        return self.complains_of(*self.bound_to(model))


class Analysis(Protocol):
    """The shape of an analysis module."""

    @property
    def NEEDS(self) -> tuple[str, ...]:  # noqa: N802 (a constant of the module)
        """What it needs, in words."""
        ...

    def analyse(self, bench: Bench) -> tuple[Finding, ...]:
        """Return the findings."""
        ...


def not_run(code: str, sentence: str, reason: str, method: str, *, stage: int = 0) -> Finding:
    """Return the finding of an analysis that could not run; it never counts as "not seen"."""
    return Finding(
        code=code, sentence=sentence, outcome="not_run", reason=reason, method=method, stage=stage
    )
