"""The truck simulator: rates, steps, repeatability, and numbers checked against the outside."""

from __future__ import annotations

import gzip

import can
import numpy as np
import pytest

from witnessmark.demo.machines.bus_log import ActiveCode, BusTrack, candump, zipped
from witnessmark.demo.machines.cooling import Cooling, coolant_temperature
from witnessmark.demo.machines.demo_circuit import FuelFaults, fuel_point, gallery_curve
from witnessmark.demo.machines.demo_recordings import (
    GEARING,
    cycling_recording,
    fuel_recording,
    scene_recording,
    shake_recordings,
)
from witnessmark.demo.machines.drive_cycle import Leg, drive
from witnessmark.demo.machines.shaking import Shake
from witnessmark.readers import read_recording

POINTS = [(700, 0.0), (1000, 0.0), (1500, 0.0), (1800, 0.0), (1500, 1.0)]


@pytest.mark.parametrize(
    ("faults", "wanted"),
    [
        # DOMAIN.md section 4, table of single faults (its own computation), gallery psi at POINTS
        (FuelFaults(), [76, 83, 95, 103, 92]),
        (FuelFaults(relief_open=0.19), [50, 65, 76, 82, 72]),
        (FuelFaults(slip=4), [70, 76, 88, 95, 84]),
        (FuelFaults(crack_psi=42), [58, 66, 78, 85, 74]),
    ],
)
def test_circuit_agrees_with_the_reference_table(faults: FuelFaults, wanted: list[float]) -> None:
    got = [fuel_point(rpm, load, faults).gallery_psi for rpm, load in POINTS]
    assert got == pytest.approx(wanted, abs=3.5)


def test_starved_suction_draws_deep_vacuum_and_air_does_not() -> None:
    # DOMAIN.md section 11, D5: vacuum 7/16/18 inHg at 700/1500/1800, return 1.1/1.9/2.0 gal/min
    both = FuelFaults(suction=5, air=0.12)
    found = [fuel_point(rpm, 0, both) for rpm in (700, 1500, 1800)]
    assert [p.vacuum_inhg for p in found] == pytest.approx([7, 16, 18], abs=1.5)
    assert [p.return_gpm for p in found] == pytest.approx([1.1, 1.9, 2.0], abs=0.25)
    assert fuel_point(1500, 0, FuelFaults(air=0.12)).vacuum_inhg < 5


def test_table_along_a_drive_is_the_solved_circuit() -> None:
    rpm, load = np.array([700.0, 1234.0, 1777.0]), np.array([0.0, 0.33, 1.0])
    exact = [fuel_point(r, q).gallery_psi for r, q in zip(rpm, load, strict=True)]
    assert gallery_curve(rpm, load) == pytest.approx(exact, abs=0.15)


@pytest.fixture(scope="module")
def pull(tmp_path_factory: pytest.TempPathFactory):
    path = tmp_path_factory.mktemp("pull") / "pull.candump.log.gz"
    codes = (ActiveCode(94, 18, 6), ActiveCode(100, 1, 2, 30.0), ActiveCode(520301, 31, 1, 30.0))
    path.write_bytes(fuel_recording(5, FuelFaults(), codes=codes))
    return path, read_recording(path)


def test_bus_rates_are_the_real_ones(pull) -> None:
    _, recording = pull
    wanted = {
        "engine_speed": 0.01,
        "pedal_position": 0.05,
        "fuel_rate": 0.1,
        "fuel_delivery_pressure": 0.5,
        "oil_pressure": 0.5,
        "coolant_temperature": 1.0,
        "oil_temperature": 1.0,
    }
    for name, period in wanted.items():
        channel = recording.channel(name)
        assert channel is not None, name
        steps = np.diff(channel.time_s)
        assert float(np.median(steps)) == pytest.approx(period, rel=0.01), name
        assert float(steps.std()) > 1e-5, name  # senders are never exactly on time


def test_bus_steps_are_the_real_ones(pull) -> None:
    _, recording = pull
    # step of each signal in its house unit (public tables of SAE J1939-71)
    for name, step, offset in [
        ("engine_speed", 0.125, 0.0),
        ("fuel_delivery_pressure", 4000.0, 0.0),
        ("oil_pressure", 4000.0, 0.0),
        ("coolant_temperature", 1.0, 0.0),
        ("boost_pressure", 2000.0, 0.0),
        ("engine_load", 1.0, 0.0),
    ]:
        channel = recording.channel(name)
        assert channel is not None
        places = (channel.values - offset) / step
        assert np.abs(places - np.rint(places)).max() < 1e-6, name
        assert len(np.unique(channel.values)) > 1, name


def test_log_is_one_frame_after_another_and_other_software_reads_it(pull, tmp_path) -> None:
    path, recording = pull
    text = tmp_path / "pull.log"
    text.write_bytes(gzip.decompress(path.read_bytes()))
    messages = list(can.CanutilsLogReader(text))
    assert len(messages) == recording.frames
    times = np.array([m.timestamp for m in messages])
    assert np.diff(times).min() > 0.0005
    speeds = [m for m in messages if m.arbitration_id == 0x0CF00400]
    assert int.from_bytes(speeds[0].data[3:5], "little") * 0.125 == pytest.approx(690, abs=40)
    assert not recording.problems


def test_active_codes_single_and_in_several_packets(pull) -> None:
    path, recording = pull
    found = {(c.spn, c.fmi): c for c in recording.trouble_codes}
    assert set(found) == {(94, 18), (100, 1), (520301, 31)}
    assert found[94, 18].count == 6
    assert found[94, 18].first_s < 3
    assert 29 < found[520301, 31].first_s < 33
    text = gzip.decompress(path.read_bytes()).decode()
    assert "1CECFF00#20" in text  # announced as a broadcast
    assert text.count("18FECA00#") > 20  # one code fits a single frame


def test_a_faulted_sensor_is_an_error_and_an_absent_one_not_available(tmp_path) -> None:
    time = np.arange(0, 5, 0.01)
    track = BusTrack(time, {"coolant_temperature": np.full(time.size, np.nan)})
    path = tmp_path / "x.candump.log.gz"
    path.write_bytes(zipped(candump(track, np.random.default_rng(0))))
    text = gzip.decompress(path.read_bytes()).decode()
    assert "18FEEE00#FEFFFFFFFFFFFFFF" in text


@pytest.mark.parametrize(
    "make",
    [
        lambda seed: fuel_recording(seed, FuelFaults()),
        lambda seed: scene_recording(seed, lifted_volt=0.2, minutes=2, times_switched=3),
        lambda seed: cycling_recording(seed, sticks=7, minutes=2),
        lambda seed: b"".join(shake_recordings(seed, (Shake(6, 1.0),))),
    ],
)
def test_the_seed_decides_every_byte(make) -> None:
    assert make(7) == make(7)
    assert make(7) != make(8)


def test_coolant_moves_no_faster_than_coolant_can() -> None:
    # DOMAIN.md section 6: bulk coolant cannot rise faster than about 0.4-0.7 degC/s at full power
    legs = [Leg(60, 700, 0.1), Leg(120, 1500, 1.0, "9"), Leg(60, 700, 0.1)]
    drove = drive(legs, np.random.default_rng(1), gearing=GEARING)
    true, tip = coolant_temperature(Cooling(start=60.0), drove)
    rate = np.abs(np.diff(true[::100]))
    assert 0.05 < rate.max() < 0.7
    assert np.abs(np.diff(tip[::100])).max() < rate.max() + 1e-9


def test_sticking_thermostat_swings_slowly_and_a_free_one_settles() -> None:
    legs = [Leg(1500, 1350, 0.45, "10")]
    drove = drive(legs, np.random.default_rng(1), gearing=GEARING)

    def swing(cooling: Cooling) -> tuple[float, int]:
        _, tip = coolant_temperature(cooling, drove)
        late = tip[60000:]
        crossings = int(np.count_nonzero(np.diff(np.sign(late - late.mean())) > 0))
        return float(late.max() - late.min()), crossings

    stuck, cycles = swing(Cooling(sticks=7.0, ambient=5.0))
    free, _ = swing(Cooling(ambient=5.0))
    # DOMAIN.md section 6: slow sawtooth 4-10 degC with a period of 20-200 s; about 900 s looked at
    assert 4 < stuck < 12
    assert 4 < cycles < 45
    assert free < 1.5


def test_lifted_ground_moves_temperature_down_and_pressure_up_at_once(tmp_path) -> None:
    path = tmp_path / "scene.candump.log.gz"
    path.write_bytes(scene_recording(3, lifted_volt=0.20, minutes=6, times_switched=5))
    recording = read_recording(path)
    coolant, oil = recording.channel("coolant_temperature"), recording.channel("oil_pressure")
    assert coolant is not None
    assert oil is not None
    steps = np.diff(coolant.values)
    drops = coolant.time_s[1:][steps < -5]
    assert 3 <= len(drops) <= 6
    # DOMAIN.md section 6: +200 mV is -7.4 degC on the sensor and +7.2 psi on a 0-145 psi one
    assert steps[steps < -5].mean() == pytest.approx(-7.4, abs=0.8)
    rises = []
    for t in drops:
        before = oil.values[(oil.time_s > t - 4) & (oil.time_s < t - 1.2)].mean()
        after = oil.values[(oil.time_s > t + 0.6) & (oil.time_s < t + 4)].mean()
        rises.append((after - before) / 6894.757)
    assert np.median(rises) == pytest.approx(7.2, abs=0.8)


def test_phone_feels_the_order_that_was_put_in(tmp_path) -> None:
    log, table = shake_recordings(4, (Shake(6.0, 1.0, unloaded=1.0),))
    bus_path, phone_path = tmp_path / "b.candump.log.gz", tmp_path / "p.csv"
    bus_path.write_bytes(log)
    phone_path.write_bytes(table)
    phone = read_recording(phone_path)
    axes = [c for c in phone.channels if c.name.startswith(("vibration", "a"))]
    assert len(axes) == 3
    rate = 1 / float(np.median(np.diff(axes[0].time_s)))
    assert rate == pytest.approx(200, rel=0.02)
    power = sum(float(np.var(c.values)) for c in axes) ** 0.5
    assert power == pytest.approx((1.0 + 3 * 0.08**2 + 3 * 0.15**2 / 2) ** 0.5, rel=0.05)
