"""One truck with a hidden fault: what it shows to whoever measures, looks, or renews a part.

Every answer hangs on the truck and on what is done alone, never on who does it: the same look at
the same truck gives all shops the same result, and so does a repair.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import ModuleType

import fourth_physics
import numpy as np
import third_physics

from witnessmark.knowledge import Family, Test, load_knowledge
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.settings import Settings
from witnessmark.model.step import Spread
from witnessmark.planner.ranking.costs import (
    mean,
    remeasure_minutes,
    seal_usd,
    shared_minutes,
    step_usd,
)

__all__ = ["PHYSICS", "Bill", "Truck", "draw_trucks"]

PHYSICS: dict[str, ModuleType] = {"third": third_physics, "fourth": fourth_physics}
KINDS = tuple(third_physics.FAULTS)
#: Kind of fault -> causes of the pack that are at fault then, with their shares (judgement).
CAUSES: dict[str, tuple[tuple[str, float], ...]] = {
    "weak relief spring": (("pump_relief", 1.0),),
    "leaking relief seat": (("pump_relief", 1.0),),
    "weak return spring": (("return_regulator", 1.0),),
    "leaking return seat": (("return_regulator", 1.0),),
    "plugged filter": (("secondary_filter", 0.9), ("supply_restrict", 0.1)),
    "worn pump": (("pump_worn", 1.0),),
    "slipping drive": (("pump_drive", 1.0),),
    "suction restricted": (
        ("primary_filter", 0.6), ("suction_line", 0.25), ("tank_vent_fuel", 0.15),
    ),
    "air drawn in": (("air_ingress", 1.0),),
    "injector seals leak": (("gallery_leak", 1.0),),
    "gauge wrong": (("fuel_gauge_err", 1.0),),
}  # fmt: skip
#: A truck comes in when it lost so much at idle, at 1,500 r/min or on a pull, or its gauge is off.
COMES_IN = 5.0
#: A new part is wrong, or fitted wrong, so often; the second time it is right.
WRONG_PART = 0.04

#: What a look shows with each cause, from the first outcome to "nothing" (judgement of the one who
#: wrote this study; not the pack's table). Looks that the circuit answers are not here.
_SEES: dict[str, dict[str, dict[str, float]]] = {
    "f_look": {
        "": {"overdue": 0.12, "hose": 0.04, "tank": 0.03, "water": 0.02},
        "primary_filter": {"overdue": 0.50, "water": 0.05, "hose": 0.03},
        "secondary_filter": {"overdue": 0.40, "hose": 0.04},
        "tank_vent_fuel": {"tank": 0.45, "water": 0.30, "overdue": 0.05},
        "suction_line": {"hose": 0.40, "overdue": 0.08},
        "air_ingress": {"hose": 0.35, "tank": 0.06, "overdue": 0.08},
    },
    "f_leaklook": {"": {"positive": 0.0}},  # what leaks here leaks into the oil
    "f_leakrun": {"": {"positive": 0.0}},
    "f_oil": {"": {"positive": 0.04}, "gallery_leak": {"positive": 0.75}},
    "f_sample": {"": {"positive": 0.03}, "gallery_leak": {"positive": 0.88}},
    "f_sender": {"": {"positive": 0.04}, "fuel_gauge_err": {"positive": 0.55}},
    "f_drain": {
        "": {"positive": 0.2}, "air_ingress": {"positive": 0.6}, "pump_relief": {"positive": 0.25},
        "return_regulator": {"positive": 0.55}, "gallery_leak": {"positive": 0.65},
    },
    "f_tank": {
        "": {"on_can": 0.03, "water_or_wax": 0.02, "vacuum_in_tank": 0.01},
        "suction_line": {"on_can": 0.70}, "air_ingress": {"on_can": 0.40},
        "tank_vent_fuel": {"water_or_wax": 0.45, "vacuum_in_tank": 0.35, "on_can": 0.10},
    },
    "f_vac_where": {
        "": {"over_element": 0.01, "before_element": 0.01},
        "primary_filter": {"over_element": 0.90, "before_element": 0.03},
        "suction_line": {"before_element": 0.85, "over_element": 0.04},
        "tank_vent_fuel": {"cap_off": 0.50, "before_element": 0.35},
    },
    "f_flushed": {"": {"positive": 0.02}},
    "f_gasret": {"": {"positive": 0.03}},
    "f_step": {"": {"positive": 0.04}, "supply_restrict": {"positive": 0.85}},
    "f_relief": {"": {"positive": 0.04}, "pump_relief": {"positive": 0.90}},
    "f_fuelout": {"": {"positive": 0.04}, "primary_filter": {"positive": 0.92}},
    "f_regulator": {"": {"positive": 0.08}, "return_regulator": {"positive": 0.70}},
    "f_joints": {
        "": {"positive": 0.05}, "air_ingress": {"positive": 0.65},
        "suction_line": {"positive": 0.15},
    },
    "f_pump_off": {
        "": {"drive": 0.015, "relief": 0.03, "worn": 0.10},
        "pump_drive": {"drive": 0.84, "relief": 0.02, "worn": 0.08},
        "pump_relief": {"drive": 0.01, "relief": 0.84, "worn": 0.09},
        "pump_worn": {"drive": 0.02, "relief": 0.05, "worn": 0.70},
    },
}  # fmt: skip


@dataclass
class Bill:
    """What a truck has cost so far.

    Attributes:
        usd: money.
        steps: looks, measurements and repairs; the looks without a tool before any repair are one
            walk round, after one those that follow each other are; and measuring again belongs to
            its repair.
        all_steps: the same, with every measuring again.
        needless: parts renewed that were not at fault.
        repairs: parts renewed.
        looks: looks and measurements before the first part.
    """

    usd: float = 0.0
    steps: int = 0
    all_steps: int = 0
    needless: int = 0
    repairs: int = 0
    looks: int = 0


@dataclass
class Truck:
    """One truck.

    Attributes:
        physics: its equations.
        sound: the engine without a fault, one engine.
        kinds: kinds of fault -> cause at fault.
        seed: of what it answers.
        family: the pack's family, for prices alone.
        settings: the shop's rates.
    """

    physics: ModuleType
    sound: third_physics.Engines | fourth_physics.Engines
    kinds: dict[str, str]
    seed: int
    family: Family
    settings: Settings = field(default_factory=Settings)
    bill: Bill = field(default_factory=Bill)
    tries: dict[str, int] = field(default_factory=dict)
    walked: bool = False
    sticks: int = 0
    opened: str = ""
    fitted: str = ""

    def fresh(self) -> Truck:
        """Return it as it came in."""
        return Truck(self.physics, self.sound, dict(self.kinds), self.seed, self.family)

    def now(self) -> third_physics.Engines | fourth_physics.Engines:
        """Return the engine as it is: the faults that are left, each as bad as it came in."""
        engine = self.sound
        for kind in self.kinds:
            rng = self.rng(f"size {kind}")
            engine = self.physics.with_fault(engine, np.array([KINDS.index(kind)]), rng)
        return engine

    @property
    def faults(self) -> set[str]:
        """The causes that are at fault now."""
        return set(self.kinds.values())

    def lost(self) -> float:
        """Return what is lost of the healthy pressure at the worst of three points [psi]."""
        now, solve = self.now(), self.physics.solve
        points = ((650.0, 0.0), (1500.0, 0.0), (1500.0, 1.0))
        losses = (solve(self.sound, *p).gallery - solve(now, *p).gallery for p in points)
        return max(float(lost[0]) for lost in losses)

    def rng(self, what: str) -> np.random.Generator:
        """Return the random numbers of one thing on this truck."""
        return np.random.default_rng([self.seed, *what.encode()])

    def clues(self) -> dict[str, bool]:
        """Return what is known at check-in, each half of the time."""
        rng, faults = self.rng("clues"), self.faults
        filters = faults & {"primary_filter", "secondary_filter"}
        restricted = filters | faults & {"suction_line"}
        worn = faults & {"pump_relief", "pump_worn", "return_regulator"}
        true = {
            "filters_overdue": 0.5 if filters else 0.2,
            "filters_recent": 0.3 if "air_ingress" in faults else 0.15,
            "miles_500k": 0.55 if worn else 0.4,
            "sudden": 0.4 if faults & {"air_ingress", "pump_drive", "fuel_gauge_err"} else 0.25,
            "grade_only": 0.4 if restricted else 0.25,
        }  # fmt: skip
        told = {c: bool(rng.random() < p) for c, p in true.items() if rng.random() < 0.5}
        if told.get("filters_overdue") and told.get("filters_recent"):
            del told["filters_recent"]
        return told

    def read(self, quantity: str, rpm: float, load: float = 0.0, *, cold: bool = False) -> str:
        """Return a reading as a technician writes it; an unsteady needle as a range."""
        rng = self.rng(f"{quantity} {rpm} {load} {cold} {sorted(self.kinds)}")
        now = self.now()
        if cold:  # thick fuel hardly slips back
            thick = "gap" if hasattr(now, "gap") else "slip"
            now = now.with_(**{thick: 0.6 * getattr(now, thick)})
        if quantity == "gauge_check_difference":
            return f"{float(self._off(now, 75.0)) + rng.normal(0.0, 1.0):.1f} psi"
        throttled = quantity.endswith("_throttled")
        at = self.physics.solve(now, rpm + rng.normal(0.0, 12.0), load, throttled=throttled)
        if quantity == "fuel_suction_vacuum":
            return f"{max(float(at.vacuum[0]) + rng.normal(0.0, 0.5), 0.0):.1f} inHg"
        if quantity == "fuel_return_flow":
            flow = float(at.back[0])
            return f"{max(flow + rng.normal(0.0, np.hypot(2.5, 0.04 * flow)), 0.0):.0f} L/h"
        true = float((at.prefilter if quantity == "fuel_prefilter_pressure" else at.gallery)[0])
        swing = self._swing(now, float(at.vacuum[0]))
        shown = true + float(self._off(now, true)) + rng.normal(0.0, np.hypot(1.0, 0.4 * swing))
        shown = max(shown, 0.0)
        if swing >= 2.5 and rng.random() < 0.7:
            return f"{max(shown - swing, 0.0):.0f} to {shown + swing:.0f} psi"
        return f"{shown:.0f} psi"

    def look(self, test: Test) -> str:
        """Return the result of a look, an id of the pack's."""
        rng = self.rng(f"{test.id} {sorted(self.kinds)}")
        nothing = test.outcomes[-1]
        if test.id == "f_look" and {"primary_filter", "secondary_filter"} & set(self.tries):
            return nothing  # what was overdue is new now
        if test.id in {"f_oil", "f_sample"} and "gallery_leak" in self.tries:
            return nothing  # the oil was changed with the seals
        if test.id == "f_oil" and self.sticks and "gallery_leak" not in self.faults:
            return nothing  # the level was set to the mark before the stick was read again
        self.sticks += test.id == "f_oil"
        if test.id in _SEES:
            tables = [_SEES[test.id].get(f) for f in sorted(self.faults)]
            found = next((t for t in tables if t), _SEES[test.id][""])
            names = [n for n in found if n in test.outcomes]
            rest = 1.0 - sum(found[n] for n in names)
            return str(rng.choice([*names, nothing], p=[*(found[n] for n in names), rest]))
        return "positive" if self._shown(test.id, rng) else nothing

    def _shown(self, test: str, rng: np.random.Generator) -> bool:
        now, solve = self.now(), self.physics.solve
        idle, work, fast, pull = ((650.0, 0.0), (1500.0, 0.0), (1800.0, 0.0), (1500.0, 1.0))

        def psi(point: tuple[float, float]) -> float:
            true = float(solve(now, *point).gallery[0])
            return true + float(self._off(now, true)) + rng.normal(0.0, 1.2)

        def lost(point: tuple[float, float]) -> float:
            return float(solve(self.sound, *point).gallery[0]) - psi(point)

        at = solve(now, *work)
        vacuum = float(at.vacuum[0]) + rng.normal(0.0, 0.5)
        drop = float((at.prefilter - at.gallery)[0]) + rng.normal(0.0, 1.4)
        if test == "f_dp":
            return drop > 10.0
        if test == "f_vac":
            return float(solve(now, *fast).vacuum[0]) + rng.normal(0.0, 0.5) > 9.0
        if test == "f_vac_low":
            return vacuum < 0.6 * float(solve(self.sound, *work).vacuum[0])
        if test == "f_sight":
            boils = 0.6 * (1.0 - np.exp(-max(vacuum - 8.0, 0.0) / 6.0))
            foams = 0.94 * (1.0 - np.exp(-float(now.air[0]) / 0.025))
            return bool(rng.random() < 0.03 + 0.97 * (1.0 - (1.0 - boils) * (1.0 - foams)))
        if test == "f_return":
            usual = float(solve(self.sound, *work).back[0])
            return (
                float(at.back[0]) * (1.0 + rng.normal(0.0, 0.04)) > 0.93 * usual
                and lost(work) > 4.0
            )
        if test == "f_block":
            held = float(solve(now, *idle, throttled=True).gallery[0])
            return held < float(solve(self.sound, *idle, throttled=True).gallery[0]) - 10.0
        if test == "f_curve":
            return lost(idle) < 4.0 and lost(pull) > max(6.0, 2.0 * lost(idle))
        if test == "f_cap":
            return lost(idle) < 4.0 and psi(fast) - psi(work) < 1.5 and drop < 8.0 and vacuum < 4.0
        if test == "f_mech":
            return abs(float(self._off(now, 75.0)) + rng.normal(0.0, 1.0)) > 5.0
        raise KeyError(test)

    def renew(self, cause: str) -> None:
        """Put a part right; with luck it is the one at fault."""
        self.bill.repairs += 1
        self.tries[cause] = self.tries.get(cause, 0) + 1
        if cause not in self.faults:
            self.bill.needless += 1
            if cause == "pump_worn":  # the pump is out: a sheared key is seen, and put right
                self.kinds = {k: c for k, c in self.kinds.items() if c != "pump_drive"}
            return
        if self.tries[cause] > 1 or self.rng(f"part {cause}").random() >= WRONG_PART:
            self.kinds = {k: c for k, c in self.kinds.items() if c != cause}

    def pay_test(self, step: Test | Measurement) -> None:
        """Pay for a look or a measurement."""
        usd = step.usd if isinstance(step.usd, Spread) else Spread(step.usd, step.usd, step.usd)
        self.bill.usd += step_usd(step.minutes, usd, step.needs, self.settings)
        walk = bool(getattr(step, "free_look", False))
        self.bill.steps += not (walk and self.walked)  # one walk round is one step
        self.walked = walk or (self.walked and not self.bill.repairs)
        self.opened = getattr(step, "access_group", "")
        self.fitted = "primary_filter" if step.id == "f_fuelout" else self.fitted
        self.bill.all_steps += 1
        self.bill.looks += not self.bill.repairs

    def pay_repair(self, cause: str, *, step: bool = True) -> None:
        """Pay for a part with its seals and labour.

        What the look just before it has opened is open still, and the element that a test has
        fitted new stays in: neither is paid twice.
        """
        self.walked = False
        known = self.family.cause(cause)
        assert known is not None
        if cause != self.fitted:
            minutes = mean(known.minutes)
            if known.access_group and known.access_group == self.opened:
                opening = load_knowledge().access_groups[known.access_group].minutes
                minutes -= shared_minutes(opening, known.minutes)
            self.bill.usd += minutes / 60.0 * self.settings.labour_usd_per_hour
            self.bill.usd += mean(known.parts_usd) + seal_usd(known)
        self.opened = self.fitted = ""
        self.bill.steps += step
        self.bill.all_steps += step

    def pay_again(self) -> None:
        """Pay for measuring again after a repair."""
        hours = remeasure_minutes(self.family, self.settings) / 60.0
        self.bill.usd += hours * self.settings.labour_usd_per_hour
        self.bill.all_steps += 1

    def _off(self, engine: third_physics.Engines | fourth_physics.Engines, true: float) -> float:
        """Return what the shop's gauge shows too much, its small error among it [psi]."""
        small = self.rng("gauge").normal(0.0, 1.6)
        stick = self.rng("stick").uniform(-0.8, 0.8) if self.physics is fourth_physics else 0.0
        off = float(engine.gauge_off[0]) + float(engine.gauge_share[0]) * true
        return off + small + stick

    def _swing(
        self, engine: third_physics.Engines | fourth_physics.Engines, vacuum: float
    ) -> float:
        """Return how far the needle swings to either side [psi]; also valves and boiling do it."""
        air = float(engine.air[0])
        beats = 2.0 * (self.rng("beats").random() < 0.06)
        boils = 3.0 * max(vacuum - 15.0, 0.0) / 5.0
        return float(beats + boils + 45.0 * air * (0.6 + vacuum / 10.0))


def draw_trucks(
    physics: str, family: Family, count: int, seed: int, *, sound: bool = False
) -> list[Truck]:
    """Draw *count* trucks: equal shares of the eleven kinds, one in eight with a second fault."""
    module = PHYSICS[physics]
    rng = np.random.default_rng([seed, len(physics)])
    found: list[Truck] = []
    number = 0
    while len(found) < count:
        number += 1
        engine = module.draw(rng, 1)
        kinds: dict[str, str] = {}
        for _ in range(0 if sound else 1 + (rng.random() < 0.125)):
            kind = str(rng.choice(KINDS))
            names, shares = zip(*CAUSES[kind], strict=True)
            kinds.setdefault(kind, str(rng.choice(names, p=shares)))
        truck = Truck(module, engine, kinds, 1_000_000 * seed + number, family)
        if sound or "gauge wrong" in kinds or truck.lost() >= COMES_IN:
            found.append(truck)
    return found
