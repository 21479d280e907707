"""What a circuit is to the inference: places that may be at fault, channels that are read.

A circuit is drawn from independent standard normals: its healthy scatter, and for each place one
coordinate that is the size of the fault where the place is at fault and the scatter of the sound
part where it is not. A place is as fine as readings can part; the causes of a pack are groups, and
each group says with which weight it shows as which place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.inference.discrepancy import Place as ShapePlace
from witnessmark.model.finding import OperatingPoint

__all__ = ["Bools", "Channel", "Circuit", "Floats", "Group", "Observed", "Spot"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
_ANYWHERE = OperatingPoint()


@dataclass(frozen=True, slots=True)
class Group:
    """Causes that no reading of the circuit parts.

    Attributes:
        causes: cause ids of the pack.
        shows: place -> how often it shows there, summing to 1; empty: outside the model.
    """

    causes: tuple[str, ...]
    shows: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Channel:
    """One thing that can be read.

    Attributes:
        key: short name in the circuit.
        quantity: name in the quantity table.
        states: states of the engine it is read in; empty: any, also none told.
        noise: least standard deviation of one reading [house unit].
        share: the same as a share of the reading [-].
        wide: width of what may be read where nothing known is wrong [house unit].
        uses: tests of the pack that it answers.
        shape: size of the error in shape as a share of the reading [-].
        curve: readings of one curve share that error.
        at_speed: it is another reading at another engine speed.
    """

    key: str
    quantity: str
    states: tuple[str, ...]
    noise: float
    share: float
    wide: float
    uses: tuple[str, ...] = ()
    shape: float = 0.0
    curve: str = ""
    at_speed: bool = False


@dataclass(frozen=True, slots=True)
class Observed:
    """A reading of a channel.

    Attributes:
        channel: what was read.
        value: what it showed [house unit].
        sd: standard deviation of the reading [house unit].
        rpm: engine speed [r/min]; 0 standing, where it matters.
        stage: number of work entries before it.
        entry: id of the entry.
        point: as written.
    """

    channel: Channel
    value: float
    sd: float
    rpm: float = 0.0
    stage: int = 0
    entry: str = ""
    point: OperatingPoint = _ANYWHERE

    def where(self) -> ShapePlace:
        """Return where on the model's curves it stands."""
        size = self.channel.shape * abs(self.value)
        at = (self.rpm / 1200.0,)
        return ShapePlace(self.channel.curve or self.channel.key, size, at)


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that may be at fault.

    Attributes:
        key: short name.
        part: whether it is a part of the circuit; an instrument or a command is none.
    """

    key: str
    part: bool = True


@dataclass(frozen=True, eq=False)
class Circuit:
    """A circuit as data and three functions.

    Attributes:
        id: of the model, as packs name it.
        code: of its findings.
        spots: places, in order.
        groups: causes by groups.
        channels: what can be read.
        scatter: number of coordinates of the healthy scatter.
        predict: (z (n, scatter + spots), bad (n, spots), readings) -> what they would show,
            (n, readings) [house units].
        size: (z of one spot (n,), spot) -> how big the fault is, in ``size_unit`` of that spot.
        size_unit: spot -> unit of its size; no size is told of the others.
        alike: sets of places that are named together where they cannot be parted.
        never_alone: place -> the other that these readings never part from it.
        default_rpm: engine speed taken where none is told, by state.
        first_look: id of the pack's look that comes before any instrument.
        nothing: P(nothing wrong) before any reading, as it came in (judgement).
    """

    id: str
    code: str
    spots: tuple[Spot, ...]
    groups: tuple[Group, ...]
    channels: tuple[Channel, ...]
    scatter: int
    predict: Callable[[Floats, Bools, Sequence[Observed]], Floats]
    size: Callable[[Floats, str], Floats]
    size_unit: Mapping[str, str]
    alike: tuple[frozenset[str], ...]
    never_alone: Mapping[str, str]
    default_rpm: Mapping[str, float]
    first_look: str
    nothing: float = 0.1

    @property
    def dimensions(self) -> int:
        """Number of coordinates of a draw."""
        return self.scatter + len(self.spots)

    def number(self, key: str) -> int:
        """Return the number of a place."""
        return next(i for i, s in enumerate(self.spots) if s.key == key)

    def channel(self, quantity: str, state: str) -> Channel | None:
        """Return the channel that a quantity read in a state of the engine is."""
        for channel in self.channels:
            if channel.quantity == quantity and (not channel.states or state in channel.states):
                return channel
        return None

    @property
    def quantities(self) -> frozenset[str]:
        """What it reads."""
        return frozenset(c.quantity for c in self.channels)
