"""Safety stops: when the truck must not run or roll on, whatever the cheapest plan says.

Common practice, no source. The maker's manual and the law come first; a stop is proposed long
before a cause is proven, because waiting costs less than the accident.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from witnessmark.model.step import Spread, Step

__all__ = ["STOPS", "Stop", "safety_stops"]


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
        checks: tests that lift it or confirm it, in the order to make them.
        parked: whether the truck must not be driven or loaded meanwhile.
        once_checked: what to do once every check was made and the danger still stands.
    """

    id: str
    family: str
    causes: tuple[str, ...]
    from_probability: float
    name: str
    why: str
    checks: tuple[str, ...] = ()
    parked: bool = False
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
        parked=True,
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
        parked=True,
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
        parked=True,
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
        parked=True,
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
        parked=True,
        once_checked="Keep the truck parked until the play is put right",
    ),
    Stop(
        "stop_oil_pressure",
        "oil_press",
        ("op_level", "op_bearing", "op_pump", "op_pickup", "op_dilution"),
        0.25,
        "Stop the engine and check the oil level before it runs again",
        "If the low pressure is real, every minute takes the bearings with it.",
        checks=("g_level", "g_mech"),
        parked=True,
        once_checked="Run the engine only for a gauge reading, and never below the maker's limit",
    ),
    Stop(
        "stop_overheat",
        "overheat",
        ("oh_low", "oh_pump", "oh_gas", "oh_hose"),
        0.40,
        "Do not drive it hot: shut down at the maker's limit and let it cool closed",
        "A hot engine without coolant warps its head; a hot cap scalds.",
        checks=("o_level",),
    ),
    Stop(
        "stop_contaminated_oil",
        "coolant_cross",
        ("xc_oilcooler", "xc_hg", "xc_liner", "xc_head", "xc_fuel_oil"),
        0.35,
        "Do not run the engine until the oil has been sampled",
        "Coolant or fuel in the oil destroys bearings.",
        checks=("x_oil",),
        parked=True,
        once_checked="Do not run the engine on this oil: find the source and change the oil first",
    ),
    Stop(
        "stop_oil_on_exhaust",
        "oil_leak",
        ("ol_turbo", "ol_vc"),
        0.40,
        "Keep it off the road until it is certain that no oil reaches the exhaust",
        "Oil on a hot exhaust burns.",
        checks=("l_turbolook", "l_high"),
        parked=True,
        once_checked="Keep it off the road until the leak is closed and the exhaust wiped clean",
    ),
    Stop(
        "stop_runaway",
        "smoke",
        ("sm_turbo",),
        0.30,
        "Have the means to cut the air at hand before the engine is started",
        "An engine that draws its own oil can run away.",
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
    family: str,
    marginals: Mapping[str, float],
    total_usd: float,
    done: Collection[str] = (),
) -> list[Step]:
    """Return the stops that the odds of *family* call for.

    Args:
        family: family id.
        marginals: cause id -> P(present).
        total_usd: expected total of the best plan; a stop does not change it.
        done: tests made at this stage.
    """
    found = []
    for stop in STOPS:
        if stop.family != family:
            continue
        healthy = 1.0
        for cause in stop.causes:
            healthy *= 1.0 - marginals.get(cause, 0.0)
        danger = 1.0 - healthy
        checked = bool(stop.checks) and all(t in done for t in stop.checks)
        if danger >= stop.from_probability:
            found.append(
                Step(
                    step=stop.id,
                    kind="safety",
                    family=family,
                    name=stop.once_checked if checked and stop.once_checked else stop.name,
                    minutes=Spread(0.0, 5.0, 15.0),
                    usd=Spread(0.0, 0.0, 0.0),
                    expected_total_usd=total_usd,
                    why=f"{stop.why} The chance of it is {100 * danger:.0f} % by what is known. "
                    "The maker's manual comes first.",
                    cautions=(stop.why,),
                )
            )
    return found
