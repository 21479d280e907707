"""Every analysis, in a fixed order."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.analyses import (
    before_after,
    bus_circuit,
    driveline,
    plausibility,
    road_test,
    sensor_cross_checks,
    sensor_drift,
    specification,
    torsional,
    vibration,
)
from witnessmark.analyses.contract import Analysis, Bench
from witnessmark.model.finding import Finding

__all__ = ["ANALYSES", "run_all"]

#: Module by module. A new analysis is added here; docs/findings.md lists what it may find.
ANALYSES: tuple[Analysis, ...] = (
    specification,
    bus_circuit,
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
