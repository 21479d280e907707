"""Two invented trucks with low fuel pressure: one cause, and one that has two."""

from __future__ import annotations

from witnessmark.demo.machines.bus_log import ActiveCode
from witnessmark.demo.machines.demo_circuit import FuelFaults
from witnessmark.demo.machines.demo_recordings import GEARING, fuel_recording
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["pretend_gravel", "sham_county"]

#: Wall gauge of the invented shop.
GAUGE = {
    "id": "G1",
    "span": "160 psi",
    "accuracy": "1 % of span",
    "repeatability": "1 psi",
    "calibrated": "2026-01-12",
}
VACUUM = {"id": "V1", "span": "30 inHg", "accuracy": "0.5 inHg", "repeatability": "0.3 inHg"}
CAN = {"id": "can and watch", "accuracy": "3 % of reading", "repeatability": "0.05 gal/min"}
PULL = (1550.0, "full")
#: What this shop's six-cylinder engines were invented with: opening of their return regulators.
_MIXER_CRACK_PSI, _GRITTER_CRACK_PSI = 58.0, 61.0


def pretend_gravel() -> Story:
    """A shred of sealing tape holds the relief valve of the pump open; everybody wants a pump."""
    w = Writer("2026-03-02T08:00:00")
    w.truck(
        "Pretend Gravel mixer 31",
        "Pretend Gravel (invented)",
        litres=15,
        miles=287000,
        fuel_supply="gallery",
        gearing=GEARING,
    )
    complaint = w.add(
        "complaint", words="Runs out of breath on the quarry ramp.", families=["fuel_low"]
    )
    w.add(
        "note",
        words="Driver: it began the morning after the filters and two fittings of the fuel line "
        "were done, last Thursday. The yard has a new pump on the shelf and wants it in.",
        about="interview",
    )
    w.add(
        "approval",
        by="P. Pretend (invented)",
        how="phone",
        limit_usd=350,
        words="Find out first. Ask before any part.",
    )
    w.add("clue", clue="filters_recent", seen=True)
    w.add("clue", clue="tank_line_work", seen=True)
    w.add("clue", clue="sudden", seen=True)
    w.add("clue", clue="orig_paint", seen=True, cause="pump_worn")
    w.record(
        "gravel-before.candump.log.gz",
        fuel_recording(
            71,
            FuelFaults(relief_open=0.165, crack_psi=_MIXER_CRACK_PSI),
            sensor_low_psi=3.0,
            codes=(ActiveCode(94, 18, 9, 60.0),),
        ),
        "bus",
    )
    w.read(
        "fuel_gallery_pressure",
        {690: "59 psi", 980: "66 psi", 1570: "79 psi", 1780: "83 psi", PULL: "76 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1570: "80 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum",
        {690: "0.5 inHg", 1570: "2.5 inHg", 1780: "3.5 inHg"},
        instrument=VACUUM,
    )
    w.read(
        "fuel_return_flow",
        {690: "0.1 gal/min", 1570: "1.7 gal/min", PULL: "1.4 gal/min"},
        instrument=CAN,
    )
    w.read("fuel_gallery_pressure_return_throttled", {690: "60 psi"}, instrument=GAUGE)
    w.add("test", test="f_sight", result="negative", after=25)
    w.add("test", test="f_relief", result="positive", after=40)
    w.add(
        "note",
        words="A shred of white sealing tape lies across the relief valve's seat. Taped to the "
        "job sheet for the yard. The spring is straight and as long as the parts page says.",
    )
    quote = w.add(
        "quote",
        lines=[
            {
                "what": "Relief valve, spring and seat of the transfer pump",
                "minutes": 55,
                "usd": 88,
                "cause": "pump_relief",
            },
            {"what": "Sealing washer of the relief plug (not in the kit)", "usd": 5},
            {"what": "Both fittings of the line resealed without tape", "minutes": 20},
            {"what": "Measure again at the same points, and the ramp", "minutes": 45},
        ],
        total_usd=369,
        limit_usd=410,
    )
    w.add(
        "approval",
        by="P. Pretend (invented)",
        how="text message",
        quote=quote,
        limit_usd=410,
        after=35,
    )
    w.add(
        "approval",
        by="P. Pretend (invented)",
        how="text message",
        granted=False,
        words="Declined: a look into the tank for more tape. Risk explained: another shred may "
        "come through.",
    )
    w.add(
        "work",
        cause="pump_relief",
        did="Relief valve, spring and plug washer renewed; bore flushed; both fittings resealed "
        "with paste; the pump itself left in place.",
        minutes=71,
        after=80,
        parts=[{"name": "Relief valve kit", "usd": 88}, {"name": "Plug washer", "usd": 5}],
        torques=[
            {"location": "Relief plug in the transfer pump"},
            {"location": "Return banjo bolt", "value": "27 N·m"},
        ],
    )
    w.read(
        "fuel_gallery_pressure",
        {690: "74 psi", 980: "81 psi", 1570: "96 psi", 1780: "101 psi", PULL: "92 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1570: "99 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {690: "2 inHg", 1570: "5 inHg", 1780: "6.5 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {690: "1.3 gal/min", 1570: "3.1 gal/min", PULL: "2.8 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_drain", result="negative")
    w.record(
        "gravel-after.candump.log.gz",
        fuel_recording(72, FuelFaults(crack_psi=_MIXER_CRACK_PSI), sensor_low_psi=3.0),
        "bus",
    )
    w.days(1.2)
    w.add(
        "outcome",
        complaint=complaint,
        gone=True,
        after_days=1,
        words="Nine loads up the ramp, a gear higher.",
    )
    w.add(
        "note",
        about="recheck",
        words="Drain the primary filter and look for tape at the next oil service.",
    )
    return Story(
        "gravel-31",
        "Pretend Gravel mixer 31: out of breath on the quarry ramp",
        "the new transfer pump from the shelf: a worn one reads the same",
        ("pump_relief",),
        tuple(w.lines),
        w.files,
    )


def sham_county() -> Story:
    """A flattened suction pipe and a split seal: vacuum and air, which no one cause gives."""
    w = Writer("2026-01-19T06:30:00")
    w.truck(
        "Sham County gritter 6",
        "Sham County Roads (invented)",
        litres=15,
        miles=134000,
        fuel_supply="gallery",
        gearing=GEARING,
    )
    start = w.add(
        "complaint", words="Takes an age on the starter after a night out.", families=["hard_start"]
    )
    pull = w.add("complaint", words="Fades with a full hopper.", families=["fuel_low"])
    w.add(
        "note",
        about="interview",
        words="The county's own shop put in a fuel pump and both filters before the first snow, "
        "no change. Eighteen below zero Celsius this morning.",
    )
    w.add("approval", by="Foreman of Sham County (invented)", how="in person", limit_usd=550)
    w.add("clue", clue="cold", seen=True)
    w.add("clue", clue="filters_recent", seen=True)
    w.add("clue", clue="part_new", seen=True, cause="pump_worn")
    w.add("clue", clue="vocational", seen=True)
    w.record(
        "gritter-before.candump.log.gz",
        fuel_recording(91, FuelFaults(suction=4.8, air=0.14, crack_psi=_GRITTER_CRACK_PSI)),
        "bus",
    )
    w.read("crank_time", {0: "11 s"})
    w.read(
        "fuel_gallery_pressure",
        {690: "74 psi", 1570: "85 psi", 1780: "86 psi", PULL: "81 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1570: "86 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum",
        {690: "7.5 inHg", 1570: "15 inHg", 1780: "16.5 inHg"},
        instrument=VACUUM,
    )
    w.read(
        "fuel_return_flow",
        {690: "1.1 gal/min", 1570: "2.0 gal/min", 1780: "2.1 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="positive", after=25)
    w.add("test", test="f_tank", result="negative", after=25)
    w.add("note", words="An hour in the heated wash bay: no change, so it is not wax.")
    w.add(
        "work",
        cause="suction_line",
        did="Suction pipe between tank and pump renewed; the old one is flattened where it had "
        "rubbed on the spreader's frame.",
        minutes=105,
        after=130,
        parts=[{"name": "Pipe and two hoses", "usd": 92}, {"name": "Clips", "usd": 11}],
    )
    w.read(
        "fuel_gallery_pressure",
        {690: "74 psi", 1570: "93 psi", 1780: "97 psi", PULL: "89 psi"},
        instrument=GAUGE,
    )
    w.read(
        "fuel_suction_vacuum",
        {690: "1.5 inHg", 1570: "4.5 inHg", 1780: "5 inHg"},
        instrument=VACUUM,
    )
    w.read(
        "fuel_return_flow",
        {690: "1.1 gal/min", 1570: "2.6 gal/min", 1780: "3.0 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="positive", after=20)
    w.days(1)
    w.read("crank_time", {0: "7 s"})
    w.add("outcome", complaint=start, gone=False, after_days=1, words="Better, still an age.")
    w.add(
        "work",
        cause="air_ingress",
        did="Bowl of the primary filter taken off; split seal renewed, groove cleaned, system "
        "primed.",
        minutes=35,
        after=45,
        parts=[{"name": "Bowl seal", "usd": 12}],
        torques=[{"location": "Primary filter bowl"}],
    )
    w.read(
        "fuel_gallery_pressure",
        {690: "77 psi", 1570: "98 psi", 1780: "104 psi", PULL: "95 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1570: "102 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {690: "2 inHg", 1570: "5 inHg", 1780: "6 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {690: "1.3 gal/min", 1570: "3.1 gal/min", 1780: "3.5 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="negative", after=20)
    w.record(
        "gritter-after.candump.log.gz",
        fuel_recording(92, FuelFaults(crack_psi=_GRITTER_CRACK_PSI)),
        "bus",
    )
    w.days(3)
    w.read("crank_time", {0: "2 s"})
    w.add(
        "outcome",
        complaint=start,
        gone=True,
        after_days=3,
        words="Fires at once, three nights out.",
    )
    w.add("outcome", complaint=pull, gone=True, after_days=3, words="Full hopper, no fading.")
    return Story(
        "gritter-6",
        "Sham County gritter 6: long on the starter, fades with a full hopper",
        "the fuel pump once more, or gelled fuel: idle pressure looks fine and it is cold",
        ("suction_line", "air_ingress"),
        tuple(w.lines),
        w.files,
    )
