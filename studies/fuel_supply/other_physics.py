"""Another form of the circuit's physics, to draw truths from that the model does not hold.

Slip that is part turbulent, a curved relief valve with friction, a return spring with a rate and
back pressure in the return line, a mostly turbulent filter, a laminar injector leak, air that
grows with the vacuum. Every circuit is re-centred so that its healthy unit shows the same pressure
at idle and at 1,500 rpm as in the model. Chosen to differ, not to be truer.
"""

from __future__ import annotations

import numpy as np

from witnessmark.physics.fuel.supply_circuit import (
    ATMOSPHERE,
    L_PER_H,
    PSI,
    Circuit,
    CircuitState,
    consumption,
    solve,
)

__all__ = ["recentre", "solve_other"]


def solve_other(
    c: Circuit, rpm: float, load: float = 0.0, *, throttled: bool = False, friction=0.0
) -> CircuitState:
    """Solve the other form by halving the bracket."""
    low = np.zeros_like(c.displacement)
    high = np.full_like(low, 300 * PSI)
    for _ in range(42):
        p = 0.5 * (low + high)
        spare = _flows(c, p, rpm, load, throttled, friction)[0] > 0
        low, high = np.where(spare, p, low), np.where(spare, high, p)
    _, po, vacuum, back, out, relief = _flows(c, p, rpm, load, throttled, friction)
    return CircuitState(p, po, vacuum, back, out, relief)


def _flows(c, p, rpm, load, throttled, friction):
    taken = c.consumption * consumption(rpm, load)
    leak = c.injector_leak * p / np.sqrt(75 * PSI)
    x = np.maximum(p - c.return_crack, 0)
    # the spring stiffens with lift and the line pushes back: both grow with the flow
    free = c.return_orifice * np.sqrt(x) + c.return_linear * x
    held = free / (1 + 0.0005 * free / L_PER_H)
    back = 1.15 * held + c.return_leak * np.sqrt(p) * 0.97
    if throttled:
        back = 0 * back
        out = leak * (1 - c.leak_to_return) + taken
    else:
        out = leak + taken + back
    reference = 250 * L_PER_H
    dp = c.filter_laminar * reference + c.filter_turbulent * reference**2
    po = p + dp * (0.35 * c.viscosity * out / reference + 0.65 * (out / reference) ** 2)
    over = np.maximum(po - c.relief_crack - friction, 0)
    relief = c.relief_gain * over**1.25 / (9 * PSI) ** 0.25 + c.relief_leak * np.sqrt(po) * 0.95
    slip = c.slip * (0.65 * po / c.viscosity + 0.35 * np.sqrt(po * 75 * PSI))
    inlet = (
        ATMOSPHERE - c.lift - (c.suction_laminar * c.viscosity + c.suction_turbulent * out) * out
    )
    safe = np.maximum(inlet, 0.2 * PSI)
    air = c.air * (1 + 0.8 * (ATMOSPHERE - safe) / ATMOSPHERE)
    fill = safe / (safe + air * ATMOSPHERE + 0.8 * c.release * (ATMOSPHERE - safe))
    fill = fill / (1 + np.exp(-np.clip((inlet - 1.8 * PSI) / (0.3 * PSI), -60, 60)))
    spare = c.displacement * rpm * fill - slip - relief - out
    flow_back = back + (0 if throttled else c.leak_to_return * leak)
    return spare, po, np.minimum(ATMOSPHERE - inlet, ATMOSPHERE), flow_back, out, relief


def recentre(healthy: Circuit) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (factor on the return valve, its crack shift, relief crack shift) for health."""
    p1, p2 = solve(healthy, 650.0).gallery, solve(healthy, 1500.0).gallery
    regulates = solve(healthy, 1500.0).relief_flow > 0.05 * healthy.displacement * 1500
    free_1 = _free(_needed(healthy, p1, 650.0))
    free_2 = _free(_needed(healthy, p2, 1500.0))
    free_2 = np.maximum(free_2, 1.02 * free_1)
    line = healthy.return_linear > 0
    ratio = np.where(line, free_2 / free_1, (free_2 / free_1) ** 2)
    crack = np.where(regulates, healthy.return_crack, (ratio * p1 - p2) / (ratio - 1))
    crack = np.clip(crack, 0, 0.99 * p1)
    x = p1 - crack
    per = np.where(line, healthy.return_linear * x, healthy.return_orifice * np.sqrt(x))
    factor, return_shift = free_1 / per, crack - healthy.return_crack
    low, high = np.full_like(p1, -60 * PSI), np.full_like(p1, 60 * PSI)
    for _ in range(40):
        middle = 0.5 * (low + high)
        c = apply(healthy, factor, return_shift, middle)
        enough = _flows(c, p2, 1500.0, 0.0, False, 0.0)[0] > 0
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return factor, return_shift, np.where(regulates, 0.5 * (low + high), 0.0)


def _needed(c: Circuit, p: np.ndarray, rpm: float) -> np.ndarray:
    """Return the return flow that keeps the pressure at *p* with the relief valve shut."""
    shut = c.with_(relief_crack=np.full_like(p, 299 * PSI))
    low, high = np.zeros_like(p), 1.2 * c.displacement * rpm
    for _ in range(40):
        back = 0.5 * (low + high)
        spare = _with_back(shut, p, rpm, back) > 0
        low, high = np.where(spare, back, low), np.where(spare, high, back)
    return 0.5 * (low + high)


def _with_back(c: Circuit, p: np.ndarray, rpm: float, back: np.ndarray) -> np.ndarray:
    """Return the spare flow when the return line carries *back*."""
    blocked = c.with_(return_crack=np.full_like(p, 299 * PSI), return_leak=back / np.sqrt(p) / 0.97)
    return _flows(blocked, p, rpm, 0.0, False, 0.0)[0]


def _free(back: np.ndarray) -> np.ndarray:
    """Invert the return valve's flow: what it would pass without spring rate and line."""
    held = back / 1.15
    return held / np.maximum(1 - 0.0005 * held / L_PER_H, 0.05)


def apply(c: Circuit, factor, return_shift, relief_shift) -> Circuit:
    """Return the circuits with the re-centring put in."""
    return c.with_(
        return_orifice=c.return_orifice * factor,
        return_linear=c.return_linear * factor,
        relief_crack=c.relief_crack + relief_shift,
        return_crack=np.maximum(c.return_crack + return_shift, 0),
    )
