"""Exact sums on published networks: the printer troubleshooter, Asia, Alarm.

The networks are the files shipped in the pgmpy 1.1.2 wheel (utils/example_models); the check
values are those of checks/checks.json, on which pgmpy and pyAgrum agree to 2e-8.
"""

from __future__ import annotations

import gzip
import importlib.util
import json
import warnings
from pathlib import Path

import numpy as np
import pytest

from witnessmark.inference.family.elimination import eliminate

with warnings.catch_warnings():  # its extension module warns while it loads
    warnings.simplefilter("ignore")
    import pyagrum

MODELS = Path(importlib.util.find_spec("pgmpy").submodule_search_locations[0]) / (
    "utils/example_models"
)

FILES = ("asia", "alarm", "win95pts")


def load(name, tmp_path):
    path = tmp_path / f"{name}.bif"
    path.write_bytes(gzip.decompress((MODELS / f"{name}.bif.gz").read_bytes()))
    return pyagrum.loadBN(str(path))


def factors_of(model, evidence):
    """The network's tables with the evidence put in; names are the axes."""
    factors = []
    for node in model.names():
        table = model.cpt(node)
        names = tuple(table.names)[::-1]
        array = np.asarray(table.toarray())
        for variable, label in evidence.items():
            if variable in names:
                axis = names.index(variable)
                array = np.take(array, label_number(model, variable, label), axis=axis)
                names = names[:axis] + names[axis + 1 :]
        factors.append((array, names))
    return factors


def label_number(model, variable, label):
    return list(model.variable(variable).labels()).index(label)


def test_the_check_values_of_the_published_networks(shared, tmp_path):
    checks = json.loads((shared / "checks" / "checks.json").read_text(encoding="utf-8"))
    asked = [
        c for c in checks if isinstance(c["inputs"], dict) and c["inputs"].get("network") in FILES
    ]
    assert len(asked) >= 15
    models = {}
    for check in asked:
        name, evidence = check["inputs"]["network"], check["inputs"]["evidence"]
        if name not in models:
            models[name] = load(name, tmp_path)
        target, label = check["title"].split("P(")[1].split(" |")[0].split("=")
        chance = eliminate(factors_of(models[name], evidence), [target])
        chance = chance / chance.sum()
        found = chance[label_number(models[name], target, label)]
        assert found == pytest.approx(check["expected"], abs=check["tolerance"]), check["title"]


def test_the_probability_of_evidence_on_the_printer_network(shared, tmp_path):
    checks = json.loads((shared / "checks" / "checks.json").read_text(encoding="utf-8"))
    printer, asia = next(c["expected"] for c in checks if c["id"] == "B-pe")
    one = eliminate(factors_of(load("win95pts", tmp_path), {"Problem1": "No_Output"}), [])
    two = eliminate(factors_of(load("asia", tmp_path), {"dysp": "yes"}), [])
    assert float(one) == pytest.approx(printer, abs=1e-8)
    assert float(two) == pytest.approx(asia, abs=1e-8)


def test_every_cause_of_the_printer_network_against_pyagrum(tmp_path):
    model = load("win95pts", tmp_path)
    evidence = {"Problem1": "No_Output", "Problem3": "No"}
    evidence = {
        v: e if e in model.variable(v).labels() else model.variable(v).labels()[-1]
        for v, e in evidence.items()
    }
    engine = pyagrum.LazyPropagation(model)
    engine.setEvidence(evidence)
    engine.makeInference()
    factors = factors_of(model, evidence)
    roots = [v for v in model.names() if not model.parents(v) and v not in evidence]
    assert len(roots) > 20
    for root in roots:
        chance = eliminate(factors, [root])
        theirs = np.asarray(engine.posterior(root).toarray())
        assert chance / chance.sum() == pytest.approx(theirs, abs=1e-12)


def test_axes_that_do_not_fit_and_tables_that_would_not_fit_are_refused():
    with pytest.raises(ValueError, match="two lengths"):
        eliminate([(np.ones((2, 2)), ("a", "b")), (np.ones(3), ("a",))], ["a"])
    wide = [(np.ones((2, 2)), (f"x{i}", "hub")) for i in range(30)]
    assert eliminate(wide, ["hub"]) == pytest.approx(np.full(2, 2.0**30))
    with pytest.raises(ValueError, match="hang together"):
        eliminate([(np.ones((2, 2)), ("hub", f"x{i}")) for i in range(30)],
                  [f"x{i}" for i in range(30)])  # fmt: skip
