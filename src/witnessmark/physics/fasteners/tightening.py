"""What a tightening torque comes to: the clamp load as a share of the proof load, over K.

``T = K D F`` (T torque, K nut factor, D nominal diameter, F clamp load). K stands for all
friction and is known only as a range, so the share is a range, too. Sources of K: the table of
Shigley and Mischke, *Mechanical Engineering Design*, chapter on bolted joints (black 0.30, plated
0.20, lubricated 0.18, with anti-seize 0.12), widened by one public bench test of 7/8-9 bolts
(dry 0.18, oil 0.17, anti-seize 0.15 to 0.17). It checks a figure that was read; it proposes none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from witnessmark.physics.fasteners.thread import GRADES, Thread, proof_load

__all__ = ["K_FACTORS", "Tightening", "check", "crowfoot_setting"]

Verdict = Literal["usual", "too_high", "too_low", "cannot_tell"]

#: Lubricant -> (low, high) nut factor.
K_FACTORS: dict[str, tuple[float, float]] = {
    "dry": (0.18, 0.30),
    "plated": (0.16, 0.22),
    "oil": (0.15, 0.20),
    "anti-seize": (0.12, 0.17),
}
_WHOLE_RANGE = (0.12, 0.30)
#: A fastener held below this share even at the lowest K is unusual (judgement).
_SLACK = 0.10


@dataclass(frozen=True, slots=True)
class Tightening:
    """What a torque comes to.

    Attributes:
        verdict: above the proof load at any K of the range; hardly any load at any; usual; or
            that it cannot be told.
        missing: what was not given: size, grade, lubricant.
        low: share of the proof load at the high end of K; ``None`` without size or grade.
        high: at the low end of K.
        k: the range of K.
    """

    verdict: Verdict
    missing: tuple[str, ...]
    low: float | None
    high: float | None
    k: tuple[float, float]

    @property
    def above_at_low_k(self) -> bool:
        """Whether it passes the proof load at low K, and only there."""
        return self.verdict == "usual" and self.high is not None and self.high > 1.0


def check(
    torque: float, thread: Thread | None, grade: str, lubricant: str, *, then_angle: bool = False
) -> Tightening:
    """Say what a torque comes to.

    Args:
        torque: target [N·m].
        thread: ``None`` where the size is not known.
        grade: as marked, empty where not known.
        lubricant: of :data:`K_FACTORS`; anything else is not known, and K takes its whole range.
        then_angle: an angle follows, so that a low torque is only the first step.
    """
    k = K_FACTORS.get(lubricant, _WHOLE_RANGE)
    missing = [] if thread is not None else ["size"]
    load = proof_load(thread, grade) if thread is not None else None
    if grade not in GRADES or (thread is not None and load is None):
        missing.append("grade")
    if lubricant not in K_FACTORS:
        missing.append("lubricant")
    if thread is None:
        return Tightening("cannot_tell", tuple(missing), None, None, k)
    clamp = [torque / (factor * thread.diameter) for factor in (k[1], k[0])]
    if load is None:
        loads = [proof_load(thread, name) for name in GRADES]
        strongest = max((x for x in loads if x is not None), default=None)
        high = strongest is not None and clamp[0] > strongest
        return Tightening("too_high" if high else "cannot_tell", tuple(missing), None, None, k)
    low, high_share = clamp[0] / load, clamp[1] / load
    verdict: Verdict = "usual"
    if low > 1.0:
        verdict = "too_high"
    elif high_share < _SLACK and not then_angle:
        verdict = "too_low"
    elif lubricant not in K_FACTORS and high_share > 1.0:
        verdict = "cannot_tell"
    return Tightening(verdict, tuple(missing), low, high_share, k)


def crowfoot_setting(torque: float, length: float, offset: float) -> float:
    """Return what a wrench is set to with a crowfoot in line with it [N·m].

    ``setting = torque x L / (L + A)``, lever rule. At a right angle to the wrench a crowfoot
    changes nothing.

    Args:
        torque: wanted at the fastener [N·m].
        length: from the grip's middle to the wrench's square drive [m], above 0.
        offset: from the square drive to the fastener's axis, in line with the wrench [m].
    """
    return torque * length / (length + offset)
