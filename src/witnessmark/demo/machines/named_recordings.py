"""Which machine makes which recording of the invented trucks, by the name the stories use."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, partial

from witnessmark.demo.machines.bus_log import ActiveCode
from witnessmark.demo.machines.demo_circuit import FuelFaults
from witnessmark.demo.machines.demo_recordings import (
    cycling_recording,
    fuel_recording,
    scene_recording,
    shake_recordings,
)
from witnessmark.demo.machines.shaking import Shake

__all__ = ["recording"]

#: What the engines of the two trucks with a gallery were invented with: opening of their return
#: regulators.
_MIXER_CRACK_PSI, _GRITTER_CRACK_PSI = 58.0, 61.0
_DAMPER = Shake(6.0, 0.8, resonance_rpm=1510, width_rpm=150)
_MOUNT = Shake(3.0, 1.0, resonance_rpm=1400, width_rpm=420, unloaded=0.1)
_HEALTHY = (
    Shake(3.0, 0.20),
    Shake(6.0, 0.10),
    Shake(0.5, 0.03),
    Shake(1.0, 0.08),
    Shake(1.0, 0.05, carrier="shaft"),
)

_LOGS: Mapping[str, Callable[[], bytes]] = {
    "gravel-before": partial(
        fuel_recording,
        71,
        FuelFaults(relief_open=0.165, crack_psi=_MIXER_CRACK_PSI),
        sensor_low_psi=3.0,
        codes=(ActiveCode(94, 18, 9, 60.0),),
    ),
    "gravel-after": partial(
        fuel_recording, 72, FuelFaults(crack_psi=_MIXER_CRACK_PSI), sensor_low_psi=3.0
    ),
    "gritter-before": partial(
        fuel_recording, 91, FuelFaults(suction=4.8, air=0.14, crack_psi=_GRITTER_CRACK_PSI)
    ),
    "gritter-after": partial(fuel_recording, 92, FuelFaults(crack_psi=_GRITTER_CRACK_PSI)),
    "rescue-scene-before": partial(scene_recording, 31, lifted_volt=0.23),
    "rescue-scene-after": partial(scene_recording, 32, lifted_volt=0.0),
    "placeholder-before": partial(cycling_recording, 41, sticks=7.0),
    "placeholder-after": partial(cycling_recording, 42, sticks=0.0),
}
#: Road tests: seed and lines; each gives a bus log and the table of a phone.
_SHAKES: Mapping[str, tuple[int, tuple[Shake, ...]]] = {
    "sawmill-before": (61, (_DAMPER, _MOUNT, *_HEALTHY)),
    "sawmill-damper": (62, (_MOUNT, *_HEALTHY)),
    "sawmill-after": (63, _HEALTHY),
}
_LOG, _PHONE = ".candump.log.gz", "-phone.csv"


def recording(name: str) -> bytes:
    """Return a recording by its name, such as ``gravel-before.candump.log.gz``.

    Raises:
        KeyError: no machine makes a recording of that name.
    """
    test = name.removesuffix(_LOG).removesuffix(_PHONE)
    if test in _SHAKES:
        return _road_test(test)[name.endswith(_PHONE)]
    return _LOGS[test]()


@cache
def _road_test(test: str) -> tuple[bytes, bytes]:
    return shake_recordings(*_SHAKES[test])
