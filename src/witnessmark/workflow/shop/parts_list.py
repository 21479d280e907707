"""Parts and seals of a case: what each job needs, where it stands, and the cores still out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.agreed_data import PartData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.shop_record import Job

__all__ = ["ASK", "OpenCore", "PartRow", "open_cores", "parts_of_case"]

#: What stands where nobody of the shop has a number or a price.
ASK = "ask the counter"


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part of one job. Nothing is guessed: a blank number or price is asked at the counter.

    Attributes:
        name: the part; never the name of a cause.
        cause: the job it is for, empty where that was not said.
        number: part number.
        vendor: who has it.
        usd: price [USD], ``None`` where unknown.
        state: needed, ordered, promised, arrived, returned, fitted.
        on: day of the state; of ``promised`` the day promised.
        source: where the row comes from: pack, shop, estimate, entry.
        old_part: what became of the old part.
        core_usd: deposit on the old part [USD].
        core_due: day by which it must be back.
        condition: new, rebuilt, used.
    """

    name: str
    cause: str
    number: str = ""
    vendor: str = ""
    usd: float | None = None
    state: str = "needed"
    on: str = ""
    source: str = ""
    old_part: str = ""
    core_usd: float | None = None
    core_due: str = ""
    condition: str = ""


@dataclass(frozen=True, slots=True)
class OpenCore:
    """An old part that is still to go back for its deposit."""

    case: str
    truck: str
    name: str
    usd: float
    due: str


def parts_of_case(case: Case, knowledge: Knowledge, jobs: Iterable[Job] = ()) -> list[PartRow]:
    """Return the parts of the jobs of a case, each once, with where it stands.

    Args:
        case: the entries.
        knowledge: the packs, for what goes with a repair.
        jobs: the shop's own earlier jobs, for what they used.
    """
    rows: dict[tuple[str, str], PartRow] = {}
    wanted = _jobs_of(case)
    for cause_id in wanted:
        cause = knowledge.cause(cause_id)
        for name in cause.renew_with if cause is not None else ():
            _put(rows, PartRow(name, cause_id, source="pack"))
        for job in jobs:
            if job.cause == cause_id and job.case != case.id:
                for name in job.parts:
                    _put(rows, PartRow(name, cause_id, source="shop"))
    for row in _said(case):
        _put(rows, row)
    return list(rows.values())


def open_cores(cases: Iterable[Case]) -> list[OpenCore]:
    """Return the cores that are still out, the first due first; without a day they come last."""
    found = []
    for case in cases:
        truck = case.truck()
        label = truck.label if truck is not None else case.id
        back = {d.name for _, d in case.of(PartData) if d.state == "core returned"}
        for name, usd, due, state in _cores(case):
            if name not in back and state not in {"core returned"}:
                found.append(OpenCore(case.id, label, name, usd, due))
    return sorted(found, key=lambda core: (core.due == "", core.due, core.case))


def _cores(case: Case) -> Iterator[tuple[str, float, str, str]]:
    fitted = set()
    for _, work in case.of(WorkData):
        for part in work.parts:
            if part.core_usd:
                fitted.add(part.name)
                yield part.name, part.core_usd, part.core_due or "", part.old_part or ""
    for _, data in case.of(PartData):
        if data.core_usd and data.name not in fitted and data.state in {"arrived", "ordered"}:
            yield data.name, data.core_usd, data.core_due or "", ""


def _jobs_of(case: Case) -> list[str]:
    """Return the causes that are quoted or were worked on, in order."""
    quoted = [line.cause for _, q in case.of(QuoteData) for line in q.lines if line.cause]
    worked = [data.cause for _, data in case.of(WorkData) if data.cause]
    return list(dict.fromkeys([*quoted, *worked]))


def _said(case: Case) -> Iterator[PartRow]:
    """Yield what the entries say of parts, in their order: the last word on a part counts."""
    for entry in case.live():
        data = entry.data
        if isinstance(data, QuoteData):
            for line in data.lines:
                if line.kind == "part":
                    yield PartRow(
                        line.what, line.cause or "", line.number or "", line.vendor or "",
                        line.usd, source="estimate", condition=line.condition or "",
                    )  # fmt: skip
        elif isinstance(data, PartData):
            yield PartRow(
                data.name, data.cause or "", data.number or "", data.vendor or "", data.usd,
                data.state, data.on or entry.at[:10], "entry",
                "core returned" if data.state == "core returned" else "", data.core_usd,
                data.core_due or "", data.condition or "",
            )  # fmt: skip
        elif isinstance(data, WorkData):
            for part in data.parts:
                yield PartRow(
                    part.name, data.cause or "", part.number or "", part.vendor or "", part.usd,
                    "fitted", entry.at[:10], "entry", part.old_part or "", part.core_usd,
                    part.core_due or "", part.condition or "",
                )  # fmt: skip


def _put(rows: dict[tuple[str, str], PartRow], row: PartRow) -> None:
    """Lay a row over the one of the same part: what the later one does not say stays as it was."""
    plain = row.name.strip().lower()
    key = next((k for k in rows if k[1] == plain and row.cause in {"", k[0]}), (row.cause, plain))
    old = rows.get(key)
    if old is None:
        rows[key] = row
        return
    late = row.state if row.state != "needed" or row.source == "entry" else old.state
    rows[key] = replace(
        row,
        cause=row.cause or old.cause,
        number=row.number or old.number,
        vendor=row.vendor or old.vendor,
        usd=old.usd if row.usd is None else row.usd,
        state=late,
        on=row.on or old.on,
        old_part=row.old_part or old.old_part,
        core_usd=old.core_usd if row.core_usd is None else row.core_usd,
        core_due=row.core_due or old.core_due,
        condition=row.condition or old.condition,
    )
