"""Engines of a third physics, whose laws themselves are drawn, engine by engine.

Written from the parts and not from the model: every law has an exponent or an onset of its own,
so that no two engines share a form. Pressure in psi, flow in L/h, speed in r/min throughout.

- pump: delivery less a slip that goes with pressure to the power 0.6 to 1.1 and somewhat with
  speed; it starves at an inlet vacuum of 15 to 27 inHg, gradually.
- relief valve: a spring that lifts over 8 to 35 psi, then a full orifice; friction of up to 2 psi
  either way.
- return regulator: flow with the pressure above its opening to the power 0.4 to 1.4, against a
  return line that pushes back.
- filters and lines: loss with the flow to the power 1 to 1.9; leaks with the pressure to the
  power 0.4 to 1.
- air takes room in the pump, swells in the filter, and makes the needle unsteady.
- what is healthy differs: 70 to 82 psi at idle, 88 to 104 at 1,500 r/min, and three engines in
  ten meet the latter at full load and not without.

Ranges are judgement, chosen wide; no engine was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

__all__ = ["FAULTS", "Engines", "State", "draw", "solve", "with_fault"]

Floats = npt.NDArray[np.float64]

#: Fault kinds, and the number of the model's group that each belongs to.
FAULTS: dict[str, int] = {
    "weak relief spring": 0, "leaking relief seat": 0, "weak return spring": 1,
    "leaking return seat": 1, "plugged filter": 2, "worn pump": 3, "slipping drive": 3,
    "suction restricted": 4, "air drawn in": 5, "injector seals leak": 6, "gauge wrong": 7,
}  # fmt: skip
_NAMES = tuple(FAULTS)


@dataclass(frozen=True)
class Engines:
    """n engines; every field has shape (n,)."""

    pump: Floats
    slip: Floats
    slip_power: Floats
    slip_speed: Floats
    starve: Floats
    starve_width: Floats
    relief_open: Floats
    relief_lift: Floats
    relief_full: Floats
    relief_leak: Floats
    return_open: Floats
    return_gain: Floats
    return_power: Floats
    return_line: Floats
    return_leak: Floats
    loss: Floats
    loss_power: Floats
    suction: Floats
    suction_power: Floats
    lift: Floats
    leak: Floats
    leak_power: Floats
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
    if throttled:  # what ends in the return line is stopped with it
        e = e.with_(return_gain=0.0 * e.return_gain, return_leak=0.0 * e.return_leak)
    low, high = np.zeros(len(e)), np.full(len(e), 260.0)
    for _ in range(34):
        p = 0.5 * (low + high)
        spare = _flows(e, p, rpm, load)[0] > 0.0
        low, high = np.where(spare, p, low), np.where(spare, high, p)
    _, before, vacuum, back = _flows(e, p, rpm, load)
    return State(p, before, vacuum, back)


def _taken(e: Engines, rpm: Floats | float, load: float) -> Floats:
    idle = e.idle_fuel * (np.asarray(rpm) / 650.0) ** 1.3
    return np.asarray(idle + load * (e.full_fuel * np.asarray(rpm) / 1500.0 - idle))


def _back(e: Engines, p: Floats) -> Floats:
    free = e.return_gain * np.maximum(p - e.return_open, 0.0) ** e.return_power
    return np.asarray(
        free / (1.0 + e.return_line * free) + e.return_leak * (p / 75.0) ** e.leak_power
    )


def _relief(e: Engines, before: Floats) -> Floats:
    lifted = np.clip((before - e.relief_open) / e.relief_lift, 0.0, 1.0)
    root = np.sqrt(np.maximum(before, 0.0) / 90.0)
    return np.asarray(e.relief_full * lifted * root + e.relief_leak * (before / 75.0) ** 0.55)


def _loss(e: Engines, out: Floats) -> Floats:
    return np.asarray(e.loss * (out / 300.0) ** e.loss_power * (1.0 + 3.0 * e.air))


def _delivery(
    e: Engines, before: Floats, out: Floats, rpm: Floats | float
) -> tuple[Floats, Floats]:
    vacuum = e.lift + e.suction * (out / 300.0) ** e.suction_power
    inlet = np.maximum(29.9 - vacuum, 1.0)
    swollen = e.air * 29.9 / inlet
    full = (1.0 - e.air) / (1.0 - e.air + swollen)
    starved = 1.0 / (1.0 + np.exp(np.clip((vacuum - e.starve) / e.starve_width, -50.0, 50.0)))
    slip = e.slip * (before / 75.0) ** e.slip_power * (np.asarray(rpm) / 650.0) ** e.slip_speed
    return e.pump * rpm * full * starved - slip, np.minimum(vacuum, 29.0)


def _flows(
    e: Engines, p: Floats, rpm: Floats | float, load: float
) -> tuple[Floats, Floats, Floats, Floats]:
    back = _back(e, p)
    out = back + e.leak * (p / 75.0) ** e.leak_power + _taken(e, rpm, load)
    before = p + _loss(e, out)
    sent, vacuum = _delivery(e, before, out, rpm)
    return sent - _relief(e, before) - out, before, vacuum, back


def draw(rng: np.random.Generator, n: int) -> Engines:
    """Draw n healthy engines."""

    def even(low: float, high: float) -> Floats:
        return rng.uniform(low, high, n)

    layout = rng.choice(3, n, p=[0.6, 0.2, 0.2])
    pump = np.where(layout == 2, 0.42, 0.20) * np.exp(rng.normal(0.0, 0.2, n))
    idle_psi, work_psi = even(70.0, 82.0), even(88.0, 104.0)
    loaded = (rng.random(n) < 0.3).astype(float)
    none = np.zeros(n)
    e = Engines(
        pump=pump, slip=pump * 650.0 * even(0.04, 0.18), slip_power=even(0.6, 1.1),
        slip_speed=even(-0.1, 0.4), starve=even(15.0, 27.0), starve_width=even(0.8, 2.5),
        relief_open=np.full(n, 250.0), relief_lift=even(8.0, 35.0),
        relief_full=pump * 1500.0 * even(0.9, 2.2), relief_leak=none,
        return_open=even(0.4, 0.92) * idle_psi, return_gain=none,
        return_power=np.where(layout == 2, even(0.8, 1.4), even(0.4, 1.1)),
        return_line=even(0.0, 0.0012), return_leak=none, loss=even(1.0, 6.0),
        loss_power=even(1.0, 1.9), suction=even(0.8, 4.0), suction_power=even(1.0, 1.9),
        lift=even(0.3, 2.0), leak=none, leak_power=even(0.4, 1.0), air=even(0.0, 0.006),
        idle_fuel=even(1.5, 5.0), full_fuel=even(60.0, 120.0), gauge_off=none, gauge_share=none,
    )  # fmt: skip
    idle_rpm, work_load = np.full(n, 650.0), loaded
    back_1 = _left(e, idle_psi, idle_rpm, none)
    back_2 = np.maximum(_left(e, work_psi, np.full(n, 1500.0), work_load), 1.05 * back_1)
    free_1 = back_1 / np.maximum(1.0 - e.return_line * back_1, 0.3)
    free_2 = back_2 / np.maximum(1.0 - e.return_line * back_2, 0.3)
    ratio = (free_2 / free_1) ** (1.0 / e.return_power)
    opens = np.clip((ratio * idle_psi - work_psi) / np.maximum(ratio - 1.0, 1e-3), 0.0, None)
    opens = np.where(layout == 0, e.return_open, np.minimum(opens, 0.97 * idle_psi))
    e = e.with_(return_open=opens, return_gain=free_1 / (idle_psi - opens) ** e.return_power)
    at_work = _back(e, work_psi) + _taken_by(e, 1500.0, work_load)
    before = work_psi + _loss(e, at_work)
    spill = np.maximum(_delivery(e, before, at_work, 1500.0)[0] - at_work, 0.0)
    lifted = np.clip(spill / (e.relief_full * np.sqrt(before / 90.0)), 0.0, 0.98)
    regulates = before - lifted * e.relief_lift + rng.uniform(-2.0, 2.0, n)
    shut = before + even(3.0, 25.0)
    return e.with_(relief_open=np.where(layout == 0, regulates, shut))


def _taken_by(e: Engines, rpm: float, load: Floats) -> Floats:
    return np.asarray(_taken(e, rpm, 0.0) + load * (_taken(e, rpm, 1.0) - _taken(e, rpm, 0.0)))


def _left(e: Engines, p: Floats, rpm: Floats, load: Floats) -> Floats:
    """Return the return flow that holds *p* with the relief valve shut."""
    taken = _taken_by(e, float(rpm[0]), load)
    back = 0.5 * e.pump * rpm
    for _ in range(40):
        out = back + taken
        sent, _ = _delivery(e, p + _loss(e, out), out, rpm)
        back = 0.5 * back + 0.5 * np.maximum(sent - taken, 2.0)
    return back


def with_fault(e: Engines, kind: npt.NDArray[np.int_], rng: np.random.Generator) -> Engines:
    """Put the fault of number *kind* (-1: none) on each engine, of every size from slight up."""
    n = len(e)
    size = rng.random(n)
    idle = solve(e, 650.0)
    conductance = np.maximum(idle.back, 5.0)
    send = e.pump * 650.0

    def on(name: str, value: Floats, healthy: Floats) -> Floats:
        return np.where(kind == _NAMES.index(name), value, healthy)

    way = np.where(rng.random(n) < 0.7, -1.0, 1.0)
    constant = rng.random(n) < 0.5
    return e.with_(
        relief_open=on("weak relief spring", e.relief_open * (0.95 - 0.45 * size), e.relief_open),
        relief_leak=on("leaking relief seat", send * (0.05 + 0.75 * size), e.relief_leak),
        return_open=on(
            "weak return spring", np.maximum(e.return_open - 4.0 - 40.0 * size, 0.0), e.return_open
        ),
        return_leak=on("leaking return seat", conductance * (0.06 + 1.0 * size), e.return_leak),
        loss=on("plugged filter", e.loss * np.exp(1.0 + 2.8 * size), e.loss),
        slip=on("worn pump", e.slip * (2.0 + 9.0 * size), e.slip),
        pump=on("slipping drive", e.pump * (0.92 - 0.5 * size), e.pump),
        suction=on("suction restricted", e.suction * np.exp(1.0 + 3.0 * size), e.suction),
        air=on("air drawn in", 0.02 + 0.33 * size, e.air),
        leak=on("injector seals leak", conductance * (0.06 + 0.7 * size), e.leak),
        gauge_off=on(
            "gauge wrong", np.where(constant, way * (4.0 + 14.0 * size), 0.0), e.gauge_off
        ),
        gauge_share=on(
            "gauge wrong", np.where(constant, 0.0, way * (0.05 + 0.13 * size)), e.gauge_share
        ),
    )
