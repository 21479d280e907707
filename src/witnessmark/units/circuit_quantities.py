# ruff: noqa: E501  (a table: a row a line)
"""Quantities read by hand of the air, starting, charging, bus and cooling circuits."""

from __future__ import annotations

__all__ = ["CIRCUIT_QUANTITIES"]

_TABLE = """
air_loss_released | Pa | psi | kPa | air lost in a minute, engine off, brakes released, the worse needle | -35000 | 900000
air_loss_applied | Pa | psi | kPa | air lost in a minute, engine off, pedal held, the worse needle | -35000 | 900000
air_loss_primary_released | Pa | psi | kPa | primary needle's loss in a minute, engine off, brakes released | -35000 | 900000
air_loss_secondary_released | Pa | psi | kPa | secondary needle's loss in a minute, engine off, brakes released | -35000 | 900000
air_loss_primary_applied | Pa | psi | kPa | primary needle's loss in a minute, engine off, pedal held | -35000 | 900000
air_loss_secondary_applied | Pa | psi | kPa | secondary needle's loss in a minute, engine off, pedal held | -35000 | 900000
air_loss_hooked | Pa | psi | kPa | air lost in a minute with the trailer hooked, engine off, brakes released, the worse needle | -35000 | 900000
air_loss_wet_tank | Pa | psi | kPa | wet tank's loss in a minute, engine off, gauge at that tank | -35000 | 900000
air_loss_wet_tank_empty | Pa | psi | kPa | worse service needle's loss in two minutes with the wet tank drained | -35000 | 900000
air_build_time | s | s | s | time from 85 to 100 psi, unit alone, feet off | 0 | 3600
air_cut_out_pressure | Pa | psi | kPa | pressure at which the governor stops the compressor | 0 | 2000000
air_cut_in_pressure | Pa | psi | kPa | pressure at which the compressor pumps again | 0 | 2000000
air_purge_interval | s | min | s | time from purge to purge, parked, running, feet off | 0 | 7200
air_gauge_difference | Pa | psi | kPa | dash needle minus a test gauge, near 100 psi | -700000 | 700000
air_tank_volume | L | L | L | volume of wet, primary and secondary tank together, by their plates | 5 | 600
crank_drop_positive | V | V | V | volts lost while cranking from battery plus to the starter's big stud | -1 | 60
crank_drop_ground | V | V | V | volts lost while cranking from the starter's case to battery minus | -1 | 60
crank_drop_engine_to_frame | V | V | V | volts lost while cranking from the starter's case to the frame | -1 | 60
crank_drop_frame_to_battery | V | V | V | volts lost while cranking from the frame to battery minus | -1 | 60
crank_drop_solenoid | V | V | V | volts lost across the solenoid's big studs, key held | -1 | 60
crank_current | A | A | A | starter current by clamp, cranking | 0 | 5000
start_command_voltage | V | V | V | volts at the starter's S terminal, key held | 0 | 60
bus_resistance | ohm | ohm | ohm | between the two bus wires, batteries off | 0 | 100000000
bus_high_to_ground | ohm | ohm | ohm | from the high bus wire to ground, batteries off | 0 | 100000000
bus_low_to_ground | ohm | ohm | ohm | from the low bus wire to ground, batteries off | 0 | 100000000
bus_high_voltage | V | V | V | high bus wire to ground, key on | -1 | 60
bus_low_voltage | V | V | V | low bus wire to ground, key on | -1 | 60
"""

#: The rows: name, house unit, shop unit, SI unit, words, lowest, highest.
CIRCUIT_QUANTITIES: tuple[tuple[str, str, str, str, str, float, float], ...] = tuple(
    (name, house, shop, si, words, float(low), float(high))
    for name, house, shop, si, words, low, high in (
        line.split(" | ") for line in _TABLE.strip().split("\n")
    )
)
