"""The signals of SAE J1939-71 that are decoded, as one table.

Layout and scale were read in public tables that agree with each other; the outside check values
in tests/readers/test_j1939_signals.py say for each row where. Rows are
told apart from the wrong ones that some public tables carry (temperature of SPN 110 as a word,
currents of SPN 114 and 115 as words, idle hours in PGN 65217, SPN 168 at byte 3).
"""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.readers.bus.more_signals import APART, MORE, NO_VALUES, SURE, VALUES
from witnessmark.units import QUANTITIES, UNITS

__all__ = ["SIGNALS", "Signal", "Switch", "by_group"]

#: PGN, SPN, byte.bit (from 1, bit 1 lowest, Intel order), bits, scale, offset, unit, name, remark
_TABLE = """
61444 190 4.1 16 0.125 0 rpm engine_speed
61444 512 2.1 8 1 -125 % demand_torque
61444 513 3.1 8 1 -125 % engine_torque
61444 2432 8.1 8 1 -125 % engine_torque_demand
61444 899 1.1 4 1 0 state torque_mode
61443 91 2.1 8 0.4 0 % pedal_position
61443 92 3.1 8 1 0 % engine_load
65247 514 1.1 8 1 -125 % friction_torque
65247 515 2.1 16 0.125 0 rpm desired_engine_speed
65251 544 20.1 16 1 0 N·m reference_torque
65262 110 1.1 8 1 -40 degC coolant_temperature
65262 174 2.1 8 1 -40 degC fuel_temperature
65262 175 3.1 16 0.03125 -273 degC oil_temperature
65262 176 5.1 16 0.03125 -273 degC turbo_oil_temperature
65262 52 7.1 8 1 -40 degC intercooler_temperature
65263 94 1.1 8 4 0 kPa fuel_delivery_pressure
65263 22 2.1 8 0.05 0 kPa crankcase_blow_by_pressure
65263 98 3.1 8 0.4 0 % oil_level
65263 100 4.1 8 4 0 kPa oil_pressure
65263 101 5.1 16 0.0078125 -250 kPa crankcase_pressure
65263 109 7.1 8 2 0 kPa coolant_pressure
65263 111 8.1 8 0.4 0 % coolant_level
65270 81 1.1 8 0.5 0 kPa particulate_filter_inlet_pressure
65270 102 2.1 8 2 0 kPa boost_pressure
65270 105 3.1 8 1 -40 degC intake_air_temperature
65270 106 4.1 8 2 0 kPa air_inlet_pressure
65270 107 5.1 8 0.05 0 kPa air_restriction
65270 173 6.1 16 0.03125 -273 degC exhaust_temperature
65190 1127 1.1 16 0.125 0 kPa boost_pressure_fine
65269 108 1.1 8 0.5 0 kPa barometric_pressure
65269 170 2.1 16 0.03125 -273 degC cab_temperature
65269 171 4.1 16 0.03125 -273 degC ambient_temperature
65269 172 6.1 8 1 -40 degC air_inlet_temperature
65266 183 1.1 16 0.05 0 L/h fuel_rate
65266 184 3.1 16 0.001953125 0 km/L fuel_economy
65266 185 5.1 16 0.001953125 0 km/L fuel_economy_average
65266 51 7.1 8 0.4 0 % throttle_position
65257 182 1.1 32 0.5 0 L trip_fuel
65257 250 5.1 32 0.5 0 L total_fuel
65253 247 1.1 32 0.05 0 h engine_hours
65253 249 5.1 32 1000 0 - engine_revolutions
65244 235 5.1 32 0.05 0 h idle_hours
65248 244 1.1 32 0.125 0 km trip_distance
65248 245 5.1 32 0.125 0 km total_distance
65217 917 1.1 32 0.005 0 km total_distance_fine
65265 84 2.1 16 0.00390625 0 km/h road_speed
65265 70 1.3 2 1 0 state parking_brake
65265 597 4.5 2 1 0 state brake_switch
65265 598 4.7 2 1 0 state clutch_switch
65265 595 4.1 2 1 0 state cruise_active
61441 521 2.1 8 0.4 0 % brake_pedal_position
65271 114 1.1 8 1 -125 A battery_current
65271 115 2.1 8 1 0 A alternator_current
65271 167 3.1 16 0.05 0 V charging_voltage
65271 168 5.1 16 0.05 0 V battery_voltage
65271 158 7.1 16 0.05 0 V keyswitch_voltage
61445 523 4.1 8 1 -125 - current_gear
61445 524 1.1 8 1 -125 - selected_gear
61445 526 2.1 16 0.001 0 - gear_ratio
61442 191 2.1 16 0.125 0 rpm output_shaft_speed
61442 161 6.1 16 0.125 0 rpm input_shaft_speed
65272 127 4.1 8 16 0 kPa transmission_oil_pressure
65272 177 5.1 16 0.03125 -273 degC transmission_oil_temperature
65213 975 1.1 8 0.4 0 % fan_speed_percent
65213 977 2.1 4 1 0 state fan_state
65213 1639 3.1 16 0.125 0 rpm fan_speed
65276 96 2.1 8 0.4 0 % fuel_level
65279 97 1.1 2 1 0 state water_in_fuel
65245 103 2.1 16 4 0 rpm turbo_speed
65215 904 1.1 16 0.00390625 0 km/h front_axle_speed
65274 117 2.1 8 4 0 kPa brake_primary_pressure
"""


@dataclass(frozen=True, slots=True)
class Switch:
    """Bits of a message that say which of several signals it carries (a multiplexer).

    Attributes:
        start: first bit, counted as in :class:`Signal`.
        bits: length.
        motorola: big-endian.
        values: raw numbers with which the signal is there.
    """

    start: int
    bits: int
    motorola: bool
    values: frozenset[int]


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal: ``value = raw * scale + offset`` in the house unit of its quantity.

    Attributes:
        pgn: parameter group number; for a message with an identifier of 11 bits, which has none,
            ``-1 - identifier``.
        spn: suspect parameter number, ``None`` for a signal of a user's own DBC file.
        name: name in the quantity table, or the DBC's own name.
        unit: house unit of the quantity, or the DBC's own.
        start: first bit counted from the lowest of the first data byte.
        bits: length.
        scale: house units per bit.
        offset: house units.
        signed: two's complement (DBC files only; J1939 has none).
        ranged: the indicator codes of J1939-71 (error, not available) apply.
        motorola: big-endian (DBC files only).
        label: the name shown beside the quantity's.
        remark: how sure the row is.
        when: switches of the message that all have to stand right for the signal to be there.
        sender: the one address that sends it so, ``None`` for every one.
        real: the bits are a floating-point number (DBC files only).
        values: raw numbers that are values although the indicator codes would have them.
        no_values: further raw numbers that are none (reserved).
        sure: fields of the message that have to say so for the value to count.
        apart: field that names what the value belongs to; each number is a channel of its own.
        part: what that field names, in a word.
    """

    pgn: int
    spn: int | None
    name: str
    unit: str
    start: int
    bits: int
    scale: float
    offset: float
    signed: bool = False
    ranged: bool = True
    motorola: bool = False
    label: str = ""
    remark: str = ""
    when: tuple[Switch, ...] = ()
    sender: int | None = None
    real: bool = False
    values: tuple[int, ...] = ()
    no_values: tuple[int, ...] = ()
    sure: tuple[Switch, ...] = ()
    apart: Switch | None = None
    part: str = ""

    @property
    def bytes_needed(self) -> int:
        """Return how many data bytes a message needs to carry the signal."""
        return max(_end(self), *(_end(s) for s in self.when)) if self.when else _end(self)


def _end(field: Signal | Switch) -> int:
    if field.motorola:  # counted from the highest bit of its first byte
        byte, bit = divmod(field.start, 8)
        return byte + (14 - bit + field.bits) // 8
    return (field.start + field.bits + 7) // 8


def by_group(signals: tuple[Signal, ...]) -> dict[int, tuple[Signal, ...]]:
    """Return PGN -> its signals."""
    found: dict[int, tuple[Signal, ...]] = {}
    for signal in signals:
        found[signal.pgn] = (*found.get(signal.pgn, ()), signal)
    return found


def _read(table: str) -> tuple[Signal, ...]:
    found = []
    for line in table.split("\n"):
        if not line:
            continue
        pgn, spn, place, bits, scale, offset, unit, name, *remark = line.split()
        start = _start(place)
        given, house = UNITS[unit], UNITS[QUANTITIES[name].house]
        if given.kind != house.kind:
            raise ValueError(f"SPN {spn}: {unit} is not a unit of {name}")
        ratio = given.factor / house.factor
        shift = (given.offset - house.offset) / house.factor
        found.append(
            Signal(
                pgn=int(pgn),
                spn=int(spn),
                name=name,
                unit=house.symbol,
                start=start,
                bits=int(bits),
                scale=float(scale) * ratio,
                offset=float(offset) * ratio + shift,
                label=f"SPN {spn}",
                remark=" ".join(remark),
                values=VALUES.get(int(spn), ()),
                no_values=NO_VALUES.get(int(spn), ()),
                sure=tuple(
                    Switch(_start(p), 2, False, frozenset({1})) for p in SURE.get(int(spn), ())
                ),
                apart=_apart(int(spn)),
                part=APART.get(int(spn), (0, ""))[1],
            )
        )
    return tuple(found)


def _start(place: str) -> int:
    byte, bit = (int(part) for part in place.split("."))
    return 8 * (byte - 1) + bit - 1


def _apart(spn: int) -> Switch | None:
    return Switch(8 * (APART[spn][0] - 1), 8, False, frozenset()) if spn in APART else None


#: Every signal known here.
SIGNALS: tuple[Signal, ...] = _read(_TABLE + MORE.removeprefix("\n"))
