"""The fuel supply circuit of a diesel engine in the steady state.

Tank, suction line, transfer pump with slip and an internal relief valve, pressure-side filter,
gallery, injectors, return pressure regulator. One unknown, the gallery pressure p, and one
balance that falls as p rises, so there is exactly one answer and a bracket always holds it::

    return     Qr  = Kr*root(p - pcr) + Gr*(p - pcr)+ + Kl*sqrt(p)      regulator and leaking seat
    leak       Qi  = Ki*sqrt(p)               injector seals; a share of it ends in the return line
    injectors  Qc  = fc*(q0(n) + (qf(n) - q0(n))*load)
    filter     Qo  = Qr + Qi + Qc ;  po = p + Rf*mu*Qo + Kf*Qo^2
    relief     Qv  = Gv*softplus(po - pcv) + Kv*sqrt(po)                spring and leaking seat
    slip       Qs  = Cs*po/mu
    suction    pin = pa - lift - Rs*mu*Qo - Ks*Qo^2      slip and relief spill stay inside the pump
    fill       1 / (1 + (a*pa + beta*(pa - pin))/pin), collapsing below about 2 psi absolute
    balance    D*n*fill - Qs - Qv - Qo = 0

``root`` is the square root, rounded off within about 0.1 psi of the cracking point, where a real
poppet opens gradually too. Validity: steady state, one fuel temperature, no pulsation, no stuck
shut valve, engine running.

Sources: the laws are the usual ones of oil hydraulics (orifice, laminar gap, spring loaded
valve with override; handbook knowledge, from memory). Numbers: ``fuel_supply_types``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import numpy.typing as npt

__all__ = ["ATMOSPHERE", "L_PER_H", "PSI", "Circuit", "CircuitState", "consumption", "solve"]

Floats = npt.NDArray[np.float64]

PSI = 6894.757293168361  #: Pa per psi (NIST SP 811)
L_PER_H = 1e-3 / 3600  #: m3/s per L/h
ATMOSPHERE = 14.7 * PSI  #: outside air pressure [Pa]; chosen, sea level

#: Rounding of the regulator's cracking point [Pa]; chosen.
_ROUNDING = 0.1 * PSI
#: Width over which the relief valve's override sets in [Pa]; chosen.
_RELIEF_WIDTH = 1.5 * PSI
#: Inlet pressure at which the pump loses its prime, and over which width [Pa abs]; from memory.
_COLLAPSE = 1.6 * PSI
_COLLAPSE_WIDTH = 0.25 * PSI
#: No circuit of this kind stands above this [Pa]; only the bracket of the solver.
_HIGHEST = 300.0 * PSI
_TOLERANCE = 0.002 * PSI
#: Circuits solved at a time: what fits the processor's cache.
_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class Circuit:
    """One circuit, or n of them: every field has shape (n,) or broadcasts with it.

    Ranges and sources of the values stand in ``fuel_supply_types.PARAMETERS``.

    Attributes:
        displacement: D, pump delivery per engine revolution rate [m3/s per r/min].
        slip: Cs, laminar leakage inside the pump at mu = 1 [m3/s/Pa].
        relief_crack: pcv, pressure at which the relief valve opens [Pa].
        relief_gain: Gv, flow per pressure above it [m3/s/Pa].
        relief_leak: Kv, leaking relief seat [m3/s/sqrt(Pa)].
        filter_laminar: Rf [Pa/(m3/s)].
        filter_turbulent: Kf [Pa/(m3/s)^2].
        suction_laminar: Rs [Pa/(m3/s)].
        suction_turbulent: Ks [Pa/(m3/s)^2].
        lift: pressure lost to lifting the fuel from the tank [Pa].
        air: a, air drawn in, as a volume share at outside pressure [-].
        release: beta, air leaving solution per pressure drop [-].
        return_crack: pcr, pressure at which the return regulator opens [Pa].
        return_orifice: Kr [m3/s/sqrt(Pa)].
        return_linear: Gr [m3/s/Pa].
        return_leak: Kl, leaking or eroded regulator seat [m3/s/sqrt(Pa)].
        injector_leak: Ki, leak past injector seals [m3/s/sqrt(Pa)].
        leak_to_return: share of that leak which ends in the return line [-].
        consumption: fc, factor on what the injectors take [-].
        viscosity: mu, against warm fuel of the type [-].
        gauge_bias: what the main gauge adds [Pa]; 0 for a good one.
        gauge_gain: what it adds per pressure [-]; 0 for a good one.
    """

    displacement: Floats
    slip: Floats
    relief_crack: Floats
    relief_gain: Floats
    relief_leak: Floats
    filter_laminar: Floats
    filter_turbulent: Floats
    suction_laminar: Floats
    suction_turbulent: Floats
    lift: Floats
    air: Floats
    release: Floats
    return_crack: Floats
    return_orifice: Floats
    return_linear: Floats
    return_leak: Floats
    injector_leak: Floats
    leak_to_return: Floats
    consumption: Floats
    viscosity: Floats
    gauge_bias: Floats
    gauge_gain: Floats

    def take(self, index: slice | npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Circuit:
        """Return the circuits at *index*."""
        return Circuit(*(np.atleast_1d(getattr(self, f))[index] for f in Circuit.__slots__))

    def with_(self, **changes: Floats) -> Circuit:
        """Return a copy with some fields changed."""
        return replace(self, **changes)


@dataclass(frozen=True, slots=True)
class CircuitState:
    """The circuit at one operating point; every field has shape (n,).

    Attributes:
        gallery: gallery pressure [Pa], true, not as a gauge shows it.
        prefilter: pressure between pump and filter [Pa].
        vacuum: vacuum at the pump's inlet [Pa], read positive.
        return_flow: flow in the return line [m3/s].
        delivered: flow through the filter [m3/s].
        relief_flow: flow through the relief valve [m3/s].
    """

    gallery: Floats
    prefilter: Floats
    vacuum: Floats
    return_flow: Floats
    delivered: Floats
    relief_flow: Floats


def consumption(rpm: float, load: float) -> float:
    """Return what the injectors take [m3/s], generic 15-litre engine.

    q0 = 2.5 L/h*(n/650)^1.05 at no load, qf = 92 L/h*n/1500 at full load. From memory, chosen.

    Args:
        rpm: engine speed [r/min], 0 to 2,500.
        load: 0 (no load) to 1 (full load).
    """
    idle = 2.5 * float((rpm / 650.0) ** 1.05)
    full = max(92.0 * rpm / 1500.0, idle)
    return (idle + (full - idle) * load) * L_PER_H


def solve(
    circuit: Circuit,
    rpm: float,
    load: float = 0.0,
    *,
    throttled: bool = False,
    viscosity: float = 1.0,
    guess: Floats | None = None,
) -> CircuitState:
    """Solve the balance for every circuit at one operating point.

    Newton's method inside a bracket that shrinks at every step; where a step leaves the
    bracket, the bracket is halved instead. A pump that cannot even feed the injectors has
    gallery pressure 0.

    Args:
        circuit: n circuits.
        rpm: engine speed [r/min], above 0.
        load: 0 to 1.
        throttled: the return line is throttled shut (for seconds, at idle, if the maker allows).
        viscosity: further factor on the viscosity, for cold fuel [-].
        guess: gallery pressures to start from [Pa], shape (n,).
    """
    shape = np.broadcast_shapes(*(np.shape(getattr(circuit, f)) for f in Circuit.__slots__))
    n = shape[0] if shape else 1
    whole = Circuit(*(_all(getattr(circuit, f), n) for f in Circuit.__slots__))
    p = np.full(n, 80.0 * PSI) if guess is None else np.clip(guess, 0.0, _HIGHEST)
    low, high, moving = np.zeros(n), np.full(n, _HIGHEST), np.ones(n, dtype=bool)
    parts = [slice(start, start + _CHUNK) for start in range(0, n, _CHUNK)]
    for part in parts:
        law = _Balance.of(_short(whole.take(part)), rpm, load, throttled, viscosity)
        p[part], low[part], high[part], moving[part] = _newton(
            law, p[part], low[part], high[part], 4 if guess is None else 3
        )
    left = np.flatnonzero(moving)
    if len(left):  # the few that need longer, on their own
        few = _Balance.of(_short(whole.take(left)), rpm, load, throttled, viscosity)
        p[left], low[left], high[left], _ = _newton(few, p[left], low[left], high[left], 60)
    p = np.where(high <= 2 * _TOLERANCE, 0.0, p)
    states = [
        _Balance.of(whole.take(part), rpm, load, throttled, viscosity).state(p[part])
        for part in parts
    ]
    return CircuitState(
        *(np.concatenate([getattr(s, f) for s in states]) for f in CircuitState.__slots__)
    )


def _short(c: Circuit) -> Circuit:
    """Return the circuits in single precision, for the search only.

    At 100 psi one step of it is 0.00001 psi, far below the tolerance, and it is faster.
    """
    return Circuit(*(_single(getattr(c, f)) for f in Circuit.__slots__))


def _all(values: Floats, n: int) -> Floats:
    """Return the values once for each of *n* circuits."""
    return values if np.shape(values) == (n,) else np.broadcast_to(values, (n,))


def _single(values: Floats) -> Floats:
    short: Any = np.asarray(values, dtype=np.float32)
    return cast("Floats", short)


def _newton(
    law: _Balance, p: Floats, low: Floats, high: Floats, steps: int
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    moving = np.ones(p.shape, dtype=bool)
    p, low, high = _single(p), _single(low), _single(high)
    length = high - low
    for _ in range(steps):
        value, slope = law.value_and_slope(p)
        above = value > 0
        low = np.where(above, p, low)
        high = np.where(above, high, p)
        newton = value / slope
        step = np.maximum(p - newton, 0.0)
        # a step that leaves the bracket, or is not half the one before, is a halving instead; one
        # that is there already stands on the bracket's end, and would be thrown far back
        slow = (step <= low) | (step >= high) | (np.abs(newton) > 0.5 * length)
        slow &= np.abs(newton) >= _TOLERANCE
        step = np.where(slow, 0.5 * (low + high), step)
        length = np.abs(step - p)
        moving = length >= _TOLERANCE
        p = step
        if not np.any(moving):
            break
    return p, low, high, moving


@dataclass(frozen=True, slots=True)
class _Balance:
    """The balance at one operating point."""

    c: Circuit
    delivery: Floats
    taken: Floats
    mu: Floats
    shut: bool

    @classmethod
    def of(cls, c: Circuit, rpm: float, load: float, shut: bool, viscosity: float) -> _Balance:
        return cls(
            c, c.displacement * rpm, c.consumption * consumption(rpm, load),
            c.viscosity * viscosity, shut,
        )  # fmt: skip

    def value_and_slope(self, p: Floats) -> tuple[Floats, Floats]:
        c, mu = self.c, self.mu
        out, d_out, _ = self._outflow(p)
        po = p + (c.filter_laminar * mu + c.filter_turbulent * out) * out
        d_po = 1.0 + (c.filter_laminar * mu + 2.0 * c.filter_turbulent * out) * d_out
        relief, d_relief = self._relief(po)
        fill, d_fill = self._fill(out)
        value = self.delivery * fill - c.slip * po / mu - relief - out
        slope = self.delivery * d_fill * d_out - (c.slip / mu + d_relief) * d_po - d_out
        return value, np.minimum(slope, -1e-18)

    def state(self, p: Floats) -> CircuitState:
        c = self.c
        out, _, back = self._outflow(p)
        po = p + (c.filter_laminar * self.mu + c.filter_turbulent * out) * out
        vacuum = ATMOSPHERE - self._inlet(out)
        return CircuitState(p, po, np.minimum(vacuum, ATMOSPHERE), back, out, self._relief(po)[0])

    def _outflow(self, p: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the flow through the filter, its slope, and the flow in the return line."""
        c = self.c
        root = np.sqrt(p + 1.0)
        leak = c.injector_leak * root
        seats: Floats = c.injector_leak * (1.0 - c.leak_to_return) if self.shut else c.injector_leak
        if self.shut:  # whatever ends in the return line is stopped with it
            out = seats * root + self.taken
            return out, seats / (2.0 * root), np.zeros_like(p)
        x = np.maximum(p - c.return_crack, 0.0)
        rounded = np.sqrt(x + _ROUNDING)
        back = c.return_orifice * x / rounded + c.return_linear * x + c.return_leak * root
        open_ = x > 0
        d_back = (
            open_ * (c.return_orifice * (x / 2.0 + _ROUNDING) / rounded**3 + c.return_linear)
            + c.return_leak / (2.0 * root)
        )  # fmt: skip
        out = back + leak + self.taken
        return out, d_back + seats / (2.0 * root), back + c.leak_to_return * leak

    def _relief(self, po: Floats) -> tuple[Floats, Floats]:
        c = self.c
        z = np.clip((po - c.relief_crack) / _RELIEF_WIDTH, -40.0, 40.0)
        grown = np.exp(-np.abs(z))
        soft = np.maximum(z, 0.0) + np.log1p(grown)
        over = np.maximum(po - c.relief_crack - 40.0 * _RELIEF_WIDTH, 0.0)
        rising = np.where(z >= 0, 1.0, grown) / (1.0 + grown)
        root = np.sqrt(po + 1.0)
        flow = c.relief_gain * (soft * _RELIEF_WIDTH + over) + c.relief_leak * root
        return flow, c.relief_gain * rising + c.relief_leak / (2.0 * root)

    def _inlet(self, out: Floats) -> Floats:
        c = self.c
        lost = c.lift + (c.suction_laminar * self.mu + c.suction_turbulent * out) * out
        return np.asarray(ATMOSPHERE - lost)

    def _fill(self, out: Floats) -> tuple[Floats, Floats]:
        """Return the share of the pump's volume that is liquid, and its slope by the flow."""
        c = self.c
        inlet = self._inlet(out)
        d_inlet = -(c.suction_laminar * self.mu + 2.0 * c.suction_turbulent * out)
        safe = np.maximum(inlet, 0.2 * PSI)
        gas = c.air * ATMOSPHERE + c.release * (ATMOSPHERE - safe)
        liquid = safe / (safe + gas)
        d_liquid = (c.air + c.release) * ATMOSPHERE / (safe + gas) ** 2 * (inlet > 0.2 * PSI)
        z = np.clip((inlet - _COLLAPSE) / _COLLAPSE_WIDTH, -60.0, 60.0)
        primed = 1.0 / (1.0 + np.exp(-z))
        d_primed = primed * (1.0 - primed) / _COLLAPSE_WIDTH
        return liquid * primed, (d_liquid * primed + liquid * d_primed) * d_inlet
