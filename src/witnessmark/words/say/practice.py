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


@sentence("practice.at_which_speed")
def at_which_speed() -> str:
    """Refuse a reading without its speed."""
    return "A gauge shows another value at each engine speed."


@sentence("practice.name_the_speed")
def name_the_speed() -> str:
    """Say what to do."""
    return "Enter the engine speed at which you read it, and what you expect there."


@sentence("practice.no_such_gauge")
def no_such_gauge() -> str:
    """Refuse a reading of what is not fitted."""
    return "The practice truck has no gauge for that."


@sentence("practice.gauges", quantities=("fuel_gallery_pressure", "fuel_suction_vacuum"))
def gauges(quantities: Sequence[str]) -> str:
    """Name the gauges it has."""
    return f"It has: {', '.join(q.replace('_', ' ') for q in quantities)}."


@sentence("practice.read", near=3, of=4)
def read(near: int, of: int) -> str:
    """Say how many gauge readings were foretold."""
    return f"You foretold {near} of {of} gauge readings to within a tenth."


@sentence("practice.over_sure", times=2, lowest="about 10 %")
def over_sure(times: int, lowest: str) -> str:
    """Say that parts were renewed on thin odds."""
    which = "One wrong repair was" if times == 1 else f"{times} wrong repairs were"
    return f"Over-sure: {which} made on a cause that stood at {lowest} or a little more then."


@sentence("practice.under_sure", times=3, cause="Fuel filter")
def under_sure(times: int, cause: str) -> str:
    """Say that looks were made after the matter was decided."""
    looks = "one more look or test" if times == 1 else f"{times} more looks and tests"
    return f"Under-sure: {looks} after {cause} stood at 90 % or more."


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
    "practice.surprise",
    test="Pull the filter",
    said="clean",
    came="full",
    chance="about 5 %",
    why="about 90 %",
)
def surprise(test: str, said: str, came: str, chance: str, why: str) -> str:
    """Name one prediction that was unlikely and did not come, and why it did not."""
    return (
        f"{test}: you expected '{said}' ({chance} before it was made); it was '{came}', which this "
        f"fault shows {why} of the time."
    )


@sentence("practice.review", cause="Fuel filter", ways=("yours: 2 looks",), rest=("You foretold.",))
def review(cause: str, ways: Sequence[str], rest: Sequence[str]) -> str:
    """Say at the end what it was and what it took."""
    return " ".join((f"It was: {cause}.", f"What it took: {'; '.join(ways)}.", *rest))


@sentence("practice.still_hidden")
def still_hidden() -> str:
    """Say that the truck is not cured yet."""
    return "The complaint is still there, so what is wrong stays hidden."
