"""A shared ground, 5 V or converter, held against the circuit itself."""

from __future__ import annotations

import numpy as np
import pytest

from physics.faulty_circuit import reading_with
from witnessmark.physics.sensors.sensor_circuit import Thermistor
from witnessmark.physics.sensors.shared_circuit import FAULTS, Fault, Input, disturbed, sensitivity

KINDS: tuple[Input, ...] = ("thermistor", "transducer", "supply", "inside")


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("kind", KINDS)
def test_the_sensitivity_is_the_slope_of_the_exact_circuit(fault: Fault, kind: Input) -> None:
    q = np.linspace(0.05, 0.9, 18)
    slope = (disturbed(q, fault, 1e-6, kind) - disturbed(q, fault, 0.0, kind)) / 1e-6
    assert slope == pytest.approx(sensitivity(q, fault, kind), abs=2e-6)


def test_a_lifted_ground_is_the_divider_of_the_thermistor() -> None:
    # 90 degC, 0.2 V: the divider worked out in sensor_circuit.
    circuit = Thermistor()
    q = circuit.voltage(90.0) / 5.0
    read = circuit.read(5.0 * float(disturbed(q, "ground", 0.2 / 5.0, "thermistor")))
    assert read == pytest.approx(reading_with(circuit, 90.0, lift=0.2, divider=True), abs=1e-9)
    assert read < 90.0


def test_a_sagging_rail_reads_hot_and_a_branch_leaves_the_thermistor_alone() -> None:
    circuit = Thermistor()
    q = circuit.voltage(90.0) / 5.0
    read = circuit.read(5.0 * float(disturbed(q, "rail", 0.1, "thermistor")))
    assert read == pytest.approx(reading_with(circuit, 90.0, sag=0.5), abs=1e-9)
    assert read > 90.0
    assert float(disturbed(q, "reference", 0.1, "thermistor")) == q


@pytest.mark.parametrize("q", [0.14, 0.34, 0.74])
def test_a_sagging_branch_lowers_a_transducer_in_one_proportion(q: float) -> None:
    # A ratiometric output follows its supply: 8 % less of it, 8 % less of the signal.
    assert float(disturbed(q, "reference", 0.08, "transducer")) == pytest.approx(0.92 * q)


def test_only_the_converter_reaches_the_supply_voltage() -> None:
    moved = {f: float(sensitivity(0.4, f, "supply")) for f in FAULTS}
    assert moved == {"ground": 0.0, "reference": 0.0, "rail": 0.0, "converter": 0.4}
