"""The command that looks into recordings."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


def test_json_is_a_list_of_one_object_a_file(shared: Path, witnessmark: Run) -> None:
    ride = shared / "data/j1939/ride_A.candump.log.gz"
    car = shared / "data/obd_csv/car_2018-02-26_short_coldstart.csv.gz"
    done = witnessmark("look", "--json", ride, car)
    assert done.returncode == 0, done.stderr
    first, second = json.loads(done.stdout)
    assert set(first) >= {
        "file", "sha256", "kind", "duration_s", "channels", "trouble_codes", "steady", "problems"
    }  # fmt: skip
    assert (first["kind"], second["kind"]) == ("bus", "table")
    speed = next(c for c in first["channels"] if c["spn"] == 190)
    assert set(speed) >= {
        "name", "spn", "source", "unit", "samples", "valid", "error_coded", "not_available", "min",
        "median", "max",
    }  # fmt: skip
    # PROVENANCE.md: 10,750 samples, 0 to 3833.75 rpm
    assert (speed["name"], speed["unit"], speed["source"]) == ("engine_speed", "rpm", 0)
    assert (speed["samples"], speed["min"], speed["max"]) == (10_750, 0.0, 3833.75)
    coolant = next(c for c in first["channels"] if c["spn"] == 110)
    assert coolant["unit"] == "degF"
    assert coolant["max"] == pytest.approx(102 * 9 / 5 + 32)
    assert {c["spn"] for c in first["trouble_codes"]} == {520302, 520230}


def test_si_units(shared: Path, witnessmark: Run) -> None:
    done = witnessmark("look", "--json", "--si", shared / "data/j1939/ride_A.candump.log.gz")
    (one,) = json.loads(done.stdout)
    units = {c["name"]: c["unit"] for c in one["channels"]}
    assert (units["coolant_temperature"], units["road_speed"]) == ("degC", "km/h")
    road = next(c for c in one["channels"] if c["name"] == "road_speed" and c["source"] == 11)
    assert road["max"] == pytest.approx(83.38, abs=0.01)  # PROVENANCE.md


@pytest.mark.parametrize("name", ["other_car_11bit.mf4", "other_protocol_29bit.mf4"])
def test_no_engine_data_ends_with_3(shared: Path, witnessmark: Run, name: str) -> None:
    done = witnessmark("look", "--json", shared / "data/j1939" / name)
    assert done.returncode == 3
    assert "No engine data found" in done.stderr
    (one,) = json.loads(done.stdout)
    assert one["channels"] == []


def test_refused_file_does_not_stop_the_others(
    shared: Path, witnessmark: Run, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.log"
    empty.touch()
    good = shared / "data/j1939/hd_24V_keyon_faults.mf4"
    done = witnessmark("look", "--json", empty, good, tmp_path / "not_there")
    assert done.returncode == 2
    first, second, third = json.loads(done.stdout)
    assert (first["sha256"], third["sha256"]) == (None, None)
    assert first["problems"][0]["what"] == "The file is empty."
    assert second["kind"] == "bus"
    dead = next(c for c in second["channels"] if c["spn"] == 100)
    assert dead["error_coded"] == dead["samples"] > 0
    assert (dead["valid"], dead["min"], dead["median"], dead["max"]) == (0, None, None, None)


def test_plain_words(shared: Path, witnessmark: Run) -> None:
    done = witnessmark("look", shared / "data/j1939/bench_keyon_faults.candump.log.gz")
    assert done.returncode == 0
    assert "say the sensor circuit is at fault" in done.stdout
    assert "Traceback" not in done.stderr


def test_columns_named_once_on_the_command_line(
    shared: Path, witnessmark: Run, tmp_path: Path
) -> None:
    truck = shared / "data/obd_csv/truck_gps_speed_10Hz.csv"
    book = tmp_path / "columns.json"
    first = witnessmark("look", "--json", "--si", truck, "--column", "speed=road_speed [m/s]",
                        "--remember", book)  # fmt: skip
    again = witnessmark("look", "--json", "--si", truck, "--remember", book)
    for done in (first, again):
        assert done.returncode == 0, done.stderr
        (one,) = json.loads(done.stdout)
        road = next(c for c in one["channels"] if c["name"] == "road_speed")
        assert road["max"] == pytest.approx(19.59 * 3.6)  # PROVENANCE.md: 0 to 19.59 m/s
    assert witnessmark("look", truck, "--column", "nonsense").returncode == 2
