"""Every physical model passes one examination, and the examination finds a wrong one."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

from analyses.crank_material import sweep_edges
from analyses.vibration_material import bench as shaking
from analyses.vibration_material import drive
from analyses.vibration_material import recording as shake_recording
from fakes.flat_model import FlatModel
from witnessmark.analyses.an_analysis import Bench
from witnessmark.inference.model_checks import Trial, checks_of, examine
from witnessmark.inference.models import (
    Example,
    JointDraws,
    Material,
    Need,
    all_models,
    families_of,
    model_ids,
    model_named,
    weigh,
)
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding, Support
from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()


def case_of(family, *readings, recordings=()):
    at = "2026-01-01T00:00:00Z"
    lines = [{"kind": "complaint", "id": "c", "at": at,
              "data": {"words": "it does it", "families": [family]}}]  # fmt: skip
    lines += [{"kind": "recording", "id": r, "at": at, "data": {"path": "x.log"}}
              for r in recordings]  # fmt: skip
    for n, (quantity, value, rpm) in enumerate(readings):
        point = {"rpm": rpm, "load": "none"} if rpm else {}
        data = {"quantity": quantity, "value": value, "point": point}
        lines.append({"kind": "reading", "id": f"r{n}", "at": at, "data": data})
    return read_case("x", [json.dumps(line) for line in lines])


def material(model, bench):
    bound = families_of(model.id, bench.knowledge.families.values())
    return Material(bench, bound)


def fuel_bench():
    case = case_of("fuel_low", ("fuel_gallery_pressure", "57 psi", 690),
                   ("fuel_gallery_pressure", "71 psi", 1390),
                   ("fuel_return_flow", "30 L/h", 690))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def sensor_bench():
    time = np.arange(0.0, 1200.0, 1.0)
    values = 86.0 + np.sin(time / 140.0)
    for start in (211.0, 402.0, 655.0, 900.0):
        values[(time >= start) & (time < start + 3.0)] -= 31.0
    quality = np.full(time.size, Quality.VALID, np.uint8)
    channel = Channel("coolant_temperature", "degC", time, values, quality, source=0)
    case = case_of("cool_unstable", ("coolant_housing_temperature", "84 degC", 700),
                   recordings=["log"])  # fmt: skip
    held = {"log": Recording("x.log", "0" * 64, "bus", "test", 1200.0, (channel,))}
    return Bench(case, held, KNOWLEDGE, case.stages())


def vibration_bench():
    phone, bus = drive(5, lines=[("engine", 0.5, 0.45)])
    return shaking([("shake", 0, shake_recording("shake.csv", [*phone, *bus]))])


def crank_bench():
    edges = sweep_edges(278.0)
    down = edges + 0.4 * np.append(np.diff(edges), 1e-3)
    time = np.concatenate([[edges[0] - 1e-3], np.stack([edges, down], 1).ravel()])
    level = np.append(0.0, np.tile([1.0, 0.0], edges.size))
    wheel = Channel("crank", "", time, level, np.zeros(time.size, np.uint8))
    made = shake_recording("sweep.csv", [wheel], "tooth_timing")
    how = {"point": {"warm": True, "load": "full"}, "place": "nose"}
    return shaking([("sweep", 0, made)], extra={"sweep": how})


def air_bench():
    case = case_of("air_supply", ("air_loss_primary_released", "7 psi", None),
                   ("air_loss_secondary_released", "0.5 psi", None),
                   ("air_build_time", "24 s", 1900))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def start_bench():
    case = case_of("no_crank", ("crank_drop_positive", "0.2 V", None),
                   ("crank_drop_ground", "2.4 V", None),
                   ("battery_voltage", "11 V", 110))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def bus_line_bench():
    case = case_of("bus_faults", ("bus_resistance", "119 ohm", None),
                   ("bus_high_voltage", "2.7 V", None))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def charge_bench():
    case = case_of("charging", ("battery_voltage", "12.5 V", 1500),
                   ("charge_current", "48 A", 1500))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def rest_bench():
    case = case_of("battery_drain", ("rest_current", "1.4 A", None),
                   ("rest_current_added_off", "1.4 A", None),
                   ("fuse_drop_cab", "9 mV", None))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def cooling_bench():
    case = case_of("overheat", ("pull_top_hose_temperature", "99 degC", 1500),
                   ("pull_bottom_hose_temperature", "70 degC", 1500))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


def stroke_bench():
    case = case_of("brakes", ("stroke_applied", "2 1/4 in", None),
                   ("stroke_applied_mate", "1 1/2 in", None),
                   ("stroke_free", "1 1/4 in", None))  # fmt: skip
    return Bench(case, {}, KNOWLEDGE, case.stages())


BENCHES = {"air": air_bench, "start": start_bench, "bus_line": bus_line_bench,
           "charge": charge_bench, "rest": rest_bench, "cooling": cooling_bench,
           "stroke": stroke_bench,
           "fuel": fuel_bench, "sensors": sensor_bench, "vibration": vibration_bench,
           "crank": crank_bench}  # fmt: skip


@pytest.fixture(scope="module")
def trials():
    return {m.id: Trial(m, material(m, BENCHES[m.id]())) for m in all_models()}


PAIRS = [(m.id, check.__name__) for m in all_models() for check in checks_of(m)]


@pytest.mark.parametrize(("identity", "name"), PAIRS)
def test_every_model_passes_the_examination(trials, identity, name):
    trial = trials[identity]
    check = next(c for c in checks_of(trial.model) if c.__name__ == name)
    assert check(trial) == ""


def test_every_model_stands_in_the_trial_and_is_bound_by_a_pack():
    assert set(model_ids()) == set(BENCHES)
    named = {n for family in KNOWLEDGE.families.values() for n in family.modelled_by}
    assert named == set(model_ids())
    assert model_named("os") is None
    assert model_named("../fuel") is None


FAMILY = "fuel_low"


def flat_trial(model):
    knowledge = replace(KNOWLEDGE, families={
        k: replace(f, modelled_by=("flat",) if k == FAMILY else ())
        for k, f in KNOWLEDGE.families.items()
    })  # fmt: skip
    case = case_of(FAMILY, ("run_out", "1 mm", None), ("run_out", "3 mm", None),
                   ("fuel_return_flow", "10 L/h", 700))  # fmt: skip
    return Trial(model, material(model, Bench(case, {}, knowledge, case.stages())))


class Unnamed(FlatModel):
    needs = (Need("", frozenset({"run_out"})),)


class WrongExample(FlatModel):
    def examples(self):
        return (replace(super().examples()[0], expected=0.6),)


class Meddles(FlatModel):
    def evidence(self, material):
        object.__setattr__(material.bench, "stages", {**material.bench.stages, "new": 1})
        return super().evidence(material)


class Wavers(FlatModel):
    count = itertools.count()

    def likelihoods(self, levels):
        return {c: v + 1e-6 * next(self.count) for c, v in super().likelihoods(levels).items()}

    def examples(self):
        return (Example("none of its own", lambda: 1.0, 1.0, 0.0, "exact", "one is one"),)


class TellsNothing(FlatModel):
    def likelihoods(self, levels):
        return dict.fromkeys(super().likelihoods(levels), 0.0)


class SpeaksOfOthers(FlatModel):
    def evidence(self, material):
        found = super().evidence(material)
        if not any(f.support for f in found.findings):
            return found
        more = Support("smoke", {"sm_turbo": 0.3})
        last = found.findings[-1]
        return replace(found, findings=(replace(last, support=(*last.support, more)),))


class NotSeenForNotRun(FlatModel):
    def evidence(self, material):
        found = super().evidence(material)
        quiet = tuple(
            Finding(f.code, f.sentence, "not_seen", f.method) if f.outcome == "not_run" else f
            for f in found.findings
        )
        return replace(found, findings=quiet)


class ReadsMore(FlatModel):
    def evidence(self, material):
        found = super().evidence(material)
        extra = sum(r.value for r in material.bench.readings("fuel_return_flow")) * 1e3
        moved = tuple(
            replace(f, support=tuple(
                Support(s.family, {c: v + extra for c, v in s.log_likelihood.items()})
                for s in f.support
            ))
            for f in found.findings
        )  # fmt: skip
        return replace(found, findings=moved)


class Infinite(FlatModel):
    def likelihoods(self, levels):
        return {**super().likelihoods(levels), "tank_vent_fuel": math.inf}


class CountsTheRetracted(FlatModel):
    def evidence(self, material):
        entries = material.bench.case.entries
        whole = replace(
            material.bench.case, entries=tuple(e for e in entries if e.kind != "retract")
        )
        return super().evidence(replace(material, bench=replace(material.bench, case=whole)))


class FirstCountsDouble(FlatModel):
    def likelihoods(self, levels):
        return super().likelihoods([*levels, levels[0]] if len(levels) > 1 else levels)


class DrawsApart(FlatModel):
    def draws(self, _):
        return JointDraws((("primary_filter",),), {frozenset(): 0.7, frozenset({0}): 0.3}, (0.25,))


MUTANTS = {
    "says_what_it_is": Unnamed,
    "examples_hold": WrongExample,
    "leaves_its_input_alone": Meddles,
    "says_the_same_twice": Wavers,
    "finds_something": TellsNothing,
    "speaks_of_the_bound_only": SpeaksOfOthers,
    "a_missing_need_is_not_run": NotSeenForNotRun,
    "asks_nothing_it_did_not_name": ReadsMore,
    "is_finite": Infinite,
    "retracting_is_as_never_entered": CountsTheRetracted,
    "order_of_readings_is_nothing": FirstCountsDouble,
    "draws_agree_with_margins": DrawsApart,
}


def test_a_tiny_model_passes_and_each_mutant_fails_its_own_check():
    assert examine(flat_trial(FlatModel())) == {}
    assert set(MUTANTS) == {c.__name__ for c in checks_of(FlatModel())}
    for check, mutant in MUTANTS.items():
        made = mutant(needs=mutant.needs)
        trial = flat_trial(made)
        assert check in examine(trial), mutant.__name__


@pytest.mark.parametrize("check", [c for c in MUTANTS if c not in {"says_the_same_twice"}])
def test_a_mutant_fails_no_other_check(check):
    """One that wavers differs from itself in every comparison; the others fail theirs alone."""
    mutant = MUTANTS[check]
    failed = set(examine(flat_trial(mutant(needs=mutant.needs))))
    # A model that tells nothing cannot give its example either.
    also = {"examples_hold"} if check == "finds_something" else set()
    assert failed - also == {check}


def test_a_model_is_asked_where_it_has_something_to_read_or_a_complaint_asks_for_it():
    asked = []

    @dataclass(frozen=True)
    class Counted(FlatModel):
        def evidence(self, material):
            asked.append(material.complained())
            return super().evidence(material)

    read = case_of("smoke", ("run_out", "1 mm", None))
    other = case_of("smoke", ("oil_pressure", "40 psi", 700))
    for case, times in ((read, 1), (other, 0)):
        asked.clear()
        weigh(Bench(case, {}, KNOWLEDGE, case.stages()), models=[Counted()])
        assert len(asked) == times
    weigh(flat_trial(FlatModel()).material.bench, models=[Counted()])
    assert asked[-1] == (FAMILY,)


def test_a_family_bound_to_no_model_has_no_finding_of_one():
    loose = {k: replace(f, modelled_by=()) for k, f in KNOWLEDGE.families.items()}
    bench = fuel_bench()
    codes = {f.code for f in assess(bench.case, {}, knowledge=KNOWLEDGE).findings}
    assert "fuel_supply_model" in codes
    plain = assess(bench.case, {}, knowledge=replace(KNOWLEDGE, families=loose))
    assert not any(f.joint for f in plain.findings)
    assert plain.steps
