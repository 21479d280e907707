"""What a recording says of damper, cylinders and a shared ground reaches page and paper.

"Looks healthy", "about the same" and "cannot tell" are results: whoever paid for the measurement
reads them, with their pictures.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import numpy as np
import pytest

from analyses.crank_material import sweep_edges
from analyses.test_alone_or_not import dips, engine
from analyses.test_plausibility_shared import channel
from analyses.test_torsional import WARM, timing
from analyses.vibration_material import bench
from web.bench_page import Client, settled
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import read_case
from witnessmark.model.recording import Recording
from witnessmark.report.as_html import paper_html
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.papers.case_papers import paper_of

AT = "2026-03-02T08:00:00Z"


def crank(extra: dict[str, object]) -> Dossier:
    edges, cam = sweep_edges(278.0, cam=True)
    made = bench([("s", 0, timing(edges, cam=cam))], extra={"s": extra})
    return assess(made.case, made.recordings)


def lifted_ground() -> Dossier:
    time, rows = engine()
    gone = dips(time)
    for name, step in (("coolant_temperature", -7.4), ("oil_pressure", 4.7e4)):
        unit, at, values = rows[name]
        rows[name] = unit, at, np.round(values + step * gone, 1)
    made = Recording(
        "x.log", "0" * 64, "bus", "test", 1800.0,
        tuple(channel(n, unit, at, v) for n, (unit, at, v) in rows.items()),
    )  # fmt: skip
    lines = [
        {"kind": "complaint", "id": "c", "at": AT,
         "data": {"words": "the gauge jumps", "families": ["cool_unstable"]}},
        {"kind": "recording", "id": "r", "at": AT, "data": {"path": "x.log"}},
    ]  # fmt: skip
    return assess(read_case("x", [json.dumps(line) for line in lines]), {"r": made})


@pytest.fixture(scope="module")
def told() -> dict[str, Dossier]:
    return {
        "healthy": crank(WARM | {"dead_centre": "29 deg"}),
        "cold": crank({"place": "nose", "point": {"warm": False, "load": "full"}}),
        "ground": lifted_ground(),
    }


@pytest.fixture(scope="module")
def seen(
    told: dict[str, Dossier], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[str, tuple[str, str]]]:
    """Kind -> what the technician's page and the customer's report say, words before tags."""
    shop = open_shop(tmp_path_factory.mktemp("spoken") / "shop", create=True)
    complaint = {"words": "shakes", "families": ["vib_load"]}
    line = json.dumps({"kind": "complaint", "id": "c", "at": AT, "data": complaint})
    for kind in told:
        shop.new_case(kind, [line])
    client = Client(create_app(shop, assess=lambda case: told[case]))
    yield {k: (settled(client, k), paper_html(paper_of(d))) for k, d in told.items()}
    client.close()
    shop.close()


def words(html: str) -> str:
    plain = re.sub(r"<(style|script|svg).*?</\1>", "", html, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", plain)).replace("&#39;", "'")


@pytest.mark.parametrize("door", [0, 1])
@pytest.mark.parametrize(
    ("kind", "said", "drawn"),
    [
        ("healthy", ["Crankshaft damper: looks healthy.", "never the sole ground for replacement",
                     "All cylinders give about the same work"],
         ["Twist mode of the crankshaft", "Cylinders against their mean"]),
        ("cold", ["Crankshaft damper: cannot tell.", "ngine is cold",
                  "The cylinders cannot be compared from this recording."],
         ["Twist mode of the crankshaft"]),
        ("ground", ["When the coolant temperature drops, the oil pressure rises",
                    "One sensor ground that lifts does that, not the sensors."],
         ["What steps together", "engine coolant: the trace", "engine oil pressure: the trace"]),
    ],
)  # fmt: skip
def test_results_are_read_and_seen_by_technician_and_customer(
    seen: dict[str, tuple[str, str]], kind: str, said: list[str], drawn: list[str], door: int
) -> None:
    """Before: "Nothing has been measured yet", and no picture."""
    html = seen[kind][door]
    text = words(html)
    for sentence in said:
        assert sentence in text
    for title in drawn:
        assert f"<title>{title}" in html
    assert "has been measured yet" not in text
    assert "Cannot tell. Crankshaft damper: cannot tell" not in text


def test_the_shared_part_comes_before_each_trace_on_the_report(
    seen: dict[str, tuple[str, str]],
) -> None:
    text = words(seen["ground"][1]).split("What the recordings show:")[1]
    assert text.strip().startswith("When the coolant temperature drops, the oil pressure rises")


def test_the_wiggle_test_comes_before_two_hours_at_the_shared_ground(
    told: dict[str, Dossier],
) -> None:
    """Before: the finding asked for it and the list of steps left it out."""
    steps = [s.step for s in told["ground"].steps]
    (finding,) = (f for f in told["ground"].findings if f.code == "sensors_step_together")
    assert "Next: wiggle test" in finding.sentence
    assert steps.index("c_wiggle") < steps.index("ct_shared")
    assert steps.index("c_ground") < steps.index("ct_shared")
