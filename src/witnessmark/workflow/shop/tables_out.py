"""The shop's own figures as tables for other programs: CSV or Parquet, one file a table.

Every column has one meaning and one type; what was never written down is empty, never zero.
Money is in US dollars to the cent. Invoice lines carry the case's name; a number series of
invoices is the bookkeeper's and not made here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import polars as pl

from witnessmark.errors import InputRefused
from witnessmark.model.answered import offered
from witnessmark.model.entries.agreed_data import ApprovalData, PartData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import OutcomeData, ReadingData, WorkData
from witnessmark.model.quoted import OwnRates, priced
from witnessmark.units import QUANTITIES
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import own_rates

__all__ = ["TABLES", "export_tables", "invoice_csv", "table_of"]

_TEXT, _NUMBER, _WHOLE, _FLAG = pl.String, pl.Float64, pl.Int64, pl.Boolean
Row = dict[str, Any]
Columns = Mapping[str, Any]

#: Table -> its columns with their types.
TABLES: dict[str, Columns] = {
    "cases": {
        "case": _TEXT, "truck": _TEXT, "vin": _TEXT, "customer": _TEXT, "engine_type": _TEXT,
        "miles_in": _NUMBER, "miles_out": _NUMBER, "engine_hours": _NUMBER, "first_at": _TEXT,
        "last_at": _TEXT, "complaints": _TEXT, "families": _TEXT,
    },
    "estimate_lines": {
        "case": _TEXT, "estimate": _TEXT, "at": _TEXT, "final": _FLAG, "line": _WHOLE,
        "what": _TEXT, "kind": _TEXT, "stage": _TEXT, "cause": _TEXT, "minutes": _NUMBER,
        "usd": _NUMBER, "state": _TEXT,
    },
    "answers": {
        "case": _TEXT, "answer": _TEXT, "at": _TEXT, "by": _TEXT, "how": _TEXT, "granted": _FLAG,
        "estimate": _TEXT, "limit_usd": _NUMBER,
    },
    "labour": {
        "case": _TEXT, "work": _TEXT, "at": _TEXT, "technician": _TEXT, "cause": _TEXT,
        "did": _TEXT, "minutes": _NUMBER,
    },
    "parts": {
        "case": _TEXT, "entry": _TEXT, "at": _TEXT, "cause": _TEXT, "name": _TEXT,
        "number": _TEXT, "vendor": _TEXT, "condition": _TEXT, "state": _TEXT,
        "quantity": _NUMBER, "usd": _NUMBER, "core_usd": _NUMBER, "core_due": _TEXT,
        "old_part": _TEXT,
    },
    "readings": {
        "case": _TEXT, "entry": _TEXT, "at": _TEXT, "after_work": _WHOLE, "quantity": _TEXT,
        "as_read": _TEXT, "value": _NUMBER, "unit": _TEXT, "rpm": _NUMBER, "load": _NUMBER,
        "gear": _TEXT, "instrument": _TEXT,
    },
    "words_after": {
        "case": _TEXT, "entry": _TEXT, "at": _TEXT, "complaint": _TEXT, "gone": _TEXT,
        "after_days": _NUMBER, "comeback": _TEXT, "earlier_case": _TEXT,
    },
}  # fmt: skip


def export_tables(shop: Shop, folder: Path, *, form: str = "csv") -> list[Path]:
    """Write every table of a shop into a folder and return the files.

    Args:
        shop: the shop.
        folder: made if need be.
        form: ``csv`` or ``parquet``.

    Raises:
        InputRefused: another form, or the folder is a file.
    """
    if form not in {"csv", "parquet"}:
        raise InputRefused("A table is written as csv or parquet.", where=form[:20])
    if folder.exists() and not folder.is_dir():
        raise InputRefused("The folder for the tables is a file.", where=str(folder))
    folder.mkdir(parents=True, exist_ok=True)
    cases = [shop.case(summary.id) for summary in shop.list_cases()]
    people = {
        case.id: {i: by or "" for i, _, by in shop.casebook.log(case.id) if i} for case in cases
    }
    rates = own_rates(shop)
    written = []
    for name in TABLES:
        table = table_of(name, cases, people=people, rates=rates)
        path = folder / f"{name}.{form}"
        if form == "csv":
            _guarded(table).write_csv(path)
        else:
            table.write_parquet(path)
        written.append(path)
    return written


def table_of(
    name: str,
    cases: Iterable[Case],
    *,
    people: Mapping[str, Mapping[str, str]] | None = None,
    rates: OwnRates | None = None,
) -> pl.DataFrame:
    """Return one table of :data:`TABLES`, the cases in the order of their names."""
    given = _Given(people or {}, rates or OwnRates())
    rows = [row for case in sorted(cases, key=lambda c: c.id) for row in _ROWS[name](case, given)]
    return pl.DataFrame(rows, schema=dict(TABLES[name]))


def invoice_csv(case: Case, rates: OwnRates) -> str:
    """Return the lines of the bill, of the last estimate where there is none, as CSV."""
    quotes = [(e.id, d) for e, d in case.of(QuoteData)]
    chosen = [q for q in quotes if q[1].final][-1:] or quotes[-1:]
    columns = {"case": _TEXT, "line": _WHOLE, "kind": _TEXT, "description": _TEXT,
               "minutes": _NUMBER, "amount_usd": _TEXT, "billed": _FLAG}  # fmt: skip
    rows = [
        {
            "case": case.id, "line": line.number, "kind": line.kind or "",
            "description": line.what, "minutes": line.minutes,
            "amount_usd": None if line.usd is None else str(line.usd), "billed": quote.final,
        }
        for _, quote in chosen
        for line in priced(quote, rates).lines
    ]  # fmt: skip
    return _guarded(pl.DataFrame(rows, schema=columns)).write_csv()


def _guarded(table: pl.DataFrame) -> pl.DataFrame:
    """Return a table none of whose texts a spreadsheet takes for a formula."""
    texts = [name for name, kind in table.schema.items() if kind == pl.String]
    risky = r"^[=+\-@\t\r\n]"
    return table.with_columns(
        pl.when(pl.col(name).str.contains(risky))
        .then(pl.concat_str([pl.lit("'"), pl.col(name)]))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )


class _Given:
    """What the rows need besides the case."""

    def __init__(self, people: Mapping[str, Mapping[str, str]], rates: OwnRates) -> None:
        self.people, self.rates = people, rates


def _case_rows(case: Case, given: _Given) -> Iterable[Row]:
    del given
    truck = case.truck()
    times = sorted(entry.at for entry in case.live())
    yield {
        "case": case.id,
        "truck": truck.label if truck else None,
        "vin": truck.vin if truck else None,
        "customer": truck.customer if truck else None,
        "engine_type": truck.engine.type if truck else None,
        "miles_in": truck.miles if truck else None,
        "miles_out": truck.miles_out if truck else None,
        "engine_hours": truck.hours if truck else None,
        "first_at": times[0] if times else None,
        "last_at": times[-1] if times else None,
        "complaints": "; ".join(data.words for _, data in case.complaints()),
        "families": "; ".join(case.families()),
    }


def _line_rows(case: Case, given: _Given) -> Iterable[Row]:
    states = {(x.quote, x.number): x.state for x in offered(case)}
    for entry, quote in case.of(QuoteData):
        for line in priced(quote, given.rates).lines:
            yield {
                "case": case.id, "estimate": entry.id, "at": entry.at, "final": quote.final,
                "line": line.number, "what": line.what, "kind": line.kind,
                "stage": line.stage or None, "cause": quote.lines[line.number - 1].cause,
                "minutes": line.minutes, "usd": None if line.usd is None else float(line.usd),
                "state": "billed" if quote.final else states.get((entry.id, line.number)),
            }  # fmt: skip


def _answer_rows(case: Case, given: _Given) -> Iterable[Row]:
    del given
    for entry, data in case.of(ApprovalData):
        yield {
            "case": case.id, "answer": entry.id, "at": entry.at, "by": data.by, "how": data.how,
            "granted": data.granted, "estimate": data.quote, "limit_usd": data.limit_usd,
        }  # fmt: skip


def _labour_rows(case: Case, given: _Given) -> Iterable[Row]:
    for entry, data in case.of(WorkData):
        yield {
            "case": case.id, "work": entry.id, "at": entry.at,
            "technician": given.people.get(case.id, {}).get(entry.id) or None,
            "cause": data.cause, "did": data.did, "minutes": data.minutes,
        }  # fmt: skip


def _part_rows(case: Case, given: _Given) -> Iterable[Row]:
    del given
    for entry, data in case.of(PartData):
        yield {
            "case": case.id, "entry": entry.id, "at": entry.at, "cause": data.cause,
            "name": data.name, "number": data.number, "vendor": data.vendor,
            "condition": data.condition, "state": data.state, "quantity": data.quantity,
            "usd": data.usd, "core_usd": data.core_usd, "core_due": data.core_due,
            "old_part": None,
        }  # fmt: skip
    for entry, work in case.of(WorkData):
        for part in work.parts:
            yield {
                "case": case.id, "entry": entry.id, "at": entry.at, "cause": work.cause,
                "name": part.name, "number": part.number, "vendor": part.vendor,
                "condition": part.condition, "state": "fitted", "quantity": part.quantity,
                "usd": part.usd, "core_usd": part.core_usd, "core_due": part.core_due,
                "old_part": part.old_part,
            }  # fmt: skip


def _reading_rows(case: Case, given: _Given) -> Iterable[Row]:
    del given
    stages = case.stages()
    for entry, data in case.of(ReadingData):
        known = QUANTITIES.get(data.quantity)
        yield {
            "case": case.id, "entry": entry.id, "at": entry.at,
            "after_work": stages[entry.id], "quantity": data.quantity, "as_read": data.value,
            "value": data.house_value() if known else None, "unit": known.house if known else None,
            "rpm": data.point.rpm, "load": data.point.fraction(), "gear": data.point.gear,
            "instrument": data.instrument.id if data.instrument else None,
        }  # fmt: skip


def _word_rows(case: Case, given: _Given) -> Iterable[Row]:
    del given
    for entry, data in case.of(OutcomeData):
        gone = data.gone if isinstance(data.gone, str) else "yes" if data.gone else "no"
        yield {
            "case": case.id, "entry": entry.id, "at": entry.at, "complaint": data.complaint,
            "gone": gone, "after_days": data.after_days, "comeback": data.comeback,
            "earlier_case": data.earlier_case,
        }  # fmt: skip


_ROWS: dict[str, Callable[[Case, _Given], Iterable[Row]]] = {
    "cases": _case_rows,
    "estimate_lines": _line_rows,
    "answers": _answer_rows,
    "labour": _labour_rows,
    "parts": _part_rows,
    "readings": _reading_rows,
    "words_after": _word_rows,
}
