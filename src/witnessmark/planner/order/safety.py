"""Safety stops: when the truck must not run or roll on, whatever the cheapest plan says.

The packs say what raises a stop and which result lifts it; the maker's manual and the law come
first. A stop is proposed long before a cause is proven, because waiting costs less than the
accident. A stop is lifted by what its checks found, never by the mere fact that they were made,
and nothing is proposed that a standing stop forbids.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from witnessmark.knowledge import Family
from witnessmark.knowledge.rules import Stop
from witnessmark.model.step import Spread, Step, forbidden_by
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.stop_rules import StandingStop, standing_stops
from witnessmark.words.say import stops as say

__all__ = ["forbidden_needs", "safety_stops", "stops_of_the_truck", "within_the_stops"]

#: What a driver may do, from the freest to the strictest.
DRIVES = ("", "drive", "limp", "tow", "park")
#: Kind of step that a stop forbids -> the need that no step may have while it stands.
_NEEDS = {
    "key_on": "key on",
    "crank": "cranking",
    "start": "running",
    "parked_run": "running",
    "hot_parked_run": "warm",
    "warm": "warm",
    "load": "load",
    "road": "road",
    "battery_off": "battery off",
    "lift": "lifted",
    "open": "open",
}
#: A stop that forbids the key forbids what the value needs too, without saying it.
_IMPLIED = {
    "key on": ("cranking", "running", "warm", "load", "road"),
    "cranking": ("running", "warm", "load", "road"),
    "running": ("warm", "load", "road"),
}


def forbidden_needs(blocks: Iterable[str]) -> tuple[str, ...]:
    """Return the needs that nothing may have, without those that another says already."""
    needs = dict.fromkeys(_NEEDS[b] for b in blocks)
    implied = {more for need in needs for more in _IMPLIED.get(need, ())}
    return tuple(n for n in needs if n not in implied)


def safety_stops(
    stops: Iterable[Stop], facts: Facts, total_usd: float, *, family: str = ""
) -> list[Step]:
    """Return the stops that stand, as steps.

    Args:
        stops: the stops of one family, or of the whole truck.
        facts: what is known, with the odds.
        total_usd: expected total of the best plan; a stop does not change it.
        family: family that a stop of the whole truck is shown with.
    """
    found = standing_stops(stops, facts)
    return [_as_step(s, total_usd, s.stop.family or family) for s in found]


def stops_of_the_truck(
    rules: Sequence[Stop],
    facts: Facts,
    total_usd: float,
    families: Sequence[Family],
    own: Sequence[Step],
) -> list[Step]:
    """Return the stops of the whole truck that stand, each with the complaint that can check it.

    One that belongs to another complaint is left out where what raised it has raised a stop
    already that leaves the truck no freer; any is where that stop forbids no less, too.

    Args:
        rules: stops of the whole truck, and of other complaints those that hold for any.
        facts: what is known, without odds.
        total_usd: expected total of the best plan.
        families: the open complaints, at least one.
        own: their own stops that stand.
    """
    found: list[Step] = []
    for standing in standing_stops(rules, facts):
        checks = set(standing.stop.checks)
        can = (f for f in families if checks & {t.id for t in f.tests})
        step = _as_step(standing, total_usd, next(can, families[0]).id)
        strict = [s for s in (*own, *found) if DRIVES.index(s.drive) >= DRIVES.index(step.drive)]
        told = {entry for s in strict for entry in s.evidence}
        of_another = standing.stop.family and told.issuperset(step.evidence)
        if not (step.evidence and (of_another or any(_covers(s, step) for s in strict))):
            found.append(step)
    return found


def within_the_stops(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Return *steps* without those that one of the safety stops among them forbids.

    The checks of a stop are made under it. A repair counts by what its own work takes: the drive
    that proves it waits until the stop is lifted.
    """
    stops = [s for s in steps if s.kind == "safety"]
    return tuple(
        s for s in steps if s.kind == "safety" or forbidden_by(stops, s.step, s.demands) is None
    )


def _covers(stop: Step, other: Step) -> bool:
    """Say whether a stop was raised by all that raised another one, and forbids no less."""
    pairs = [(stop.evidence, other.evidence), (stop.forbids, other.forbids)]
    pairs.append((stop.barred, other.barred))
    return all(set(mine) >= set(its) for mine, its in pairs) and not stop.allowed


def _as_step(standing: StandingStop, total_usd: float, family: str) -> Step:
    stop = standing.stop
    forbids = forbidden_needs(standing.blocks)
    why = [stop.why]
    if stop.causes:
        why.append(say.danger(standing.danger))
    if standing.seen:
        why.append(say.check_found() if standing.seen_now else say.seen())
    if forbids:
        why.append(say.forbids(list(dict.fromkeys(reversed(forbids)))))
    why.append(say.manual_first())
    lifting = stop.until_words if standing.level == "start" else stop.until_drive_words
    return Step(
        step=stop.id,
        kind="safety",
        family=family,
        name=standing.say,
        minutes=Spread(0.0, 5.0, 15.0),
        usd=Spread(0.0, 0.0, 0.0),
        expected_total_usd=total_usd,
        why=" ".join(why),
        cautions=(stop.why,),
        forbids=forbids,
        checks=standing.checks,
        allowed=stop.allows,
        barred=(*stop.blocks_tests, *stop.blocks_repairs),
        drive=stop.drive,
        until=lifting,
        evidence=standing.entries,
    )
