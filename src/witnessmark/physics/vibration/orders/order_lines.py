"""Which lines can turn up, which of them fall together, and where sampling folds them to.

A line turns with a carrier (engine, shaft or wheel) at a fixed multiple. In one gear every line
is a fixed order of the engine, so lines that coincide can be named before anybody drives.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from witnessmark.words.say import vibration as say

__all__ = [
    "ENGINE_ORDERS",
    "Alias",
    "Coincidence",
    "Line",
    "aliases",
    "coincidences",
    "expected_lines",
    "fold",
    "order_of",
    "same_turning",
]

Carrier = Literal["engine", "shaft", "wheel"]

#: Engine orders of a four-stroke: every half order to 12.
ENGINE_ORDERS: tuple[float, ...] = tuple(k / 2 for k in range(1, 25))


@dataclass(frozen=True, slots=True)
class Line:
    """One line.

    Attributes:
        name: in the trade's words.
        carrier: what it turns with.
        multiple: cycles a turn of its carrier.
        accessory: turned by the engine at its own ratio (fan, alternator ...), not an order.
    """

    name: str
    carrier: Carrier
    multiple: float
    accessory: bool = False

    @property
    def family(self) -> str:
        """``engine`` or ``road``."""
        return "engine" if self.carrier == "engine" else "road"


@dataclass(frozen=True, slots=True)
class Coincidence:
    """Two lines that no recording in that gear can tell apart.

    Attributes:
        gear: gear name, empty where it holds in every gear.
        first: one line.
        second: the other.
        engine_order: the engine order both stand at.
        gap: difference of their engine orders.
    """

    gear: str
    first: Line
    second: Line
    engine_order: float
    gap: float

    def sentence(self) -> str:
        """Return the warning in words."""
        one, other = self.first.name, self.second.name
        if not self.gear:
            return say.together_every_gear(one, other, self.engine_order)
        return say.together_in_gear(self.gear, one, other, self.engine_order)


@dataclass(frozen=True, slots=True)
class Alias:
    """A line that sampling folds onto another one.

    Attributes:
        line: the line above half the sampling rate.
        onto: the line it imitates.
        true_hz: its real frequency [Hz].
        shown_hz: where it shows [Hz].
    """

    line: Line
    onto: Line
    true_hz: float
    shown_hz: float

    def sentence(self) -> str:
        """Return the warning in words."""
        return say.folds(self.line.name, self.true_hz, self.shown_hz, self.onto.name)


def expected_lines(
    *,
    orders: Sequence[float] = ENGINE_ORDERS,
    accessories: Mapping[str, float] | None = None,
    road: bool = True,
) -> tuple[Line, ...]:
    """Return the lines to look for.

    Args:
        orders: engine orders [-].
        accessories: name -> turns per engine turn; those at one ratio make one line.
        road: with the shaft (1x, 2x) and the tyres (1x to 3x).
    """
    lines = [Line(f"engine order {k:g}", "engine", k) for k in orders]
    if road:
        lines += [Line(f"drive shaft {k}x", "shaft", float(k)) for k in (1, 2)]
        lines += [Line(f"tyre {k}x", "wheel", float(k)) for k in (1, 2, 3)]
    by_ratio: dict[float, list[str]] = {}
    for name, ratio in (accessories or {}).items():
        by_ratio.setdefault(ratio, []).append(name)
    lines += [Line(" or ".join(n) + " 1x", "engine", r, True) for r, n in by_ratio.items()]
    return tuple(lines)


def same_turning(lines: Sequence[Line], *, tolerance: float = 0.02) -> dict[str, str]:
    """Return accessory line -> engine order that turns with it, so that no fit parts them.

    Args:
        lines: candidate lines.
        tolerance: difference of their orders [-]; 0.02 at 1500 rpm is 0.5 Hz, what 2 s can part.
    """
    orders = [x for x in lines if x.carrier == "engine" and not x.accessory]
    return {
        line.name: other.name
        for line in lines
        if line.accessory
        for other in orders
        if abs(line.multiple - other.multiple) <= tolerance
    }


def order_of(line: Line, gear_ratio: float, axle_ratio: float) -> float:
    """Return the line as a multiple of engine speed in a gear [-].

    Args:
        line: the line.
        gear_ratio: engine turns per shaft turn [-].
        axle_ratio: shaft turns per wheel turn [-].
    """
    per = {"engine": 1.0, "shaft": 1.0 / gear_ratio, "wheel": 1.0 / (gear_ratio * axle_ratio)}
    return line.multiple * per[line.carrier]


def coincidences(
    gears: Mapping[str, float],
    axle_ratio: float,
    lines: Sequence[Line] | None = None,
    *,
    tolerance: float = 0.03,
) -> tuple[Coincidence, ...]:
    """Return the pairs of lines of different carriers that coincide in each gear.

    An accessory and an engine order that coincide do so in every gear (an empty gear name); so do
    two accessories.

    Args:
        gears: gear name -> ratio (engine turns per shaft turn).
        axle_ratio: shaft turns per wheel turn [-].
        lines: lines to compare; default the orders to 6, shaft and tyres.
        tolerance: of the order [-]; 0.03 at 1500 rpm is 0.75 Hz, about what 2 s can tell apart.
    """
    lines = lines or expected_lines(orders=ENGINE_ORDERS[:12])
    found = []
    for i, one in enumerate(lines):
        for two in lines[i + 1 :]:
            both = one.carrier == two.carrier == "engine" and (one.accessory or two.accessory)
            if both and abs(one.multiple - two.multiple) <= tolerance:
                middle, gap = (one.multiple + two.multiple) / 2, abs(one.multiple - two.multiple)
                found.append(Coincidence("", one, two, middle, gap))
    for gear, ratio in gears.items():
        for i, one in enumerate(lines):
            for two in lines[i + 1 :]:
                if one.carrier == two.carrier:
                    continue
                a, b = order_of(one, ratio, axle_ratio), order_of(two, ratio, axle_ratio)
                if abs(a - b) <= tolerance:
                    found.append(Coincidence(gear, one, two, (a + b) / 2, abs(a - b)))
    return tuple(found)


def fold(frequency: float, rate: float) -> float:
    """Return where sampling at *rate* shows a *frequency* [Hz]: folded about rate/2."""
    rest = frequency % rate
    return min(rest, rate - rest)


def aliases(
    lines: Sequence[Line],
    rate: float,
    engine_rpm: float,
    *,
    gear_ratio: float | None = None,
    axle_ratio: float | None = None,
    tolerance: float = 0.75,
) -> tuple[Alias, ...]:
    """Return the lines above half the sampling rate that fold onto a line below it.

    Args:
        lines: the lines expected.
        rate: sampling rate [Hz].
        engine_rpm: engine speed [r/min].
        gear_ratio: engine turns per shaft turn; ``None`` leaves road lines out.
        axle_ratio: shaft turns per wheel turn.
        tolerance: [Hz].
    """
    here: list[tuple[Line, float]] = []
    for line in lines:
        if line.carrier == "engine":
            here.append((line, line.multiple * engine_rpm / 60))
        elif gear_ratio and axle_ratio:
            here.append((line, order_of(line, gear_ratio, axle_ratio) * engine_rpm / 60))
    found = []
    for line, hertz in here:
        if hertz <= rate / 2:
            continue
        shown = fold(hertz, rate)
        found += [
            Alias(line, other, hertz, shown)
            for other, true in here
            if true <= rate / 2 and abs(true - shown) <= tolerance
        ]
    return tuple(found)
