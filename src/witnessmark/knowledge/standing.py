"""What an answer depends on besides the case: one frozen record with one digest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from witnessmark.knowledge.records import Knowledge
from witnessmark.model.digest import digest, parts_of
from witnessmark.model.fuel_baseline import FuelBaseline
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History

__all__ = ["Standing"]


@dataclass(frozen=True)
class Standing:
    """Everything that an answer about a case depends on besides its entries and recordings.

    Two doors with the same standing and the same case say the same; a field added here counts in
    the digest by itself.

    Attributes:
        knowledge: the packs in use.
        settings: the shop's rates and times.
        history: what the shop's other cases have taught, aged to the day.
        baseline: healthy readings of this engine's type, where the shop has any.
        technician: who works on the truck; his own times count for the next step.
        models: model -> version of the physical models and of this program.
    """

    knowledge: Knowledge
    settings: Settings = field(default_factory=Settings)
    history: History | None = None
    baseline: FuelBaseline | None = None
    technician: str = ""
    models: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def digest(self) -> str:
        """The digest of all of it."""
        return digest(self)

    @cached_property
    def parts(self) -> Mapping[str, str]:
        """Field -> digest: what differs between two standings."""
        return parts_of(self)
