"""What a device says about an entry that it sends late: how old it is, and what it had not seen."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from witnessmark.web.bench.state import bench_of, going_on
from witnessmark.web.bench.strip import entry_words
from witnessmark.workflow.case.entered_twice import write_where_they_met

__all__ = ["at_of", "stored"]

#: An entry that waited for less was made now [s].
_NOW_S = 30
_LONGEST_S = 60 * 86400
#: A page that was got so shortly ago has seen everything [s].
_SEEN_S = 2


def at_of(request: Request) -> str | None:
    """Return when a sent entry was made, where it waited on the device; ``None`` for now.

    The device says for how long it waited, not when that was: its clock may be wrong.
    """
    age = _seconds(request, "x-witnessmark-age")
    if age < _NOW_S:
        return None
    made = datetime.now(UTC) - timedelta(seconds=age)
    return made.isoformat(timespec="seconds").replace("+00:00", "Z")


async def stored(request: Request, case_id: str, where: str) -> Response:
    """Answer an entry that was stored: go on to *where*, and say whom it met."""
    return going_on(request, where, await run_in_threadpool(_met, request, case_id))


def _met(request: Request, case_id: str) -> str:
    """Note in the case what others entered meanwhile on the same thing; return it in words."""
    base = request.headers.get("x-witnessmark-entry", "")[:80]
    unseen = _seconds(request, "x-witnessmark-seen")
    if not base or unseen < _SEEN_S:
        return ""
    bench = bench_of(request)
    names = bench.names(bench.desk.case(case_id))
    own = request.headers.get("x-witnessmark-own", "")[:2000].split(",")
    return write_where_they_met(
        bench.shop, case_id, (base, *own), unseen, lambda entry: entry_words(entry, names)
    )


def _seconds(request: Request, name: str) -> int:
    text = request.headers.get(name, "")
    return min(int(text), _LONGEST_S) if text.isascii() and text.isdecimal() else 0
