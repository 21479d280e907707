"""A safety stop is lifted by a result, stands on every card, and nothing it forbids is proposed."""

import json

import pytest
from click.testing import CliRunner

from witnessmark.cli.for_recordings.look_command import command as look_command
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.planner.order.progress import progress
from witnessmark.planner.order.safety import forbidden_needs
from witnessmark.planner.order.stop_rules import standing_stop
from witnessmark.planner.ranking import pricing
from witnessmark.planner.ranking.lookahead import first_moves
from witnessmark.units import QUANTITIES
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.dossier.drive_of_case import drive_of
from witnessmark.workflow.dossier.in_words import assessment_text
from witnessmark.workflow.recordings.look_into import card_of, line_in_words

KNOWLEDGE = load_knowledge()
STOPS = [stop for f in KNOWLEDGE.families.values() for stop in f.stops]
RUNNING = {"running", "warm", "road", "load"}


def lines_of(*families, clues=(), tests=(), miles=None, words="as the driver says", more=()):
    rows = [
        ("truck", {"label": "Testbarley 2"} | ({"miles": miles} if miles else {})),
        ("complaint", {"words": words, "families": list(families)}),
    ]
    for clue in clues:
        name, cause = clue if isinstance(clue, tuple) else (clue, "")
        rows.append(("clue", {"clue": name, "seen": True} | ({"cause": cause} if cause else {})))
    rows += [("test", {"test": test, "result": result}) for test, result in tests]
    rows += list(more)
    return [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]


def found(*families, **more):
    return assess(read_case("x", lines_of(*families, **more)), {})


def stops_of(assessment):
    return [s for s in assessment.steps if s.kind == "safety"]


# One stop a row: (stop, family, what calls for it). The threshold is the program's own judgement.
LOOSE_DAMPER = ("vib_load", {"clues": ["overhaul", "sudden", ("part_new", "damper_loose")]})
WHEEL = ("vib_speed", {"clues": ["tyre_recent", "sudden"]})
DIRTY_OIL = ("coolant_cross", {"clues": ["overheated"], "tests": [("x_oil", "positive")]})
OIL_PRESSURE = ("oil_press", {})
EMPTY = ("overheat", {"tests": [("o_level", "positive")]})
STANDING = {
    "stop_damper": LOOSE_DAMPER,
    "stop_wheel_end": WHEEL,
    "stop_contaminated_oil": DIRTY_OIL,
    "stop_oil_pressure": OIL_PRESSURE,
    "stop_overheat": EMPTY,
}


@pytest.mark.parametrize("name", STANDING)
def test_nothing_that_a_standing_stop_forbids_is_proposed_anywhere(name):
    family, more = STANDING[name]
    # The fuel complaint beside it would be measured on a running engine.
    assessment = found(family, "fuel_low", **more)
    stops = stops_of(assessment)
    assert name in {s.step for s in stops}
    for step in assessment.steps:
        if step.kind in {"measure", "test"}:
            for stop in stops:
                assert step.step in stop.checks or not stop.rules_out(step.needs), step.step
    barred = [
        t.name
        for f in (family, "fuel_low")
        for t in KNOWLEDGE.families[f].tests
        if any(s.rules_out(t.needs) and t.id not in s.checks for s in stops)
    ]
    assert barred
    offered = [w for o in assessment.odds for c in o.causes for w in c.would_change]
    assert not [w for w in offered if w.startswith(tuple(f"{b}: " for b in barred))]
    for proof in assessment.proofs:
        asked = [m for m in proof.missing if "pull" in m or "recording" in m]
        assert all(m.startswith("once the safety stop is lifted") for m in asked), asked


def test_an_engine_that_must_not_start_is_not_run_by_tests_that_need_no_warmth():
    steps = {s.step for s in found("vib_load", **LOOSE_DAMPER[1]).steps}
    assert not steps & {"v_first", "v_cutout", "v_belt", "v_mount", "v_neutral", "search_vib_load"}


GOOD = {"g_mech": "dash_lies"}  # the mechanical gauge reads normal where the bus reads low
#: Stops every one of whose checks keeps it by a bad result; the others are walked through below.
PLAIN = [
    s for s in STOPS
    if s.checks and not s.until_drive and all(a.kind == "test" for a in s.until)
]  # fmt: skip


@pytest.mark.usefixtures("one_step")
@pytest.mark.parametrize("stop", PLAIN, ids=lambda s: s.id)
def test_good_results_of_its_checks_lift_a_stop_and_a_bad_one_keeps_it(stop):
    family = KNOWLEDGE.families[stop.family]
    # Whatever the odds say beside it: every cause of the stop made as likely as a clue can.
    good = [(t, GOOD.get(t, family.test(t).outcomes[-1])) for t in stop.checks]
    # What raises it comes first, where an entry does.
    kinds = {leaf.kind for leaf in stop.when[0].leaves()}
    raised = entries_that_mean(stop.when[0]) if not kinds & {"at_fault", "code", "finding"} else []

    def after(tests):
        told = [("test", {"test": t, "result": r}) for t, r in tests]
        return stops_of(found(stop.family, more=[*raised, *told]))

    assert stop.id not in {s.step for s in after(good)}
    for bad_one in stop.checks:
        test = family.test(bad_one)
        leaves = [a for part in stop.until for a in part.leaves() if bad_one in a.ids]
        lifting = {dict(good)[bad_one], *(r for a in leaves for r in a.results)}
        bad = next(o for o in test.outcomes if o not in lifting)
        mixed = [(t, bad if t == bad_one else r) for t, r in good]
        # It stands, or one that forbids no less: milky oil has a stop of its own.
        stand = after(mixed)
        less = set(forbidden_needs(stop.blocks))
        assert [s for s in stand if s.step == stop.id or less <= set(s.forbids)], bad_one


def entries_that_mean(asked):
    """Return (kind, data) of entries after which a condition holds; of several ways the first."""
    if asked.kind == "any":
        return entries_that_mean(asked.parts[0])
    if asked.kind == "all":
        return [e for part in asked.parts for e in entries_that_mean(part)]
    if asked.kind == "test":
        return [("test", {"test": asked.ids[0], "result": asked.results[0]})]
    if asked.kind == "clue":
        return [("clue", {"clue": asked.ids[0], "seen": asked.seen})]
    if asked.kind == "work":
        cause = asked.ids[0]
        return [("work", {"cause": cause, "did": "renewed"})]
    if asked.kind == "reading":
        bound, beyond = (asked.above, 0.05) if asked.above is not None else (asked.below, -0.05)
        value = bound + beyond * abs(bound)
        unit = QUANTITIES[asked.ids[0]].house
        at = {"point": {"rpm": sum(asked.rpm) / 2}} if asked.rpm else {}
        data = {"quantity": asked.ids[0], "value": f"{value:.6f} {unit}"} | at
        return [("reading", data)]
    raise AssertionError(asked.kind)


SEEN = [
    (stop, number)
    for stop in (*STOPS, *KNOWLEDGE.stops)
    for number, asked in enumerate(stop.when)
    if not {leaf.kind for leaf in asked.leaves()} & {"at_fault", "code", "finding"}
]


@pytest.fixture
def one_step(monkeypatch):
    """Price steps one move ahead: what a stop says does not depend on how deep the plan looks."""
    monkeypatch.setattr(pricing, "thorough", first_moves)


#: Of every stop the first way to raise it: what is done about the rest is the same.
FIRST = {stop.id: (stop, number) for stop, number in reversed(SEEN)}


def walk_through(stop, number, asked_of):
    """Raise a stop and lift it again by what its pack names, one after the other.

    ``asked_of(told)`` says what the stop orders by the entries told, ``None`` where it is lifted.
    """
    told = entries_that_mean(stop.when[number])

    seen = {}  # a case is asked more than once with nothing added

    def standing():
        if len(told) not in seen:
            seen[len(told)] = asked_of(told)
        return seen[len(told)]

    before = standing()
    assert before is not None
    for level in (stop.until, stop.until_drive):
        tested = {data.get("test") for _, data in told}
        for asked in (a for a in level if not a.or_not_run or a.ids[0] in tested):
            assert standing() is not None
            told += entries_that_mean(asked)
        if level:
            assert standing() != before
    if stop.until:
        assert standing() is None


@pytest.mark.usefixtures("one_step")
@pytest.mark.parametrize(("stop", "number"), FIRST.values(), ids=lambda v: getattr(v, "id", v))
def test_what_is_seen_raises_a_stop_and_only_what_its_pack_names_lifts_it(stop, number):
    families = (stop.family,) if stop.family else ("fuel_low",)

    def ordered(told):
        steps = stops_of(found(*families, more=told))
        return next((s.name for s in steps if s.step == stop.id), None)

    walk_through(stop, number, ordered)


@pytest.mark.parametrize(("stop", "number"), SEEN, ids=lambda v: getattr(v, "id", v))
def test_every_way_to_raise_a_stop_is_lifted_alike(stop, number):
    families = (stop.family,) if stop.family else ("fuel_low",)

    def level(told):
        case = read_case("x", lines_of(*families, more=told))
        standing = standing_stop(stop, progress(case, KNOWLEDGE.families.values()).facts)
        return standing and standing.level

    walk_through(stop, number, level)


def test_a_clean_oil_sample_lifts_the_stop_that_thin_or_milky_oil_called_for():
    clues = ["overheated", "oil_rising", "topups"]
    before = found("coolant_cross", clues=clues)
    assert "stop_contaminated_oil" in {s.step for s in stops_of(before)}
    clean = found("coolant_cross", clues=clues, tests=[("x_oil", "negative")])
    assert "stop_contaminated_oil" not in {s.step for s in stops_of(clean)}
    fuel = found(
        "coolant_cross", clues=clues, tests=[("x_oil", "negative"), ("x_fuel", "positive")]
    )
    assert "stop_contaminated_oil" in {s.step for s in stops_of(fuel)}
    unsure = found("coolant_cross", clues=clues, tests=[("x_oil", "maybe")])
    assert "stop_contaminated_oil" in {s.step for s in stops_of(unsure)}


def test_what_lifts_only_the_drive_waits_until_the_start_is_lifted():
    down = [("m_level_cool", "positive")]
    [stop] = [
        s
        for s in stops_of(found("smoke", clues=["white"], tests=down))
        if s.step == "stop_hydro_lock"
    ]
    gas = KNOWLEDGE.test("m_gas")
    assert "cranking" in stop.forbids
    assert stop.bars("m_gas", gas.needs)
    assert not stop.bars("m_bar", KNOWLEDGE.test("m_bar").needs)
    free = found("smoke", clues=["white"], tests=[*down, ("m_bar", "negative")])
    [stop] = [s for s in stops_of(free) if s.step == "stop_hydro_lock"]
    assert "do not drive it" in stop.name
    assert not stop.bars("m_gas", gas.needs)
    assert stop.rules_out(("road",))
    holds = [("m_bar", "negative"), ("m_holds", "negative"), ("m_gas", "negative")]
    dry = found("smoke", clues=["white"], tests=[*down, *holds])
    assert "stop_hydro_lock" not in {s.step for s in stops_of(dry)}


@pytest.mark.parametrize(
    ("family", "more"), [LOOSE_DAMPER, WHEEL, OIL_PRESSURE], ids=["damper", "wheel", "oil"]
)
def test_the_road_test_card_of_a_case_carries_its_stops_and_obeys_them(family, more, tmp_path):
    file = tmp_path / "case.jsonl"
    file.write_text("\n".join(lines_of(family, **more)) + "\n")
    drive = drive_of(file)
    assert [s.name for s in drive.stops] == [s.name for s in stops_of(found(family, **more))]
    assert drive.stops
    card = card_of(drive, [])
    driven = [line for line in card if "road" in KNOWLEDGE.drive_points[line.point].state.needs()]
    assert driven
    for line in driven:
        assert line.forbidden == drive.stops[0].name
        assert not line.due
        assert line_in_words(line).startswith("not to be driven")
    table = tmp_path / "log.csv"
    table.write_text("time [s],engine speed [rpm]\n" + "\n".join(f"{t},650" for t in range(20)))
    done = CliRunner().invoke(look_command, [str(table), "--case", str(file)])
    assert f"SAFETY FIRST: {drive.stops[0].name}" in done.output
    assert "open: 1,300" not in done.output


def test_a_parked_truck_may_still_idle_and_a_stopped_engine_may_not():
    states = {
        name: KNOWLEDGE.drive_points[name].state.needs()
        for name in ("key_on", "idle", "pull", "hot_soak")
    }
    wheel = stops_of(found("vib_speed", **WHEEL[1]))[0]
    assert [n for n, needs in states.items() if wheel.rules_out(needs)] == ["pull"]
    damper = stops_of(found("vib_load", **LOOSE_DAMPER[1]))[0]
    assert [n for n, needs in states.items() if damper.rules_out(needs)] == [
        "idle",
        "pull",
        "hot_soak",
    ]


@pytest.mark.parametrize("families", [(), ("brakes_of_our_own",), ("fuel_low",)])
def test_an_open_complaint_is_never_answered_with_nothing_to_do(families):
    assessment = found(*families, words="smells of diesel in the cab")
    text = assessment_text(assessment)
    assert "Nothing to do" not in text
    if assessment.steps:
        assert assessment.why_no_step() == ""
        return
    assert "Complaint e2 is open" in text.replace("\n", " ")
    assert assessment_json(assessment)["why_no_step"].startswith("Complaint e2 is open")


def test_only_what_is_proven_or_said_to_be_gone_is_closed():
    rows = lines_of()
    rows.append(
        json.dumps({"kind": "outcome", "id": "e9", "at": "2026-03-09T08:00:00Z",
                    "data": {"complaint": "e2", "gone": "partly"}})
    )  # fmt: skip
    assert assess(read_case("x", rows), {}).open_complaints()
    rows[-1] = rows[-1].replace('"partly"', "true")
    closed = assess(read_case("x", rows), {})
    assert not closed.open_complaints()
    assert "ask the customer" in closed.why_no_step()
