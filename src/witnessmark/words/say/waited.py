"""What waited on a device and came late: said where two of them met, and where a line waits."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence

__all__ = ["after_work", "line_read", "line_waits", "met", "other_way"]


@sentence(
    "waited.met",
    mine="Belt tension: good",
    other="Belt tension: loose",
    by="A. Example",
)
def met(mine: str, other: str, by: str) -> str:
    """Say that two devices entered different things without seeing each other."""
    whose = f" ({by})" if by else ""
    return (
        f"Two devices did not see each other: “{mine}” here, “{other}”{whose} there; both are "
        "kept. Look again, and take back the one that is wrong."
    )


@sentence("waited.after_work", mine="Fuel pressure 50 psi", other="Fuel filter renewed")
def after_work(mine: str, other: str) -> str:
    """Say that an entry of before the work came in after it."""
    return (
        f"“{mine}” was entered on a device before “{other}” was, and came in after it. It counts "
        "as after the work. If it speaks of before, take it back and measure again."
    )


@sentence("waited.line_waits")
def line_waits() -> str:
    """Say that a line, kept in words while the shop was out of reach, waits to be read."""
    return "A line waits to be read"


@sentence("waited.line_read")
def line_read() -> str:
    """Say why a line in words is taken back: its entries stand for it now."""
    return "The line was read; its entries stand for it"


@sentence("waited.other_way")
def other_way() -> str:
    """Say that two entries speak against each other."""
    return "Entered on two devices, not alike"
