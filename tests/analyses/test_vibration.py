"""The vibration analysis from end to end on invented recordings."""

from pathlib import Path

import numpy as np
import pytest

from analyses.vibration_material import TRUCK, bench, channel, drive, recording
from witnessmark.analyses.vibration import what_it_follows as vibration
from witnessmark.analyses.vibration.vibration_change import compare
from witnessmark.analyses.vibration.vibration_levels import Cell
from witnessmark.knowledge import load_knowledge
from witnessmark.workflow.dossier.assess_case import assess


def only(findings, code):
    return [f for f in findings if f.code == code]


def one_file(seed=0, **kw):
    phone, bus = drive(seed, **kw)
    return recording(f"drive{seed}.csv", [*phone, *bus])


@pytest.mark.parametrize(
    ("lines", "family", "line", "lifts", "lowers"),
    [
        ([("engine", 0.5, 0.35)], "engine", "engine order 0.5", "cyl_imbalance", "ujoint"),
        ([("shaft", 2, 0.35)], "road", "drive shaft 2x", "driveline_angle", "damper_aged"),
        ([("wheel", 1, 0.40)], "road", "tyre 1x", "tyre_load", "damper_aged"),
    ],
)
def test_family_and_what_it_does_to_the_causes(lines, family, line, lifts, lowers):
    found = only(vibration.analyse(bench([("v", 0, one_file(1, lines=lines))])), "vibration_family")
    assert len(found) == 1
    finding = found[0]
    assert finding.outcome == "seen", finding.reason
    assert finding.details.family == family
    assert finding.details.line == line
    rms = lines[0][2]
    assert finding.low < rms < finding.high * 1.02
    assert finding.value == pytest.approx(rms, rel=0.1)
    load = next(s for s in finding.support if s.family == "vib_load").log_likelihood
    assert load[lifts] > load[lowers] + 1.0
    assert "v_gear" in finding.details.stands_for
    assert finding.evidence.entries == ("v",)


def test_nothing_abnormal_says_not_caught_and_moves_no_odds():
    finding = only(vibration.analyse(bench([("v", 0, one_file(2))])), "vibration_family")[0]
    assert finding.outcome == "not_seen"
    assert finding.support == ()
    assert "not caught" in finding.sentence


def test_direct_gear_alone_is_not_decided_and_says_what_settles_it():
    one = one_file(3, lines=[("shaft", 1, 0.4)], gears=("9",), seconds=40.0)
    findings = vibration.analyse(bench([("v", 0, one)]))
    finding = only(findings, "vibration_family")[0]
    assert finding.outcome == "inconclusive"
    assert "second gear" in finding.reason
    assert finding.support == ()
    warned = only(findings, "vibration_coincidences")[0]
    assert any("drive shaft 1x" in s and "engine order 1 " in s for s in warned.details.pairs)


def test_a_phone_of_its_own_is_put_on_the_bus_clock_by_three_blips():
    phone, bus = drive(4, lines=[("engine", 1.5, 0.4)], blips=True, phone_offset=3.21)
    made = bench(
        [("v", 0, recording("phone.csv", phone)), ("b", 0, recording("bus.log", bus, "bus"))]
    )
    finding = only(vibration.analyse(made), "vibration_family")[0]
    assert finding.details.family == "engine"
    assert finding.details.line == "engine order 1.5"
    assert finding.details.clock_offset_s[0] == pytest.approx(3.21, abs=0.03)


def test_a_phone_without_blips_is_refused_not_guessed():
    phone, bus = drive(5, lines=[("engine", 1.5, 0.4)], phone_offset=3.21)
    made = bench(
        [("v", 0, recording("phone.csv", phone)), ("b", 0, recording("bus.log", bus, "bus"))]
    )
    findings = vibration.analyse(made)
    assert {f.outcome for f in findings if f.code != "vibration_coincidences"} == {"not_run"}
    assert "three throttle blips" in only(findings, "vibration_recording")[0].reason


def test_without_a_recording_it_is_not_run_and_never_not_seen():
    finding = only(vibration.analyse(bench([])), "vibration_family")[0]
    assert finding.outcome == "not_run"
    assert "blips" in finding.reason
    assert vibration.analyse(bench([], families=("fuel_low",))) == ()


def test_two_clusters_of_gears_without_the_trucks_ratios():
    one = one_file(6, lines=[("engine", 1.0, 0.4)])
    finding = only(
        vibration.analyse(bench([("v", 0, one)], truck={"label": "x"})), "vibration_family"
    )[0]
    assert finding.details.gears == ["A", "B"]
    assert finding.details.family == "engine"


def test_the_folded_firing_order_is_named():
    one = one_file(7, rate=100.0, lines=[("engine", 1.0, 0.4)])
    finding = only(vibration.analyse(bench([("v", 0, one)])), "vibration_family")[0]
    assert any("engine order 3" in a for a in finding.details.aliases)


def test_before_and_after_in_matched_cells():
    before = one_file(8, lines=[("engine", 1.0, 0.40), ("engine", 0.5, 0.30)])
    half = one_file(9, lines=[("engine", 1.0, 0.05), ("engine", 0.5, 0.30)])
    after = one_file(10, lines=[("engine", 1.0, 0.02), ("engine", 0.5, 0.01)])
    findings = vibration.analyse(bench([("a", 0, before), ("b", 1, half), ("c", 2, after)]))
    first, second = only(findings, "vibration_change")
    assert (first.stage, second.stage) == (1, 2)
    assert first.outcome == "seen"
    assert first.details.second_cause
    assert "second cause" in first.sentence
    assert second.outcome == "not_seen"
    line = {x.line: x for x in second.details.lines}["engine order 1"]
    assert line.before == pytest.approx(0.40, rel=0.1)
    assert line.high < 0
    assert line.low < -0.38 < line.high
    assert 0 < line.provable < 0.1
    assert all(len(cell) == 3 for cell in line.cells)


def test_a_repair_that_changed_nothing_is_not_called_a_cure():
    same = [one_file(s, lines=[("engine", 1.0, 0.4)]) for s in (11, 12)]
    finding = only(
        vibration.analyse(bench([("a", 0, same[0]), ("b", 1, same[1])])), "vibration_change"
    )[0]
    assert finding.outcome == "seen"
    assert finding.low < 0 < finding.high


def test_faint_in_neutral():
    one = one_file(13, lines=[("engine", 1.0, 0.4)], blips=True)
    finding = only(vibration.analyse(bench([("v", 0, one)])), "vibration_neutral")
    assert finding
    assert finding[0].outcome == "not_seen"


def test_damaged_material_is_survived():
    phone, bus = drive(14)
    t = phone[0].time_s[:50]
    short = recording("short.csv", [channel("ax", t, np.zeros(50), "m/s2"), *bus])
    flat = recording(
        "flat.csv",
        [*(channel(c.name, c.time_s, 0.0 * c.values, "m/s2") for c in phone), *bus],
    )
    findings = vibration.analyse(bench([("s", 0, short), ("f", 0, flat)], truck=TRUCK))
    assert only(findings, "vibration_recording")[0].outcome == "not_run"
    assert only(findings, "vibration_family")[0].outcome in {"not_seen", "inconclusive"}


def test_an_accessory_is_named_by_its_ratio():
    truck = TRUCK | {"accessories": {"fan": 1.12, "alternator": 2.8, "water pump": 1.0}}
    recorded = one_file(5, lines=[("engine", 1.12, 0.3)])
    found = vibration.analyse(bench([("v", 0, recorded)], truck=truck))
    family = only(found, "vibration_family")[0]
    assert "fan 1x" in family.sentence
    load = next(s for s in family.support if s.family == "vib_load").log_likelihood
    assert load["fan_acc"] > 1.5
    assert "water pump 1x" in only(found, "vibration_coincidences")[0].sentence
    cells = [c for c in family.details.cells if c["line"] == "fan 1x"]
    assert cells
    assert all(c["low"] <= c["rms"] <= c["high"] for c in cells if c["windows"] > 1)
    recorded = one_file(6, lines=[("engine", 1.0, 0.3)])
    found = vibration.analyse(bench([("v", 0, recorded)], truck=truck))
    assert "water pump 1x turns with it in every gear" in (
        only(found, "vibration_family")[0].sentence
    )


def test_order_2_in_two_gears_and_neutral_sends_nobody_to_the_shaft():
    recorded = one_file(3, lines=[("engine", 2.0, 0.35)], neutral=1.0, blips=True)
    made = bench([("v", 0, recorded)])
    assessed = assess(made.case, made.recordings)
    family = next(f for f in assessed.findings if f.code == "vibration_family")
    assert family.details.line == "engine order 2"
    shaft = {"v_shaft", "v_angle", "v_joint", "v_tyreorder"}
    assert not shaft & {s.step for s in assessed.steps[:5]}
    assert not {"ujoint", "driveline_angle"} & {s.step for s in assessed.steps[:5]}


@pytest.mark.parametrize("ratio", [0.62, 0.9, 1.13, 1.37, 2.7, 2.93, 5.3, 8.1])
def test_a_drive_that_nobody_listed_follows_the_engine(ratio):
    """Before: a fixed frequency, the shaft, or nothing at all."""
    recorded = one_file(1, lines=[("engine", ratio, 0.25)])
    finding = only(vibration.analyse(bench([("v", 0, recorded)])), "vibration_family")[0]
    assert finding.details.family == "engine"
    assert finding.details.line == f"unlisted order {ratio:.2f}"
    assert finding.value == pytest.approx(0.25, abs=0.03)
    assert "compare it with the pulley diameters" in finding.sentence


def test_a_slipping_belt_is_still_its_part():
    truck = TRUCK | {"accessories": {"alternator": 2.7, "fan": 1.2}}
    recorded = one_file(2, lines=[("engine", 2.63, 0.25)])
    finding = only(vibration.analyse(bench([("v", 0, recorded)], truck=truck)), "vibration_family")[
        0
    ]
    assert finding.details.line == "alternator 1x"
    assert "slips by 3 %" in finding.sentence


def test_an_unlisted_order_in_one_gear_may_be_the_roads():
    recorded = one_file(1, gears=("10",), seconds=30.0, lines=[("engine", 1.13, 0.3)])
    finding = only(vibration.analyse(bench([("v", 0, recorded)])), "vibration_family")[0]
    assert finding.outcome == "inconclusive"
    assert "second gear" in finding.reason


@pytest.mark.parametrize("seed", range(4))
def test_a_healthy_truck_shows_no_unlisted_order(seed):
    finding = only(vibration.analyse(bench([("v", 0, one_file(seed))])), "vibration_family")[0]
    assert finding.outcome == "not_seen"
    assert not any("unlisted" in name for name in finding.details.levels)


def test_the_clock_is_a_result_with_its_doubt_checked_on_the_pull():
    phone, bus = drive(4, lines=[("engine", 1.5, 0.4)], blips=True, phone_offset=14.2)
    pair = [("v", 0, recording("phone.csv", phone)), ("b", 0, recording("bus.log", bus, "bus"))]
    clock = only(vibration.analyse(bench(pair)), "vibration_clock")[0]
    assert clock.value == pytest.approx(14.2, abs=0.03)
    assert clock.low < 14.2 < clock.high
    assert clock.details.checked
    assert "the pull outside the blips agrees" in clock.sentence


@pytest.mark.parametrize("lost", [2.7, 8.3])
def test_a_clock_that_fits_the_blips_but_not_the_pull_is_refused(lost):
    """The recorder paused between the blips and the pull: before, nobody noticed."""
    phone, bus = drive(4, lines=[("engine", 1.5, 0.4)], blips=True, phone_offset=1.0)
    moved = [
        channel(c.name, np.where(c.time_s < 15.0, c.time_s, c.time_s + lost), c.values, c.unit)
        for c in phone
    ]
    pair = [("v", 0, recording("phone.csv", moved)), ("b", 0, recording("bus.log", bus, "bus"))]
    found = vibration.analyse(bench(pair))
    assert only(found, "vibration_family") == [] or (
        only(found, "vibration_family")[0].outcome == "not_run"
    )
    assert "pull" in only(found, "vibration_recording")[0].reason


def test_without_a_confirmed_clock_nothing_abnormal_is_not_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Before: a recorder that paused after the blips hid the shake: "nothing abnormal"."""
    studies = Path(__file__).parents[2] / "studies"
    monkeypatch.syspath_prepend(studies)
    monkeypatch.syspath_prepend(studies / "vibration")
    import belts

    rng = np.random.default_rng([7100, 0, 0])
    ratios = [rng.uniform(a, b) for a, b in ((0.6, 0.95), (1.1, 1.45), (2.1, 2.9), (3.1, 3.4))]
    ratio = float(rng.choice(ratios))
    rng.uniform(0.5, 1.5)
    t, x, rows = belts.shake(rng, "belt", ratio=ratio)
    offset = float(rng.uniform(-18, 18))
    belts.phone(rng, t, x, float(rng.choice([100.0, 200.0])), offset)
    seen = belts.phone(rng, t, x, 100.0, offset, pause=(15.0, float(rng.uniform(2, 9))))
    truck = {k: v for k, v in TRUCK.items() if k != "accessories"}
    found = belts.findings(load_knowledge(), seen, rows, truck)
    clock = found["vibration_clock"]
    assert not clock.details.checked
    # Before: "good to 0.02 s", and an interval, for an offset that may be seconds off.
    assert "good to" not in clock.sentence
    assert clock.low is clock.high is clock.coverage is None
    assert found["vibration_family"].outcome == "inconclusive"
    assert "confirms the clocks" in found["vibration_family"].reason


def test_a_peak_in_a_steady_recording_is_not_called_fixed():
    """0.83 of the engine is no line that was listed; at one speed it stands still like a mode."""
    bus = np.arange(0, 60, 0.02)
    t = np.arange(0.3, 59.5, 0.005)
    rng = np.random.default_rng(1)
    wave = 0.5 * np.cos(2 * np.pi * 0.83 * 1300 / 60 * t)
    x = 0.1 * rng.standard_normal((len(t), 3)) + wave[:, None]
    recorded = recording(
        "steady.csv",
        [channel(n, t, x[:, i], "m/s2") for i, n in enumerate(("ax", "ay", "az"))]
        + [
            channel("engine_speed", bus, np.full_like(bus, 1300.0), "rpm"),
            channel("road_speed", bus, np.full_like(bus, 26.9), "m/s"),
        ],
    )
    family = only(vibration.analyse(bench([("v", 0, recorded)])), "vibration_family")[0]
    assert family.outcome == "inconclusive"
    assert "speed hardly changed" in family.reason


@pytest.mark.parametrize(("before", "after", "windows"), [(0.3, 0.15, 2), (0.1, 0.08, 6)])
def test_interval_of_a_change_covers_what_it_says(before, after, windows):
    """Six matched cells; levels drawn here, 95 % claimed, 300 draws (sd of the share 1.3 %)."""
    rng = np.random.default_rng(11)

    def cells(amplitude, levels):
        found = []
        for number, share in enumerate(levels):
            steady = amplitude * share * (1 + 0.1 * rng.standard_normal((windows, 1))) / 3**0.5
            noise = 0.03 * (rng.standard_normal((2, windows, 3)))
            power = np.abs(steady + noise[0] + 1j * noise[1]) ** 2 - 2 * 0.03**2
            found.append(Cell("x", "9", 1000.0 + 100 * number, 2, power.sum(axis=1)))
        return found

    hits = 0
    truth = (after - before) * np.sqrt(1.01 / 2)
    for _ in range(300):
        levels = np.exp(0.2 * rng.standard_normal(6))
        levels /= np.sqrt(np.mean(levels**2))
        found = compare("x", cells(before, levels), cells(after, levels))
        hits += found.low <= truth <= found.high
    assert 0.91 <= hits / 300 <= 0.995


def test_what_is_lower_but_still_high_is_a_second_cause():
    truck = TRUCK | {"accessories": {"fan": 1.12}}
    first = one_file(1, lines=[("engine", 1.12, 0.3), ("engine", 3, 0.45)])
    second = one_file(2, lines=[("engine", 3, 0.38)])
    found = vibration.analyse(bench([("v", 0, first), ("w", 1, second)], truck=truck))
    change = only(found, "vibration_change")[0]
    assert "still high: there is a second cause" in change.sentence
    assert change.details.second_cause
    assert change.outcome == "seen"
