"""Exact sums on published networks: the printer troubleshooter, Asia, Alarm.

The networks are the files shipped in the pgmpy 1.1.2 wheel (utils/example_models); the check
values are those of checks/checks.json, on which pgmpy and pyAgrum agree to 2e-8.
"""

from __future__ import annotations

import gzip
import importlib.util
import json
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest

from witnessmark.inference.family.elimination import eliminate
from witnessmark.inference.networks.noisy_or import NoisyOr

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


PGMPY = """
import json, sys, warnings, logging
warnings.simplefilter("ignore")
logging.disable(logging.CRITICAL)
import numpy as np
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork
given = json.load(sys.stdin)
answers = []
for net in given:
    prior, leak, link = (np.asarray(net[k]) for k in ("prior", "leak", "link"))
    model = DiscreteBayesianNetwork()
    model.add_nodes_from([f"c{i}" for i in range(len(prior))])
    tables = [TabularCPD(f"c{i}", 2, [[1 - p], [p]]) for i, p in enumerate(prior)]
    for f in range(len(leak)):
        parents = [int(i) for i in np.flatnonzero(link[:, f])]
        model.add_node(f"f{f}")
        for i in parents:
            model.add_edge(f"c{i}", f"f{f}")
        missed = np.full([2] * len(parents), 1.0 - leak[f])
        for axis, i in enumerate(parents):
            shape = [1] * len(parents)
            shape[axis] = 2
            missed = missed * np.asarray([1.0, 1.0 - link[i, f]]).reshape(shape)
        missed = missed.reshape(-1)
        tables.append(TabularCPD(f"f{f}", 2, np.vstack([missed, 1 - missed]),
                                 evidence=[f"c{i}" for i in parents],
                                 evidence_card=[2] * len(parents)))
    model.add_cpds(*tables)
    engine = VariableElimination(model)
    evidence = {**{f"f{f}": 1 for f in net["seen"]}, **{f"f{f}": 0 for f in net["not_seen"]}}
    answers.append([
        float(engine.query([f"c{i}"], evidence=evidence, show_progress=False).values[1])
        for i in range(len(prior))
    ])
print(json.dumps(answers))
"""


@pytest.mark.slow
def test_random_noisy_or_networks_against_pgmpy():
    # pgmpy 1.1.2, VariableElimination; in a process of its own, since it warns while loading.
    rng = np.random.default_rng(77)
    given, ours = [], []
    for _ in range(2):
        prior, leak = rng.uniform(0.02, 0.3, 6), rng.uniform(0.001, 0.05, 7)
        link = np.where(rng.random((6, 7)) < 0.4, rng.uniform(0.2, 0.95, (6, 7)), 0.0)
        seen, not_seen = [0, 1, 2], [3, 4]
        given.append(
            {"prior": prior.tolist(), "leak": leak.tolist(), "link": link.tolist(),
             "seen": seen, "not_seen": not_seen}
        )  # fmt: skip
        ours.append(NoisyOr(prior, leak, link).posterior(seen, not_seen).marginals)
    done = subprocess.run(
        [sys.executable, "-c", PGMPY],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-800:]
    theirs = json.loads(done.stdout.strip().splitlines()[-1])
    assert np.abs(np.asarray(theirs) - np.asarray(ours)).max() <= 1e-12


def test_axes_that_do_not_fit_and_tables_that_would_not_fit_are_refused():
    with pytest.raises(ValueError, match="two lengths"):
        eliminate([(np.ones((2, 2)), ("a", "b")), (np.ones(3), ("a",))], ["a"])
    wide = [(np.ones((2, 2)), (f"x{i}", "hub")) for i in range(30)]
    assert eliminate(wide, ["hub"]) == pytest.approx(np.full(2, 2.0**30))
    with pytest.raises(ValueError, match="hang together"):
        eliminate([(np.ones((2, 2)), ("hub", f"x{i}")) for i in range(30)],
                  [f"x{i}" for i in range(30)])  # fmt: skip
