# ruff: noqa: E501  (a table: a row a line)
"""Quantities that come over the data bus only, a row each.

The limits are those of the encoding, or of what such a thing can be: no temperature under -60
degC, no gauge pressure more than an atmosphere below zero.
"""

from __future__ import annotations

__all__ = ["BUS_QUANTITIES"]

#: Name, house unit, shop unit, SI unit, words, lowest and highest [house unit].
_TABLE = """
fan_speed_requested | % | % | % | fan speed asked for by the cab unit | 0 | 100
retarder_torque_mode | state | state | state | retarder torque mode | 0 | 15
retarder_torque | % | % | % | retarder torque now, of its reference | -125 | 125
retarder_torque_intended | % | % | % | retarder torque intended | -125 | 125
retarder_selection | % | % | % | retarder selection by the driver (not the engine's) | 0 | 100
abs_active | state | state | state | ABS intervening now | 0 | 3
ebs_brake_switch | state | state | state | electronic-brake brake switch | 0 | 3
driveline_engaged | state | state | state | driveline engaged | 0 | 3
converter_lock_up | state | state | state | torque converter lock-up engaged | 0 | 3
gear_change | state | state | state | gear change in progress | 0 | 3
clutch_slip | % | % | % | clutch slip | 0 | 100
pedal_position_second | % | % | % | accelerator pedal position, second channel | 0 | 100
filter_heat_management | state | state | state | filter thermal management active | 0 | 3
catalyst_heat_management | state | state | state | urea catalyst thermal management active | 0 | 3
available_torque | % | % | % | highest torque available now | 0 | 100
engine_torque_fine | % | % | % | engine torque, fine part | 0 | 1.875
starter_mode | state | state | state | starter mode: state and reason of inhibition | 0 | 15
differential_lock_rear_axle_1 | state | state | state | differential lock state, rear axle 1 | 0 | 3
differential_lock_rear_axle_2 | state | state | state | differential lock state, rear axle 2 | 0 | 3
steering_angle | rad | deg | deg | steering wheel angle | -31.374 | 31.37502
egr_mass_flow | kg/s | g/s | g/s | exhaust-gas recirculation 1 mass flow | 0 | 0.8924306
intake_air_mass_flow | kg/s | g/s | g/s | intake air mass flow | 0 | 0.8924306
egr_mass_flow_second | kg/s | g/s | g/s | exhaust-gas recirculation 2 mass flow | 0 | 0.8924306
nox_before_catalyst | ppm | ppm | ppm | NOx before the urea catalyst (at the engine outlet) | -50 | 3012.75
oxygen_before_catalyst | % | % | % | oxygen at the first NOx sensor | -2 | 21.02707
nox_before_supply | state | state | state | first NOx sensor: supply in range | 0 | 3
nox_before_warm | state | state | state | first NOx sensor: at temperature | 0 | 3
nox_before_stable | state | state | state | first NOx sensor: NOx reading stable | 0 | 3
oxygen_before_stable | state | state | state | first NOx sensor: oxygen reading stable | 0 | 3
nox_before_heater_fmi | state | state | state | first NOx sensor: heater preliminary FMI | 0 | 31
nox_before_heater | state | state | state | first NOx sensor: heater control | 0 | 3
nox_before_fmi | state | state | state | first NOx sensor: NOx preliminary FMI | 0 | 31
nox_behind_catalyst | ppm | ppm | ppm | NOx behind the urea catalyst | -50 | 3012.75
oxygen_behind_catalyst | % | % | % | oxygen at the second NOx sensor | -2 | 21.02707
nox_behind_supply | state | state | state | second NOx sensor: supply in range | 0 | 3
nox_behind_warm | state | state | state | second NOx sensor: at temperature | 0 | 3
nox_behind_stable | state | state | state | second NOx sensor: NOx reading stable | 0 | 3
oxygen_behind_stable | state | state | state | second NOx sensor: oxygen reading stable | 0 | 3
intake_throttle_command | % | % | % | intake throttle actuator 1 command | 0 | 160.6375
engine_speed_second | rpm | rpm | rpm | second engine speed sensor (often the cam) | 0 | 32127.5
urea_dosing_rate | kg/s | g/h | g/h | urea dosing now | 0 | 0.005354583
urea_system_state | state | state | state | urea system state | 0 | 15
urea_dosed | gram | gram | gram | urea dosed, integrator | 0 | 6425.5
urea_doser_pressure | Pa | psi | kPa | urea pressure at the doser, absolute | 0 | 2000000
oxidation_catalyst_inlet_temperature | degC | degF | degC | gas temperature before the oxidation catalyst | -60 | 1734.969
oxidation_catalyst_outlet_temperature | degC | degF | degC | gas temperature behind the oxidation catalyst | -60 | 1734.969
oxidation_catalyst_difference | Pa | psi | kPa | oxidation catalyst pressure difference | 0 | 6425500
urea_pump_speed | rpm | rpm | rpm | urea pump motor speed | 0 | 32127.5
urea_pump_drive | % | % | % | urea pump drive | 0 | 100
urea_return_valve | % | % | % | urea return valve | 0 | 100
urea_catalyst_inlet_temperature | degC | degF | degC | gas temperature before the urea catalyst | -60 | 1734.969
urea_catalyst_outlet_temperature | degC | degF | degC | gas temperature behind the urea catalyst | -60 | 1734.969
urea_catalyst_difference | Pa | psi | kPa | urea catalyst pressure difference | 0 | 6425500
urea_doser_temperature | degC | degF | degC | urea temperature at the doser | -60 | 210
urea_catalyst_efficiency | % | % | % | urea catalyst conversion efficiency | 0 | 100
egr_cooler_efficiency | % | % | % | exhaust-gas recirculation cooler 1 efficiency | 0 | 100
soot_load | % | % | % | particulate filter soot load | 0 | 250
ash_load | % | % | % | particulate filter ash load | 0 | 250
time_since_regeneration | s | s | s | time since the last active regeneration | 0 | 4.211081e+09
regeneration_soot_level | % | % | % | soot load at which regeneration is asked for | 0 | 160.6375
filter_lamp | state | state | state | particulate filter lamp command | 0 | 7
passive_regeneration | state | state | state | passive filter regeneration | 0 | 3
active_regeneration | state | state | state | active filter regeneration | 0 | 3
regeneration_need | state | state | state | particulate filter need of regeneration | 0 | 7
regeneration_inhibited | state | state | state | active regeneration inhibited | 0 | 3
regeneration_inhibit_switch | state | state | state | active regeneration inhibited by the switch | 0 | 3
hot_exhaust_lamp | state | state | state | hot-exhaust lamp command | 0 | 7
filter_inlet_pressure | Pa | psi | kPa | pressure before the particulate filter | 0 | 6425500
filter_outlet_pressure | Pa | psi | kPa | pressure behind the particulate filter | 0 | 6425500
egr_valve_position | % | % | % | exhaust-gas recirculation valve 1, measured position | 0 | 160.6375
urea_temperature | degC | degF | degC | urea (DEF) temperature at the quality sensor | -60 | 210
urea_concentration | % | % | % | urea concentration | 0 | 62.5
urea_conductivity | µS | µS | µS | urea conductivity | 0 | 1250
sensor_supply_1 | V | V | V | sensor supply voltage (first of its message) | 0 | 3212.75
sensor_supply_2 | V | V | V | sensor supply voltage (second of its message) | 0 | 3212.75
sensor_supply_3 | V | V | V | sensor supply voltage (third of its message) | 0 | 3212.75
sensor_supply_4 | V | V | V | sensor supply voltage (fourth of its message) | 0 | 3212.75
exhaust_fuel_pressure | Pa | psi | kPa | fuel pressure at the exhaust fuel doser | 0 | 6425500
exhaust_fuel_rate | m3/s | gal/h | L/h | fuel dosed into the exhaust | 0 | 0.0008924306
exhaust_fuel_status | state | state | state | exhaust fuel dosing: regeneration status | 0 | 3
exhaust_fuel_valve | state | state | state | exhaust fuel shut-off (enable) valve | 0 | 3
vgt_command | % | % | % | variable-geometry turbo actuator 1 (command/drive) | 0 | 100
pto_shaft_switch | state | state | state | enable switch, transmission input-shaft PTO 1 | 0 | 3
exhaust_temperature_between | degC | degF | degC | exhaust gas temperature 2 (between) | -60 | 1734.969
filter_middle_temperature | degC | degF | degC | gas temperature inside/between at the filter | -60 | 1734.969
filter_pressure_difference | Pa | psi | kPa | particulate filter pressure difference | 0 | 6425500
exhaust_temperature_behind | degC | degF | degC | exhaust gas temperature 3 (behind) | -60 | 1734.969
filter_outlet_temperature | degC | degF | degC | gas temperature behind the particulate filter | -60 | 1734.969
exhaust_temperature_before | degC | degF | degC | exhaust gas temperature 1 (before aftertreatment) | -60 | 1734.969
filter_inlet_temperature | degC | degF | degC | gas temperature before the particulate filter | -60 | 1734.969
intake_manifold_absolute_pressure | Pa | psi | kPa | intake manifold 1 pressure, absolute | 0 | 500000
intake_manifold_absolute_pressure_fine | Pa | psi | kPa | intake manifold 1 pressure, absolute, fine | 0 | 6425500
compressor_outlet_temperature | degC | degF | degC | turbocharger 1 compressor outlet temperature | -60 | 1734.969
egr_valve_command | % | % | % | exhaust-gas recirculation valve 1 command | 0 | 160.6375
vgt_position | % | % | % | variable-geometry turbo 1 actuator position | 0 | 100
left_turn_lamp | state | state | state | left turn lamps command | 0 | 3
left_stop_lamp | state | state | state | left stop lamp command | 0 | 3
implement_marker_lamp | state | state | state | implement marker lamp command | 0 | 3
cranking_allowed | state | state | state | transmission allows cranking | 0 | 3
alternator_current_wide | A | A | A | alternator current, wide range | -1600 | 1612.75
battery_current_wide | A | A | A | net battery current, wide range | -1600 | 1612.75
urea_tank_level | % | % | % | urea (DEF) tank 1 filling | 0 | 100
urea_tank_temperature | degC | degF | degC | urea (DEF) tank 1 temperature | -60 | 210
urea_tank_height | m | in | mm | urea (DEF) tank 1 level as height | 0 | 6.4255
low_urea_lamp | state | state | state | low-urea indicator (older: inducement active) | 0 | 7
inducement_level | state | state | state | severity of the urea-system inducement | 0 | 7
urea_tank_heater | % | % | % | urea (DEF) tank 1 heater | 0 | 100
hydraulic_oil_temperature | degC | degF | degC | hydraulic oil temperature | -60 | 210
hydraulic_filter_switch | state | state | state | hydraulic oil filter restriction switch | 0 | 3
hydraulic_oil_level | % | % | % | hydraulic oil level | 0 | 100
intake_air_temperature_fine | degC | degF | degC | intake manifold 1 air temperature, fine | -60 | 1734.969
coolant_temperature_fine | degC | degF | degC | coolant temperature, fine | -60 | 1734.969
charge_cooler_outlet_temperature | degC | degF | degC | charge cooler 1 outlet temperature | -60 | 1734.969
wheel_speed_front_left | m/s | mph | km/h | front axle left wheel speed, fine | 0 | 69.72114
wheel_speed_front_right | m/s | mph | km/h | front axle right wheel speed, fine | 0 | 69.72114
wheel_speed_rear_left | m/s | mph | km/h | rear axle left wheel speed, fine | 0 | 69.72114
wheel_speed_rear_right | m/s | mph | km/h | rear axle right wheel speed, fine | 0 | 69.72114
auxiliary_temperature | degC | degF | degC | auxiliary temperature 1 (what is wired there) | -60 | 210
battery_voltage_second | V | V | V | battery voltage / power input 2 | 0 | 3212.75
ecu_output_supply | V | V | V | supply that the control unit gives to its outputs, 1 | 0 | 3212.75
exhaust_manifold_pressure | Pa | psi | kPa | exhaust gas pressure (before the turbine), gauge | -110000 | 251992.2
wastegate_drive | % | % | % | turbocharger 1 wastegate drive/position | 0 | 100
turbine_outlet_temperature | degC | degF | degC | turbocharger 1 turbine outlet temperature | -60 | 1734.969
turbine_inlet_temperature | degC | degF | degC | turbocharger 1 turbine inlet temperature | -60 | 1734.969
compressor_inlet_pressure | Pa | psi | kPa | turbocharger 1 compressor inlet pressure | -110000 | 251992.2
compressor_inlet_temperature | degC | degF | degC | turbocharger 1 compressor inlet temperature | -60 | 1734.969
oil_temperature_second | degC | degF | degC | engine oil temperature 2 | -60 | 1734.969
ecu_temperature | degC | degF | degC | engine control unit temperature | -60 | 1734.969
egr_pressure_difference | Pa | psi | kPa | exhaust-gas recirculation pressure difference (flow sensor) | -110000 | 251992.2
egr_gas_temperature | degC | degF | degC | exhaust-gas recirculation gas temperature (behind the cooler) | -60 | 1734.969
air_supply_pressure | Pa | psi | kPa | compressed-air supply pressure (before the circuits) | 0 | 2000000
parking_air_pressure | Pa | psi | kPa | parking and/or trailer air pressure | 0 | 2000000
service_brake_1_pressure | Pa | psi | kPa | service brake circuit 1 air pressure | 0 | 2000000
service_brake_2_pressure | Pa | psi | kPa | service brake circuit 2 air pressure | 0 | 2000000
auxiliary_air_pressure | Pa | psi | kPa | auxiliary consumers' air pressure | 0 | 2000000
air_suspension_pressure | Pa | psi | kPa | air suspension supply pressure | 0 | 2000000
air_compressor_status | state | state | state | air compressor status | 0 | 3
fan_motor_pressure | Pa | psi | kPa | hydraulic fan motor pressure | 0 | 3.21275e+07
wheel_speed_front_left_relative | m/s | mph | km/h | front axle left wheel against axle speed | -2.170139 | 2.170139
wheel_speed_front_right_relative | m/s | mph | km/h | front axle right wheel against axle speed | -2.170139 | 2.170139
wheel_speed_rear_1_left_relative | m/s | mph | km/h | rear axle 1 left wheel against front axle speed | -2.170139 | 2.170139
wheel_speed_rear_1_right_relative | m/s | mph | km/h | rear axle 1 right wheel against front axle speed | -2.170139 | 2.170139
wheel_speed_rear_2_left_relative | m/s | mph | km/h | rear axle 2 left wheel against front axle speed | -2.170139 | 2.170139
wheel_speed_rear_2_right_relative | m/s | mph | km/h | rear axle 2 right wheel against front axle speed | -2.170139 | 2.170139
transmission_neutral | state | state | state | transmission neutral switch | 0 | 3
shift_rail_actuator | state | state | state | shift finger rail actuator 1 | 0 | 3
shift_gear_actuator | state | state | state | shift finger gear actuator 1 | 0 | 3
range_high_actuator | state | state | state | range-high actuator of the transmission | 0 | 3
range_low_actuator | state | state | state | range-low actuator of the transmission | 0 | 3
splitter_direct_actuator | state | state | state | splitter direct actuator of the transmission | 0 | 3
transmission_clutch_actuator | state | state | state | transmission clutch actuator | 0 | 3
alternator_speed | rpm | rpm | rpm | alternator speed | 0 | 32127.5
alternator_charges | state | state | state | alternator 1 charges | 0 | 3
injection_control_pressure | Pa | psi | MPa | injection control pressure (hydraulically actuated injectors) | 0 | 2.509961e+08
fuel_rail_pressure | Pa | psi | MPa | fuel rail (injector metering rail 1) pressure | 0 | 2.509961e+08
fuel_rail_pressure_second | Pa | psi | MPa | injector metering rail 2 pressure | 0 | 2.509961e+08
turbo_oil_pressure | Pa | psi | kPa | turbocharger lube oil pressure | 0 | 1000000
exhaust_mass_flow | kg/s | g/s | g/s | exhaust gas mass flow | 0 | 3.569722
refrigerant_fan_switch | state | state | state | A/C high-pressure fan switch | 0 | 3
refrigerant_pressure_switch | state | state | state | refrigerant high-pressure switch | 0 | 3
engine_protection_shutdown | state | state | state | engine protection has shut the engine down | 0 | 3
pto_enable_switch | state | state | state | power take-off governor enable switch | 0 | 3
pto_set_switch | state | state | state | power take-off governor set switch | 0 | 3
pto_state | state | state | state | power take-off governor state | 0 | 31
tyre_pressure | Pa | psi | kPa | tyre pressure (of the tyre named in the same message) | 0 | 1000000
tyre_temperature | degC | degF | degC | tyre temperature (of the tyre named in the same message) | -60 | 1734.969
tyre_leakage_rate | Pa/s | Pa/s | Pa/s | tyre leakage rate | 0 | 6425.5
tyre_pressure_state | state | state | state | tyre pressure threshold detection | 0 | 7
transmission_clutch_pressure | Pa | psi | kPa | transmission clutch pressure | 0 | 4000000
transmission_oil_level | % | % | % | transmission oil level | 0 | 100
transmission_filter_difference | Pa | psi | kPa | transmission filter pressure difference | 0 | 500000
transmission_oil_difference | L | qt | L | transmission oil above or below mark | -62.5 | 62.5
transmission_level_status | state | state | state | transmission oil level measurement status | 0 | 15
steering_axle_temperature | degC | degF | degC | steering axle temperature | -60 | 210
drive_axle_temperature | degC | degF | degC | drive axle temperature (axle named in the same message) | -60 | 210
brake_application_pressure | Pa | psi | kPa | brake application pressure | 0 | 1000000
brake_secondary_pressure | Pa | psi | kPa | brake reservoir pressure, secondary circuit | 0 | 1000000
parking_brake_actuator | state | state | state | parking brake actuator | 0 | 3
hydraulic_retarder_pressure | Pa | psi | kPa | hydraulic retarder pressure | 0 | 4000000
hydraulic_retarder_temperature | degC | degF | degC | hydraulic retarder oil temperature | -60 | 210
fuel_filter_difference | Pa | psi | kPa | fuel filter pressure difference | 0 | 500000
oil_filter_difference | Pa | psi | kPa | engine oil filter pressure difference | 0 | 125000
fuel_level_second | % | % | % | fuel level, second tank | 0 | 100
"""

#: The rows: name, house unit, shop unit, SI unit, words, lowest, highest.
BUS_QUANTITIES: tuple[tuple[str, str, str, str, str, float, float], ...] = tuple(
    (name, house, shop, si, words, float(low), float(high))
    for name, house, shop, si, words, low, high in (
        line.split(" | ") for line in _TABLE.strip().split("\n")
    )
)
