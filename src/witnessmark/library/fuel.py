"""The fuel supply circuit by hand: readings in, odds of the groups of parts out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from witnessmark.inference.fuel.draws.fuel_posterior import default_log_prior, infer
from witnessmark.inference.fuel.draws.fuel_types import table_for
from witnessmark.inference.fuel.fuel_groups import GROUPS
from witnessmark.inference.fuel.fuel_observations import QUANTITIES_READ, Key, Observation

if TYPE_CHECKING:
    from witnessmark.inference.fuel.draws.fuel_posterior import FuelPosterior

__all__ = ["GROUPS", "QUANTITIES_READ", "Key", "Observation", "posterior"]


def posterior(
    readings: Sequence[Observation], *, shares: Sequence[float] | None = None, seed: int = 11
) -> FuelPosterior:
    """Return what readings say of the groups of parts of an engine of unknown type.

    docs/fuel_supply.md has the circuit, its assumptions and how well it did in studies.

    Args:
        readings: what was read where; ``Observation(quantity, Key(rpm), value)`` with one of
            :data:`QUANTITIES_READ` and SI values (pressure and vacuum [Pa], flow [m3/s]).
        shares: share of each of :data:`GROUPS` before any reading, any scale; default the
            judged ones.
        seed: of the adaptive draws.

    Returns:
        Weighted draws: ``group_probabilities()`` has shape (groups,), in the order of
        :data:`GROUPS`; ``healthy()`` is P(nothing at fault); ``fits`` is ``False`` where none of
        the modelled faults explains the readings; ``effective`` is the number of draws that
        carry the answer.

    Raises:
        ValueError: a quantity that the circuit does not know.
    """
    for reading in readings:
        if reading.quantity not in QUANTITIES_READ:
            raise ValueError(
                f"'{reading.quantity}' is no reading of this circuit; those are "
                + ", ".join(QUANTITIES_READ)
            )
    return infer(table_for(None), readings, log_prior=default_log_prior(shares), seed=seed)
