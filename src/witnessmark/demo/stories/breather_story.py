"""An invented milk tanker that breathes oil: two causes, and miles that shout for an overhaul."""

from __future__ import annotations

from witnessmark.demo.stories.story import Story, Writer

__all__ = ["mock_dairy"]

MANOMETER = {"id": "U1", "span": "40 inH2O", "accuracy": "0.2 inH2O", "repeatability": "0.1 inH2O"}
_PULL = (1500.0, "full")


def mock_dairy() -> Story:
    """A plugged separator and worn compressor rings; the first reading was void."""
    w = Writer("2026-05-04T08:15:00")
    w.truck("Mock Dairy tank 12", "Mock Dairy (invented)", litres=12.5, miles=910000)
    breather = w.add("complaint", words="Oil from the breather.", families=["crankcase"])
    leak = w.add("complaint", words="Front seal leaks.", families=["oil_leak"])
    w.add(
        "note",
        about="interview",
        words="Another shop quoted an overhaul, 18 to 25 thousand dollars.",
    )
    w.add("approval", by="Mock Dairy office (invented)", how="e-mail", limit_usd=800)
    void = w.add(
        "reading",
        quantity="crankcase_pressure",
        value="22 inH2O",
        point={"rpm": 2100, "load": "none", "warm": True},
        instrument=MANOMETER,
    )
    w.add("retract", entry=void, why="Measured without the orifice: the reading is void.")
    w.read("oil_temperature", {2100: "190 degF"})
    w.read(
        "crankcase_pressure",
        {700: "4.5 inH2O", 2100: "14 inH2O", _PULL: "17 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="b_cut", result="negative", after=20)
    w.add("test", test="b_leakdown", result="negative", after=60)
    w.read("leak_down", {0: "15 %"}, source="12 to 17 % on all six, even")
    w.add("test", test="b_breather", result="positive", after=25)
    w.add(
        "note",
        words="With the separator bypassed high idle falls to 8.2 inH2O: better, and "
        "still above the limit of this engine.",
    )
    w.add("test", test="l_clean", result="positive", after=30)
    w.add(
        "approval",
        by="Mock Dairy office (invented)",
        how="e-mail",
        limit_usd=800,
        words="Separator first.",
    )
    w.add(
        "work",
        cause="cc_breather",
        did="Crankcase separator and its hoses renewed.",
        minutes=50,
        after=60,
        parts=[{"name": "Separator element", "usd": 120}, {"name": "Hose and clamps", "usd": 24}],
    )
    w.read(
        "crankcase_pressure",
        {700: "2.4 inH2O", 2100: "8.2 inH2O", _PULL: "9.8 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="b_compr", result="positive", after=20)
    w.add("note", words="Air compressor isolated: high idle 3.4 inH2O.")
    w.add(
        "approval",
        by="Mock Dairy office (invented)",
        how="e-mail",
        limit_usd=1700,
        words="Compressor approved. Front seal: wait and see.",
    )
    w.add(
        "approval",
        by="Mock Dairy office (invented)",
        how="e-mail",
        granted=False,
        words="Declined: front seal. Risk explained: it may have to be done later.",
    )
    w.add(
        "work",
        cause="cc_comp",
        did="Air compressor exchanged, gasket and seals renewed, "
        "discharge line checked for carbon.",
        minutes=190,
        after=240,
        parts=[
            {"name": "Exchange compressor", "usd": 540, "core_usd": 150},
            {"name": "Gasket and seals", "usd": 26},
        ],
        torques=[{"location": "Compressor flange"}, {"location": "Compressor drive nut"}],
    )
    w.read("oil_temperature", {2100: "190 degF"})
    w.read(
        "crankcase_pressure",
        {700: "0.8 inH2O", 2100: "3.1 inH2O", _PULL: "4.6 inH2O"},
        instrument=MANOMETER,
    )
    w.add("test", test="l_clean", result="negative", after=60)
    w.days(9)
    w.add("outcome", complaint=breather, gone=True, after_days=9, words="500 miles, breather dry.")
    w.add(
        "outcome",
        complaint=leak,
        gone=True,
        after_days=9,
        words="Seal dry at 500 miles without being replaced.",
    )
    w.add(
        "note",
        about="recheck",
        words="Oil use over the next 2,400 miles; old compressor back "
        "to the counter within 30 days for its deposit.",
    )
    return Story(
        "mock-dairy-12",
        "Mock Dairy tank 12: oil from the breather, front seal leak",
        "piston rings and an overhaul: 910,000 miles shout it",
        ("cc_breather", "cc_comp"),
        tuple(w.lines),
        w.files,
    )
