"""What every page and card of a case says of its safety stops."""

from __future__ import annotations

from typing import Any

from witnessmark.model.entries.case import Case
from witnessmark.web.bench.state import ServerState
from witnessmark.words.say.stops import does_not_run, not_worked_out

__all__ = ["stops_told"]


def stops_told(bench: ServerState, case: Case, wait_s: float) -> dict[str, Any]:
    """Return what a page says of the stops of a case, or that they are not worked out yet.

    Args:
        bench: the server's.
        case: the case.
        wait_s: how long to wait for its odds [s].
    """
    looked = bench.desk.look(case.id, wait_s=wait_s)
    found = looked.assessment
    late = bool(case.families()) and not looked.current
    return {
        "stops": found.stops if found is not None else (),
        "overridden": found.overridden if found is not None else (),
        "stands": does_not_run(found.does_not_run) if found and found.does_not_run else "",
        "waiting": not_worked_out() if late else "",
    }
