"""Engines of a fourth physics, for the rounds: other laws than the model's and than the third's.

Pressure in psi, flow in L/h, speed in r/min. What differs in form, not only in figures:

- pump: internal leakage through a gap (pressure to the power 1.5, less with speed) and through a
  hole (square root) beside each other; it fills well up to 6 to 12 inHg and then ever worse.
- relief valve: the ring under a lifted plate, so the flow goes with the lift times the root of
  the pressure, up to a stop.
- return: a spring valve and a fixed orifice in a row, whose squares of loss add up.
- filter and suction line: Forchheimer's a q + b q^2, each with a share of its own.
- a leak past seals needs 4 psi to begin; air swells with vacuum, and what is timed into the can is
  partly foam then.
- the gauge sticks by up to 0.8 psi.
- healthy: 68 to 84 psi at idle, 86 to 106 at 1,500; one in four meets the latter at full load.

Ranges are judgement, chosen wide; no engine was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

__all__ = ["Engines", "State", "draw", "solve", "with_fault"]

Floats = npt.NDArray[np.float64]

_NAMES = (
    "weak relief spring", "leaking relief seat", "weak return spring", "leaking return seat",
    "plugged filter", "worn pump", "slipping drive", "suction restricted", "air drawn in",
    "injector seals leak", "gauge wrong",
)  # fmt: skip


@dataclass(frozen=True)
class Engines:
    """n engines; every field has shape (n,)."""

    pump: Floats
    gap: Floats
    hole: Floats
    fills_to: Floats
    fill_power: Floats
    relief_open: Floats
    relief_stop: Floats
    relief_area: Floats
    relief_hole: Floats
    valve_open: Floats
    valve_area: Floats
    orifice: Floats
    return_hole: Floats
    loss_1: Floats
    loss_2: Floats
    suction_1: Floats
    suction_2: Floats
    lift: Floats
    leak: Floats
    air: Floats
    idle_fuel: Floats
    full_fuel: Floats
    gauge_off: Floats
    gauge_share: Floats

    def __len__(self) -> int:
        return len(self.pump)

    def with_(self, **changes: Floats) -> Engines:
        """Return a copy with some fields changed."""
        return replace(self, **changes)

    def take(self, index: npt.NDArray[np.intp]) -> Engines:
        """Return the engines at *index*."""
        return Engines(**{k: v[index] for k, v in vars(self).items()})


@dataclass(frozen=True)
class State:
    """One operating point: psi, L/h, and inHg of vacuum, shape (n,) each."""

    gallery: Floats
    prefilter: Floats
    vacuum: Floats
    back: Floats


def solve(e: Engines, rpm: Floats | float, load: float = 0.0, *, throttled: bool = False) -> State:
    """Halve the bracket of the gallery pressure until it is known to 0.001 psi."""
    low, high = np.zeros(len(e)), np.full(len(e), 260.0)
    for _ in range(34):
        p = 0.5 * (low + high)
        spare = _spare(e, p, rpm, load, throttled)[0] > 0.0
        low, high = np.where(spare, p, low), np.where(spare, high, p)
    _, before, vacuum, back = _spare(e, p, rpm, load, throttled)
    return State(p, before, vacuum, back * (1.0 + 0.6 * e.air))


def _taken(e: Engines, rpm: Floats | float, load: Floats | float) -> Floats:
    idle = e.idle_fuel * np.sqrt(np.asarray(rpm) / 650.0)
    return np.asarray(idle + load * (e.full_fuel * np.asarray(rpm) / 1500.0 - idle))


def _back(e: Engines, p: Floats) -> Floats:
    valve = e.valve_area * np.maximum(p - e.valve_open, 0.0)
    row = valve * e.orifice / np.sqrt(valve**2 + e.orifice**2 + 1e-9)
    return np.asarray((row + e.return_hole) * np.sqrt(np.maximum(p, 0.0)))


def _vacuum(e: Engines, out: Floats) -> Floats:
    q = out / 300.0
    return np.asarray(np.minimum(e.lift + (e.suction_1 + e.suction_2 * q) * q, 28.5))


def _sent(e: Engines, before: Floats, out: Floats, rpm: Floats | float) -> tuple[Floats, Floats]:
    vacuum = _vacuum(e, out)
    short = np.maximum(vacuum - e.fills_to, 0.0) / (29.5 - e.fills_to)
    fill = np.maximum(1.0 - short**e.fill_power, 0.02)
    swollen = np.minimum(e.air * (1.0 + vacuum / 12.0), 0.9)
    turns = np.asarray(rpm) / 650.0
    gap = e.gap * (before / 75.0) ** 1.5 / turns**0.15
    hole = e.hole * np.sqrt(np.maximum(before, 0.0) / 75.0)
    return e.pump * rpm * fill * (1.0 - swollen) - gap - hole, vacuum


def _relief(e: Engines, before: Floats) -> Floats:
    lifted = np.clip(before - e.relief_open, 0.0, e.relief_stop)
    root = np.sqrt(np.maximum(before, 0.0))
    return np.asarray((e.relief_area * lifted + e.relief_hole) * root)


def _spare(
    e: Engines, p: Floats, rpm: Floats | float, load: Floats | float, throttled: bool
) -> tuple[Floats, Floats, Floats, Floats]:
    back = 0.0 * p if throttled else _back(e, p)
    out = back + e.leak * np.sqrt(np.maximum(p - 4.0, 0.0)) + _taken(e, rpm, load)
    q = out / 300.0
    before = p + (e.loss_1 + e.loss_2 * q) * q
    sent, vacuum = _sent(e, before, out, rpm)
    return sent - _relief(e, before) - out, before, vacuum, back


def draw(rng: np.random.Generator, n: int) -> Engines:
    """Draw n healthy engines: valve and orifice are set so that each shows its two pressures."""

    def even(low: float, high: float) -> Floats:
        return rng.uniform(low, high, n)

    layout = rng.choice(3, n, p=[0.55, 0.25, 0.20])
    pump = np.where(layout == 2, 0.40, 0.21) * np.exp(rng.normal(0.0, 0.18, n))
    idle_psi, work_psi = even(68.0, 84.0), even(86.0, 106.0)
    loaded = (rng.random(n) < 0.25).astype(float)
    slip, part = pump * 650.0 * even(0.04, 0.16), even(0.3, 0.9)
    loss, laminar = even(1.5, 6.0), even(0.2, 0.9)
    suction, drawn = even(0.8, 3.5), even(0.1, 0.8)
    none = np.zeros(n)
    e = Engines(
        pump=pump, gap=slip * part, hole=slip * (1.0 - part), fills_to=even(6.0, 12.0),
        fill_power=even(1.3, 3.0), relief_open=np.full(n, 250.0), relief_stop=even(10.0, 40.0),
        relief_area=pump * 1500.0 * even(1.0, 2.5) / 9.5 / 25.0, relief_hole=none,
        valve_open=idle_psi * even(0.5, 0.9), valve_area=none, orifice=none, return_hole=none,
        loss_1=loss * laminar, loss_2=loss * (1.0 - laminar), suction_1=suction * drawn,
        suction_2=suction * (1.0 - drawn), lift=even(0.3, 2.0), leak=none, air=even(0.0, 0.005),
        idle_fuel=even(1.5, 5.0), full_fuel=even(60.0, 120.0), gauge_off=none, gauge_share=none,
    )  # fmt: skip
    back_1 = _left(e, idle_psi, 650.0, none)
    back_2 = np.maximum(_left(e, work_psi, 1500.0, loaded), 1.1 * back_1)
    # conductances at the two pressures; without relief the orifice has to carry the second
    g_1 = back_1 / np.sqrt(idle_psi)
    g_2 = np.where(layout == 0, g_1 * even(1.15, 1.6), back_2 / np.sqrt(work_psi))
    g_2 = np.maximum(g_2, 1.05 * g_1)
    orifice = g_2 * even(1.15, 2.0)
    valve_1 = 1.0 / np.sqrt(1.0 / g_1**2 - 1.0 / orifice**2)
    valve_2 = 1.0 / np.sqrt(1.0 / g_2**2 - 1.0 / orifice**2)
    area = (valve_2 - valve_1) / (work_psi - idle_psi)
    opens = np.maximum(idle_psi - valve_1 / area, 0.0)
    e = e.with_(valve_area=valve_1 / (idle_psi - opens), valve_open=opens, orifice=orifice)
    at_work = _back(e, work_psi) + _taken(e, 1500.0, loaded)
    q = at_work / 300.0
    before = work_psi + (e.loss_1 + e.loss_2 * q) * q
    spill = np.maximum(_sent(e, before, at_work, 1500.0)[0] - at_work, 0.0)
    lifted = np.minimum(spill / (e.relief_area * np.sqrt(before)), 0.95 * e.relief_stop)
    shut = before + even(3.0, 25.0)
    return e.with_(relief_open=np.where(layout == 0, before - lifted, shut))


def _left(e: Engines, p: Floats, rpm: float, load: Floats) -> Floats:
    """Return the return flow that holds *p* with the relief valve shut."""
    taken = _taken(e, rpm, load)
    back = 0.5 * e.pump * rpm
    for _ in range(40):
        out = back + taken
        q = out / 300.0
        sent, _ = _sent(e, p + (e.loss_1 + e.loss_2 * q) * q, out, rpm)
        back = 0.5 * back + 0.5 * np.maximum(sent - taken, 2.0)
    return back


def with_fault(e: Engines, kind: npt.NDArray[np.int_], rng: np.random.Generator) -> Engines:
    """Put the fault of number *kind* (-1: none) on each engine, of every size from slight up."""
    n = len(e)
    size = rng.random(n)
    back = np.maximum(solve(e, 650.0).back, 5.0) / np.sqrt(75.0)
    send = e.pump * 650.0

    def on(name: str, value: Floats, healthy: Floats) -> Floats:
        return np.where(kind == _NAMES.index(name), value, healthy)

    way = np.where(rng.random(n) < 0.7, -1.0, 1.0)
    constant = rng.random(n) < 0.5
    plugged, narrow = np.exp(1.0 + 2.6 * size), np.exp(1.0 + 2.8 * size)
    return e.with_(
        relief_open=on("weak relief spring", e.relief_open * (0.95 - 0.42 * size), e.relief_open),
        relief_hole=on("leaking relief seat", send * (0.06 + 0.7 * size) / 8.7, e.relief_hole),
        valve_open=on(
            "weak return spring", np.maximum(e.valve_open - 4.0 - 38.0 * size, 0.0), e.valve_open
        ),
        return_hole=on("leaking return seat", back * (0.08 + 0.95 * size), e.return_hole),
        loss_1=on("plugged filter", e.loss_1 * plugged, e.loss_1),
        loss_2=on("plugged filter", e.loss_2 * plugged, e.loss_2),
        gap=on("worn pump", e.gap * (2.5 + 8.0 * size), e.gap),
        hole=on("worn pump", e.hole * (1.5 + 4.0 * size), e.hole),
        pump=on("slipping drive", e.pump * (0.92 - 0.5 * size), e.pump),
        suction_1=on("suction restricted", e.suction_1 * narrow, e.suction_1),
        suction_2=on("suction restricted", e.suction_2 * narrow, e.suction_2),
        air=on("air drawn in", 0.03 + 0.30 * size, e.air),
        leak=on("injector seals leak", back * (0.08 + 0.7 * size), e.leak),
        gauge_off=on(
            "gauge wrong", np.where(constant, way * (4.0 + 14.0 * size), 0.0), e.gauge_off
        ),
        gauge_share=on(
            "gauge wrong", np.where(constant, 0.0, way * (0.05 + 0.13 * size)), e.gauge_share
        ),
    )
