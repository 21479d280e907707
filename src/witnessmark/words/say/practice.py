"""What is said on the practice bench."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence


@sentence("practice.truck_name")
def truck_name() -> str:
    """Name the truck."""
    return "practice truck"


@sentence("practice.banner")
def banner() -> str:
    """Say on every page what this is."""
    return (
        "Practice: an invented truck with a hidden fault. Before you see a result, enter the one "
        "you expect; the truck then answers. Nothing here reaches your shop's history."
    )


@sentence("practice.not_here", kind="reading")
def not_here(kind: str) -> str:
    """Refuse what only a real truck could say."""
    return f"The practice truck has no {kind} of its own."


@sentence("practice.what_there_is")
def what_there_is() -> str:
    """Say what it has instead."""
    return "Choose a look, a test, something to look for or a repair; it answers those."


@sentence("practice.plan", what="yours", usd=640.0, tests=3, repairs=2)
def plan(what: str, usd: float, tests: int, repairs: int) -> str:
    """Say what a way to the cure took."""
    looks = f"{tests} look or test" if tests == 1 else f"{tests} looks and tests"
    works = f"{repairs} repair" if repairs == 1 else f"{repairs} repairs"
    return f"{what}: {looks}, {works}, about {usd:,.0f} USD"


@sentence("practice.not_cured", what="the program's")
def not_cured(what: str) -> str:
    """Say that a way did not end at the cure."""
    return f"{what}: not cured within its steps"


@sentence("practice.foretold", right=2, of=3, due=1.7)
def foretold(right: int, of: int, due: float) -> str:
    """Compare the predictions with what a careful guesser gets right."""
    if not of:
        return "You foretold nothing."
    return (
        f"You foretold {right} of {of} results. Who always says the likeliest one would get about "
        f"{due:.1f}."
    )


@sentence(
    "practice.surprise", test="Pull the filter", said="clean", came="full", chance="about 5 %"
)
def surprise(test: str, said: str, came: str, chance: str) -> str:
    """Name one prediction that was unlikely and did not come."""
    return f"{test}: you expected '{said}' ({chance} before it was made); it was '{came}'."


@sentence("practice.review", cause="Fuel filter", ways=("yours: 2 looks",), rest=("You foretold.",))
def review(cause: str, ways: Sequence[str], rest: Sequence[str]) -> str:
    """Say at the end what it was and what it took."""
    return " ".join((f"It was: {cause}.", f"What it took: {'; '.join(ways)}.", *rest))


@sentence("practice.still_hidden")
def still_hidden() -> str:
    """Say that the truck is not cured yet."""
    return "The complaint is still there, so what is wrong stays hidden."
