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
#: Share of circuits still moving below which the others are let go.
_WORTH_PARTING = 0.6
#: Inlet pressure below which the share of gas grows no further [Pa abs].
_LEAST_INLET = 0.2 * PSI


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
        law = _Balance.of(whole.take(part), rpm, load, throttled, viscosity)
        p[part], low[part], high[part], moving[part] = _newton(
            law, p[part], low[part], high[part], 4 if guess is None else 3
        )
    left = np.flatnonzero(moving)
    if len(left):  # the few that need longer, on their own
        few = _Balance.of(whole.take(left), rpm, load, throttled, viscosity)
        p[left], low[left], high[left], _ = _newton(few, p[left], low[left], high[left], 60)
    p = np.where(high <= 2 * _TOLERANCE, 0.0, p)
    states = [_state(whole.take(part), p[part], rpm, load, throttled, viscosity) for part in parts]
    return CircuitState(
        *(np.concatenate([getattr(s, f) for s in states]) for f in CircuitState.__slots__)
    )


def _all(values: Floats, n: int) -> Floats:
    """Return the values once for each of *n* circuits."""
    return values if np.shape(values) == (n,) else np.broadcast_to(values, (n,))


def _single(values: Floats) -> Floats:
    short: Any = np.asarray(values, dtype=np.float32)
    return cast("Floats", short)


def _newton(
    law: _Balance, start: Floats, bottom: Floats, top: Floats, steps: int
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Return pressures, both ends of their brackets, and which still move."""
    found, below, ends = _single(start), _single(bottom), _single(top)
    still = np.zeros(len(found), dtype=bool)
    rows: npt.NDArray[np.intp] | slice = slice(None)
    p, low, high = found, below, ends
    length = high - low
    for _ in range(steps):
        value, slope = law.value_and_slope(p)
        above = value > 0
        low = np.where(above, p, low)
        high = np.where(above, high, p)
        newton = value / slope
        size = np.abs(newton)
        step = np.maximum(p - newton, 0.0)
        # a step that leaves the bracket, or is not half the one before, is a halving instead; one
        # that is there already stands on the bracket's end, and would be thrown far back
        slow = (step <= low) | (step >= high) | (size > 0.5 * length)
        slow &= size >= _TOLERANCE
        if slow.any():
            step = np.where(slow, 0.5 * (low + high), step)
        length = np.abs(step - p)
        moving = length >= _TOLERANCE
        p = step
        stay = np.flatnonzero(moving)
        if len(stay) < _WORTH_PARTING * len(p):  # those that are there are left alone
            found[rows], below[rows], ends[rows] = p, low, high
            if not len(stay):
                return found, below, ends, still
            rows = stay if isinstance(rows, slice) else rows[stay]
            law, p, low, high = law.take(stay), p[stay], low[stay], high[stay]
            length, moving = length[stay], moving[stay]
    found[rows], below[rows], ends[rows], still[rows] = p, low, high, moving
    return found, below, ends, still


def _state(
    c: Circuit, p: Floats, rpm: float, load: float, shut: bool, viscosity: float
) -> CircuitState:
    mu, taken = c.viscosity * viscosity, c.consumption * consumption(rpm, load)
    root = np.sqrt(p + 1.0)
    leak = c.injector_leak * root
    if shut:  # whatever ends in the return line is stopped with it
        out, back = c.injector_leak * (1.0 - c.leak_to_return) * root + taken, np.zeros_like(p)
    else:
        x = np.maximum(p - c.return_crack, 0.0)
        back = c.return_orifice * x / np.sqrt(x + _ROUNDING) + c.return_linear * x
        back = back + c.return_leak * root
        out = back + leak + taken
        back = back + c.leak_to_return * leak
    po = p + (c.filter_laminar * mu + c.filter_turbulent * out) * out
    lost = c.lift + (c.suction_laminar * mu + c.suction_turbulent * out) * out
    z = (po - c.relief_crack) / _RELIEF_WIDTH
    soft = np.log1p(np.exp(np.clip(z, -40.0, 40.0))) + np.maximum(z - 40.0, 0.0)
    relief = c.relief_gain * _RELIEF_WIDTH * soft + c.relief_leak * np.sqrt(po + 1.0)
    return CircuitState(p, po, np.minimum(lost, ATMOSPHERE), back, out, relief)


@dataclass(frozen=True, slots=True)
class _Balance:
    """The balance at one operating point, in single precision, for the search only.

    At 100 psi one step of it is 0.00001 psi, far below the tolerance, and it is faster. What no
    pressure changes is worked out once.

    Attributes:
        delivery: D*n.
        taken: Qc.
        crack: pcr.
        orifice: Kr, without a return line 0.
        linear: Gr, the same.
        seats: all that flows with the root of the pressure: Kl + Ki.
        drop: Rf*mu.
        drop_turbulent: Kf.
        slip: Cs/mu.
        override: Gv times its width.
        crack_relief: pcv in those widths.
        relief_leak: Kv.
        inlet: pa - lift.
        draw: Rs*mu.
        draw_turbulent: Ks.
        kept: 1 - beta.
        gas: (a + beta)*pa.
    """

    delivery: Floats
    taken: Floats
    crack: Floats
    orifice: Floats
    linear: Floats
    seats: Floats
    drop: Floats
    drop_turbulent: Floats
    slip: Floats
    override: Floats
    crack_relief: Floats
    relief_leak: Floats
    inlet: Floats
    draw: Floats
    draw_turbulent: Floats
    kept: Floats
    gas: Floats

    @classmethod
    def of(cls, c: Circuit, rpm: float, load: float, shut: bool, viscosity: float) -> _Balance:
        mu = c.viscosity * viscosity
        open_ = 0.0 if shut else 1.0
        seats = c.injector_leak * (1.0 - c.leak_to_return) if shut else c.injector_leak
        values = (
            c.displacement * rpm, c.consumption * consumption(rpm, load), c.return_crack,
            c.return_orifice * open_, c.return_linear * open_, seats + c.return_leak * open_,
            c.filter_laminar * mu, c.filter_turbulent, c.slip / mu,
            c.relief_gain * _RELIEF_WIDTH, c.relief_crack / _RELIEF_WIDTH, c.relief_leak,
            ATMOSPHERE - c.lift, c.suction_laminar * mu, c.suction_turbulent,
            1.0 - c.release, (c.air + c.release) * ATMOSPHERE,
        )  # fmt: skip
        return cls(*(_single(v) for v in values))

    def take(self, index: npt.NDArray[np.intp]) -> _Balance:
        """Return the balances at *index*."""
        return _Balance(*(getattr(self, f)[index] for f in _Balance.__slots__))

    def value_and_slope(self, p: Floats) -> tuple[Floats, Floats]:
        """Return the balance at these pressures and its slope by them."""
        root = np.sqrt(p + 1.0)
        x = np.maximum(p - self.crack, 0.0)
        wide = x + _ROUNDING
        rounded = np.sqrt(wide)
        out = self.orifice * x / rounded + self.linear * x + self.seats * root + self.taken
        rising = self.orifice * (0.5 * x + _ROUNDING) / (rounded * wide) + self.linear
        d_out = (x > 0) * rising + self.seats * (0.5 / root)
        turbulent = self.drop_turbulent * out
        laminar = self.drop + turbulent
        po = p + laminar * out
        d_po = 1.0 + (laminar + turbulent) * d_out
        relief, d_relief = self._relief(po)
        fill, d_fill = self._fill(out)
        value = self.delivery * fill - self.slip * po - relief - out
        slope = self.delivery * d_fill * d_out - (self.slip + d_relief) * d_po - d_out
        return value, np.minimum(slope, -1e-18)

    def _relief(self, po: Floats) -> tuple[Floats, Floats]:
        z = po * (1.0 / _RELIEF_WIDTH) - self.crack_relief
        grown = np.exp(np.clip(z, -40.0, 40.0))
        soft = np.log1p(grown) + np.maximum(z - 40.0, 0.0)
        root = np.sqrt(po + 1.0)
        flow = self.override * soft + self.relief_leak * root
        rising = self.override * (grown / (1.0 + grown)) * (1.0 / _RELIEF_WIDTH)
        return flow, rising + self.relief_leak * (0.5 / root)

    def _fill(self, out: Floats) -> tuple[Floats, Floats]:
        """Return the share of the pump's volume that is liquid, and its slope by the flow."""
        turbulent = self.draw_turbulent * out
        laminar = self.draw + turbulent
        inlet = self.inlet - laminar * out
        safe = np.maximum(inlet, _LEAST_INLET)
        room = safe * self.kept + self.gas
        liquid = safe / room
        d_liquid = self.gas / (room * room) * (inlet > _LEAST_INLET)
        z = np.clip(inlet * (1.0 / _COLLAPSE_WIDTH) - _COLLAPSE / _COLLAPSE_WIDTH, -60.0, 60.0)
        primed = 1.0 / (1.0 + np.exp(-z))
        d_primed = primed * (1.0 - primed) * (1.0 / _COLLAPSE_WIDTH)
        return liquid * primed, -(d_liquid * primed + liquid * d_primed) * (laminar + turbulent)
