"""Safety stops: when the truck must not run or roll on, whatever the cheapest plan says.

Common practice, no source. The maker's manual and the law come first; a stop is proposed long
before a cause is proven, because waiting costs less than the accident. A stop is lifted by what
its checks found, never by the mere fact that they were made, and nothing is proposed that a
standing stop forbids.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from witnessmark.knowledge import Family
from witnessmark.model.step import Spread, Step
from witnessmark.words.numbers import chance_words

__all__ = ["STOPS", "Stop", "safety_stops", "within_the_stops"]

#: What a stop forbids: the engine does not turn, or the truck is neither driven nor loaded.
_OFF: tuple[str, ...] = ("running",)
_PARKED: tuple[str, ...] = ("road", "load")


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop.

    Attributes:
        id: step id.
        family: family it belongs to.
        causes: any of these being at fault is the danger.
        from_probability: propose it once one of them is at least this likely together.
        name: what to do.
        why: the danger.
        checks: tests whose result lifts it or keeps it, in the order to make them.
        lifted_by: test -> the result that is good, where that is not "nothing found".
        kept_by: further tests that keep it once they have found something.
        forbids: needs that no step may have while it stands.
        once_checked: what to do once every check was made and the danger still stands.
    """

    id: str
    family: str
    causes: tuple[str, ...]
    from_probability: float
    name: str
    why: str
    checks: tuple[str, ...] = ()
    lifted_by: Mapping[str, str] = field(default_factory=dict)
    kept_by: tuple[str, ...] = ()
    forbids: tuple[str, ...] = _PARKED
    once_checked: str = ""


#: The stops; the thresholds are judgement.
STOPS: tuple[Stop, ...] = (
    Stop(
        "stop_damper",
        "vib_load",
        ("damper_loose",),
        0.08,
        "Do not start the engine again until the damper bolts are checked",
        "A loose crank damper can leave the engine.",
        checks=("v_bolt",),
        forbids=_OFF,
        once_checked="Do not start the engine before the damper is made fast or ruled out",
    ),
    Stop(
        "stop_driveline",
        "vib_load",
        ("ujoint", "carrier"),
        0.35,
        "Park the truck until the driveline joints are checked by hand",
        "A joint that fails drops the shaft.",
        checks=("v_joint",),
        once_checked="Keep the truck parked until the driveline joint is put right",
    ),
    Stop(
        "stop_wheel_end",
        "vib_speed",
        ("wheel_mount", "hub_bearing"),
        0.20,
        "Park the truck until wheel fasteners and wheel bearings are checked",
        "A loose wheel or a failed wheel bearing means wheel loss.",
        checks=("s_bearing", "s_seat"),
        once_checked="Keep the truck parked until the wheel end is put right",
    ),
    Stop(
        "stop_tyre",
        "vib_speed",
        ("tyre_irreg",),
        0.40,
        "Do not run the tyre again until it is off and looked over",
        "A separated tyre can burst.",
        checks=("s_tread",),
        once_checked="Do not run the tyre again: renew it or rule it out on the stand",
    ),
    Stop(
        "stop_steering",
        "vib_speed",
        ("susp_steer",),
        0.20,
        "Park the truck until steering and suspension are checked for play",
        "A worn steering joint can let go.",
        checks=("s_shake",),
        once_checked="Keep the truck parked until the play is put right",
    ),
    Stop(
        "stop_shaft",
        "vib_speed",
        ("shaft_ujoint",),
        0.35,
        "Park the truck until the driveline joints are checked by hand",
        "A joint that fails drops the shaft.",
        checks=("s_angle",),
        once_checked="Keep the truck parked until the driveline joint is put right",
    ),
    Stop(
        "stop_oil_pressure",
        "oil_press",
        ("op_level", "op_bearing", "op_pump", "op_pickup", "op_dilution"),
        0.25,
        "Stop the engine and check the oil level before it runs again",
        "If the low pressure is real, every minute takes the bearings with it.",
        checks=("g_level", "g_mech"),
        lifted_by={"g_mech": "positive"},  # it reads normal where the bus reads low
        forbids=_OFF,
        once_checked="Run the engine only for a gauge reading, and never below the maker's limit",
    ),
    Stop(
        "stop_overheat",
        "overheat",
        ("oh_low", "oh_pump", "oh_gas", "oh_hose"),
        0.40,
        "Engine off: let it cool closed, then check the level cold before it runs again",
        "A hot engine without coolant warps its head; a hot cap scalds.",
        checks=("o_level",),
        kept_by=("o_gas",),
        forbids=_OFF,
        once_checked="Do not run it until the loss of coolant is found and put right",
    ),
    Stop(
        "stop_contaminated_oil",
        "coolant_cross",
        ("xc_oilcooler", "xc_hg", "xc_liner", "xc_head", "xc_fuel_oil"),
        0.35,
        "Do not run the engine until the oil has been sampled",
        "Coolant or fuel in the oil destroys bearings.",
        checks=("x_oil",),
        kept_by=("x_fuel",),
        forbids=_OFF,
        once_checked="Do not run the engine on this oil: find the source and change the oil first",
    ),
    Stop(
        "stop_coolant_in_cylinder",
        "coolant_cross",
        ("xc_egr", "xc_hg", "xc_head"),
        0.50,
        "Bar the engine over by hand before it is cranked, and keep it off the road",
        "Coolant on a piston bends a rod.",
    ),
    Stop(
        "stop_oil_on_exhaust",
        "oil_leak",
        ("ol_turbo", "ol_vc"),
        0.40,
        "Keep it off the road until it is certain that no oil reaches the exhaust",
        "Oil on a hot exhaust burns.",
        checks=("l_turbolook", "l_high"),
        once_checked="Keep it off the road until the leak is closed and the exhaust wiped clean",
    ),
    Stop(
        "stop_runaway",
        "smoke",
        ("sm_turbo",),
        0.30,
        "Have the means to cut the air at hand before the engine is started",
        "An engine that draws its own oil can run away.",
        checks=("m_shaft",),
        once_checked="Do not load it with oil in the intake; have the means to cut the air at hand",
    ),
    Stop(
        "stop_hydro_lock",
        "smoke",
        ("sm_coolant",),
        0.30,
        "Bar the engine over by hand before it is cranked",
        "Coolant on a piston bends a rod.",
    ),
)


def safety_stops(
    family: Family,
    marginals: Mapping[str, float],
    total_usd: float,
    results: Mapping[str, str] | None = None,
    done: Collection[str] = (),
) -> list[Step]:
    """Return the stops that the odds of *family*, or what a check has found, call for.

    Args:
        family: whose stops are meant.
        marginals: cause id -> P(present).
        total_usd: expected total of the best plan; a stop does not change it.
        results: test -> result of the tests of this stage, without "maybe".
        done: tests with an answer, also those that found nothing before the last work.
    """
    now = results or {}
    nothing = {t.id: t.outcomes[-1] for t in family.tests}
    found = []
    for stop in STOPS:
        if stop.family != family.id:
            continue
        healthy = 1.0
        for cause in stop.causes:
            healthy *= 1.0 - marginals.get(cause, 0.0)
        danger = 1.0 - healthy
        good = {t: stop.lifted_by.get(t, nothing.get(t)) for t in (*stop.checks, *stop.kept_by)}
        bad = any(t in now and now[t] != fine for t, fine in good.items())
        earlier = {t for t in done if t not in now and good.get(t) == nothing.get(t)}
        clear = bool(stop.checks) and all(
            now.get(t) == good[t] or t in earlier for t in stop.checks
        )
        if bad or (danger >= stop.from_probability and not clear):
            made = bool(stop.checks) and all(t in done or t in now for t in stop.checks)
            found.append(_as_step(stop, danger, total_usd, made=made, bad=bad))
    return found


def within_the_stops(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Return *steps* without the looks that one of the safety stops among them forbids.

    The checks of a stop are made under it; a repair is what ends it.
    """
    stops = [s for s in steps if s.kind == "safety"]
    return tuple(
        s
        for s in steps
        if s.kind in {"safety", "repair"}
        or not any(stop.rules_out(s.needs) and s.step not in stop.checks for stop in stops)
    )


def _as_step(stop: Stop, danger: float, total_usd: float, *, made: bool, bad: bool) -> Step:
    what = "the engine running" if "running" in stop.forbids else "the road or a load"
    why = f"{stop.why} The chance of it is {chance_words(danger)} by what is known. "
    why += "A check has found what the stop is for. " if bad else ""
    why += f"While it stands nothing is proposed that needs {what}. The maker's manual comes first."
    return Step(
        step=stop.id,
        kind="safety",
        family=stop.family,
        name=stop.once_checked if (made or bad) and stop.once_checked else stop.name,
        minutes=Spread(0.0, 5.0, 15.0),
        usd=Spread(0.0, 0.0, 0.0),
        expected_total_usd=total_usd,
        why=why,
        cautions=(stop.why,),
        forbids=stop.forbids,
        checks=stop.checks,
    )
