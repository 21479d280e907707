"""Draws judged by the readings, each batch once however many rounds look at it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_likelihood import ErrorLaw
from witnessmark.inference.fuel.draws.fuel_samples import Batch, Repair
from witnessmark.inference.fuel.fuel_groups import AIR, HYPOTHESES, SUCTION
from witnessmark.inference.fuel.fuel_observations import Observation

__all__ = ["OTHER_INDEX", "Judge", "Judged"]

Floats = npt.NDArray[np.float64]

#: Number of the hypothesis "something the model does not hold".
OTHER_INDEX = len(HYPOTHESES) - 1
#: How often the clear hose shows bubbles without a leak, behind a restriction, and with much air;
#: and the air that goes half way. Judgement, the pack's figures for the same look.
_PEARLS, _DRAWN_OUT, _FOAMS, _HALF = 0.08, 0.15, 0.97, 0.02


@dataclass(frozen=True, slots=True)
class Judged:
    """How likely the readings are under the n draws of one batch.

    Attributes:
        log_parts: log likelihood of the readings up to each stage, shape (stages, n).
        square: chi square of all readings, shape (n,).
        log_extra: log likelihood of the clear hose, shape (n,).
    """

    log_parts: Floats
    square: Floats
    log_extra: Floats


class Judge:
    """What every draw is judged by; what a batch is worth never changes, and is worked out once.

    Args:
        obs: the readings.
        stages: number of repairs between them.
        bubbles: (stage, seen) of the clear hose.
        repairs: the repairs.
    """

    def __init__(
        self,
        obs: tuple[Observation, ...],
        stages: int,
        bubbles: Sequence[tuple[int, bool]],
        repairs: Sequence[Repair],
    ) -> None:
        self.obs, self.bubbles, self.repairs = obs, bubbles, repairs
        #: Of every stage: which readings were taken by then, and their errors.
        self.laws = [
            (chosen, ErrorLaw.of([obs[i] for i in chosen]) if chosen else None)
            for chosen in (
                [i for i, o in enumerate(obs) if o.stage <= stage or not stages]
                for stage in range(stages + 1)
            )
        ]
        self._judged: dict[int, tuple[Batch, Judged]] = {}

    def judged(self, batch: Batch) -> Judged:
        """Judge the draws of a batch."""
        if id(batch) not in self._judged:
            self._judged[id(batch)] = batch, self._judge(batch)  # held: its id stays its own
        return self._judged[id(batch)][1]

    def _judge(self, batch: Batch) -> Judged:
        parts = np.zeros((len(self.laws), len(batch)))
        square = np.zeros(len(batch))
        other = np.flatnonzero(batch.hypothesis == OTHER_INDEX)
        for stage, (chosen, law) in enumerate(self.laws):
            if law is None:
                continue
            if stage and len(chosen) == len(self.laws[stage - 1][0]):
                parts[stage] = parts[stage - 1]
                continue
            seen = batch.predictions
            if len(chosen) < seen.shape[1]:
                seen = seen[:, chosen]
            parts[stage], square = law.over_shapes(seen)
            if len(other):
                parts[stage][other] = law.something_else(seen[other])
        return Judged(parts, square, _bubbles(batch, self.bubbles, self.repairs))


def _bubbles(batch: Batch, seen: Sequence[tuple[int, bool]], repairs: Sequence[Repair]) -> Floats:
    """Return the log likelihood of the clear hose, shape (n,).

    P(bubbles) rises with the air drawn in to ``_FOAMS``, half way at 2 %. Without a leak the little
    air of warm fuel shows now and then, and behind a restriction oftener: the vacuum draws it out.
    Judgement. A hose looked at before the air leak was dealt with says nothing of the air now, and
    is left out.
    """
    out = np.zeros(len(batch))
    renewed = [r.after_stage for r in repairs if r.group == AIR]
    for stage, positive in seen:
        if any(stage < r for r in renewed):
            continue
        air = np.maximum(batch.circuits.air - 0.004, 0.0)
        restricted = (batch.labels[min(stage, len(batch.labels) - 1)] >> SUCTION) & 1 == 1
        calm = np.where(restricted, _DRAWN_OUT, _PEARLS)
        p = calm + (_FOAMS - calm) * (1.0 - np.exp2(-air / _HALF))
        out += np.log(p if positive else 1.0 - p)
    return out
