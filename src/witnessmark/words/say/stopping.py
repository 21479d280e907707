"""What is said when it is time to stop buying parts and to look beyond the list."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("step.search_why")
def search_why() -> str:
    """Say why nothing listed is proposed."""
    return "Nothing on the list fits well. Prove the readings first, then look beyond the list."


@sentence("step.search_name")
def search_name() -> str:
    """Name the open search."""
    return "Measure all points again with a second instrument, then search openly"


@sentence("step.stop_name")
def stop_name() -> str:
    """Name the open search once it is time to stop."""
    return "Stop and search: doubt the readings, look beyond the list, ask a second person"


@sentence("step.stop_why", vain=4, usd=1850.0)
def stop_why(vain: int, usd: float, *, first: bool = True) -> str:
    """Say why the parts stop here; *first*: before any further part, else beside the others."""
    done = {0: "Nothing was renewed yet", 1: "One repair did not cure it"}
    count = done.get(vain, f"{vain} repairs did not cure it")
    said = f"{count}; about {usd:,.0f} USD of work so far."
    if first:
        return (
            f"{said} The list may not hold the fault, or a reading misled. No more parts before "
            "this: a second opinion or a referral costs less than guessing on."
        )
    return (
        f"{said} The next part makes it a large bill. Weigh this against it, and tell the customer "
        "both, before the money is spent."
    )
