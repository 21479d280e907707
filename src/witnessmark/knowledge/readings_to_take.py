"""The records of what the packs ask to be read, measured and driven."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.knowledge.bands import Source
from witnessmark.knowledge.rules import Span, StepState
from witnessmark.model.step import Spread

__all__ = ["DrivePlace", "Measurement", "Offered", "Wanted"]


@dataclass(frozen=True, slots=True)
class DrivePlace:
    """A place on the engine's map that has to be held for a while.

    Attributes:
        id: stable name.
        words: in words, without how long.
        seconds: how long it has to be held without a break [s].
        rpm: engine speeds [r/min].
        load: loads [0..1].
        road_speed: road speeds [m/s]; an end may be infinite.
        coolant: coolant temperatures [degC]; they have to be known.
        standing: standing still (true) or moving (false), where the speed is known.
        released: a released pedal counts as well as a load inside *load*.
        warm: the engine has to be warm, where the coolant is known.
        needs: channels without which nobody can tell.
        gears: in how many different gears it has to be driven.
        pull: it is driven under full load, so the gear is named.
        passes: channel -> how much it has to pass within the stretch [house unit].
        state: what it needs of the engine and the truck.
        caution: what to take care of.
        cautions: ids of the caution library.
        source: where it comes from.
    """

    id: str
    words: str
    seconds: float
    rpm: Span | None
    load: Span | None
    road_speed: Span | None
    coolant: Span | None
    standing: bool | None
    released: bool
    warm: bool
    needs: tuple[str, ...]
    gears: int
    pull: bool
    passes: tuple[tuple[str, float], ...]
    state: StepState
    caution: str
    cautions: tuple[str, ...]
    source: Source | None


@dataclass(frozen=True, slots=True)
class Offered:
    """A reading to offer; *always*: where no family says anything; *at_speed*: has a speed."""

    quantity: str
    always: bool = False
    at_speed: bool = True
    words: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One reading of a measurement: quantity, engine speed [r/min], load [0..1]."""

    quantity: str
    rpm: float
    load: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """Readings that are taken together with one hook-up.

    Attributes:
        id: measurement id.
        family: family id.
        name: in words.
        wanted: what is read.
        minutes: hands-on time.
        usd: materials.
        sets_up: the hook-up it shares with others.
        caution: what can hurt, in words.
        cautions: ids of the caution library.
        state: the state it needs.
        access: 1 to 5.
        covers: tests that see the same with one threshold.
        first: taken before anything else while nothing was measured.
        when_unexplained: still proposed where no modelled cause fits.
        settles_sound: settles the complaint where that nothing is wrong leads.
        modelled_by: the physical model that prices it.
        source: where the figures come from.
    """

    id: str
    family: str
    name: str
    wanted: tuple[Wanted, ...]
    minutes: Spread
    usd: float
    sets_up: str
    caution: tuple[str, ...]
    cautions: tuple[str, ...]
    state: StepState
    access: int
    covers: tuple[str, ...]
    first: bool
    when_unexplained: bool
    settles_sound: bool
    modelled_by: str
    source: Source

    @property
    def readings(self) -> tuple[tuple[str, float, float], ...]:
        """Return (quantity, engine speed [r/min], load [0..1]) of everything to be read."""
        return tuple((w.quantity, w.rpm, w.load) for w in self.wanted)

    @property
    def cold(self) -> bool:
        """Whether it is taken before the engine is warm."""
        return self.state.temperature == "cold"

    @property
    def needs(self) -> tuple[str, ...]:
        """Return warm, cold, road, load, second person, as far as it needs them."""
        return self.state.needs()
