"""An invented moving van that breathes oil: two causes, and miles that shout for an overhaul."""

from __future__ import annotations

from witnessmark.demo.stories.story import Story, Writer

__all__ = ["mock_movers"]

MANOMETER = {"id": "U1", "span": "40 inH2O", "accuracy": "0.2 inH2O", "repeatability": "0.1 inH2O"}
_PULL = (1540.0, "full")


def mock_movers() -> Story:
    """A plugged separator and worn compressor rings; the first reading was void."""
    w = Writer("2026-05-04T08:15:00")
    w.truck("Mock Movers van 9", "Mock Movers (invented)", litres=12.5, miles=822000)
    breather = w.add("complaint", words="It spits oil from the breather.", families=["crankcase"])
    leak = w.add("complaint", words="There is oil behind the front pulley.", families=["oil_leak"])
    w.add(
        "note",
        about="interview",
        words="The owner has been told elsewhere that the engine is worn out.",
    )
    w.add("approval", by="Mock Movers office (invented)", how="e-mail", limit_usd=750)
    void = w.add(
        "reading",
        quantity="crankcase_pressure",
        value="29 inH2O",
        point={"rpm": 2050, "load": "none", "warm": True},
        instrument=MANOMETER,
    )
    w.add("retract", entry=void, why="Measured without the orifice: the reading is void.")
    w.read("oil_temperature", {2050: "196 degF"})
    w.read(
        "crankcase_pressure",
        {680: "5.3 inH2O", 2050: "15.5 inH2O", _PULL: "18.4 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="b_cut", result="negative", after=20)
    w.add("test", test="b_leakdown", result="negative", after=60)
    w.read("leak_down", {0: "11 %"}, source="9 to 13 % on all six, even")
    w.add("test", test="b_breather", result="positive", after=25)
    w.add(
        "note",
        words="With the separator bypassed high idle falls to 9.1 inH2O: better, and "
        "still above the limit of this engine.",
    )
    w.add("test", test="l_clean", result="positive", after=30)
    w.add(
        "approval",
        by="Mock Movers office (invented)",
        how="e-mail",
        limit_usd=750,
        words="Separator first.",
    )
    w.add(
        "work",
        cause="cc_breather",
        did="Crankcase separator and its hoses renewed.",
        minutes=45,
        after=60,
        parts=[{"name": "Separator element", "usd": 104}, {"name": "Hose and clamps", "usd": 31}],
    )
    w.read(
        "crankcase_pressure",
        {680: "2.8 inH2O", 2050: "9.1 inH2O", _PULL: "10.9 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="b_compr", result="positive", after=20)
    w.add("note", words="Air compressor isolated: high idle 2.9 inH2O.")
    w.add(
        "approval",
        by="Mock Movers office (invented)",
        how="e-mail",
        limit_usd=1550,
        words="Compressor approved. Front seal: wait and see.",
    )
    w.add(
        "approval",
        by="Mock Movers office (invented)",
        how="e-mail",
        granted=False,
        words="Declined: front seal. Risk explained: it may have to be done later.",
    )
    w.add(
        "work",
        cause="cc_comp",
        did="Air compressor exchanged, gasket and seals renewed, "
        "discharge line checked for carbon.",
        minutes=205,
        after=240,
        parts=[
            {"name": "Exchange compressor", "usd": 495, "core_usd": 120},
            {"name": "Gasket and seals", "usd": 22},
        ],
        torques=[{"location": "Compressor flange"}, {"location": "Compressor drive nut"}],
    )
    w.read("oil_temperature", {2050: "196 degF"})
    w.read(
        "crankcase_pressure",
        {680: "0.7 inH2O", 2050: "2.7 inH2O", _PULL: "4.1 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="l_clean", result="negative", after=60)
    w.days(9)
    w.add("outcome", complaint=breather, gone=True, after_days=9, words="620 miles, breather dry.")
    w.add(
        "outcome",
        complaint=leak,
        gone=True,
        after_days=9,
        words="Dry behind the pulley at 620 miles; nobody touched the seal.",
    )
    w.add(
        "note",
        about="recheck",
        words="Oil use over the next 3,000 miles; old compressor back "
        "to the counter within 30 days for its deposit.",
    )
    return Story(
        "movers-9",
        "Mock Movers van 9: spits oil from the breather, oil behind the pulley",
        "piston rings and an overhaul: 822,000 miles shout it",
        ("cc_breather", "cc_comp"),
        tuple(w.lines),
        w.files,
    )
