"""Driveline: outside values are in shared/checks section 5 (R-*), closed forms otherwise."""

import math

import numpy as np
import pytest

from witnessmark.physics.vibration import joint_angles as d

DEG = math.pi / 180


def speed_ratio(angle, turn):
    """Output over input speed of one joint, turn from its plane [rad]; shared/checks R-uj-*."""
    return math.cos(angle) / (1.0 - math.sin(angle) ** 2 * np.cos(turn) ** 2)


@pytest.mark.parametrize(
    ("degrees", "high", "low", "uniform", "second"),
    [  # shared/checks R-uj-1, R-uj-5, R-uj-20, R-uj-25
        (1, 1.000152328, 0.9998476952, 0.0003046328875, 0.0001523164429),
        (5, 1.003819838, 0.9961946981, 0.007625139452, 0.003812555871),
        (20, 1.064177772, 0.9396926208, 0.1244851517, 0.06218240825),
        (25, 1.103377919, 0.906307787, 0.1970701319, 0.09829704689),
    ],
)
def test_one_joint(degrees, high, low, uniform, second):
    turn = np.linspace(0, 2 * np.pi, 4096, endpoint=False)
    ratio = speed_ratio(degrees * DEG, turn)
    assert ratio.max() == pytest.approx(high, rel=1e-9)
    assert ratio.min() == pytest.approx(low, rel=1e-9)
    assert d.uniformity(degrees * DEG) == pytest.approx(uniform, rel=1e-9)
    assert abs(d.joint_train([d.Joint(degrees * DEG)]).excitation) == pytest.approx(second)
    # The second order is what a Fourier transform of the exact ratio shows.
    spectrum = np.abs(np.fft.rfft(ratio)) / len(turn) * 2
    assert spectrum[2] == pytest.approx(second, rel=1e-9)
    assert spectrum[3] < 1e-12


def test_limit_is_three_degrees():  # shared/checks R-uj-lim
    assert d.uniformity(2.9765 * DEG) == pytest.approx(d.UNIFORMITY_LIMIT, rel=1e-4)


def test_acceleration():
    # shared/checks R-uj-3deg (closed form)
    assert d.joint_acceleration(3 * DEG, 1800 * math.pi / 30) == pytest.approx(97.454, abs=0.01)


def test_equal_angles_in_phase_cancel_and_out_of_phase_add():
    pair = d.joint_train([d.Joint(4 * DEG), d.Joint(4 * DEG)])
    assert pair.equivalent_angle < 1e-9
    assert pair.centre == pytest.approx(4 * DEG)
    twisted = d.joint_train([d.Joint(4 * DEG), d.Joint(4 * DEG, yoke=math.pi / 2)])
    assert math.tan(twisted.equivalent_angle / 2) ** 2 == pytest.approx(2 * math.tan(2 * DEG) ** 2)


def test_unequal_angles_leave_the_root_of_the_difference():
    # Small angles: b_res = sqrt(b1^2 - b2^2) (textbook form).
    rest = d.joint_train([d.Joint(3 * DEG), d.Joint(1 * DEG)]).equivalent_angle / DEG
    assert rest == pytest.approx(math.sqrt(8), rel=1e-3)


def test_two_joints_against_turning_them_one_after_the_other():
    """The chain's second order equals that of the exact ratios multiplied turn by turn."""
    first, second = d.Joint(5 * DEG), d.Joint(2 * DEG, 3 * DEG, yoke=20 * DEG)
    turn = np.linspace(0, 2 * np.pi, 8192, endpoint=False)
    # The shaft's own angle behind the first joint is the integral of its speed ratio.
    ratio1 = speed_ratio(first.angle, turn - first.plane)
    out1 = np.cumsum(ratio1 - 1) * (turn[1] - turn[0]) + turn
    out1 -= np.mean(out1 - turn)
    ratio2 = speed_ratio(second.angle, out1 + np.pi / 2 - (second.plane - second.yoke))
    second_order = np.fft.rfft(ratio1 * ratio2)[2] / len(turn) * 2
    train = d.joint_train([first, second])
    assert abs(second_order) == pytest.approx(abs(train.excitation), rel=0.01)


def test_compound_angle():
    joint = d.Joint(3 * DEG, 4 * DEG)
    assert joint.angle / DEG == pytest.approx(5.0, rel=2e-3)


def test_whirl_of_a_tube():
    # Closed form of a simply supported beam; doubling the length quarters the speed.
    one = d.bending_critical_speed(1.8, 0.1016, 0.0966)
    assert d.bending_critical_speed(3.6, 0.1016, 0.0966) == pytest.approx(one / 4)
    # A thin tube: w = pi^2/L^2 sqrt(E r^2/(2 rho)); r is the mean radius.
    thin = math.pi**2 / 1.8**2 * math.sqrt(206e9 * 0.04955**2 / (2 * 7850)) * 60 / (2 * math.pi)
    assert one == pytest.approx(thin, rel=2e-3)
    with pytest.raises(ValueError, match="outer diameter"):
        d.bending_critical_speed(1.8, 0.05, 0.06)
