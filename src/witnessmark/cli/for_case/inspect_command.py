"""``witnessmark inspect``: the periodic inspection of a vehicle, by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click

from witnessmark.cli.main import echo_json

SHOP = click.argument("shop", type=click.Path(path_type=Path))
CASE = click.argument("case_id")
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
BY = click.option("--by", help="Who looked or worked.")


@click.group()
def command() -> None:
    """The periodic inspection (49 CFR 396.17): a walk from point to point, and its certificate."""


@command.command()
@SHOP
@CASE
@click.argument("fields", nargs=-1)
@AS_JSON
def begin(shop: Path, case_id: str, fields: tuple[str, ...], as_json: bool) -> None:
    """Say which vehicle is inspected and who may inspect it: FIELD=VALUE pairs.

    For example: vehicle=tractor axles=3 inspector="A. Inspector" qualified=one_year
    evidence="shop file" carrier="A. Carrier". docs/inspection.md lists the fields.
    """
    from witnessmark.cli.for_case.case_command import fields_of
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import begin as begin_it

    entry = begin_it(open_shop(shop), case_id, fields_of(fields))
    _said({"case": case_id, "added": [entry.id]}, f"Begun: {entry.id}.", as_json)


@command.command()
@SHOP
@CASE
@click.option("--open", "only_open", is_flag=True, help="Only what keeps the certificate back.")
@click.option("--point", "one", help="Everything of one point: how, limits, sections.")
@AS_JSON
def show(shop: Path, case_id: str, only_open: bool, one: str | None, as_json: bool) -> None:
    """Show how the inspection stands: every point, and what keeps the certificate back."""
    from witnessmark.words.say import inspection as say
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import point_of, sheet_json, sheet_now

    opened = open_shop(shop)
    if one is not None:
        point_of(opened, one, case_id)
    sheet = sheet_now(opened, case_id)
    if as_json:
        echo_json(sheet_json(sheet))
        return
    for name, value in sheet.head:
        click.echo(f"{name}: {value}")
    for station, words, state in sheet.stations:
        points = [p for p in sheet.points if p.station == station and one in {None, p.id}]
        points = [p for p in points if p.is_open or not only_open]
        if points:
            click.echo(f"\n{words} ({state})")
        for point in points:
            optional = ", not required" if point.optional else ""
            click.echo(f"  {point.id:20} {point.name}: {point.said}{optional}")
            for line in _more(point, whole=one is not None):
                click.echo(f"      {line}")
    if sheet.points and one is None:
        click.echo("")
    if one is None:
        for withheld in sheet.kept_back():
            click.echo(f"Open: {withheld.what} {withheld.do}".rstrip())
        if sheet.not_looked():
            click.echo(say.not_looked_at(sheet.not_looked()))
        _certificate(sheet)
    click.echo(sheet.defer)


@command.command()
@SHOP
@CASE
@click.argument("point")
@click.argument(
    "result", required=False, type=click.Choice(["pass", "fail", "not_looked", "not_fitted"])
)
@click.option("--value", default="", help='What was read, with its unit: "1 3/4 in", "9/32 in".')
@click.option("--place", default="", help="Wheel or tyre: a1l is axle 1 left, a2lo its outer tyre.")
@click.option("--gauge", default="", help="One of the point's instruments.")
@click.option("--error", default="", help='How far off another may be: "1/64 in".')
@click.option("--given", multiple=True, help="NAME=VALUE that the limit hangs on; repeated.")
@click.option("--fault", default="", help="Which fault of the point was seen.")
@click.option("--note", default="", help="In words.")
@BY
@AS_JSON
def look(
    shop: Path, case_id: str, point: str, result: str | None, value: str, place: str, gauge: str,
    error: str, given: tuple[str, ...], fault: str, note: str, by: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Enter what was seen or read at POINT; a defect opens a complaint in the case."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import sheet_of
    from witnessmark.workflow.inspecting.look_at_point import Look
    from witnessmark.workflow.inspecting.look_at_point import look as look_at

    one = Look(
        point, result or "", place, value, gauge, error, dict(map(_pair, given)), fault, note
    )
    opened = open_shop(shop)
    ids = look_at(opened, case_id, [one], by=by)
    state = sheet_of(opened, opened.case(case_id)).point(point)
    if state is None:
        raise click.UsageError(f"'{point}' is no point of this vehicle.")
    place_now = next((p for p in state.places if p.place == place), None)
    document = {
        "case": case_id, "added": ids, "point": point, "state": state.state,
        "place": place_now.state if place_now else "",
    }  # fmt: skip
    lines = [f"{state.name}: {state.said}.", *_more(state, place=place)]
    _said(document, "\n".join(lines), as_json)


@command.command("repaired")
@SHOP
@CASE
@click.argument("point")
@click.argument("did")
@click.option("--cause", help="The part, as the packs name it.")
@click.option("--minutes", type=float)
@BY
@AS_JSON
def put_right(
    shop: Path, case_id: str, point: str, did: str, cause: str | None, minutes: float | None,
    by: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Write down the work on POINT; it passes only when it is looked at again."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import repaired

    entry = repaired(open_shop(shop), case_id, point, did, cause=cause, minutes=minutes, by=by)
    _said({"case": case_id, "added": [entry.id]}, f"Added {entry.id}. Look at it again.", as_json)


@command.command()
@SHOP
@CASE
@click.option("--inspector", required=True, help="Who inspected, as the head says.")
@click.option("--brake-inspector", help="Who answers for the brakes.")
@click.option("--accurate", is_flag=True, help="I say that the report is accurate and complete.")
@AS_JSON
def sign(
    shop: Path, case_id: str, inspector: str, brake_inspector: str | None, accurate: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Sign the certificate; refused with every reason while anything is open."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import sheet_now
    from witnessmark.workflow.inspecting.inspect_case import sign as sign_it

    opened = open_shop(shop)
    data: dict[str, Any] = {"inspector": inspector, "accurate": accurate}
    data |= {"brake_inspector": brake_inspector} if brake_inspector else {}
    entry = sign_it(opened, case_id, data, sheet_now(opened, case_id))
    _said({"case": case_id, "added": [entry.id]}, f"Signed: {entry.id}.", as_json)


@command.command()
@SHOP
@CASE
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="FILE.pdf or FILE.html."
)
@click.option("--customer", is_flag=True, help="The customer's copy, in plain words.")
@AS_JSON
def paper(shop: Path, case_id: str, out: Path, customer: bool, as_json: bool) -> None:
    """Write the report of the inspection, or the customer's copy."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.papers.inspection_papers import write_inspection

    write_inspection(open_shop(shop), case_id, out, customer=customer)
    _said({"file": str(out), "case": case_id}, f"Written: {out}", as_json)


@command.command()
@SHOP
@click.argument("cases", nargs=-1, required=True)
@AS_JSON
def covered(shop: Path, cases: tuple[str, ...], as_json: bool) -> None:
    """Say whether each vehicle of a combination has an inspection of its own that still holds."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.inspecting.inspect_case import combination

    found = combination(open_shop(shop), cases, _today())
    rows = [
        f"{r['vehicle']}: passed {r['passed']}, next before {r['due']}" if r["passed"]
        else f"{r['vehicle']}: no certificate stands" for r in found["vehicles"]
    ]  # fmt: skip
    _said(found, "\n".join([*rows, found["said"]]), as_json)


def _today() -> date:
    return datetime.now(UTC).date()


def _more(point: Any, *, whole: bool = False, place: str | None = None) -> Sequence[str]:
    """Return what stands under a point: its places, limits, remarks; all of it where *whole*."""
    lines = [f"{point.look}", f"Fails: {point.fails} ({point.section}; {point.evidence})"]
    lines = lines if whole else []
    lines += [f"Caution: {words}" for words in point.caution] if whole else []
    for one in point.places:
        if not one.entry or place not in {None, one.place}:
            continue
        name = f"{one.words}: " if one.words else ""
        lines += [f"{name}{one.value or one.fault}"] if one.value or one.fault else []
        lines += [f"  {s.said} ({s.words}; {s.section}; {s.evidence})" for s in one.limits]
        lines += [f"  {words}" for words in (*one.notes, one.again) if words]
    return [*lines, *point.remarks, *([point.danger] if point.danger else [])]


def _certificate(sheet: Any) -> None:
    found = sheet.certificate
    if found is None:
        return
    click.echo(f"Certificate of {found.on}, signed by {found.inspector}: "
               f"{'stands' if found.stands else 'DOES NOT STAND'}.")  # fmt: skip
    for why in found.why_not:
        click.echo(f"  {why}")
    if sheet.record:
        click.echo(sheet.record)


def _pair(text: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark or not name:
        raise click.UsageError(f"'{text}' is not NAME=VALUE.")
    return name.strip(), value.strip()


def _said(document: dict[str, Any], words: str, as_json: bool) -> None:
    if as_json:
        echo_json(document)
    else:
        click.echo(words)
