"""Two invented trucks whose temperature display moves: one lies, one tells the truth."""

from __future__ import annotations

from witnessmark.demo.machines.demo_recordings import GEARING, cycling_recording, scene_recording
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["nowhere_rescue", "placeholder"]

PROBE = {"id": "P1", "accuracy": "1 degC", "repeatability": "0.5 degC"}
METER = {"id": "M1", "accuracy": "1 mV", "repeatability": "1 mV"}
TESTER = {"id": "C1", "span": "30 psi", "accuracy": "0.5 psi", "repeatability": "0.5 psi"}


def nowhere_rescue() -> Story:
    """Mast lamps grounded on the sensors' stud, and a weak pressure cap beside it."""
    w = Writer("2026-02-10T09:00:00")
    w.truck(
        "Nowhere Rescue tender 5", "Nowhere Rescue (invented)", litres=9, miles=44000, hours=7300
    )
    jumps = w.add(
        "complaint",
        words="The temperature needle hops while we stand at a job.",
        families=["cool_unstable"],
    )
    loss = w.add(
        "complaint",
        words="We top up half a gallon of coolant a month and find no drip.",
        families=["coolant_cross"],
    )
    w.add(
        "note",
        about="interview",
        words="A sensor and a thermostat were fitted last winter. "
        "The mast lamps were added the summer before.",
    )
    w.add("approval", by="Captain of Nowhere (invented)", how="in person", limit_usd=650)
    w.add("clue", clue="harness_repair", seen=True)
    w.add("clue", clue="part_new", seen=True, cause="ct_sensor")
    w.add("clue", clue="part_new", seen=True, cause="ct_thermostat")
    w.add("clue", clue="topups", seen=True)
    w.add("clue", clue="idle_hours", seen=True)
    w.record("rescue-scene-before.candump.log.gz", scene_recording(31, lifted_volt=0.23), "bus")
    w.read(
        "coolant_housing_temperature",
        {720: "87 degC"},
        instrument=PROBE,
        source="probe under a strap, lamps on",
    )
    w.read("ground_drop", {720: "230 mV"}, instrument=METER, source="pump and mast lamps on, 46 A")
    w.add("test", test="c_rate", result="positive")
    w.add("test", test="c_multi", result="positive")
    w.add("test", test="c_ir", result="positive", after=20)
    w.add("test", test="c_ground", result="positive", after=25)
    w.read(
        "coolant_pressure",
        {0: "6 psi"},
        instrument=TESTER,
        warm=None,
        source="cap on the tester, marked 13 psi",
    )
    w.add("test", test="x_cap", result="positive")
    w.add("test", test="x_press", result="negative", after=30)
    w.add("test", test="x_gas", result="negative", after=25)
    quote = w.add(
        "quote",
        lines=[
            {
                "what": "Ground of the mast lamps moved to the frame, sensor stud cleaned",
                "minutes": 65,
                "usd": 24,
                "cause": "ct_shared",
            },
            {"what": "Pressure cap", "minutes": 5, "usd": 19, "cause": "xc_cap"},
        ],
        total_usd=204,
        limit_usd=250,
    )
    w.add("approval", by="Captain of Nowhere (invented)", how="phone", quote=quote, limit_usd=250)
    w.add(
        "work",
        cause="ct_shared",
        did="Mast lamps given a ground of their own at the frame; sensor-ground stud cleaned.",
        minutes=70,
        after=80,
        parts=[{"name": "Cable, lug, star washer", "usd": 24}],
        torques=[{"location": "Ground stud at the frame"}],
    )
    w.read("ground_drop", {720: "9 mV"}, instrument=METER, source="pump and mast lamps on, 46 A")
    w.add(
        "work",
        cause="xc_cap",
        did="Pressure cap renewed.",
        minutes=5,
        parts=[{"name": "Pressure cap, 13 psi", "usd": 19}],
    )
    w.read(
        "ground_drop",
        {720: "9 mV"},
        instrument=METER,
        source="pump and mast lamps on, 46 A",
    )
    w.read(
        "coolant_housing_temperature",
        {720: "87 degC"},
        instrument=PROBE,
        source="probe under a strap, lamps on",
    )
    w.read(
        "coolant_pressure",
        {0: "13 psi"},
        instrument=TESTER,
        warm=None,
        source="new cap on the tester",
    )
    w.add("test", test="x_cap", result="negative")
    w.record("rescue-scene-after.candump.log.gz", scene_recording(32, lifted_volt=0.0), "bus")
    w.add("test", test="c_rate", result="negative")
    w.add("test", test="c_multi", result="negative")
    w.add("test", test="c_ground", result="negative", after=15)
    w.add("test", test="c_ir", result="negative", after=15)
    w.add("test", test="c_wiggle", result="negative", after=15)
    w.days(4)
    w.add(
        "outcome", complaint=jumps, gone=True, after_days=4, words="Four jobs, the needle stands."
    )
    w.add("outcome", complaint=loss, gone=True, after_days=4, words="Same mark on four mornings.")
    return Story(
        "rescue-5",
        "Nowhere Rescue tender 5: the temperature needle hops at a job",
        "another sensor, or an air pocket because the level is low",
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
