"""Judge drawn trucks with the circuit models, kit by kit.

``python -m studies.circuits.run CIRCUIT own|FILE COUNT SEED OUT``: *own* draws trucks from the
model itself (first simulator), a file holds those of ``trucks.py`` (second simulator). A line of
JSON a truck and kit; what stands in OUT is kept.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path

import numpy as np
from studies.circuits.kits import KITS, KNOWN_AS, NEVER, RIVALS
from studies.circuits.trucks import Row, rows_of

from witnessmark.inference.circuits.circuit import Circuit, Observed
from witnessmark.inference.circuits.circuit_evidence import HUMILITY
from witnessmark.inference.circuits.circuit_readings import observation
from witnessmark.inference.circuits.circuit_shown import what_may_be_said
from witnessmark.inference.circuits.circuit_weights import (
    log_prior_of,
    set_chances,
    weigh_circuit,
)
from witnessmark.knowledge import load_knowledge

#: Share of sound trucks among those drawn from the model itself.
NOTHING = 0.1


def circuit_of(name: str) -> Circuit:
    found: Circuit = import_module(f"witnessmark.inference.circuits.kinds.{name}_circuit").CIRCUIT
    return found


def prior_of(circuit: Circuit) -> np.ndarray:
    """Return the log prior as the pack has it before any clue."""
    families = load_knowledge().families.values()
    family = next(f for f in families if circuit.id in f.modelled_by)
    share = {c.id: c.prior for c in family.causes}
    by_group = {n: sum(share.get(c, 0.0) for c in g.causes) for n, g in enumerate(circuit.groups)}
    return np.asarray(
        log_prior_of(circuit, by_group, family.second_cause, circuit.nothing, HUMILITY)
    )


def observed_of(circuit: Circuit, name: str, row: Row, keys: Sequence[str]) -> list[Observed]:
    readings, rpm = row["readings"], row["rpm"]
    assert isinstance(readings, Mapping)
    assert isinstance(rpm, Mapping)
    found = []
    for key in keys:
        value = readings.get(key, NEVER.get(key))
        if value is None:
            continue
        channel = next(c for c in circuit.channels if c.key == KNOWN_AS[name][key])
        found.append(observation(circuit, channel, float(value), 0.0, rpm.get(key), ""))
    return found


def own_truck(circuit: Circuit, name: str, rng: np.random.Generator) -> Row:
    """Draw a truck from the model itself: places alike, one in six with two."""
    spots = len(circuit.spots)
    bad = np.zeros((1, spots), dtype=bool)
    if rng.random() >= NOTHING:
        count = 2 if rng.random() < 1.0 / 6.0 else 1
        bad[0, rng.choice(spots, size=count, replace=False)] = True
    z = rng.standard_normal((1, circuit.dimensions))
    keys = [k for kit in KITS[name].values() for k in kit]
    rpm = {"build_fast": 1900.0, "posts": 1500.0, "output": 1500.0}
    rpm |= dict.fromkeys(("build_idle", "posts_idle", "output_idle"), 680.0)
    if name == "cooling":
        rpm = dict.fromkeys(keys, 1500.0)
    plain = [
        observation(circuit, next(c for c in circuit.channels if c.key == KNOWN_AS[name][k]),
                    1.0, 0.0, rpm.get(k), "")
        for k in dict.fromkeys(keys)
    ]  # fmt: skip
    value = circuit.predict(z, bad, plain)[0]
    curves = {o.channel.curve or o.channel.key for o in plain}
    shape = {c: rng.standard_normal() for c in sorted(curves)}
    shown = {}
    for key, o, v in zip(dict.fromkeys(keys), plain, value, strict=True):
        c = o.channel
        off = c.shape * shape[c.curve or c.key] * v
        shown[key] = float(v + off + np.hypot(c.noise, c.share * v) * rng.standard_normal())
    truth = [circuit.spots[n].key for n in np.flatnonzero(bad[0])] or ["none"]
    return {"truth": truth, "readings": shown, "rpm": rpm}


def judge(name: str, row: Row) -> list[dict[str, object]]:
    circuit = circuit_of(name)
    prior = prior_of(circuit)
    found: list[dict[str, object]] = []
    for kit, keys in KITS[name].items():
        seen = observed_of(circuit, name, row, keys)
        weights = weigh_circuit(circuit, seen)
        said = what_may_be_said(weights, set_chances(weights, prior))
        found.append(
            {
                "kit": kit, "truth": row["truth"], "level": said.level,
                "places": list(said.places), "probability": round(said.probability, 4),
                "nothing": round(said.nothing, 4),
                "by_place": [round(p, 4) for p in said.by_place],
                "rival": RIVALS[name]({o: row["readings"].get(o) for o in keys}),
            }
        )  # fmt: skip
    return found


def main(name: str, source: str, count: int, seed: int, out: Path) -> None:
    done = len(out.read_text(encoding="utf-8").splitlines()) if out.exists() else 0
    rows = [] if source == "own" else rows_of(Path(source))
    with out.open("a", encoding="utf-8") as file:
        for number in range(done, count):
            rng = np.random.default_rng([seed, number])
            row = own_truck(circuit_of(name), name, rng) if source == "own" else rows[number]
            file.write(json.dumps(judge(name, row)) + "\n")
            file.flush()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), Path(sys.argv[5]))
