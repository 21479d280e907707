"""The readings that can be taken on a fuel supply circuit: minutes, hook-ups, cautions.

Minutes and cautions are judgement (common practice, no source); the maker's manual comes first.
"""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    GALLERY,
    PREFILTER,
    THROTTLED,
    VACUUM,
)
from witnessmark.model.step import Spread

__all__ = ["COVERS", "MEASUREMENTS", "Measurement"]

_FIRE = "hot fuel: no smoking or heaters, eye protection, wipe spills"
_PORT = "relieve the pressure first; clean the port, new sealing washer"
_PULL = (
    "road test with load: a second person reads the gauge; the gauge or a sensor outside the cab, "
    "never a fuel line into it"
)
_THROTTLE = (
    "only if the maker allows it: close slowly at idle, watch the gauge, stop at the maker's "
    "limit; a stuck relief valve would not protect; seconds only"
)
#: Tests of the pack that see the same with one threshold; the model's own reading tells more.
COVERS = {
    "gauge_check": ("f_mech",),
    "gallery_1000_1800": ("f_curve", "f_cap"),
    "gallery_full_load": ("f_curve",),
    "return_flow_two_speeds": ("f_return",),
    "return_flow_idle": ("f_return",),
    "return_throttled": ("f_block",),
    "return_flow_and_throttled": ("f_return", "f_block"),
    "prefilter_1400": ("f_dp",),
    "vacuum_1400": ("f_vac_low",),
    "vacuum_full_load": ("f_vac",),
}


@dataclass(frozen=True, slots=True)
class Measurement:
    """A measurement the model can price.

    Attributes:
        id: measurement id.
        name: in words.
        readings: (quantity, rpm, load) to be taken.
        minutes: hands-on time.
        usd: materials.
        sets_up: the hook-up it shares with others.
        cautions: what can hurt.
        needs: road, load, second person.
        access: 1 to 5.
        cold: taken before the engine is warm.
    """

    id: str
    name: str
    readings: tuple[tuple[str, float, float], ...]
    minutes: Spread
    usd: float = 0.0
    sets_up: str = ""
    cautions: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    access: int = 1
    cold: bool = False


def _spread(minutes: float) -> Spread:
    return Spread(0.7 * minutes, minutes, 1.6 * minutes)


#: Minutes: FUEL circuit study's assumptions (judgement). One bucket serves two speeds.
MEASUREMENTS: tuple[Measurement, ...] = (
    Measurement("gallery_idle_1400", "Gallery pressure at idle and 1,400 rpm",
                ((GALLERY, 650.0, 0.0), (GALLERY, 1400.0, 0.0)), _spread(15), 0.0,
                "gallery_gauge", (_PORT,), ("warm",), 2),
    Measurement("gauge_check", "Second, trusted gauge on the same port",
                ((CHECK, 650.0, 0.0),), _spread(5), 0.0, "gallery_gauge", (_PORT,),
                ("running",), 1),
    Measurement("gallery_1000_1800", "Gallery pressure at 1,000 and 1,800 rpm too",
                ((GALLERY, 1000.0, 0.0), (GALLERY, 1800.0, 0.0)), _spread(3), 0.0,
                "gallery_gauge", (), ("warm",), 1),
    Measurement("return_flow_two_speeds", "Return flow into a bucket at idle and 1,400 rpm",
                ((FLOW, 650.0, 0.0), (FLOW, 1400.0, 0.0)), _spread(18), 0.0, "return_line",
                (_FIRE,), ("warm",), 2),
    Measurement("return_flow_idle", "Return flow into a bucket at idle",
                ((FLOW, 650.0, 0.0),), _spread(10), 0.0, "return_line", (_FIRE,), ("warm",), 2),
    Measurement("return_throttled", "Gallery pressure with the return throttled shut at idle",
                ((THROTTLED, 650.0, 0.0),), _spread(13), 0.0, "return_line",
                (_THROTTLE, _FIRE), ("warm",), 2),
    Measurement("return_flow_and_throttled",
                "Return flow at idle and 1,400 rpm, then the return throttled shut at idle",
                ((FLOW, 650.0, 0.0), (FLOW, 1400.0, 0.0), (THROTTLED, 650.0, 0.0)), _spread(25),
                0.0, "return_line", (_THROTTLE, _FIRE), ("warm",), 2),
    Measurement("gallery_idle_cold",
                "Gallery pressure at idle with a cold engine, before it is warm again",
                ((GALLERY, 650.0, 0.0),), _spread(8), 0.0, "gallery_gauge", (_PORT,),
                ("cold", "running"), 2, cold=True),
    Measurement("prefilter_1400", "Pressure before the secondary filter at 1,400 rpm",
                ((PREFILTER, 1400.0, 0.0),), _spread(10), 0.0, "gallery_gauge", (_PORT,),
                ("warm",), 2),
    Measurement("vacuum_1400", "Suction vacuum at the pump inlet, 1,400 rpm",
                ((VACUUM, 1400.0, 0.0),), _spread(15), 0.0, "vacuum_gauge",
                ("an opened suction line draws air: prime it again",), ("warm",), 2),
    Measurement("vacuum_full_load", "Suction vacuum on a full-load pull, 1,500 rpm",
                ((VACUUM, 1500.0, 1.0),), _spread(25), 0.0, "vacuum_gauge",
                ("an opened suction line draws air: prime it again", _PULL),
                ("warm", "road", "load", "second person"), 2),
    Measurement("gallery_full_load", "Gallery pressure on a full-load pull, 1,500 rpm",
                ((GALLERY, 1500.0, 1.0),), _spread(20), 0.0, "gallery_gauge",
                (_PULL, "route the gauge hose away from heat and the fan"),
                ("warm", "road", "load", "second person"), 1),
)  # fmt: skip
