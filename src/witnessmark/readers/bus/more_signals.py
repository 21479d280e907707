"""More signals of SAE J1939-71: aftertreatment, recirculation, air, brakes, wheels, transmission.

Layout and scale were read in public tables: rows without a mark in two or more that agree, ``one``
in a single table, ``dissent`` where one of several says otherwise (the odd one was impossible or
contradicted by its own ends).
"""

from __future__ import annotations

__all__ = ["APART", "MORE", "NO_VALUES", "SURE", "VALUES"]

#: PGN, SPN, byte.bit (from 1, bit 1 lowest, Intel order), bits, scale, offset, unit, name, remark
MORE = """
57344 986 1.1 8 0.4 0 % fan_speed_requested
61440 900 1.1 4 1 0 state retarder_torque_mode
61440 520 2.1 8 1 -125 % retarder_torque
61440 1085 3.1 8 1 -125 % retarder_torque_intended
61440 1716 7.1 8 0.4 0 % retarder_selection
61441 563 1.5 2 1 0 state abs_active
61441 1121 1.7 2 1 0 state ebs_brake_switch
61442 560 1.1 2 1 0 state driveline_engaged
61442 573 1.3 2 1 0 state converter_lock_up
61442 574 1.5 2 1 0 state gear_change
61442 522 4.1 8 0.4 0 % clutch_slip
61443 29 5.1 8 0.4 0 % pedal_position_second
61443 5399 6.5 2 1 0 state filter_heat_management
61443 5400 6.7 2 1 0 state catalyst_heat_management
61443 3357 7.1 8 0.4 0 % available_torque
61444 4154 1.5 4 0.125 0 % engine_torque_fine dissent
61444 1675 7.1 4 1 0 state starter_mode
61446 569 2.5 2 1 0 state differential_lock_rear_axle_1
61446 570 2.7 2 1 0 state differential_lock_rear_axle_2
61449 1807 1.1 16 0.0009765625 -31.374 rad steering_angle
61450 2659 1.1 16 0.05 0 kg/h egr_mass_flow
61450 132 3.1 16 0.05 0 kg/h intake_air_mass_flow
61450 5257 5.1 16 0.05 0 kg/h egr_mass_flow_second
61454 3216 1.1 16 0.05 -200 ppm nox_before_catalyst
61454 3217 3.1 16 0.000514 -12 % oxygen_before_catalyst
61454 3218 5.1 2 1 0 state nox_before_supply
61454 3219 5.3 2 1 0 state nox_before_warm
61454 3220 5.5 2 1 0 state nox_before_stable
61454 3221 5.7 2 1 0 state oxygen_before_stable
61454 3222 6.1 5 1 0 state nox_before_heater_fmi
61454 3223 6.6 2 1 0 state nox_before_heater
61454 3224 7.1 5 1 0 state nox_before_fmi
61455 3226 1.1 16 0.05 -200 ppm nox_behind_catalyst
61455 3227 3.1 16 0.000514 -12 % oxygen_behind_catalyst
61455 3228 5.1 2 1 0 state nox_behind_supply
61455 3229 5.3 2 1 0 state nox_behind_warm
61455 3230 5.5 2 1 0 state nox_behind_stable
61455 3231 5.7 2 1 0 state oxygen_behind_stable
61466 3464 1.1 16 0.0025 0 % intake_throttle_command
61473 723 3.1 16 0.5 0 rpm engine_speed_second
61475 4331 1.1 16 0.3 0 g/h urea_dosing_rate
61475 4332 3.1 4 1 0 state urea_system_state
61475 4333 4.1 16 0.1 0 gram urea_dosed
61475 4334 6.1 8 8 0 kPa urea_doser_pressure one
64800 4765 1.1 16 0.03125 -273 degC oxidation_catalyst_inlet_temperature
64800 4766 3.1 16 0.03125 -273 degC oxidation_catalyst_outlet_temperature
64800 4767 5.1 16 0.1 0 kPa oxidation_catalyst_difference
64828 4374 1.1 16 0.5 0 rpm urea_pump_speed one
64828 4375 3.1 8 0.4 0 % urea_pump_drive one
64828 4376 4.1 8 0.4 0 % urea_return_valve one
64830 4360 1.1 16 0.03125 -273 degC urea_catalyst_inlet_temperature
64830 4363 4.1 16 0.03125 -273 degC urea_catalyst_outlet_temperature
64831 4358 1.1 16 0.1 0 kPa urea_catalyst_difference one
64833 4337 3.1 8 1 -40 degC urea_doser_temperature one
64878 4364 5.1 8 0.4 0 % urea_catalyst_efficiency one
64879 4752 7.1 8 0.4 0 % egr_cooler_efficiency one
64891 3719 1.1 8 1 0 % soot_load
64891 3720 2.1 8 1 0 % ash_load
64891 3721 3.1 32 1 0 s time_since_regeneration
64891 5466 7.1 16 0.0025 0 % regeneration_soot_level
64892 3697 1.1 3 1 0 state filter_lamp
64892 3699 2.1 2 1 0 state passive_regeneration
64892 3700 2.3 2 1 0 state active_regeneration
64892 3701 2.5 3 1 0 state regeneration_need
64892 3702 3.1 2 1 0 state regeneration_inhibited
64892 3703 3.3 2 1 0 state regeneration_inhibit_switch
64892 3698 7.3 3 1 0 state hot_exhaust_lamp
64908 3609 1.1 16 0.1 0 kPa filter_inlet_pressure
64908 3610 3.1 16 0.1 0 kPa filter_outlet_pressure
64916 27 1.1 16 0.0025 0 % egr_valve_position
64923 3515 1.1 8 1 -40 degC urea_temperature
64923 3516 2.1 8 0.25 0 % urea_concentration
64923 3518 3.1 8 5 0 µS urea_conductivity
64925 3509 1.1 16 0.05 0 V sensor_supply_1
64925 3510 3.1 16 0.05 0 V sensor_supply_2
64925 3511 5.1 16 0.05 0 V sensor_supply_3
64925 3512 7.1 16 0.05 0 V sensor_supply_4
64929 3480 1.1 16 0.1 0 kPa exhaust_fuel_pressure
64929 3481 3.1 16 0.05 0 L/h exhaust_fuel_rate
64929 3483 7.5 2 1 0 state exhaust_fuel_status
64929 3482 7.7 2 1 0 state exhaust_fuel_valve
64931 641 3.1 8 0.4 0 % vgt_command
64932 3452 1.7 2 1 0 state pto_shaft_switch
64946 3249 1.1 16 0.03125 -273 degC exhaust_temperature_between
64946 3250 3.1 16 0.03125 -273 degC filter_middle_temperature
64946 3251 5.1 16 0.1 0 kPa filter_pressure_difference
64947 3245 1.1 16 0.03125 -273 degC exhaust_temperature_behind
64947 3246 3.1 16 0.03125 -273 degC filter_outlet_temperature dissent
64948 3241 1.1 16 0.03125 -273 degC exhaust_temperature_before
64948 3242 3.1 16 0.03125 -273 degC filter_inlet_temperature dissent
64976 3563 5.1 8 2 0 kPa intake_manifold_absolute_pressure dissent
64976 4817 6.1 16 0.1 0 kPa intake_manifold_absolute_pressure_fine
64979 2629 1.1 16 0.03125 -273 degC compressor_outlet_temperature
64981 2791 5.1 16 0.0025 0 % egr_valve_command
64981 2795 8.1 8 0.4 0 % vgt_position
65089 2367 2.7 2 1 0 state left_turn_lamp
65089 2371 3.7 2 1 0 state left_stop_lamp
65089 2379 4.5 2 1 0 state implement_marker_lamp
65098 2900 2.5 2 1 0 state cranking_allowed
65106 1795 1.1 16 0.05 -1600 A alternator_current_wide
65106 2579 3.1 16 0.05 -1600 A battery_current_wide
65110 1761 1.1 8 0.4 0 % urea_tank_level
65110 3031 2.1 8 1 -40 degC urea_tank_temperature
65110 3517 3.1 16 0.1 0 mm urea_tank_height
65110 5245 5.6 3 1 0 state low_urea_lamp
65110 5246 6.6 3 1 0 state inducement_level
65110 3363 7.1 8 0.4 0 % urea_tank_heater one
65128 1638 1.1 8 1 -40 degC hydraulic_oil_temperature
65128 1713 2.1 2 1 0 state hydraulic_filter_switch
65128 2602 3.1 8 0.4 0 % hydraulic_oil_level
65129 1636 1.1 16 0.03125 -273 degC intake_air_temperature_fine
65129 1637 3.1 16 0.03125 -273 degC coolant_temperature_fine
65129 2630 7.1 16 0.03125 -273 degC charge_cooler_outlet_temperature
65134 1592 1.1 16 0.00390625 0 km/h wheel_speed_front_left
65134 1593 3.1 16 0.00390625 0 km/h wheel_speed_front_right
65134 1594 5.1 16 0.00390625 0 km/h wheel_speed_rear_left
65134 1595 7.1 16 0.00390625 0 km/h wheel_speed_rear_right
65164 441 1.1 8 1 -40 degC auxiliary_temperature
65165 444 1.1 16 0.05 0 V battery_voltage_second
65165 3597 3.1 16 0.05 0 V ecu_output_supply
65170 1209 2.1 16 0.0078125 -250 kPa exhaust_manifold_pressure
65174 1188 1.1 8 0.4 0 % wastegate_drive
65175 1184 1.1 16 0.03125 -273 degC turbine_outlet_temperature
65176 1180 1.1 16 0.03125 -273 degC turbine_inlet_temperature
65177 1176 1.1 16 0.0078125 -250 kPa compressor_inlet_pressure
65178 1172 1.1 16 0.03125 -273 degC compressor_inlet_temperature
65188 1135 1.1 16 0.03125 -273 degC oil_temperature_second
65188 1136 3.1 16 0.03125 -273 degC ecu_temperature
65188 411 5.1 16 0.0078125 -250 kPa egr_pressure_difference
65188 412 7.1 16 0.03125 -273 degC egr_gas_temperature
65198 46 1.1 8 8 0 kPa air_supply_pressure
65198 1086 2.1 8 8 0 kPa parking_air_pressure
65198 1087 3.1 8 8 0 kPa service_brake_1_pressure
65198 1088 4.1 8 8 0 kPa service_brake_2_pressure
65198 1089 5.1 8 8 0 kPa auxiliary_air_pressure
65198 1090 6.1 8 8 0 kPa air_suspension_pressure
65198 1351 7.1 2 1 0 state air_compressor_status
65213 4211 5.1 16 0.5 0 kPa fan_motor_pressure dissent
65215 905 3.1 8 0.0625 -7.8125 km/h wheel_speed_front_left_relative dissent
65215 906 4.1 8 0.0625 -7.8125 km/h wheel_speed_front_right_relative dissent
65215 907 5.1 8 0.0625 -7.8125 km/h wheel_speed_rear_1_left_relative dissent
65215 908 6.1 8 0.0625 -7.8125 km/h wheel_speed_rear_1_right_relative dissent
65215 909 7.1 8 0.0625 -7.8125 km/h wheel_speed_rear_2_left_relative dissent
65215 910 8.1 8 0.0625 -7.8125 km/h wheel_speed_rear_2_right_relative dissent
65219 604 2.3 2 1 0 state transmission_neutral
65223 772 4.1 2 1 0 state shift_rail_actuator
65223 773 4.3 2 1 0 state shift_gear_actuator
65223 768 5.1 2 1 0 state range_high_actuator
65223 769 5.3 2 1 0 state range_low_actuator
65223 770 5.5 2 1 0 state splitter_direct_actuator
65223 788 6.1 2 1 0 state transmission_clutch_actuator
65237 589 1.1 16 0.5 0 rpm alternator_speed
65237 3353 3.1 2 1 0 state alternator_charges
65243 164 1.1 16 0.00390625 0 MPa injection_control_pressure
65243 157 3.1 16 0.00390625 0 MPa fuel_rail_pressure
65243 1349 7.1 16 0.00390625 0 MPa fuel_rail_pressure_second
65245 104 1.1 8 4 0 kPa turbo_oil_pressure
65247 3236 6.1 16 0.2 0 kg/h exhaust_mass_flow
65252 985 3.1 2 1 0 state refrigerant_fan_switch
65252 605 3.5 2 1 0 state refrigerant_pressure_switch
65252 1110 5.1 2 1 0 state engine_protection_shutdown
65264 980 6.1 2 1 0 state pto_enable_switch
65264 984 7.1 2 1 0 state pto_set_switch
65265 976 7.1 5 1 0 state pto_state
65268 241 2.1 8 4 0 kPa tyre_pressure
65268 242 3.1 16 0.03125 -273 degC tyre_temperature
65268 2586 6.1 16 0.1 0 Pa/s tyre_leakage_rate
65268 2587 8.6 3 1 0 state tyre_pressure_state
65272 123 1.1 8 16 0 kPa transmission_clutch_pressure
65272 124 2.1 8 0.4 0 % transmission_oil_level
65272 126 3.1 8 2 0 kPa transmission_filter_difference
65272 3027 7.1 8 0.5 -62.5 L transmission_oil_difference
65272 3026 8.5 4 1 0 state transmission_level_status
65273 75 1.1 8 1 -40 degC steering_axle_temperature
65273 578 4.1 8 1 -40 degC drive_axle_temperature
65274 116 1.1 8 4 0 kPa brake_application_pressure
65274 118 3.1 8 4 0 kPa brake_secondary_pressure
65274 619 4.1 2 1 0 state parking_brake_actuator
65275 119 1.1 8 16 0 kPa hydraulic_retarder_pressure
65275 120 2.1 8 1 -40 degC hydraulic_retarder_temperature
65276 95 3.1 8 2 0 kPa fuel_filter_difference
65276 99 4.1 8 0.5 0 kPa oil_filter_difference
65276 38 7.1 8 0.4 0 % fuel_level_second
"""

#: SPN -> raw numbers that are values although an indicator code would have them: park of a gear,
#: a regeneration that is needed, a heater that is off.
VALUES: dict[int, tuple[int, ...]] = {
    523: (251,),
    524: (251,),
    3700: (2,),
    3223: (2, 3),
}
#: SPN -> raw numbers of small fields that the standard keeps for itself.
NO_VALUES: dict[int, tuple[int, ...]] = {
    1675: (13, 14),
    3697: (2, 3, 5, 6),
    3698: (2, 3, 5, 6),
    3701: (4, 5, 6),
    4154: (8, 9, 10, 11, 12, 13, 14),
    5245: (2, 3, 5, 6),
}
#: SPN -> places (byte.bit) of fields of two bits that all have to say 1 for the value to count: the
#: supply of a sensor in range, the sensor at temperature, its reading stable.
SURE: dict[int, tuple[str, ...]] = {
    3216: ("5.1", "5.3", "5.5"),
    3217: ("5.1", "5.3", "5.7"),
    3226: ("5.1", "5.3", "5.5"),
    3227: ("5.1", "5.3", "5.7"),
}
#: SPN -> byte that names the tyre or the axle the value belongs to; each is a channel of its own.
APART: dict[int, tuple[int, str]] = {
    241: (1, "tyre"),
    242: (1, "tyre"),
    2586: (1, "tyre"),
    2587: (1, "tyre"),
    578: (3, "axle"),
}
