"""A third crank: engines stepped through time, every throw under its own pressure at its own angle.

Neither harmonics nor transfer functions: the chain of inertias is integrated step by step, gas
torque and the torque of the moving masses (from their kinetic energy) are read at each throw's own
angle, the silicone thins with slip and springs back, the belt on the nose loses by three Maxwell
elements, a governor holds the speed, and a tooth passes when the angle says so. Figures are
assumed, drawn anew for every engine. It imports nothing of the product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STEP = 5e-5
FIRINGS = ((1, 5, 3, 6, 2, 4), (1, 4, 2, 6, 3, 5))
#: What is left of the silicone's coupling; a seized ring is held by a spring besides.
STATES = {"healthy": 1.0, "tenth": 0.1, "empty": 0.01, "seized": 1.0}
SEIZED = 6e6
RADIUS, ROD, BORE, RATIO = 0.080, 0.265, 0.132, 17.0
_GRID = 1440


@dataclass
class Machine:
    """One engine in one state.

    Attributes:
        seed: of the engine's figures; the same engine in several states shares it.
        state: one of STATES.
        weak: number of the weak cylinder and the part of its heat that it lacks, or None.
    """

    seed: tuple[int, int]
    state: str = "healthy"
    weak: tuple[int, float] | None = None


def cylinder(boost, heat, late):
    """Torque of one cylinder, turned over and fired, over 720 degrees from dead centre [N m].

    Heat by a gamma density from 3 degrees before dead centre, walls that cool hot gas.
    """
    deg = np.arange(_GRID) * 720.0 / _GRID - 360.0
    th = np.radians(deg)
    area, step = np.pi / 4 * BORE**2, 720.0 / _GRID
    root = np.sqrt(ROD**2 - (RADIUS * np.sin(th)) ** 2)
    volume = area * (RADIUS + ROD - RADIUS * np.cos(th) - root + 2 * RADIUS / (RATIO - 1))
    lever = RADIUS * np.sin(th) * (1 + RADIUS * np.cos(th) / root)
    since = np.clip(deg - late + 3, 0, None) / 13.0
    rate = since * np.exp(-since) / 13.0
    rows = []
    for burnt in (0.0, heat):
        p = np.full(_GRID, boost * 1e5)
        for i in range(1, _GRID):
            if not -140 < deg[i] < 140:
                p[i] = boost * 1e5 * (1.0 if deg[i] < 0 else 1.1)
                continue
            kelvin = p[i - 1] * volume[i - 1] / (boost * 1e5 * volume[_GRID // 9] / 340.0)
            wall = 0.2e-3 * (p[i - 1] / 1e5) ** 0.8 * max(kelvin - 450, 0) * step
            gamma = 1.37 - 5e-5 * max(kelvin - 300, 0)
            p[i] = p[i - 1] * (volume[i - 1] / volume[i]) ** gamma
            p[i] += (gamma - 1) * (burnt * rate[i] * step - wall) / volume[i]
        rows.append((p - 1e5) * area * lever)
    return np.roll(np.array(rows), -_GRID // 2, axis=1)


class Batch:
    """Machines that are stepped side by side; *load* 0 is idle in neutral."""

    def __init__(self, machines, *, load):
        self.inertia, self.stiff, self.loss, table = [], [], [], []
        single = []
        for m in machines:
            rng = np.random.default_rng(m.seed)

            def ln(sd, rng=rng):
                return float(np.exp(sd * rng.standard_normal()))

            heavy, hard = ln(0.1), ln(0.12)
            belt, hertz, lossy = (
                rng.uniform(0.008, 0.045),
                rng.uniform(95, 320),
                rng.uniform(0, 0.35),
            )
            drive = 1.2 if load else 0.06
            throws = [0.115 * heavy * ln(0.03) for _ in range(6)]
            self.inertia.append([belt, 0.1 * heavy, *throws, 2.0 * ln(0.25), drive])
            spring = belt * (2 * np.pi * hertz) ** 2
            shaft = [4.0e6 * hard * ln(0.05) for _ in range(5)]
            self.stiff.append([spring, 3.5e6 * hard * ln(0.06), *shaft, 5e6 * hard, 2e4 * ln(0.3)])
            rub = 1.5 * ln(0.4)
            self.loss.append([0.0, 2.0, *(rub,) * 5, 2.0, 60.0 if load else 8.0])
            order = FIRINGS[int(rng.integers(2))]
            single.append(
                (0.25 * heavy * ln(0.12), 300 * ln(0.25) * STATES[m.state], rng.uniform(8, 25),
                 rng.uniform(5e-5, 3e-4), 3.6 * ln(0.1), lossy * spring,
                 SEIZED if m.state == "seized" else 0.0, lossy, order)
            )  # fmt: skip
            boost = 1 + 1.7 * load
            heat = 11000 * boost / 2.7 * load if load else 700.0
            turned, fired = cylinder(boost, heat, rng.uniform(-2, 4))
            share = 1 + 0.025 * rng.standard_normal(6)
            if m.weak:
                share[m.weak[0] - 1] *= 1 - m.weak[1]
            table.append(turned + (fired - turned) * share[:, None])
        columns = list(zip(*single, strict=True))
        (self.ring, self.silicone, self.thins, self.relaxes, self.mass, self.belt,
         self.lock) = (np.array(c) for c in columns[:7])  # fmt: skip
        self.lossy, self.firing = columns[7], columns[8]
        self.inertia, self.stiff, self.loss = map(np.array, (self.inertia, self.stiff, self.loss))
        self.table = np.array(table).reshape(-1)
        self.mean = np.array(table).mean(axis=2).sum(axis=1)
        self.phase = np.zeros((len(machines), 6))
        for i, order in enumerate(self.firing):
            for place, number in enumerate(order):
                self.phase[i, number - 1] = 4 * np.pi * place / 6

    def run(self, seconds, low, high):
        """Angles of nose and flywheel at every step, shape (steps, machines) each [rad]."""
        size, steps = len(self.mean), int(seconds / STEP)
        th, w = np.zeros((size, 10)), np.full((size, 10), low * np.pi / 30)
        ring, spins = np.zeros(size), np.full(size, low * np.pi / 30)
        held, fluid = np.zeros((size, 3)), np.zeros(size)
        slow = 1 / (2 * np.pi * np.array([60.0, 170.0, 480.0]))
        keeps, stays = np.exp(-STEP / slow), np.exp(-STEP / self.relaxes)
        nose, fly = np.empty((steps, size)), np.empty((steps, size))
        gains = (high - low) * np.pi / 30 / seconds
        whole = self.inertia.sum(axis=1) + self.ring
        torque = np.zeros((size, 10))
        for i in range(steps):
            wanted = low * np.pi / 30 + gains * i * STEP
            turn, rate = np.diff(th, axis=1), np.diff(w, axis=1)
            held = held * keeps + self.belt[:, None] * slow * (1 - keeps) * rate[:, :1]
            force = self.stiff * turn + self.loss * rate
            force[:, 0] += held.sum(axis=1)
            slip = spins - w[:, 1]
            thin = self.silicone / (1 + (slip / self.thins) ** 2) ** 0.12
            fluid = fluid * stays + thin * slip * (1 - stays)
            drag = fluid + self.lock * (ring - th[:, 1]) + 200.0 * (self.lock > 0) * slip
            torque[:] = 0
            torque[:, 2:8] = self._throws(th[:, 2:8] - self.phase, w[:, 2:8])
            torque[:, 2:8] -= 1.2 * (w[:, 2:8] - wanted)
            torque[:, :-1] += force
            torque[:, 1:] -= force
            torque[:, 1] += drag
            torque[:, -1] -= self.mean - whole * gains + 25.0 * (w[:, -1] - wanted)
            w += torque / self.inertia * STEP
            spins -= drag / self.ring * STEP
            th += w * STEP
            ring += spins * STEP
            nose[i], fly[i] = th[:, 1], th[:, 8]
        return nose, fly

    def _throws(self, angle, speed):
        """Torque of pressure and moving masses on each throw at its own angle [N m]."""
        place = angle * (_GRID / (4 * np.pi))
        low = np.floor(place)
        part, low = place - low, low.astype(int) % _GRID
        first = np.arange(angle.size).reshape(angle.shape) * _GRID
        gas = self.table[first + low] * (1 - part) + self.table[first + (low + 1) % _GRID] * part
        ratio, sine, cosine = RADIUS / ROD, np.sin(angle), np.cos(angle)
        lever = sine + ratio * sine * cosine
        change = cosine + ratio * (cosine**2 - sine**2)
        # -1/2 d(inertia)/d(angle) w^2 with inertia = m r^2 lever^2.
        return gas - self.mass[:, None] * RADIUS**2 * lever * change * speed**2


def teeth(rng, angle, places, missing=(), *, lost=0.0, zero=0.0):
    """Passing times of a wheel's marks after the first second; a share *lost* did not come [s]."""
    shaft = np.maximum.accumulate(angle)
    own = 2e-4 * rng.standard_normal(places)
    own += 6e-4 * np.cos(2 * np.pi * np.arange(places) / places + rng.uniform(0, 6))
    first, last = ((a - zero) * places / 2 / np.pi for a in (shaft[int(1 / STEP)], shaft[-1]))
    count = np.arange(int(first) + 2, int(last) - 2)
    seen = ~np.isin(count % places, missing) & (rng.random(len(count)) >= lost)
    at = (zero + 2 * np.pi * count / places + own[count % places])[seen]
    times = np.interp(at, shaft, np.arange(len(shaft)) * STEP)
    return np.sort(times + 2e-6 * rng.standard_normal(len(times)))


def once(angle, every, zero):
    """Passing times of one mark each *every* of crank angle, after the first second [s]."""
    shaft = np.maximum.accumulate(angle)
    count = np.arange(
        int((shaft[int(1 / STEP)] - zero) / every) + 1, int((shaft[-1] - zero) / every)
    )
    return np.interp(zero + every * count, shaft, np.arange(len(shaft)) * STEP)
