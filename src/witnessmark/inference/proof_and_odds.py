"""Where a proof and the odds would contradict each other, the proof waits.

The proof holds readings against bands; the odds weigh the same readings with what a part at fault
would make of them. A part that a model still suspects by readings after the work is not proven
away by a band that a weak circuit can meet too.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from witnessmark.model.odds import Odds
from witnessmark.model.proof import Proof
from witnessmark.words.say import proof as say
from witnessmark.words.strength import how_sure

__all__ = ["as_far_as_odds_agree"]

#: From here on a part is suspected: "proven" beside it would be a contradiction.
_SUSPECTED_FROM = 0.30


def as_far_as_odds_agree(
    proofs: Sequence[Proof], odds: Sequence[Odds], modelled: Collection[str]
) -> tuple[Proof, ...]:
    """Return the proofs; one that the odds contradict becomes "not enough evidence" and says why.

    Args:
        proofs: the verdicts by measurement.
        odds: the odds after the work.
        modelled: families whose readings after the work a model has weighed; elsewhere the odds
            hardly move by a reading, and the proof stands.
    """
    found = []
    for proof in proofs:
        mine = next((o for o in odds if o.complaint == proof.complaint), None)
        left = mine.causes[0] if mine is not None and mine.causes else None
        agree = left is None or left.probability < _SUSPECTED_FROM
        if proof.verdict != "proven" or proof.family not in modelled or agree or left is None:
            found.append(proof)
            continue
        why = say.still_suspected(left.name, how_sure(left.probability))
        found.append(
            replace(
                proof,
                verdict="not enough evidence",
                missing=(why, *proof.missing),
                sentence=say.holds_but(why),
            )
        )
    return tuple(found)
