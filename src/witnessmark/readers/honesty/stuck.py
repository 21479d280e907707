"""More samples that are no readings: frozen speeds, wild values, codes kept as numbers.

The limits are common practice, no source, unless they say otherwise.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Flag, Floats, Quality
from witnessmark.readers.bus.j1939_signals import SIGNALS
from witnessmark.readers.told import Mask, Trouble

__all__ = ["codes_as_numbers", "frozen_speed", "impossible_jumps", "no_pressure_yet", "wild_values"]

Series = tuple[Floats, Floats]

_SIGNALS = {s.name: s for s in reversed(SIGNALS) if s.ranged and s.bits in {8, 16}}
#: A code stands off the other values by at least so many steps of the signal.
_STEPS_OFF = 20.0
#: A value that leaves its neighbours by this and comes back at once was not measured.
_WILD = {"engine_speed": 1500.0, "road_speed": 15.0}
#: For how long a speed has to stand still, to the last digit, to be frozen [s].
_FROZEN_S = 20.0
#: How much the other speed has to change meanwhile, as a share of its middle.
_FROZEN_BY = {"engine_speed": ("road_speed", 0.2, 3.0), "road_speed": ("engine_speed", 0.3, 400.0)}
#: Below this a speed rests [house units].
_RESTS = {"engine_speed": 300.0, "road_speed": 2.0}
_LIQUIDS = ("coolant_temperature", "oil_temperature", "transmission_oil_temperature")
#: An oil or fuel pressure jumps by this in one step when its sensor is first read [Pa].
_FIRST_READ = 5e4


def codes_as_numbers(channel: Channel, flags: list[Flag], trouble: Trouble) -> Channel:
    """A table made from the bus can hold 0xFE and 0xFF as if they were values (SAE J1939-71)."""
    signal = _SIGNALS.get(channel.name)
    if signal is None or channel.source is not None:
        return channel
    valid = channel.valid()
    values = np.where(valid, channel.values, np.nan)
    if signal.bits == 16:
        size = (values - signal.offset) / signal.scale
        with np.errstate(invalid="ignore"):
            error, absent = (size >= 0xFE00) & (size < 0xFF00), size >= 0xFF00
    else:
        error, absent = (
            np.abs(values - (code * signal.scale + signal.offset)) <= 0.3 * signal.scale
            for code in (0xFE, 0xFF)
        )
    codes = error | absent
    if not codes.any():
        return channel
    others = values[valid & ~codes]
    top = 0xFE * signal.scale + signal.offset if signal.bits == 8 else float("inf")
    if others.size and top - float(np.max(others)) < _STEPS_OFF * signal.scale:
        return channel
    for mask, quality, words in (
        (error, Quality.ERROR, "error"),
        (absent, Quality.NOT_AVAILABLE, "not available"),
    ):
        channel = _marked(channel, mask, quality, f"The bus's code for '{words}'.", flags)
    trouble.add(
        f"codes {channel.name}",
        f"{{count}} cells of {channel.name} hold the bus's codes for 'error' or 'not available' as "
        "numbers; they are no readings.",
        where=channel.name,
        count=int(codes.sum()),
    )
    return channel


def wild_values(channel: Channel) -> Channel:
    """Mark up to three samples far off that are gone within a second."""
    limit = _WILD.get(channel.name)
    good = np.flatnonzero(channel.valid()) if limit else np.zeros(0, np.intp)
    if limit is None or good.size < 10:
        return channel
    values, time = channel.values[good], channel.time_s[good]
    leaps = np.flatnonzero(np.abs(np.diff(values)) > limit)
    if not leaps.size:
        return channel
    wild = np.zeros(channel.values.size, np.bool_)
    for at in leaps[:10_000]:
        for count in (1, 2, 3):
            back = at + 1 + count
            if back >= good.size or time[back] - time[at] > 1.0:
                break
            if abs(values[back] - values[at]) < limit / 3 and bool(
                (np.abs(values[at + 1 : back] - values[at]) > limit).all()
            ):
                wild[good[at + 1 : back]] = True
                break
    if not wild.any():
        return channel
    values, codes = channel.values.copy(), channel.quality.copy()
    values[wild], codes[wild] = np.nan, Quality.IMPLAUSIBLE
    return replace(channel, values=values, quality=codes)


def impossible_jumps(channel: Channel, flags: list[Flag], trouble: Trouble) -> None:
    """Report where a liquid would have changed faster than its mass allows.

    200 kW into 45 L of coolant alone give 1.2 K/s (heat over mass and specific heat): a step of
    10 K within a second is the sensor or its wiring. The samples stay, for telling a sensor's fault
    needs them.
    """
    if channel.name not in _LIQUIDS:
        return
    good = np.flatnonzero(channel.valid())
    if good.size < 10:
        return
    values, time = channel.values[good], channel.time_s[good]
    at = np.flatnonzero((np.abs(np.diff(values)) >= 10.0) & (np.diff(time) <= 1.05))
    if not at.size:
        return
    for one in at[:20]:
        note = (
            f"Changes by {abs(values[one + 1] - values[one]):.0f} K within "
            f"{time[one + 1] - time[one]:.2f} s: no liquid does that."
        )
        first, last = float(time[one]), float(time[one + 1])
        flags.append(Flag(channel.name, Quality.IMPLAUSIBLE, first, last, note, channel.source))
    trouble.add(
        f"jumps {channel.name}",
        f"{channel.name} jumps by 10 K or more within a second, {at.size:,} times, first at "
        f"{time[at[0]]:.1f} s: no liquid does that.",
        do="Look at the sensor, its connector and wiring before you believe the values around it.",
        where=channel.name,
    )


def frozen_speed(
    channel: Channel, others: dict[str, Series], flags: list[Flag], trouble: Trouble
) -> Channel:
    """A speed that stands still to the last digit while the other one changes is frozen."""
    if channel.name not in _FROZEN_BY:
        return channel
    other_name, share, least = _FROZEN_BY[channel.name]
    good = np.flatnonzero(channel.valid())
    if other_name not in others or good.size < 30:
        return channel
    values, time = channel.values[good], channel.time_s[good]
    cuts = np.flatnonzero(np.diff(values) != 0.0) + 1
    starts, ends = np.r_[0, cuts], np.r_[cuts, good.size]
    long = (time[ends - 1] - time[starts] >= _FROZEN_S) & (values[starts] > _RESTS[channel.name])
    frozen = np.zeros(channel.values.size, np.bool_)
    clock, other = others[other_name]
    for start, end in zip(starts[long], ends[long], strict=True):
        inside = other[(clock >= time[start]) & (clock <= time[end - 1])]
        if end - start < 15 or inside.size < 10 or float(np.median(inside)) < least:
            continue
        low, middle, high = np.percentile(inside, [5, 50, 95])
        if high - low >= share * middle:
            frozen[good[start:end]] = True
    if not frozen.any():
        return channel
    trouble.add(
        f"frozen {channel.name}",
        f"{channel.name} stands still to the last digit while {other_name} changes; it is no "
        "reading there.",
        where=channel.name,
    )
    note = f"Stands still to the last digit while {other_name} changes: frozen."
    return _marked(channel, frozen, Quality.SUBSTITUTED, note, flags)


def no_pressure_yet(
    channel: Channel, speed: Series | None, flags: list[Flag], trouble: Trouble
) -> Channel:
    """No pressure at all at the beginning with the engine running, then at once all of it."""
    if speed is None or channel.name not in {"oil_pressure", "fuel_delivery_pressure"}:
        return channel
    good = np.flatnonzero(channel.valid())
    if good.size < 5 or channel.values[good[0]] != 0.0:
        return channel
    values, time = channel.values[good], channel.time_s[good]
    change = np.flatnonzero(values != 0.0)
    if not change.size:
        return channel
    run = int(change[0])
    around = speed[1][speed[0] <= time[run]]
    if not around.size or float(around.min()) < 400.0:
        return channel
    late = time[run] - time[run - 1] > 1.5 or time[run] - time[0] > 3.0
    if late or values[run] < _FIRST_READ:
        return channel
    trouble.add(
        f"no pressure yet {channel.name}",
        f"{channel.name} is nothing at first with the engine running and then at once all there: a "
        "default from before the sensor was read.",
        where=channel.name,
    )
    mask = np.zeros(channel.values.size, np.bool_)
    mask[good[:run]] = True
    return _marked(
        channel, mask, Quality.START_UP, "A default from before the sensor was read.", flags
    )


def _marked(
    channel: Channel, mask: Mask, quality: Quality, note: str, flags: list[Flag]
) -> Channel:
    at = np.flatnonzero(mask)
    if not at.size:
        return channel
    values, codes = channel.values.copy(), channel.quality.copy()
    values[at] = np.nan
    codes[at] = quality
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)[:50]:
        first, last = float(channel.time_s[run[0]]), float(channel.time_s[run[-1]])
        flags.append(Flag(channel.name, quality, first, last, note, channel.source))
    return replace(channel, values=values, quality=codes)
