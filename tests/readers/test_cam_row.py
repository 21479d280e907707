"""A wheel whose gaps come back within the turn is told with the cam row, or offered both ways."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from conftest import Run
from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.vibration.tooth_recordings import gather_timings
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.readers import read_recording

RPM = 240.0


def edges(places: int, gaps: tuple[int, ...], turns: int, rpm: float = RPM) -> np.ndarray:
    """Return when the marks of a wheel pass, the speed swinging by 4 % twice a turn."""
    place = np.array([p for p in range(places * turns) if p % places not in gaps])
    angle = place / places
    return (angle + 0.04 / (4 * np.pi) * np.sin(4 * np.pi * angle)) * 60.0 / rpm


def table(folder: Path, crank: np.ndarray, cam: np.ndarray | None) -> Path:
    rows: list[tuple[float, int, int]] = []
    width = 0.25 * float(np.min(np.diff(crank)))
    events = [(t, 0, 1) for t in crank] + [(t + width, 0, 0) for t in crank]
    if cam is not None:
        events += [(t, 1, 1) for t in cam] + [(t + 3 * width, 1, 0) for t in cam]
    level = [0, 0]
    for time, channel, to in sorted(events):
        level[channel] = to
        rows.append((time, *level))
    head = "Time[s],crank" + (",cam" if cam is not None else "")
    lines = [head, *(f"{t:.9f},{a}" + (f",{b}" if cam is not None else "") for t, a, b in rows)]
    path = folder / "teeth.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def wheel_of(path: Path) -> dict[str, object]:
    rows = read_recording(path).facts["wheels"]
    assert isinstance(rows, list)
    return next(r for r in rows if "cam" not in r["channel"])


THREE = (10, 11, 22, 23, 34, 35)
UNEVEN = (13, 14, 16, 17, 34, 35)


def cam_marks(turns: int, at: tuple[float, ...]) -> np.ndarray:
    """Return the cam's marks at fractions of its own turn, which takes two of the crank's."""
    angle = np.array([2 * n + 2 * a for n in range(turns // 2) for a in at])
    return (angle + 0.04 / (4 * np.pi) * np.sin(4 * np.pi * angle)) * 60.0 / RPM


@pytest.mark.parametrize("at", [(0.1,), (0.1, 0.35, 0.4), (0.05, 0.2, 0.55, 0.8)])
def test_three_equal_gaps_with_a_cam(tmp_path: Path, at: tuple[float, ...]) -> None:
    found = wheel_of(table(tmp_path, edges(36, THREE, 24), cam_marks(24, at)))
    assert found["wheel"] == "36-2-2-2"
    low, middle, high = found["turn_rpm"]  # type: ignore[misc]
    assert low > 0.9 * RPM
    assert middle == pytest.approx(RPM, rel=0.02)
    assert high < 1.1 * RPM
    assert "could_also_be" not in found


def test_a_cam_without_a_name_is_told_by_its_few_edges(tmp_path: Path) -> None:
    path = table(tmp_path, edges(36, THREE, 24), cam_marks(24, (0.1,)))
    path.write_text(path.read_text().replace("crank", "Channel 0").replace("cam", "Channel 1"))
    found = wheel_of(path)
    assert (found["channel"], found["wheel"]) == ("Channel 0", "36-2-2-2")


def test_look_offers_both_readings(witnessmark: Run, tmp_path: Path) -> None:
    shown = witnessmark("look", table(tmp_path, edges(36, THREE, 24), None)).stdout
    assert "12-2 at 72" in shown
    assert "36-2-2-2 at 24" in shown


def test_a_wheel_of_twelve_with_a_cam_stays_one(tmp_path: Path) -> None:
    crank = edges(12, (10, 11), 24)
    found = wheel_of(table(tmp_path, crank, cam_marks(24, (0.1, 0.35))))
    assert found["wheel"] == "12-2"
    assert found["turn_rpm"][1] == pytest.approx(RPM, rel=0.02)  # type: ignore[index]
    assert "could_also_be" not in found


def test_teeth_alone_offer_both_readings(tmp_path: Path) -> None:
    found = wheel_of(table(tmp_path, edges(36, THREE, 24), None))
    readings = {found["wheel"]: found["turn_rpm"][1]}  # type: ignore[index]
    readings |= {r["wheel"]: r["turn_rpm"][1] for r in found["could_also_be"]}  # type: ignore[index]
    assert readings["36-2-2-2"] == pytest.approx(240.0, rel=0.02)
    assert readings["12-2"] == pytest.approx(720.0, rel=0.02)


@pytest.mark.parametrize(
    ("places", "gaps", "name"),
    [(36, UNEVEN, "36-2-2-2"), (36, (35,), "36-1"), (60, (58, 59), "60-2"), (24, (23,), "24-1")],
)
def test_wheels_that_are_plain_are_not_doubted(
    tmp_path: Path, places: int, gaps: tuple[int, ...], name: str
) -> None:
    found = wheel_of(table(tmp_path, edges(places, gaps, 24), None))
    assert (found["wheel"], found.get("could_also_be")) == (name, None)


def bench(path: Path, **data: object) -> Bench:
    rows = [
        {"kind": "truck", "id": "t", "data": {"label": "unit 7"}},
        {"kind": "recording", "id": "r", "data": {"path": path.name, **data}},
    ]
    lines = [json.dumps({**row, "at": "2026-03-02T08:00:00Z"}) for row in rows]
    return Bench(read_case("wheel", lines), {"r": read_recording(path)}, load_knowledge())


def test_the_analysis_goes_by_the_cam_or_by_what_was_told(tmp_path: Path) -> None:
    with_cam = table(tmp_path, edges(36, THREE, 24), cam_marks(24, (0.1,)))
    (timing,) = gather_timings(bench(with_cam))
    assert timing.marks is not None
    assert timing.marks.places == 36
    assert np.median(timing.marks.turn_speeds()) == pytest.approx(RPM, rel=0.02)
    alone = table(tmp_path, edges(36, THREE, 24), None)
    (timing,) = gather_timings(bench(alone))
    assert timing.marks is None
    assert "12" in timing.refused
    assert "36" in timing.refused
    for places in (12, 36):
        (timing,) = gather_timings(bench(alone, marks=places))
        assert timing.marks is not None
        assert timing.marks.places == places
