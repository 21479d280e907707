"""What a case says about a drive: its truck, what its complaints need driven, bands, stops."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.step import Step

__all__ = ["CardDrive"]


@dataclass(frozen=True, slots=True)
class CardDrive:
    """What a case says about a drive.

    Attributes:
        truck: the truck, ``None`` where it was not described.
        families: families of its complaints.
        knowledge: the packs, the shop's own with them.
        stops: the safety stops that stand on the case.
    """

    truck: TruckData | None
    families: tuple[str, ...]
    knowledge: Knowledge
    stops: tuple[Step, ...] = ()
