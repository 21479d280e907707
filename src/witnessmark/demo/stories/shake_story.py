"""An invented chip truck that shakes: an aged damper and, under it, a collapsed mount."""

from __future__ import annotations

from witnessmark.demo.machines.demo_recordings import GEARING, shake_recordings
from witnessmark.demo.machines.shaking import Shake
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["supposed_sawmill"]

_DAMPER = Shake(6.0, 0.8, resonance_rpm=1510, width_rpm=150)
_MOUNT = Shake(3.0, 1.0, resonance_rpm=1400, width_rpm=420, unloaded=0.1)
_HEALTHY = (
    Shake(3.0, 0.20),
    Shake(6.0, 0.10),
    Shake(0.5, 0.03),
    Shake(1.0, 0.08),
    Shake(1.0, 0.05, carrier="shaft"),
)
THICKNESS = {"id": "micrometer 2", "accuracy": "0.001 in", "repeatability": "0.0005 in"}
PICKUP = {"id": "tooth pickup", "accuracy": "0.02 deg", "repeatability": "0.01 deg"}
ANGLES = {"id": "inclinometer", "accuracy": "0.2 deg", "repeatability": "0.1 deg"}


def supposed_sawmill() -> Story:
    """Follows engine speed; the damper first, and what is left over belongs to a mount."""
    w = Writer("2026-04-07T07:30:00")
    w.truck(
        "Supposed Sawmill chipper 14",
        "Supposed Sawmill (invented)",
        litres=13,
        miles=523000,
        gearing=GEARING,
    )
    shake = w.add("complaint", words="The mirrors blur on every climb.", families=["vib_load"])
    shudder = w.add(
        "complaint", words="Judders when it moves away with a load.", families=["vib_load"]
    )
    w.add(
        "note",
        about="interview",
        words="The driver has had the propeller shaft balanced and two "
        "injectors renewed, one after the other. Neither helped.",
    )
    w.add("approval", by="Owner of Supposed Sawmill (invented)", how="phone", limit_usd=700)
    w.add("clue", clue="engbrake", seen=True)
    w.add("clue", clue="loaded_only", seen=True)
    w.add("clue", clue="orig_paint", seen=True, cause="damper_aged")
    _recorded(w, "sawmill-before", 61, (_DAMPER, _MOUNT, *_HEALTHY))
    w.add("test", test="v_neutral", result="negative", after=10)
    w.add("test", test="v_gear", result="positive", after=25)
    w.add("test", test="v_cutout", result="negative", after=20)
    w.read(
        "torsional_amplitude",
        {(1510.0, "full"): "0.18 deg"},
        instrument=PICKUP,
        source="order 6, half of 0.36 deg peak to peak",
    )
    w.read("damper_thickness_spread", {0: "0.023 in"}, instrument=THICKNESS, warm=None)
    w.read("joint_angle", {0: "2.6 deg"}, instrument=ANGLES, warm=None, source="front joint")
    w.read("joint_angle", {0: "2.4 deg"}, instrument=ANGLES, warm=None, source="rear joint")
    w.add("test", test="v_damp_vis", result="positive", after=20)
    w.add("test", test="v_bolt", result="negative", after=15)
    w.add("test", test="v_angle", result="negative", after=30)
    quote = w.add(
        "quote",
        lines=[
            {
                "what": "Crank damper with new bolts",
                "minutes": 210,
                "usd": 575,
                "cause": "damper_aged",
            },
            {"what": "Front seal and wear sleeve (disturbed)", "minutes": 25, "usd": 72},
            {"what": "The same road test again", "minutes": 45},
        ],
        total_usd=1291,
        limit_usd=1450,
    )
    w.add(
        "approval",
        by="Owner of Supposed Sawmill (invented)",
        how="text message",
        quote=quote,
        limit_usd=1450,
        words="A failed damper can break the crankshaft: understood.",
    )
    w.add(
        "work",
        cause="damper_aged",
        did="Crank damper renewed with bolts, front seal and wear sleeve.",
        minutes=225,
        after=300,
        parts=[
            {"name": "Crank damper", "usd": 520},
            {"name": "Bolt set", "usd": 55},
            {"name": "Front seal and wear sleeve", "usd": 72},
        ],
        torques=[{"location": "Damper bolts, step 1"}, {"location": "Damper bolts, angle"}],
    )
    _recorded(w, "sawmill-damper", 62, (_MOUNT, *_HEALTHY))
    w.read(
        "torsional_amplitude",
        {(1510.0, "full"): "0.045 deg"},
        instrument=PICKUP,
        source="order 6, half of 0.09 deg peak to peak",
    )
    w.add("outcome", complaint=shake, gone="partly", after_days=1, words="Better, not gone.")
    w.add("outcome", complaint=shudder, gone=False, after_days=1, words="Still shudders.")
    w.read("mount_lift", {0: "0.9 in"}, warm=None, source="right front, stalled for seconds")
    w.add("test", test="v_mount", result="positive", after=10)
    w.add(
        "approval",
        by="Owner of Supposed Sawmill (invented)",
        how="phone",
        limit_usd=1900,
        words="Both mounts, same day.",
    )
    w.add(
        "work",
        cause="engine_mounts",
        did="Both front engine mounts renewed.",
        minutes=95,
        after=130,
        parts=[{"name": "Two mounts", "usd": 186}],
        torques=[{"location": "Mount bolts, left"}, {"location": "Mount bolts, right"}],
    )
    _recorded(w, "sawmill-after", 63, _HEALTHY)
    w.read(
        "torsional_amplitude",
        {(1510.0, "full"): "0.045 deg"},
        instrument=PICKUP,
        source="order 6, half of 0.09 deg peak to peak",
    )
    w.read("mount_lift", {0: "0.2 in"}, warm=None, source="right front, stalled for seconds")
    w.add("test", test="v_mount", result="negative", after=10)
    w.days(2)
    w.add("test", test="v_bolt", result="negative", after=15)
    w.add(
        "outcome",
        complaint=shake,
        gone=True,
        after_days=2,
        words="The mirrors stand still on the climb.",
    )
    w.add("outcome", complaint=shudder, gone=True, after_days=2, words="Moves away clean.")
    w.add("note", about="recheck", words="Paint marks of damper and mounts at 100 miles.")
    return Story(
        "sawmill-14",
        "Supposed Sawmill chipper 14: mirrors blur on the climb, judders when moving away",
        "more injectors, or the propeller shaft once more",
        ("damper_aged", "engine_mounts"),
        tuple(w.lines),
        w.files,
    )


def _recorded(w: Writer, name: str, seed: int, shakes: tuple[Shake, ...]) -> None:
    log, table = shake_recordings(seed, shakes)
    w.record(f"{name}.candump.log.gz", log, "bus")
    w.record(f"{name}-phone.csv", table, "vibration")
