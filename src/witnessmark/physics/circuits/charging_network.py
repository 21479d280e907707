"""The charging circuit as a network: alternator, regulator, cables, loads, batteries.

Ohm's and Kirchhoff's laws with a source that gives its regulated volts up to a most current, and
that current at less volts from there on.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["output_at", "settle"]

Floats = npt.NDArray[np.float64]

#: Volts at which the loads take their stated current [V].
_LOADS_AT = 13.0


def output_at(most: Floats, speed: Floats, cut_in: Floats, bend: Floats) -> Floats:
    """Return the most current of an alternator at a shaft speed [A].

    I = I_max (1 - exp(-(n - n0) / n1)) above its cut-in speed, nothing below: the usual shape of
    makers' output curves, from memory.

    Args:
        most: at high speed, hot [A].
        speed: of its shaft [r/min].
        cut_in: speed at which it begins to give [r/min].
        bend: how fast it rises [r/min].
    """
    return np.asarray(most * -np.expm1(-np.maximum(speed - cut_in, 0.0) / bend))


def settle(
    most: Floats, asked: Floats, cables: Floats, senses: Floats, droop: Floats, loads: Floats,
    rest: Floats, takes: Floats, gives: Floats,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Return volts at the battery posts [V], the alternator's current and the batteries' [A].

    Regulated: V + s I R + d I = V_asked; at its limit: I = I_most; the lower of the two. The loads
    are a resistance, the batteries a resistance behind their rested volts, another one while they
    are emptied.

    Args:
        most: current that it can give at this speed [A].
        asked: volts that the regulator holds where it senses [V].
        cables: resistance of both sides of the charge circuit [ohm].
        senses: 1: it senses at its own posts, 0: at the batteries' [-].
        droop: volts that it falls a current [ohm].
        loads: current of the loads at 13 V [A].
        rest: rested volts of the batteries [V].
        takes: their resistance while they are charged [ohm].
        gives: their resistance while they are emptied [ohm].
    """
    load = loads / _LOADS_AT

    def posts(inner: Floats) -> Floats:
        share = senses * cables + droop
        # I = V load + (V - E) / R
        held = (asked + share * rest / inner) / (1.0 + share * (load + 1.0 / inner))
        short = (most + rest / inner) / (load + 1.0 / inner)
        return np.minimum(held, short)

    volts = posts(takes)
    emptied = volts < rest
    inner = np.where(emptied, gives, takes)
    volts = np.where(emptied, posts(gives), volts)
    battery = (volts - rest) / inner
    return volts, np.maximum(volts * load + battery, 0.0), battery
