"""The analyses of any case, in a fixed order; what belongs to a physical model runs behind it."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.analyses.an_analysis import Analysis, Bench
from witnessmark.analyses.readings import before_after, codes_known, specification
from witnessmark.analyses.road import road_test
from witnessmark.model.finding import Finding

__all__ = ["ANALYSES", "run_all"]

#: Module by module. A new analysis is added here; docs/findings.md lists what it may find.
ANALYSES: tuple[Analysis, ...] = (specification, before_after, codes_known, road_test)


def run_all(bench: Bench, analyses: Sequence[Analysis] = ANALYSES) -> tuple[Finding, ...]:
    """Run the analyses and return their findings, by stage and then in their order."""
    found = [finding for analysis in analyses for finding in analysis.analyse(bench)]
    return tuple(sorted(found, key=lambda finding: finding.stage))
