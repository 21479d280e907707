"""Every analysis, in a fixed order."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.analyses.an_analysis import Analysis, Bench
from witnessmark.analyses.readings import before_after, specification
from witnessmark.analyses.road import road_test
from witnessmark.analyses.sensors import cross_checks as sensor_cross_checks
from witnessmark.analyses.sensors import sensor_drift
from witnessmark.analyses.together import bus_circuit, bus_damage
from witnessmark.analyses.together import sensor_or_real as plausibility
from witnessmark.analyses.vibration import shaft_joints as driveline
from witnessmark.analyses.vibration import torsional
from witnessmark.analyses.vibration import what_it_follows as vibration
from witnessmark.model.finding import Finding

__all__ = ["ANALYSES", "run_all"]

#: Module by module. A new analysis is added here; docs/findings.md lists what it may find.
ANALYSES: tuple[Analysis, ...] = (
    specification,
    bus_circuit,
    bus_damage,
    before_after,
    vibration,
    torsional,
    driveline,
    plausibility,
    sensor_cross_checks,
    sensor_drift,
    road_test,
)


def run_all(bench: Bench, analyses: Sequence[Analysis] = ANALYSES) -> tuple[Finding, ...]:
    """Run the analyses and return their findings, by stage and then in their order."""
    found = [finding for analysis in analyses for finding in analysis.analyse(bench)]
    return tuple(sorted(found, key=lambda finding: finding.stage))
