"""Knowledge is data: what of the packs is named in the program, and the kinds of rule there are.

Counted by the syntax tree: every constant, the constant parts of f-strings, and every data file of
the package that is no pack. The docstrings are prose and do not count. The stories of the demo are
cases (entries of an invented shop), no rules, and do not count either.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Literal, get_args, get_origin

from conftest import ROOT
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.parts.check_parts import CHECK_KINDS
from witnessmark.knowledge.parts.pack_parts import PackFile
from witnessmark.knowledge.parts.part_base import PackPart
from witnessmark.knowledge.parts.rule_parts import BLOCKS
from witnessmark.knowledge.published import parts_of
from witnessmark.units import QUANTITIES

SRC = ROOT / "src" / "witnessmark"
#: Packs, the job cards of their causes (data like them), and what is no rule.
APART = ("knowledge/packs", "knowledge/jobs", "knowledge/schema", "demo")
#: One module for each physical model may name what its equations speak of.
PHYSICAL = frozenset(
    {
        "inference/fuel/fuel_groups.py",
        "inference/circuits/kinds/air_circuit.py",
        "inference/circuits/kinds/bus_line_circuit.py",
        "inference/circuits/kinds/charge_circuit.py",
        "inference/circuits/kinds/cooling_circuit.py",
        "inference/circuits/kinds/rest_circuit.py",
        "inference/circuits/kinds/start_circuit.py",
        "inference/circuits/kinds/stroke_circuit.py",
    }
)
#: Module -> how many ids of families, causes, tests, clues, stops, measurements it may name at
#: most. None today; it may only shrink.
NAMED: dict[str, int] = {}
#: Ids that are plain words too; these modules were read and mean the word, not the id.
PLAIN = {
    "analyses/sensors/coolant_sentences.py": {"electrical"},
    "analyses/sensors/cross_words.py": {"electrical", "overheat"},
    "analyses/sensors/liveliness.py": {"contact"},
    "analyses/sensors/one_trace.py": {"contact"},
    "analyses/together/of_one_channel.py": {"contact", "electrical"},
    "readers/tables/event_list.py": {"rise"},
    "web/pages/inspection_forms.py": {"carrier"},  # who operates the truck, not a bearing
    "workflow/keeping/erase.py": {"carrier"},
    "workflow/case/uploads.py": {"sweep"},
}
#: The two keys of an onset name the clues that tell it; the shipped clues have the same names.
ONSET_KEYS = frozenset({"sudden", "gradual"})
WORD = re.compile(r"[a-z][a-z0-9_]*")


@cache
def ids() -> frozenset[str]:
    known = load_knowledge()
    found: set[str] = {*known.families, *known.conditions}
    for family in known.families.values():
        for parts in (family.causes, family.tests, family.stops, family.measurements):
            found |= {part.id for part in parts}
    # What is a quantity or a word of the format as well is mostly meant as that.
    plain = {*QUANTITIES, *vocabulary(), *ONSET_KEYS}
    return frozenset((found | {stop.id for stop in known.stops}) - plain)


def vocabulary() -> set[str]:
    return {
        word
        for part in parts_of(PackFile)
        for field in part.model_fields.values()
        for word in literals(field.annotation)
    }


def literals(kind: object) -> Iterator[str]:
    for argument in get_args(kind):
        if get_origin(kind) is Literal:
            yield argument
        else:
            yield from literals(argument)


def constants(path: Path) -> Iterator[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    prose = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and id(node) not in prose:
            if isinstance(node.value, str):
                yield node.value
        elif isinstance(node, ast.keyword) and node.arg is not None:
            yield node.arg


def named_in(path: Path) -> set[str]:
    texts = constants(path) if path.suffix == ".py" else [path.read_text(encoding="utf-8")]
    found = set()
    for text in texts:
        for word in WORD.findall(text):
            if word in ids() and ("_" in word or (word == text and path.suffix == ".py")):
                found.add(word)
    return found


def counted() -> dict[str, set[str]]:
    kinds = {".py", ".toml", ".json", ".jsonl", ".yaml", ".html", ".js", ".typ", ".txt", ".csv"}
    files = (p for p in sorted(SRC.rglob("*")) if p.suffix in kinds)
    names = {str(p.relative_to(SRC)): p for p in files}
    every = {n: named_in(p) for n, p in names.items() if not n.startswith(APART)}
    left = {n: found - PLAIN.get(n, set()) for n, found in every.items() if n not in PHYSICAL}
    return {n: found for n, found in left.items() if found}


def test_the_program_names_no_more_of_the_packs_than_it_did() -> None:
    found = counted()
    more = {n: sorted(f) for n, f in found.items() if len(f) > NAMED.get(n, 0)}
    assert not more, "a rule of trade belongs into a pack; see docs/add_a_family.md"


def test_a_rule_that_is_written_into_the_program_is_seen(tmp_path: Path) -> None:
    module = tmp_path / "rule.py"
    module.write_text(
        '''"""Of pump_worn."""\nX = {"pump_relief": 1}\nY = f"see {X}: f_relief first"\n'''
        "Z = dict(ujoint=2)\n",
        encoding="utf-8",
    )
    assert named_in(module) == {"pump_relief", "f_relief", "ujoint"}
    table = tmp_path / "rule.json"
    table.write_text('{"stop_damper": ["v_bolt"]}', encoding="utf-8")
    assert named_in(table) == {"stop_damper", "v_bolt"}


#: The tables of a pack and the kinds of condition and of forbidding: a new one is a new kind of
#: rule, and is only worth having where families share it.
TABLES = frozenset(
    {
        "family", "causes", "tests", "conditions", "together", "onset", "signs",
        "finding_tables", "stops", "traps", "readings", "measurements", "drive_points",
        "proof_points", "proof", "triage", "codes", "links", "bands", "access_groups",
        "cautions", "retired", "cases",
    }
)  # fmt: skip
#: Tables of a family that fewer than two shipped families use today; it may only shrink.
NOT_SHARED_YET = frozenset(
    {"together", "onset", "signs", "finding_tables", "measurements", "triage", "codes"}
)


def test_the_kinds_of_rule_are_bounded() -> None:
    head = {"schema", "name", "title", "version", "sources"}
    assert {f.alias or n for n, f in PackFile.model_fields.items()} - head == TABLES
    assert len(CHECK_KINDS) <= 9
    assert len(BLOCKS) <= 11  # the key is one: pumps prime with it before anything turns


def test_a_kind_of_rule_serves_more_than_one_family() -> None:
    families = load_knowledge().families.values()
    uses = {
        "together": lambda f: f.together, "onset": lambda f: f.onset, "signs": lambda f: f.signs,
        "finding_tables": lambda f: f.finding_tables, "stops": lambda f: f.stops,
        "traps": lambda f: f.traps, "readings": lambda f: f.offered,
        "measurements": lambda f: f.measurements, "drive_points": lambda f: f.drive_points,
        "proof": lambda f: f.proof_plan, "triage": lambda f: f.triage, "codes": lambda f: f.codes,
        "cases": lambda f: f.cases,
    }  # fmt: skip
    alone = {name for name, of in uses.items() if sum(bool(of(f)) for f in families) < 2}
    assert alone <= NOT_SHARED_YET


def test_no_key_of_the_format_is_named_after_what_a_pack_holds() -> None:
    parts: list[type[PackPart]] = list(parts_of(PackFile))
    assert len(parts) > 30
    for part in parts:
        for name in part.model_fields:
            assert name not in ids(), (part.__name__, name)
