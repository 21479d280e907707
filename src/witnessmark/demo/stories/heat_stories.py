"""Two invented trucks whose temperature display moves: one lies, one tells the truth."""

from __future__ import annotations

from witnessmark.demo.machines.demo_recordings import GEARING, cycling_recording, scene_recording
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["placeholder", "sampleton"]

PROBE = {"id": "P1", "accuracy": "1 degC", "repeatability": "0.5 degC"}
METER = {"id": "M1", "accuracy": "1 mV", "repeatability": "1 mV"}
TESTER = {"id": "C1", "span": "30 psi", "accuracy": "0.5 psi", "repeatability": "0.5 psi"}


def sampleton() -> Story:
    """A light bar grounded on the sensors' stud, and a weak pressure cap beside it."""
    w = Writer("2026-02-10T09:00:00")
    w.truck("Sampleton engine 2", "Sampleton Fire (invented)", litres=9, miles=61000, hours=9400)
    jumps = w.add(
        "complaint",
        words="Coolant temperature jumps on the dash at a scene.",
        families=["cool_unstable"],
    )
    loss = w.add(
        "complaint",
        words="A quart of coolant a week, nobody sees a drip.",
        families=["coolant_cross"],
    )
    w.add(
        "note",
        about="interview",
        words="Two sensors and a thermostat were fitted elsewhere. "
        "Light bar and siren added 14 months ago.",
    )
    w.add("approval", by="Chief of Sampleton (invented)", how="in person", limit_usd=700)
    w.add("clue", clue="harness_repair", seen=True)
    w.add("clue", clue="part_new", seen=True, cause="ct_sensor")
    w.add("clue", clue="part_new", seen=True, cause="ct_thermostat")
    w.add("clue", clue="topups", seen=True)
    w.add("clue", clue="idle_hours", seen=True)
    w.record("sampleton-scene-before.candump.log.gz", scene_recording(31, lifted_volt=0.20), "bus")
    w.read(
        "coolant_housing_temperature",
        {720: "88 degC"},
        instrument=PROBE,
        source="probe under a strap, lights on",
    )
    w.read("ground_drop", {720: "200 mV"}, instrument=METER, source="siren and light bar on, 40 A")
    w.add("test", test="c_rate", result="positive")
    w.add("test", test="c_multi", result="positive")
    w.add("test", test="c_ir", result="positive", after=20)
    w.add("test", test="c_ground", result="positive", after=25)
    w.read(
        "coolant_pressure",
        {0: "9 psi"},
        instrument=TESTER,
        warm=None,
        source="cap on the tester, marked 15 psi",
    )
    w.add("test", test="x_cap", result="positive")
    w.add("test", test="x_press", result="negative", after=30)
    w.add("test", test="x_gas", result="negative", after=25)
    quote = w.add(
        "quote",
        lines=[
            {
                "what": "Ground of the light bar moved to the frame, sensor stud cleaned",
                "minutes": 60,
                "usd": 18,
                "cause": "ct_shared",
            },
            {"what": "Pressure cap", "minutes": 5, "usd": 22, "cause": "xc_cap"},
        ],
        total_usd=203,
        limit_usd=260,
    )
    w.add("approval", by="Chief of Sampleton (invented)", how="phone", quote=quote, limit_usd=260)
    w.add(
        "work",
        cause="ct_shared",
        did="Light bar and siren given a ground of their own at the "
        "frame; sensor-ground stud cleaned.",
        minutes=55,
        after=80,
        parts=[{"name": "Cable, lug, star washer", "usd": 18}],
        torques=[{"location": "Ground stud at the frame"}],
    )
    w.read("ground_drop", {720: "12 mV"}, instrument=METER, source="siren and light bar on, 40 A")
    w.add(
        "work",
        cause="xc_cap",
        did="Pressure cap renewed.",
        minutes=5,
        parts=[{"name": "Pressure cap, 15 psi", "usd": 22}],
    )
    w.read(
        "ground_drop",
        {720: "12 mV"},
        instrument=METER,
        source="siren and light bar on, 40 A",
    )
    w.read(
        "coolant_housing_temperature",
        {720: "88 degC"},
        instrument=PROBE,
        source="probe under a strap, lights on",
    )
    w.read(
        "coolant_pressure",
        {0: "15 psi"},
        instrument=TESTER,
        warm=None,
        source="new cap on the tester",
    )
    w.add("test", test="x_cap", result="negative")
    w.record("sampleton-scene-after.candump.log.gz", scene_recording(32, lifted_volt=0.0), "bus")
    w.add("test", test="c_rate", result="negative")
    w.add("test", test="c_multi", result="negative")
    w.add("test", test="c_ground", result="negative", after=15)
    w.add("test", test="c_ir", result="negative", after=15)
    w.add("test", test="c_wiggle", result="negative", after=15)
    w.days(3)
    w.add("outcome", complaint=jumps, gone=True, after_days=3, words="Three calls, no jump.")
    w.add("outcome", complaint=loss, gone=True, after_days=3, words="Same level on three mornings.")
    return Story(
        "sampleton-2",
        "Sampleton engine 2: coolant temperature jumps at a scene",
        "a third sensor, or an air pocket because the level is low",
        ("ct_shared", "xc_cap"),
        tuple(w.lines),
        w.files,
    )


def placeholder() -> Story:
    """A thermostat that really cycles: the display is right, and a sensor would change nothing."""
    w = Writer("2026-02-24T10:00:00")
    w.truck(
        "Placeholder Freight 19",
        "Placeholder Freight (invented)",
        litres=13,
        miles=410000,
        gearing=GEARING,
    )
    moves = w.add(
        "complaint",
        words="Temperature goes up and down all day on the road.",
        families=["cool_unstable"],
    )
    w.add("approval", by="Dispatcher of Placeholder (invented)", how="phone", limit_usd=500)
    w.add("clue", clue="harness_repair", seen=False)
    w.add("clue", clue="gradual", seen=True)
    w.record("placeholder-before.candump.log.gz", cycling_recording(41, sticks=7.0), "bus")
    w.add("test", test="c_cycle", result="positive", after=10)
    w.add("test", test="c_rate", result="negative", after=5)
    w.add("test", test="c_multi", result="negative", after=5)
    w.add("test", test="c_ir", result="negative", after=20)
    w.add(
        "work",
        cause="ct_thermostat",
        did="Both thermostats and their seals renewed.",
        minutes=75,
        after=180,
        parts=[{"name": "Two thermostats", "usd": 84}, {"name": "Housing seals", "usd": 15}],
        torques=[{"location": "Thermostat housing bolts"}],
    )
    w.record("placeholder-after.candump.log.gz", cycling_recording(42, sticks=0.0), "bus")
    w.add("test", test="c_cycle", result="negative", after=10)
    w.add("test", test="c_wiggle", result="negative", after=15)
    w.days(2)
    w.add("outcome", complaint=moves, gone=True, after_days=2, words="Steady for two days.")
    return Story(
        "placeholder-19",
        "Placeholder Freight 19: temperature up and down on the road",
        "a temperature sensor: the display moves",
        ("ct_thermostat",),
        tuple(w.lines),
        w.files,
    )
