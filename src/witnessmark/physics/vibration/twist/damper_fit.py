"""Does the crankshaft damper damp? One mode, two where one does not do, and the limits.

The limits come from simulation; the answer has not been proven on dampers known to be bad, and
whoever shows it must say so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from witnessmark.physics.vibration.twist.tooth_timing import Torsion
from witnessmark.physics.vibration.twist.twist_mode import TwistMode, fit_twist_mode
from witnessmark.physics.vibration.twist.twist_pair import TwistPair, fit_twist_pair
from witnessmark.words.say import vibration as say

__all__ = ["HEALTHY_FROM", "NOT_DAMPING_BELOW", "DamperFit", "judge"]

#: Fitted damping ratio of the twist mode (shared physics notes, section E; study in
#: studies/vibration): from here a damper looks healthy, and below this it does not damp.
HEALTHY_FROM, NOT_DAMPING_BELOW = 0.11, 0.075


@dataclass(frozen=True, slots=True)
class DamperFit:
    """What the orders of one sweep say about the damper.

    Attributes:
        mode: the single mode.
        pair: two modes, where they tell another story than one.
        refusal: why no verdict is given, empty otherwise.
    """

    mode: TwistMode
    pair: TwistPair | None
    refusal: str = ""

    @property
    def damping(self) -> tuple[float, float, float]:
        """Damping ratio and its 90 % interval; of the less damped mode where there are two."""
        here = self.mode if self.pair is None else self.pair
        return here.damping, here.damping_low, here.damping_high

    @property
    def verdict(self) -> str:
        """``healthy``, ``dead``, ``between`` or ``refused``."""
        if self.refusal:
            return "refused"
        if self.pair is not None:
            # Whose damping a branch's mode has is not known: only two dead modes leave no doubt.
            return "dead" if max(self.pair.single) < NOT_DAMPING_BELOW else "between"
        damping, low, high = self.damping
        if damping >= HEALTHY_FROM and low >= NOT_DAMPING_BELOW:
            return "healthy"
        if damping < NOT_DAMPING_BELOW and high < HEALTHY_FROM:
            return "dead"
        return "between"


def judge(orders: Torsion) -> DamperFit:
    """DamperFit the twist mode, and a second one where one does not explain the orders.

    Args:
        orders: orders of a warm engine's slow sweep on a wheel with enough marks.

    Raises:
        ValueError: no order stands out of the noise.
    """
    mode = fit_twist_mode(orders)
    alone = _checked(DamperFit(mode, None))
    pair = fit_twist_pair(orders, mode)
    if pair is None:
        return alone
    both = _checked(DamperFit(mode, pair))
    # Where both say it does not damp, the simpler one is told; with a branch nothing else is.
    return alone if alone.verdict == both.verdict == "dead" else both


def _checked(fit: DamperFit) -> DamperFit:
    """Put down why a fit gives no verdict."""
    _, low, high = fit.damping
    misfit = fit.mode.misfit if fit.pair is None else fit.pair.misfit
    refusal = ""
    if len(fit.mode.covered) < 2:
        refusal = say.few_orders()
    elif fit.pair is None and high / low > 2.5:
        refusal = say.damping_rough()
    elif misfit > 8.0:
        refusal = say.not_one_mode()
    return replace(fit, refusal=refusal)
