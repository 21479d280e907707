"""What names a truck or a person is hidden in what recordings show, all digits of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from conftest import Run
from readers.bus_text import candump
from witnessmark.fleet.screening import Screening, Task, screen_file
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.words.masking import hide

#: Invented; its check digit is wrong on purpose.
VIN = "1ZZZZ1B22CD345678"


def log_with_vin(path: Path, vin: str = VIN, *, group: int = 0xFEEC) -> Path:
    body = vin.encode() + b"*"
    packets = -(-len(body) // 7)
    frames = [(n * 0.1, 0x0CF00400, f"FFFFFF{0x1C:02X}15FFFFFF") for n in range(100)]
    frames.append(
        (1.0, 0x18ECFF00, bytes([32, len(body), 0, packets, 255, group & 255, group >> 8, 0]).hex())
    )
    for n in range(packets):
        part = body[7 * n : 7 * n + 7].ljust(7, b"\xff")
        frames.append((1.06 + 0.06 * n, 0x18EBFF00, bytes([n + 1, *part]).hex()))
    return candump(path, sorted(frames))


def test_the_bus_vin_is_hidden_wholly(witnessmark: Run, tmp_path: Path) -> None:
    path = log_with_vin(tmp_path / f"truck-{VIN}.log")
    for command in (("look", "--json"), ("look",), ("screen", "--json"), ("screen",)):
        shown = witnessmark(*command, path)
        assert VIN not in shown.stdout, command
        assert VIN[-6:] not in shown.stdout, command
        assert "*" * 17 in shown.stdout, command


def test_the_owner_may_see_it(witnessmark: Run, tmp_path: Path) -> None:
    path = log_with_vin(tmp_path / "truck.log")
    rows = json.loads(witnessmark("look", "--json", "--show-identity", path).stdout)
    assert [i["masked"] for i in rows[0]["facts"]["identifiers"]] == [VIN]


def test_a_digest_tells_trucks_apart_without_naming_them(tmp_path: Path) -> None:
    def digest(vin: str, key: bytes) -> object:
        path = log_with_vin(tmp_path / "truck.log", vin)
        found = read_recording(path, settings=ReaderSettings(identity_key=key))
        (row,) = found.facts["identifiers"]  # type: ignore[misc]
        assert vin not in str(row)
        return row["digest"]  # type: ignore[index]

    other = VIN[:-1] + "9"
    assert digest(VIN, b"shop") == digest(VIN, b"shop") != digest(other, b"shop")
    assert digest(VIN, b"shop") != digest(VIN, b"another shop")


def test_a_truck_without_an_identification_is_known_by_its_unit_number(tmp_path: Path) -> None:
    def truck(component: str) -> str:
        path = log_with_vin(tmp_path / "truck.log", component, group=0xFEEB)
        return screen_file(Task(path, Screening(identity_key=b"shop"))).truck

    first = truck("INVENTED*M1*SN-0042*U-117")
    assert first.startswith("unit ")
    assert "U-117" not in first
    assert truck("OTHER*M2*SN-0043*U-117") == first
    assert truck("INVENTED*M1*SN-0042*U-118") != first
    assert truck("INVENTED*M1*SN-0042") == ""


def test_names_in_tables_and_labels(witnessmark: Run, tmp_path: Path) -> None:
    path = tmp_path / "drive.csv"
    rows = "".join(f"{n * 0.5},{700 + n},{n}\n" for n in range(50))
    path.write_text(f"Time [s],Engine RPM,VIN {VIN} odo\n{rows}")
    shown = witnessmark("look", "--json", path).stdout
    assert VIN not in shown
    assert "engine_speed" in shown


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (f"log of {VIN}.csv", f"log of {'*' * 17}.csv"),
        ("plate: KTX-4471, cold", "plate: ********, cold"),
        ("driver: John Miller", "driver: ***********"),
        ("driver's demand engine torque", "driver's demand engine torque"),
        ("engine_speed", "engine_speed"),
        ("0123456789abcdef0123456789abcdef", "0123456789abcdef0123456789abcdef"),
    ],
)
def test_what_is_hidden(text: str, shown: str) -> None:
    assert hide(text) == shown
