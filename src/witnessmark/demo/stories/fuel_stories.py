"""Two invented trucks with low fuel pressure: one cause, and one that has two."""

from __future__ import annotations

from witnessmark.demo.machines.bus_log import ActiveCode
from witnessmark.demo.machines.demo_circuit import FuelFaults
from witnessmark.demo.machines.demo_recordings import GEARING, fuel_recording
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["notown", "testbarley"]

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
PULL = (1500.0, "full")


def testbarley() -> Story:
    """The relief valve of a transfer pump held open by hose debris; everybody wants a pump."""
    w = Writer("2026-03-02T08:00:00")
    w.truck(
        "Testbarley unit 7",
        "Testbarley Hauling (invented)",
        litres=15,
        miles=640000,
        fuel_supply="gallery",
        gearing=GEARING,
    )
    complaint = w.add(
        "complaint", words="Low fuel pressure, lazy up grades.", families=["fuel_low"]
    )
    w.add(
        "note",
        words="Driver: began within a day of the filter and hose work 9 days ago. "
        "The owner asks for a new pump.",
        about="interview",
    )
    w.add(
        "approval",
        by="R. Testbarley (invented)",
        how="phone",
        limit_usd=400,
        words="Find out first. Ask before any part.",
    )
    w.add("clue", clue="filters_recent", seen=True)
    w.add("clue", clue="tank_line_work", seen=True)
    w.add("clue", clue="sudden", seen=True)
    w.add("clue", clue="orig_paint", seen=True, cause="pump_worn")
    w.record(
        "testbarley-before.candump.log.gz",
        fuel_recording(71, FuelFaults(relief_open=0.19), codes=(ActiveCode(94, 18, 6, 60.0),)),
        "bus",
    )
    w.read(
        "fuel_gallery_pressure",
        {700: "50 psi", 1000: "65 psi", 1500: "76 psi", 1800: "82 psi", PULL: "72 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1500: "77 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {700: "1 inHg", 1500: "2 inHg", 1800: "3 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {700: "0.05 gal/min", 1500: "1.3 gal/min", PULL: "1.0 gal/min"},
        instrument=CAN,
    )
    w.read("fuel_gallery_pressure_return_throttled", {700: "51 psi"}, instrument=GAUGE)
    w.add("test", test="f_sight", result="negative", after=25)
    w.add("test", test="f_relief", result="positive", after=40)
    w.add(
        "note",
        words="Two slivers of hose lining under the relief valve's seat. Kept in a bag "
        "for the owner. The spring is straight and of the length on the parts page.",
    )
    quote = w.add(
        "quote",
        lines=[
            {
                "what": "Relief valve, spring and seat of the transfer pump",
                "minutes": 60,
                "usd": 100,
                "cause": "pump_relief",
            },
            {"what": "Sealing washer of the relief plug (not in the kit)", "usd": 6},
            {"what": "Re-measure at the same points, and the same hill", "minutes": 50},
        ],
        total_usd=381,
        limit_usd=420,
    )
    w.add(
        "approval",
        by="R. Testbarley (invented)",
        how="text message",
        quote=quote,
        limit_usd=420,
        after=35,
    )
    w.add(
        "approval",
        by="R. Testbarley (invented)",
        how="text message",
        granted=False,
        words="Declined: renew the second, old suction hose as well. Risk explained: it may "
        "shed lining again.",
    )
    w.add(
        "work",
        cause="pump_relief",
        did="Relief valve, spring and plug washer renewed; bore "
        "flushed; the pump itself left in place.",
        minutes=62,
        after=70,
        parts=[{"name": "Relief valve kit", "usd": 100}, {"name": "Plug washer", "usd": 6}],
        torques=[
            {"location": "Relief plug in the transfer pump"},
            {"location": "Return banjo bolt", "value": "30 N·m"},
        ],
    )
    w.read(
        "fuel_gallery_pressure",
        {700: "76 psi", 1000: "83 psi", 1500: "95 psi", 1800: "103 psi", PULL: "92 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1500: "98 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {700: "2 inHg", 1500: "5 inHg", 1800: "7 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {700: "1.3 gal/min", 1500: "2.9 gal/min", PULL: "2.6 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_drain", result="negative")
    w.record("testbarley-after.candump.log.gz", fuel_recording(72, FuelFaults()), "bus")
    w.days(1.2)
    w.add(
        "outcome",
        complaint=complaint,
        gone=True,
        after_days=1,
        words="Pulls the grain grade a gear higher.",
    )
    w.add(
        "note",
        about="recheck",
        words="Look at the second suction hose at the next oil service (about 12,000 miles).",
    )
    return Story(
        "testbarley-7",
        "Testbarley unit 7: low fuel pressure, lazy up grades",
        "a new transfer pump: it still has its factory paint, and a worn one reads the same",
        ("pump_relief",),
        tuple(w.lines),
        w.files,
    )


def notown() -> Story:
    """A collapsed suction hose and a nicked seal: high vacuum and air, which no one cause gives."""
    w = Writer("2026-01-19T06:30:00")
    w.truck(
        "Notown plough 4",
        "Notown Public Works (invented)",
        litres=15,
        miles=290000,
        fuel_supply="gallery",
        gearing=GEARING,
    )
    start = w.add(
        "complaint", words="Cranks nine seconds before it fires.", families=["hard_start"]
    )
    pull = w.add("complaint", words="Dies away under the plough.", families=["fuel_low"])
    w.add(
        "note",
        about="interview",
        words="Fuel pump and both filters replaced ten days ago elsewhere, no change. Ten below "
        "zero Fahrenheit.",
    )
    w.add("approval", by="Foreman of Notown (invented)", how="in person", limit_usd=600)
    w.add("clue", clue="cold", seen=True)
    w.add("clue", clue="filters_recent", seen=True)
    w.add("clue", clue="part_new", seen=True, cause="pump_worn")
    w.add("clue", clue="vocational", seen=True)
    w.record(
        "notown-before.candump.log.gz", fuel_recording(91, FuelFaults(suction=5.0, air=0.12)), "bus"
    )
    w.read("crank_time", {0: "9 s"})
    w.read(
        "fuel_gallery_pressure",
        {700: "74 psi", 1500: "83 psi", 1800: "84 psi", PULL: "79 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1500: "85 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {700: "7 inHg", 1500: "16 inHg", 1800: "18 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {700: "1.1 gal/min", 1500: "1.9 gal/min", 1800: "2.0 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="positive", after=25)
    w.add("test", test="f_tank", result="negative", after=25)
    w.add("note", words="Fuel heated to 60 degrees Fahrenheit: no change, so it is not wax.")
    w.add(
        "work",
        cause="suction_line",
        did="Suction hose between primary filter and pump renewed; the old one is folded inside.",
        minutes=85,
        after=120,
        parts=[{"name": "Hose, 9 ft", "usd": 64}, {"name": "Two clamps", "usd": 7}],
    )
    w.read(
        "fuel_gallery_pressure",
        {700: "74 psi", 1500: "91 psi", 1800: "98 psi", PULL: "87 psi"},
        instrument=GAUGE,
    )
    w.read(
        "fuel_suction_vacuum", {700: "2 inHg", 1500: "4 inHg", 1800: "6 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {700: "1.1 gal/min", 1500: "2.5 gal/min", 1800: "3.1 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="positive", after=20)
    w.days(1)
    w.read("crank_time", {0: "6 s"})
    w.add("outcome", complaint=start, gone=False, after_days=1, words="Still long in the morning.")
    w.add(
        "work",
        cause="air_ingress",
        did="Lid of the primary filter taken off; nicked seal "
        "renewed, lid face dressed, system primed.",
        minutes=30,
        after=40,
        parts=[{"name": "Lid seal", "usd": 9}],
        torques=[{"location": "Primary filter lid, centre bolt"}],
    )
    w.read(
        "fuel_gallery_pressure",
        {700: "76 psi", 1500: "95 psi", 1800: "103 psi", PULL: "92 psi"},
        instrument=GAUGE,
    )
    w.read("fuel_prefilter_pressure", {1500: "98 psi"}, instrument=GAUGE)
    w.read(
        "fuel_suction_vacuum", {700: "2 inHg", 1500: "5 inHg", 1800: "6 inHg"}, instrument=VACUUM
    )
    w.read(
        "fuel_return_flow",
        {700: "1.3 gal/min", 1500: "2.9 gal/min", 1800: "3.5 gal/min"},
        instrument=CAN,
    )
    w.add("test", test="f_sight", result="negative", after=20)
    w.record("notown-after.candump.log.gz", fuel_recording(92, FuelFaults()), "bus")
    w.days(3)
    w.read("crank_time", {0: "2 s"})
    w.add(
        "outcome", complaint=start, gone=True, after_days=3, words="Two seconds on three mornings."
    )
    w.add("outcome", complaint=pull, gone=True, after_days=3, words="Ploughed two nights.")
    return Story(
        "notown-4",
        "Notown plough 4: hard start, dies under the plough",
        "the fuel pump once more, or gelled fuel: idle pressure looks fine and it is cold",
        ("suction_line", "air_ingress"),
        tuple(w.lines),
        w.files,
    )
