"""No text of the packs or of a job proposes to take an emission control out of action.

Whoever does that to a certified engine breaks federal law, the shop like the owner: 42 U.S.C.
7522(a)(3). A text is read sentence by sentence; what may stand is named here with its reason.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).parents[2]
SRC = ROOT / "src" / "witnessmark"
#: Words that mean it whatever they speak of.
ALWAYS = re.compile(
    r"\b(delet\w*|simulators?|emulat\w*|defeat\w*|straight[ -]pipe\w*|block[ -]off"
    r"|blank(?:ed|ing|s)?[ -]off|tun(?:e|ed|ing) out)\b",
    re.IGNORECASE,
)
#: Words that mean it when they speak of an emission control.
ACT = re.compile(
    r"\b(by-?pass\w*|blanked|block(?:s|ed|ing)?(?:[ -]off)?|gut(?:s|ted|ting)?|simulat\w*"
    r"|fool(?:s|ed|ing)?|trick\w*|disabl\w*|unplug\w*|disconnect\w*|fak(?:e|es|ed|ing)|cheat\w*"
    r"|resistors?|hollow\w*|(?:core|drill|knock)(?:s|d|ed|ing)? out|weld(?:s|ed|ing)? (?:it )?shut"
    r"|(?:switch|turn|cod|map|program)(?:s|e|es|d|ed|ing|med|ming)? (?:\w+ ){0,3}(?:off|out)"
    r"|(?:driv|run)\w* (?:it |on )?without|left off|(?:held|kept) shut|never put back)\b",
    re.IGNORECASE,
)
CONTROL = re.compile(
    r"\b(particulate|filters?|catalysts?|urea|dosers?|dosing|NOx|exhaust[ -]gas|EGR|recirculation"
    r"|regenerations?|derates?|inducement|emissions?|aftertreatment|breathers?|ventilation|DPF|SCR"
    r"|DEF|conversion test)\b",
    re.IGNORECASE,
)
#: What may stand: how the sentence reads (whole) -> why it proposes nothing of the kind.
ALLOWED = {
    r"No delete, no bypass, no simulator: .*": "forbids it",
    r"No delete, no simulator: .*": "forbids it",
    r"Nothing is defeated: .*": "forbids it",
    r"A short block-off for a test, .* is undone before the truck leaves.*": "undone, written down",
    r"Main switch or negative off only after the waiting time: .*": "a wait that spares the lines",
    r"stop a regeneration by its switch .*": "one that will not end; not the control",
    r"Filter cracked, melted or hollow: .*": "what is found, and renewed",
    r"Doser, shut-off and sensor plugs: .* ohms unplugged": "unplugged to be measured",
    r".*(?:blocked filter|filter blocked|blocked air filter).*": "a filter of air or fuel",
    r".*filter-head bypass valve.*": "the oil filter's own valve",
    r"(?=.*\bbreather\b)(?=.*\b(?:reading|re-measure|isolate|isolated|limit)\b).*": (
        "parted for one reading and fitted again"
    ),
}  # fmt: skip
#: Invented; each must be caught.
FORBIDDEN = [
    "Unplug the NOx sensor and fit a small box so that the derate stays away.",
    "Blank off the exhaust-gas cooler and drive it until the part comes.",
    "Have the particulate filter cored out and welded up again.",
    "A simulator on the plug keeps the lamp quiet.",
    "Turn the dosing off in the control and clear the count.",
    "The catalyst was gutted; run without it.",
    "Delete kit fitted, pipe straight through.",
]
HARMLESS = [
    "Filter out, cleaned by a cleaning house, weighed before and after.",
    "The exhaust-gas valve is swept by command, three times.",
    "Wait until the urea pump stops, then open the coupling.",
]


def caught(sentence: str) -> bool:
    """Whether a sentence speaks of taking a control out of action and is not allowed by name."""
    meant = ALWAYS.search(sentence) or (ACT.search(sentence) and CONTROL.search(sentence))
    return bool(meant) and not any(re.fullmatch(a, sentence, re.I | re.S) for a in ALLOWED)


def sentences(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"(?<=[.;!?])\s+|\n\n", text)]


def strings(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from strings(inner)


def texts_of(path: Path) -> Iterator[str]:
    """Every text of a data file; every constant of a module that forms sentences."""
    if path.suffix == ".toml":
        yield from strings(tomllib.loads(path.read_text(encoding="utf-8")))
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


#: How people say things, to be understood and never shown.
HEARD = {"said", "words"}
PACKS = sorted(p for p in (SRC / "knowledge").rglob("*.toml") if p.parent.name not in HEARD)
WORDS = sorted((SRC / "words").rglob("*.py")) + sorted((SRC / "planner").rglob("*.py"))
STORIES = sorted((SRC / "demo").rglob("*.toml"))


@pytest.mark.parametrize("path", [*PACKS, *WORDS, *STORIES], ids=lambda p: p.name)
def test_no_text_takes_an_emission_control_out_of_action(path):
    found = [s for text in texts_of(path) for s in sentences(text) if caught(s)]
    assert found == []


def test_every_text_of_the_packs_is_read():
    read = {s for path in PACKS for text in texts_of(path) for s in sentences(text)}
    for family in load_knowledge().families.values():
        for part in (*family.causes, *family.tests):
            assert set(sentences(part.name)) <= read, part.id
            assert set(sentences(part.rules.say)) <= read, part.id


@pytest.mark.parametrize("sentence", FORBIDDEN)
def test_what_takes_a_control_out_of_action_is_caught(sentence):
    assert caught(sentence)


@pytest.mark.parametrize("sentence", HARMLESS)
def test_what_repairs_or_tests_a_control_is_not(sentence):
    assert not caught(sentence)


def test_what_is_allowed_is_no_door_for_more():
    for sentence in FORBIDDEN:
        assert caught(f"Before the truck leaves: {sentence}")


#: Words of a step that burns the filter clean or heats the exhaust while the truck stands.
HOT = re.compile(r"parked regeneration|conversion test parked|parked conversion", re.IGNORECASE)


def test_a_parked_regeneration_has_its_hot_exhaust_on_the_card():
    steps = [
        step
        for family in load_knowledge().families.values()
        for step in (*family.causes, *family.tests)
        if HOT.search(step.name) and step.rules.state and step.rules.state.engine == "running"
    ]
    assert {"rft_parked", "dft_conv"} <= {step.id for step in steps}
    for step in steps:
        assert {"regen", "exhaust_hot", "fumes"} <= set(step.rules.cautions), step.id
        assert step.rules.state.outdoors, step.id
