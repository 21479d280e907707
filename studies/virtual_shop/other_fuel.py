"""A fuel supply circuit with other physics than the workbench's own, for the virtual shop only.

Leakage through orifices instead of laminar gaps, other exponents of the restrictions, a fill that
falls off with the cube of the vacuum, and a regulator with a curved line. All constants are
invented; they only have to give a circuit of the usual size. Pressures in psi, flows in US
gal/min, vacuum in inHg: this study stays in the trade's units throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

__all__ = ["Circuit", "balance", "fuel_results", "with_faults"]

#: Points: engine speed [r/min] and fuel burnt [gal/min].
IDLE, FAST, FULL = (700, 0.03), (1500, 0.05), (1800, 0.40)
TESTS = ("f_dp", "f_vac", "f_vac_low", "f_return", "f_block", "f_curve", "f_cap", "f_step")


@dataclass(frozen=True)
class Circuit:
    """Parameters of one circuit."""

    theoretical: float = 0.00225  # gal per revolution
    slip: float = 0.022  # gal/min per sqrt(psi)
    air: float = 0.0
    suction: float = 0.62  # inHg per (gal/min)^1.8
    standing: float = 0.0  # inHg of vacuum in the tank
    filter: float = 0.75  # psi per (gal/min)^1.6
    passage: float = 0.10  # psi per (gal/min)^2
    relief: float = 118.0  # psi
    relief_leak: float = 0.0  # gal/min per sqrt(psi)
    crack: float = 58.0  # psi
    seat: float = 0.0  # gal/min per sqrt(psi)
    gallery: float = 0.0  # gal/min per sqrt(psi)
    gain: float = 1.0  # gauge


def with_faults(faults: frozenset[str], rng: np.random.Generator) -> Circuit:
    """Return a circuit with these faults, each bad enough to be complained about."""
    circuit = Circuit()
    healthy = balance(circuit, *FULL)["gallery"]
    for fault in sorted(faults - {"unlisted"}):
        bad = rng.uniform(0.6, 1.2)
        for _ in range(7):
            worse = _one(circuit, fault, bad)
            lost = healthy - worse.gain * balance(worse, *FULL)["gallery"]
            if lost >= 7.0 or fault in {"comb_gas_fuel", "fuel_other"}:
                break
            bad *= 1.35
        circuit = worse
    return circuit


def _one(c: Circuit, fault: str, bad: float) -> Circuit:
    changes: dict[str, dict[str, float]] = {
        "secondary_filter": {"filter": c.filter * (1 + 12 * bad)},
        "primary_filter": {"suction": c.suction * (1 + 4 * bad)},
        "suction_line": {"suction": c.suction * (1 + 5 * bad)},
        "tank_vent_fuel": {"standing": c.standing + 9 * bad},
        "air_ingress": {"air": min(0.6, c.air + 0.22 * bad)},
        "pump_worn": {"slip": c.slip * (1 + 3.5 * bad)},
        "pump_relief": {"relief_leak": c.relief_leak + 0.10 * bad},
        "return_regulator": {"crack": c.crack - 16 * bad, "seat": c.seat + 0.03 * bad},
        "fuel_gauge_err": {"gain": c.gain * (1 - 0.11 * bad)},
        "gallery_leak": {"gallery": c.gallery + 0.06 * bad},
        "supply_restrict": {"passage": c.passage + 3.5 * bad},
        "pump_drive": {"theoretical": c.theoretical * max(0.25, 1 - 0.45 * bad)},
        "comb_gas_fuel": {"air": min(0.6, c.air + 0.08 * bad)},
        "fuel_other": {"slip": c.slip * (1 + bad), "filter": c.filter * (1 + 2 * bad)},
    }
    return replace(c, **changes[fault])


def fuel_results(circuit: Circuit, rng: np.random.Generator) -> dict[str, str]:
    """Return the outcome of every test that pressure, flow and vacuum decide."""
    sound = Circuit()
    now = {p: balance(circuit, *p) for p in (IDLE, FAST, FULL)}
    ref = {p: balance(sound, *p) for p in (IDLE, FAST, FULL)}

    def psi(point: tuple[int, float]) -> float:
        return circuit.gain * now[point]["gallery"] + rng.normal(0, 1.2)

    loss = {p: ref[p]["gallery"] - psi(p) for p in (IDLE, FAST, FULL)}
    drop = now[FAST]["filter"] + rng.normal(0, 1.0)
    vacuum = {p: now[p]["vacuum"] + rng.normal(0, 0.4) for p in (FAST, FULL)}
    flow = now[FAST]["return"] * (1 + rng.normal(0, 0.04))
    blocked = circuit.gain * balance(circuit, *IDLE, blocked=True)["gallery"] + rng.normal(0, 1.5)
    flat = psi(FULL) - psi(FAST)
    seen = {
        "f_dp": drop > 10.0,
        "f_vac": vacuum[FULL] > 9.0,
        "f_vac_low": vacuum[FAST] < 0.6 * ref[FAST]["vacuum"],
        "f_return": flow > 0.93 * ref[FAST]["return"] and loss[FAST] > 4.0,
        "f_block": blocked < 100.0,
        "f_curve": loss[IDLE] < 4.0 and loss[FULL] > max(6.0, 2.0 * loss[IDLE]),
        "f_cap": loss[IDLE] < 4.0 and flat < 1.5 and drop < 8.0 and vacuum[FAST] < 3.0,
        "f_step": now[FAST]["passage"] + rng.normal(0, 1.0) > 10.0,
    }
    return {test: "positive" if there else "negative" for test, there in seen.items()}


@lru_cache(maxsize=4096)
def balance(c: Circuit, rpm: int, burnt: float, *, blocked: bool = False) -> dict[str, float]:
    """Return the balance at one point by bisection on the gallery pressure."""
    low, high = 0.0, 160.0
    found: dict[str, float] = {}
    for _ in range(44):
        gallery = 0.5 * (low + high)
        found = _flows(c, rpm, gallery)
        leaves = burnt + c.gallery * np.sqrt(gallery)
        if not blocked:
            found["return"] = _return(c, gallery)
            leaves += found["return"]
        if found["delivered"] > leaves:
            low = gallery
        else:
            high = gallery
    found["gallery"] = gallery
    found.setdefault("return", 0.0)
    return found


def _return(c: Circuit, gallery: float) -> float:
    over = max(0.0, gallery - c.crack)
    return float((over / 13.0) ** 0.85 + c.seat * np.sqrt(gallery))


def _flows(c: Circuit, rpm: int, gallery: float) -> dict[str, float]:
    delivered = 0.5 * c.theoretical * rpm
    for _ in range(40):
        flow = max(delivered, 0.0)
        drop, passage = c.filter * flow**1.6, c.passage * flow**2
        pump = gallery + drop + passage
        spill = 0.45 * max(0.0, pump - c.relief) ** 0.6 + c.relief_leak * np.sqrt(pump)
        vacuum = min(27.0, c.standing + c.suction * flow**1.8)
        fill = max(0.05, 1.0 - (vacuum / 28.0) ** 3) * (1.0 - c.air)
        new = c.theoretical * rpm * fill - c.slip * np.sqrt(pump) - spill
        delivered = 0.6 * delivered + 0.4 * max(0.0, float(new))
    return {"delivered": delivered, "filter": drop, "passage": passage, "vacuum": vacuum}
