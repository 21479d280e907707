"""From the entries of a case to readings a circuit can use, and what is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.an_analysis import Bench, Reading
from witnessmark.analyses.readings.instruments import uncertainty_of
from witnessmark.inference.circuits.circuit import Channel, Circuit, Observed
from witnessmark.model.finding import MOST_CRANKING, MOST_IDLE, OperatingPoint
from witnessmark.model.problem import Problem
from witnessmark.words.say import circuits as say

__all__ = ["Collected", "collect_readings", "observation", "state_of"]


@dataclass(frozen=True, slots=True)
class Collected:
    """Readings of a circuit.

    Attributes:
        observed: the usable ones, in the order of the case.
        problems: what could not be used.
    """

    observed: tuple[Observed, ...]
    problems: tuple[Problem, ...]


def state_of(point: OperatingPoint) -> str:
    """Return off, key_on, cranking, idle or running; empty where nobody wrote it."""
    if point.engine is not None:
        return point.engine
    if point.rpm is None:
        return ""
    if point.rpm <= 0.0:
        return "off"
    if point.rpm < MOST_CRANKING:
        return "cranking"
    return "idle" if point.rpm <= MOST_IDLE else "running"


def observation(
    circuit: Circuit, channel: Channel, value: float, sd: float, rpm: float | None, state: str
) -> Observed:
    """Return a reading of a channel as the circuit uses it.

    Args:
        circuit: the circuit.
        channel: what is read.
        value: what it shows [house unit].
        sd: standard deviation that is known of the instrument beside the channel's own.
        rpm: engine speed where it was read [r/min].
        state: state of the engine.
    """
    least = float(np.hypot(channel.noise, channel.share * value))
    speed = circuit.default_rpm.get(state, 0.0) if rpm is None else rpm
    return Observed(channel, value, float(np.hypot(least, sd)), speed)


def collect_readings(circuit: Circuit, bench: Bench) -> Collected:
    """Read the live readings of a case that the circuit has a channel for."""
    found: list[Observed] = []
    problems: list[Problem] = []
    for reading in bench.readings(*circuit.quantities):
        if reading.entry.id in bench.recordings:
            continue  # a recording's steady points are of a running engine, told elsewhere
        state = state_of(reading.point)
        channel = circuit.channel(reading.data.quantity, state)
        if channel is not None:
            found.append(_observed(circuit, channel, reading, state))
        elif not state:
            mine = [c for c in circuit.channels if c.quantity == reading.data.quantity]
            wanted = say.states([s for c in mine for s in c.states])
            problems.append(Problem(reading.entry.id, say.no_state(reading.data.quantity), wanted))
    return Collected(tuple(found), tuple(problems))


def _observed(circuit: Circuit, channel: Channel, reading: Reading, state: str) -> Observed:
    data = reading.data
    told = data.instrument is not None and data.instrument.accuracy is not None
    known = uncertainty_of(data).accuracy if told else 0.0
    sd = float(np.hypot(known, data.house_half()))
    made = observation(circuit, channel, reading.value, sd, reading.point.rpm, state)
    return Observed(
        made.channel, made.value, made.sd, made.rpm, reading.stage, reading.entry.id, reading.point
    )
