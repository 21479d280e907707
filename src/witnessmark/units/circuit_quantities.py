# ruff: noqa: E501  (a table: a row a line)
"""Quantities read by hand of the circuits: air, starting, charging, rest, bus, cooling, brakes."""

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
charge_current | A | A | A | alternator current by clamp, lamps and blower on | 0 | 1000
charge_drop_positive | V | V | V | volts lost from the alternator's post to battery plus, loads on | -1 | 60
charge_drop_ground | V | V | V | volts lost from the alternator's case to battery minus, loads on | -1 | 60
charge_battery_current | A | A | A | current into the batteries by clamp, 1,500 rpm, loads on, out of them below nothing | -1000 | 1000
charge_sense_offset | V | V | V | volts of the sense terminal less those of battery plus, running | -60 | 60
charge_excite_voltage | V | V | V | volts at the excite or command terminal, running, from a lead | -1 | 60
charge_ripple | V | V | V | AC volts at the battery posts, 1,500 rpm, loads on | 0 | 60
charge_belt_slip | % | % | % | alternator speed short of what its pulleys give, loads on | 0 | 100
charge_gauge_difference | V | V | V | dash volts less a meter's at the posts, running | -60 | 60
alternator_back_current | A | A | A | current into the alternator by clamp, key off | -5 | 100
rest_current | A | A | A | key-off current by clamp at the battery cable, all asleep | -5 | 1000
rest_current_added_off | A | A | A | the same with the added devices off at their own feed | -5 | 1000
fuse_drop_cab | V | mV | mV | largest drop over a lamp, relay or accessory fuse, all asleep | -0.1 | 1
fuse_drop_module | V | mV | mV | largest drop over a controller's fuse, all asleep | -0.1 | 1
battery_case_voltage | V | V | V | volts on the battery's case against battery minus | 0 | 60
voltage_behind_switch | V | V | V | volts behind the open main switch, after its time | 0 | 60
battery_self_loss | V | V | V | rested volts lost in three nights, charged full and taken off | -2 | 30
battery_after_night | V | V | V | battery volts after a night, before anything is switched on | 0 | 60
pull_display_temperature | degC | degF | degC | coolant by the dash, on a steady pull with the fan on | -60 | 250
pull_top_hose_temperature | degC | degF | degC | coolant into the radiator by probe, on the same pull | -60 | 250
pull_bottom_hose_temperature | degC | degF | degC | coolant out of the radiator by probe, on the same pull | -60 | 250
pull_outside_air_temperature | degC | degF | degC | air before the front of the truck, on the same pull | -60 | 65
pull_air_behind_temperature | degC | degF | degC | air behind the core, mean of three places, on the same pull | -60 | 250
pull_charge_air_temperature | degC | degF | degC | charge air behind its cooler, on the same pull | -60 | 300
pull_fan_speed | rpm | rpm | rpm | fan speed, on the same pull | 0 | 8000
pull_fuel_rate | m3/s | gal/h | L/h | fuel burnt, on the same pull | 0 | 0.0002
pull_road_speed | m/s | mph | km/h | road speed, on the same pull | 0 | 70
stroke_applied | m | in | mm | push-rod stroke of the worse wheel, full pedal at 90 psi | 0 | 0.15
stroke_applied_mate | m | in | mm | push-rod stroke of the other wheel of that axle, full pedal at 90 psi | 0 | 0.15
stroke_free | m | in | mm | push-rod way by hand until the linings touch, worse wheel | 0 | 0.15
stroke_light | m | in | mm | push-rod stroke of the worse wheel at 30 psi of pedal | 0 | 0.15
stroke_after_setting | m | in | mm | push-rod stroke of the worse wheel, set and trodden ten times, full pedal at 90 psi | 0 | 0.15
chamber_pressure_applied | Pa | psi | kPa | pressure at the worse wheel's chamber, full pedal at 90 psi | 0 | 1500000
slack_arm_difference | m | in | mm | length of the worse wheel's slack arm less its mate's | -0.15 | 0.15
chamber_ring_difference | m | in | mm | outside of the worse wheel's clamp ring less its mate's | -0.15 | 0.15
"""

#: The rows: name, house unit, shop unit, SI unit, words, lowest, highest.
CIRCUIT_QUANTITIES: tuple[tuple[str, str, str, str, str, float, float], ...] = tuple(
    (name, house, shop, si, words, float(low), float(high))
    for name, house, shop, si, words, low, high in (
        line.split(" | ") for line in _TABLE.strip().split("\n")
    )
)
