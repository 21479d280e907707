"""Job cards: how a repair goes, what can hurt, what is done wrong, and what proves it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

__all__ = ["JobCard", "job_cards"]


@dataclass(frozen=True, slots=True)
class JobCard:
    """One repair. No torque and no limit stands on it: those come from the owner's own manual.

    Attributes:
        cause: cause id whose repair it is.
        order: the steps.
        tools: what is needed.
        cautions: what can hurt.
        damaged: what is damaged by doing it wrong.
        after: what to measure afterwards.
    """

    cause: str
    order: tuple[str, ...]
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    damaged: tuple[str, ...]
    after: tuple[str, ...]


@cache
def job_cards() -> Mapping[str, JobCard]:
    """Return cause id -> its card, for the repairs that have one."""
    text = (files("witnessmark.knowledge") / "jobs" / "job_cards.toml").read_text(encoding="utf-8")
    return {
        cause: JobCard(cause, **{name: tuple(rows) for name, rows in card.items()})
        for cause, card in tomllib.loads(text).items()
    }
