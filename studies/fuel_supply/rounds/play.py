"""How four shops go about a truck: by the product's steps, by habit, by a fixed order, knowing."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from trucks import Truck

from witnessmark.errors import EntryRefused
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.step import Step
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

__all__ = ["MOST_STEPS", "POLICIES", "Played", "shop_for"]

#: Steps within which a truck has to be cured.
MOST_STEPS = 10
#: From here on the workbench says that probably nothing is wrong.
_SAID = 0.5
GALLERY, VACUUM = "fuel_gallery_pressure", "fuel_suction_vacuum"
FLOW, BEFORE = "fuel_return_flow", "fuel_prefilter_pressure"


@dataclass
class Played:
    """One truck in one shop.

    Attributes:
        cured: put right within the steps.
        usd: money; of one that was not cured with habit order behind it.
        steps, all_steps, needless, looks: see ``Bill``; needless and looks within the steps.
        log: what was done, with what came of it.
        why: what stopped it, where it was not cured.
        cleared: a sound engine, told so.
    """

    cured: bool
    usd: float
    steps: int
    all_steps: int
    needless: int
    looks: int
    repairs: int
    log: list[str] = field(default_factory=list)
    why: str = ""
    cleared: bool = False


@contextmanager
def shop_for() -> Iterator[Shop]:
    """Open a shop of its own for one truck."""
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        try:
            yield shop
        finally:
            shop.close()


def ours(truck: Truck) -> Played:
    """Do what the workbench proposes first, entered and asked through the shop."""
    log: list[str] = []
    with shop_for() as shop:
        shop.new_case("t")
        shop.add("t", "complaint", {"words": "low fuel pressure, lazy", "families": ["fuel_low"]})
        for clue, seen in truck.clues().items():
            shop.add("t", "clue", {"clue": clue, "seen": seen})
        why, cleared = "steps used up", False
        while truck.bill.steps < MOST_STEPS:
            found = assess_in_shop(shop, "t")
            odds = found.odds[0]
            said = not found.case.works() and odds.nothing_wrong >= _SAID
            step = next((s for s in found.steps if s.kind != "safety"), None)
            if said and (step is None or step.kind != "measure"):
                why, cleared = "said that probably nothing is wrong", True
                break
            if step is None:
                why = "nothing proposed" if not found.stops else f"a stop: {found.stops[0].name}"
                break
            if step.step.startswith("search_"):
                why = "the open search"
                break
            if step.step.startswith("remeasure_") and log and log[-1].startswith("remeasure_"):
                why = "asked for the same measurement twice"
                break
            log.append(f"{step.step}={_do(shop, truck, step)}")
            if found.case.works() and not truck.faults and step.step.startswith("remeasure_"):
                break
            if truck.bill.repairs and not truck.faults and step.kind == "repair":
                _again(shop, truck)  # measured once more before it leaves
                break
        cured = not truck.faults
        if cured:
            why = ""
        else:
            odds = assess_in_shop(shop, "t").odds[0]
            clear = not shop.case("t").works() and odds.nothing_wrong > odds.causes[0].probability
            cleared = cleared or clear
            top = ", ".join(f"{c.cause} {c.probability:.2f}" for c in odds.causes[:3])
            why = f"{why}; {odds.statement[:80]} [{top}]"
    return _played(truck, cured, log, why, cleared=cleared)


def _do(shop: Shop, truck: Truck, step: Step) -> str:
    family = truck.family
    if step.step.startswith("remeasure_"):
        return _again(shop, truck)
    if step.kind == "repair":
        for cause in (step.step, *step.along):
            truck.pay_repair(cause, step=cause == step.step)
            truck.renew(cause)
            shop.add("t", "work", {"cause": cause, "did": cause})
        return "+".join(step.along) or "done"
    measurement = next((m for m in family.measurements if m.id == step.step), None)
    if measurement is not None:
        truck.pay_test(measurement)
        cold = measurement.cold
        return ", ".join(_enter(shop, truck, *r, cold=cold) for r in measurement.readings)
    test = family.test(step.step)
    assert test is not None, step.step
    truck.pay_test(test)
    reading = getattr(test, "reading", None)
    if reading is not None:  # asked for as a figure: it is written as one
        rpm = 650.0 if reading.quantity.startswith("gauge") else 1800.0
        return _enter(shop, truck, reading.quantity, rpm, 0.0)
    result = truck.look(test)
    shop.add("t", "test", {"test": test.id, "result": result})
    return result


def _enter(
    shop: Shop, truck: Truck, quantity: str, rpm: float, load: float, *, cold: bool = False
) -> str:
    value = truck.read(quantity, rpm, load, cold=cold)
    point = {"rpm": rpm, "load": "full" if load else "none", "warm": not cold}
    told = {"quantity": quantity, "value": value, "point": point}
    try:
        shop.add("t", "reading", told)
    except EntryRefused:  # asked whether it really stood there, and it did
        shop.add("t", "reading", {**told, "value": f"about {value}"})
    return f"{value} at {rpm:.0f}"


def _again(shop: Shop, truck: Truck) -> str:
    """Measure the same points again, with the second quantity that was read before."""
    truck.pay_again()
    before = [d.quantity for _, d in shop.case("t").of(ReadingData)]
    second = next((q for q in reversed(before) if q in {FLOW, VACUUM, BEFORE}), FLOW)
    points = ((GALLERY, 650.0, 0.0), (GALLERY, 1500.0, 0.0), (GALLERY, 1500.0, 1.0))
    return ", ".join(_enter(shop, truck, *p) for p in (*points, (second, 1500.0, 0.0)))


def habit(truck: Truck) -> Played:
    """Renew parts in the order of the pack's shares."""
    log = _by_habit(truck, ())
    return _played(truck, True, log, "")


def knowing(truck: Truck) -> Played:
    """Renew what is at fault, and measure once."""
    log = []
    while truck.faults:
        for cause in sorted(truck.faults):
            truck.pay_repair(cause)
            truck.renew(cause)
            log.append(cause)
        truck.pay_again()
    return _played(truck, True, log, "")


def fixed(truck: Truck) -> Played:
    """Look, gauge check, vacuum, pressure before the filter, flow, then open; then habit order."""
    log: list[str] = []
    done: list[str] = []

    def tried(cause: str) -> bool:
        if cause in done and truck.tries.get(cause, 0) > 1:
            return False
        truck.pay_repair(cause)
        truck.renew(cause)
        truck.pay_again()
        done.append(cause)
        log.append(cause)
        return not truck.faults or truck.bill.steps >= MOST_STEPS

    def seen(name: str) -> str:
        test = truck.family.test(name)
        assert test is not None
        truck.pay_test(test)
        log.append(f"{name}={truck.look(test)}")
        return log[-1].split("=")[1]

    def number(name: str, quantity: str, rpm: float) -> float:
        measurement = next(m for m in truck.family.measurements if m.id == name)
        truck.pay_test(measurement)
        text = truck.read(quantity, rpm).split(" to ")
        ends = [float(t.split()[0]) for t in text]
        log.append(f"{name}={' to '.join(text)}")
        return sum(ends) / len(ends)

    def rest() -> None:
        if not truck.faults and truck.bill.repairs:
            return
        looked = seen("f_look")
        if seen("f_oil") == "positive" and tried("gallery_leak"):
            return
        gallery = number("gallery_idle_1400", GALLERY, 1500.0)
        usual = truck.physics.solve(truck.sound, 1500.0)
        off = number("gauge_check", "gauge_check_difference", 650.0)
        if abs(off) > 4.5 and tried("fuel_gauge_err"):
            return
        vacuum = number("vacuum_1400", VACUUM, 1500.0)
        if vacuum > 8.0:
            order = ["primary_filter", "suction_line", "tank_vent_fuel"]
            first = {"hose": "suction_line", "tank": "tank_vent_fuel", "water": "tank_vent_fuel"}
            for cause in dict.fromkeys([first.get(looked, order[0]), *order]):
                if tried(cause):
                    return
        elif seen("f_sight") == "positive" and tried("air_ingress"):
            return
        drop = number("prefilter_1400", BEFORE, 1500.0) - gallery
        if drop > 10.0 and tried("secondary_filter"):
            return
        flow = number("return_flow_idle", FLOW, 1500.0)
        if flow > 0.93 * float(usual.back[0]) and tried("return_regulator"):
            return
        if seen("f_relief") == "positive" and tried("pump_relief"):
            return
        if flow <= 0.93 * float(usual.back[0]):
            for cause in ("pump_worn", "pump_drive"):
                if tried(cause):
                    return

    rest()
    cured = not truck.faults
    return _played(truck, cured, log, "" if cured else "the order was at its end")


def _by_habit(truck: Truck, done: tuple[str, ...]) -> list[str]:
    log: list[str] = []
    order = sorted(truck.family.causes, key=lambda c: -c.prior)
    first = [c.id for c in order if c.id not in done and not c.id.endswith("_other")]
    for cause in (*first, *done, *first):
        if not truck.faults:
            break
        truck.pay_repair(cause)
        truck.renew(cause)
        truck.pay_again()
        log.append(cause)
    return log


def _played(
    truck: Truck, cured: bool, log: list[str], why: str, *, cleared: bool = False
) -> Played:
    """Read the bill off; who has not cured it pays for habit order behind it."""
    b = truck.bill
    counts = (b.steps, b.all_steps, b.needless, b.looks, b.repairs)
    if truck.faults:
        _by_habit(truck, tuple(truck.tries))
    return Played(cured, b.usd, *counts, log=log, why=why, cleared=cleared)


POLICIES: dict[str, Callable[[Truck], Played]] = {
    "ours": ours, "habit order": habit, "fixed order": fixed, "all-knowing": knowing,
}  # fmt: skip
