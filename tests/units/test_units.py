"""What people type becomes the right value or a clear refusal."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from witnessmark.errors import UnitRefused
from witnessmark.units import (
    QUANTITIES,
    UNITS,
    from_house,
    parse,
    parse_quantity,
    parse_range,
    spoken,
    to_house,
    unit,
)


@pytest.mark.parametrize(
    ("text", "number", "symbol"),
    [
        ("74 psi", 74, "psi"),
        ("74psi", 74, "psi"),
        ("74 PSI", 74, "psi"),
        ("7,5 bar", 7.5, "bar"),
        ("0,500 bar", 0.5, "bar"),
        ("1 500 kPa", 1500, "kPa"),
        ("1\u202f500 kPa", 1500, "kPa"),
        ("1'500 kPa", 1500, "kPa"),
        ("1,500.5 rpm", 1500.5, "rpm"),
        ("1.234,5 kPa", 1234.5, "kPa"),
        ("1,234,567 Pa", 1234567, "Pa"),
        ("-10 °F", -10, "degF"),
        ("\u22125 degC", -5, "degC"),
        (".5 in", 0.5, "in"),
        ("3/4 in", 0.75, "in"),
        ("1 1/2 in", 1.5, "in"),
        ("5 in Hg", 5, "inHg"),
        ("3 in H2O", 3, "inH2O"),
        ("30 ft-lb", 30, "lbf·ft"),
        ("30 lb-ft", 30, "lbf·ft"),
        ("30 lbf·ft", 30, "lbf·ft"),
        ("100 in-lb", 100, "lbf·in"),
        ("45 N·m", 45, "N·m"),
        ("45 Nm", 45, "N·m"),
        ("1.3 gal/min", 1.3, "gal/min"),
        ("1.3 gpm", 1.3, "gal/min"),
        ("20 gal/h", 20, "gal/h"),
        ("114 L/h", 114, "L/h"),
        ("2 l/min", 2, "L/min"),
        ("55 mph", 55, "mph"),
        ("90 km/h", 90, "km/h"),
        ("2.1 deg", 2.1, "deg"),
        ("30 s", 30, "s"),
        ("15 min", 15, "min"),
        ("200 mV", 200, "mV"),
        ("2 kohm", 2, "kohm"),
        ("70 Ω", 70, "ohm"),
        ("50 %", 50, "%"),
        ("50 percent", 50, "%"),
        ("5 MPa", 5, "MPa"),
        ("1e3 psi", 1000, "psi"),
        ("18 mm", 18, "mm"),
    ],
)
def test_what_people_type(text: str, number: float, symbol: str) -> None:
    typed = parse(text)
    assert typed.number == pytest.approx(number, rel=1e-15)
    assert typed.unit.symbol == symbol


@pytest.mark.parametrize(
    "text",
    [
        "74", "psi", "", "   ", "74 psi; 3", "74 psi 3", "74 psi psi", "9**9**9 psi", "70-75 psi",
        "~70 psi", "about 70 psi", "1 50 kPa", "1,500 rpm", "12,345 psi", "74 psia", "5 bar abs",
        "1/0 in", "0x10 psi", "1_000 psi", "1e999 psi", "٣ psi", "nan psi", "inf psi", "2 Mohm",
        "12 MV", "5 M", "7..5 bar", "7,5,5 bar", "1.2.3 psi", "74 quux", "74 p s i x", "9" * 70,
        "__import__('os') psi", "74\npsi\n75 psi", "--5 psi", "5 - psi", "5 psi%",
    ],
)  # fmt: skip
def test_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(UnitRefused) as refusal:
        parse(text)
    assert refusal.value.what.endswith(".")
    assert refusal.value.do.endswith(".")


def test_an_ambiguous_number_names_both_meanings() -> None:
    with pytest.raises(UnitRefused, match=r"1500.*1\.500"):
        parse("1,500 rpm")


def test_a_wrong_kind_of_unit_is_refused() -> None:
    with pytest.raises(UnitRefused, match="pressure"):
        parse_quantity("fuel_gallery_pressure", "74 rpm")
    with pytest.raises(UnitRefused, match="cannot be"):
        parse_quantity("fuel_gallery_pressure", "740000 psi")


def test_temperatures_carry_their_offset() -> None:
    assert parse_quantity("coolant_temperature", "212 degF") == pytest.approx(100.0)
    assert parse_quantity("coolant_temperature", "-40 F") == pytest.approx(-40.0)
    assert parse_quantity("coolant_temperature", "300 K") == pytest.approx(26.85)
    assert from_house("coolant_temperature", 82.0, "degF") == pytest.approx(179.6)


def test_factors_of_nist_sp_811(shared: Path) -> None:
    """Source: NIST SP 811, ids K01-K09 of checks.json."""
    checks = {c["id"]: c for c in json.loads((shared / "checks/checks.json").read_text())}
    ours = {
        "K01": unit("lbf·ft").factor,
        "K02": unit("lbf·ft").factor,
        "K03": unit("lbf·in").factor,
        "K04": unit("psi").factor,
        "K05": unit("inHg").factor,
        "K07": unit("inH2O").factor,
        "K08": unit("hp").factor,
        "K09": unit("gal").factor * 1000,
    }
    for identity, value in ours.items():
        assert value == pytest.approx(
            checks[identity]["expected"], abs=checks[identity]["tolerance"]
        ), identity


def test_factors_against_a_units_library() -> None:
    """Source: pint's default registry, an independent table."""
    registry = pint.UnitRegistry()
    names = {
        "psi": "psi", "kPa": "kPa", "bar": "bar", "mbar": "mbar", "inHg": "inHg", "mmHg": "mmHg",
        "mph": "mph", "km/h": "km/hour", "lbf·ft": "lbf*ft", "lbf·in": "lbf*inch",
        "gal/min": "gallon/minute", "gal/h": "gallon/hour", "L/h": "liter/hour",
        "L/min": "liter/minute", "in": "inch", "mm": "mm", "deg": "degree", "min": "minute",
        "h": "hour", "mi": "mile", "ft": "foot", "qt": "quart", "gal": "gallon", "g0": "g_0",
    }  # fmt: skip
    for symbol, name in names.items():
        reference = registry.Quantity(1.0, name).to_base_units().magnitude
        assert UNITS[symbol].factor == pytest.approx(reference, rel=2e-6), symbol


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("60-75 psi", 60, 75),
        ("60 to 75 psi", 60, 75),
        ("swings 60 psi to 75 psi", 60, 75),
        ("between 60 and 75 psi", 60, 75),
        ("about 70 psi", 66.5, 73.5),
        ("4,1 to 5,2 bar", 59.465, 75.42),  # 1 bar = 14.5038 psi
        ("74 psi", 74, 74),
        ("70 psi, swings", 66.5, 73.5),
        ("60 to 75 psi, unsteady", 60, 75),
        ("jumps 60 to 75 psi", 60, 75),
    ],
)
def test_a_range_is_its_middle_and_half(text: str, low: float, high: float) -> None:
    found = parse_range("oil_pressure", text)
    ends = (found.middle - found.half, found.middle + found.half)
    wanted = [to_house("oil_pressure", x, "psi") for x in (low, high)]
    assert ends == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize(
    "text",
    ["75-60 psi", "60-60 psi", "> 130 psi", "60-75", "swings 60 psi", "60-75 degF", "60--75"],
)
def test_what_is_no_range_is_refused(text: str) -> None:
    with pytest.raises(UnitRefused):
        parse_range("oil_pressure", text)


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("swings", "Between which"),
        ("above 130 psi, stopped", "Where did the pointer stand last"),
        ("> 130 psi", "Where did the pointer stand last"),
    ],
)
def test_what_lacks_its_figure_is_refused_with_the_question_for_it(text: str, asked: str) -> None:
    with pytest.raises(UnitRefused) as refused:
        parse_range("oil_pressure", text)
    assert asked in refused.value.do
    assert parse_range("oil_pressure", "70 psi, swings").swings


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        typed = parse(text)
    except UnitRefused:
        return
    assert math.isfinite(typed.number)
    assert any(c.isdigit() for c in text)


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.sampled_from(sorted(QUANTITIES)),
    st.sampled_from(sorted({u.symbol for u in UNITS.values()})),
)
def test_house_and_back(value: float, name: str, symbol: str) -> None:
    if UNITS[symbol].kind != QUANTITIES[name].kind:
        with pytest.raises(UnitRefused):
            to_house(name, value, symbol)
        return
    there = to_house(name, value, symbol)
    assert from_house(name, there, symbol) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_every_quantity_is_documented() -> None:
    page = (Path(__file__).parents[2] / "docs/quantities.md").read_text(encoding="utf-8")
    for name in QUANTITIES:
        assert f"`{name}`" in page, name


@pytest.mark.parametrize(
    ("text", "value"), [("3.2e-05 V", 3.2e-5), ("5E-2 V", 0.05), ("1e+1 V", 10.0), ("2e-1V", 0.2)]
)
def test_a_figure_with_an_exponent_is_no_range(text, value):
    found = parse_range("battery_voltage", text)
    assert (found.middle, found.half) == (pytest.approx(value), 0.0)


def test_a_plain_number_is_typed_without_a_unit() -> None:
    assert parse_quantity("gear_ratio", "3.58") == parse_quantity("gear_ratio", "3.58 -") == 3.58
    with pytest.raises(UnitRefused):
        parse_quantity("gear_ratio", "3.58 psi")


def test_a_quantity_is_written_as_the_trade_writes_it() -> None:
    assert spoken("nox_behind_catalyst", leading=True) == "NOx behind catalyst"
    assert spoken("oil_pressure", leading=True) == "Oil pressure"
