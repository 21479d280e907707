"""Further numbers of findings about trouble codes."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.model.details.finding_details import Details

__all__ = ["CodeRead", "CodesShare"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRead(Details):
    """One trouble code as it was read off the truck.

    Attributes:
        short: the code in a few words.
        spn: its number.
        fmi: its failure mode.
        active: it is active now; else it was before.
        count: how often it came, ``None`` where nobody says.
        units: addresses of the control units that tell it.
        lamps: lamps that are lit with it.
        points: how strongly a pack points by it; empty where none does.
        proves: tests that prove it, the first first.
        drive: what the driver may do meanwhile, by the packs; empty where none says.
        only_points: it points, and names nothing by itself.
    """

    short: str = ""
    spn: int
    fmi: int
    active: bool
    count: int | None = None
    units: tuple[int, ...] = ()
    lamps: tuple[str, ...] = ()
    points: str = ""
    proves: tuple[str, ...] = ()
    drive: str = ""
    only_points: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class CodesShare(Details):
    """Several codes that one wire, supply or network may stand behind.

    Attributes:
        kind: supply, network, voltage or circuit.
        spns: their numbers.
        only_points: it points, and names nothing by itself.
    """

    kind: str
    spns: tuple[int, ...]
    only_points: bool = True
