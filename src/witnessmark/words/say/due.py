"""When something is due."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence

__all__ = ["at", "nothing", "person", "when"]


@sentence("due.when", now=True, days=-3)
def when(now: bool, days: int | None) -> str:
    """Say when."""
    if days is None:
        return "Now" if now else "Ahead"
    if days < 0:
        return "Over by 1 day" if days == -1 else f"Over by {-days} days"
    if days == 0:
        return "Today"
    ahead = "In 1 day" if days == 1 else f"In {days} days"
    return f"Now ({ahead.lower()})" if now else ahead


@sentence("due.at", told="at 612,000 mi, last read 611,700 on 2031-04-02")
def at(told: str) -> str:
    """Say at which miles or hours, beside the rest."""
    return f" ({told})" if told else ""


@sentence("due.nothing")
def nothing() -> str:
    """Say that nothing is due."""
    return "Nothing is due."


@sentence("due.person", person="Ann", back=3, closings=20, expected=2.1, low=0.6, high=2.2)
def person(person: str, back: int, closings: int, expected: float, low: float, high: float) -> str:
    """Say one person's comebacks beside what was to be expected; no ranking."""
    told = (
        "cannot be told from the others"
        if low <= 1.0 <= high
        else "more than these repairs bring back in other hands"
        if low > 1.0
        else "fewer than these repairs bring back in other hands"
    )
    return (
        f"{person}: {back} of {closings} came back, {expected:.1f} were to be expected with these "
        f"repairs ({low:.1f} to {high:.1f} times as many); {told}"
    )
