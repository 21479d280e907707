"""``witnessmark case``: the casebook by hand."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from witnessmark.cli.for_case.clock_command import clock
from witnessmark.cli.for_case.say_command import say
from witnessmark.cli.main import allow_option, echo_json

if TYPE_CHECKING:
    from witnessmark.workflow.case.shop_on_disk import Shop

SHOP = click.argument("shop", type=click.Path(path_type=Path))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group()
def command() -> None:
    """The casebook by hand: open a case, add to it, show it, take it out and in."""


command.add_command(clock)
command.add_command(say)


@command.command()
@SHOP
@click.argument("case_id")
@click.option("--truck", help="What the truck is called, such as 'tanker 22'.")
@click.option(
    "--vehicle",
    type=click.Choice(["truck", "trailer", "dolly"]),
    help="What it is; a trailer or a dolly is a vehicle of its own.",
)
@click.option("--vin", help="Its vehicle number.")
@click.option("--plate", help="Its plate.")
@click.option("--words", help="The complaint in the driver's own words.")
@click.option("--family", "families", multiple=True, help="Complaint family id; may be repeated.")
@AS_JSON
def new(
    shop: Path,
    case_id: str,
    truck: str | None,
    vehicle: str | None,
    vin: str | None,
    plate: str | None,
    words: str | None,
    families: tuple[str, ...],
    as_json: bool,
) -> None:
    """Open a case in SHOP (the folder is made when it is not there)."""
    from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop

    told = {"label": truck or case_id, "vehicle": vehicle, "vin": vin, "plate": plate}
    told = {key: value for key, value in told.items() if value}
    lines = [entry_line("truck", told)] if truck or len(told) > 1 else []
    if words or families:
        data = {"words": words or "", "families": list(families)}
        lines.append(entry_line("complaint", data))
    opened = open_shop(shop, create=True)
    case = opened.new_case(case_id, lines)
    document: dict[str, Any] = {"case": case.id, "entries": len(case.entries)}
    said = f"Case {case.id} is open."
    if words and not families:
        said += _suggest(opened, case_id, case.complaints()[-1][0].id, words, document)
    _said(document, said, as_json)


@command.command()
@SHOP
@click.argument("case_id")
@click.argument("kind", required=False)
@click.argument("fields", nargs=-1)
@click.option(
    "--lines",
    type=click.Path(path_type=Path, allow_dash=True),
    help="Add the entry lines of this file ('-' for standard input) instead.",
)
@AS_JSON
def add(
    shop: Path,
    case_id: str,
    kind: str | None,
    fields: tuple[str, ...],
    lines: Path | None,
    as_json: bool,
) -> None:
    """Add an entry: KIND and FIELD=VALUE pairs, dots for inner fields.

    For example: reading quantity=fuel_gallery_pressure value="64 psi" point.rpm=690. For a
    recording or photo, path= names a file, which is stored in the shop.
    """
    from witnessmark.workflow.case.shop_on_disk import open_shop

    opened = open_shop(shop)
    if lines is not None:
        with click.open_file(str(lines), encoding="utf-8") as stream:
            ids = opened.enter(case_id, stream.read().split("\n"))
    elif kind is None:
        raise click.UsageError("Give a KIND of entry with its fields, or --lines FILE.")
    else:
        data = fields_of(fields)
        path = data.get("path")
        if kind in {"recording", "photo"} and isinstance(path, str) and Path(path).is_file():
            sha256 = opened.store_file(Path(path), Path(path).name)
            data = {**data, "path": Path(path).name, "sha256": sha256}
        ids = [opened.add(case_id, kind, data).id]
    _tell_clocks(opened, case_id, ids)
    document: dict[str, Any] = {"case": case_id, "added": ids}
    said = f"Added {', '.join(ids) or 'nothing'}."
    if lines is None and kind == "complaint" and not data.get("families"):
        said += _suggest(opened, case_id, ids[0], str(data.get("words", "")), document)
    _said(document, said, as_json)


@command.command()
@SHOP
@click.argument("case_id")
@AS_JSON
def show(shop: Path, case_id: str, as_json: bool) -> None:
    """Show every entry of a case, also what was retracted and why."""
    from witnessmark.workflow.case.shop_on_disk import open_shop

    case = open_shop(shop).case(case_id)
    hidden, stages = case.retracted(), case.stages()
    rows = [
        {
            "id": e.id, "at": e.at, "kind": e.kind, "data": json.loads(e.line)["data"],
            "stage": stages.get(e.id),
            "retracted_by": hidden[e.id].id if e.id in hidden else None,
        }
        for e in case.entries
    ]  # fmt: skip
    problems = [{"where": p.where, "what": p.what, "do": p.do} for p in case.problems]
    if as_json:
        echo_json({"case": case.id, "entries": rows, "problems": problems})
        return
    for row in rows:
        mark = f"   (retracted by {row['retracted_by']})" if row["retracted_by"] else ""
        words = json.dumps(row["data"], ensure_ascii=False)
        click.echo(f"{row['id']:14} {row['at']:22} {row['kind']:10} {words}{mark}")
    for problem in problems:
        click.echo(f"! {problem['where']}: {problem['what']} {problem['do']}")


@command.command("list")
@SHOP
@AS_JSON
def list_cases(shop: Path, as_json: bool) -> None:
    """List the cases of a shop, the one last written to first."""
    from witnessmark.workflow.case.shop_on_disk import open_shop

    rows = open_shop(shop).list_cases()
    if as_json:
        echo_json(
            [{"case": r.id, "opened": r.opened, "entries": r.lines, "last": r.last} for r in rows]
        )
        return
    for row in rows:
        click.echo(f"{row.id:30} {row.lines:5} entries   last {row.last}")
    if not rows:
        click.echo("No cases yet.")


@command.command()
@SHOP
@click.argument("case_id")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; else the screen.")
@click.option(
    "--recordings",
    type=click.Path(path_type=Path, file_okay=False),
    help="Also copy the recordings and photos into this folder, named by digest.",
)
@click.option(
    "--originals", is_flag=True, help="Photos with the place and device data they came with."
)
@AS_JSON
def export(
    shop: Path,
    case_id: str,
    out: Path | None,
    recordings: Path | None,
    originals: bool,
    as_json: bool,
) -> None:
    """Write a case as JSON Lines, byte for byte as its entries came in."""
    from witnessmark.workflow.case.shop_on_disk import open_shop

    opened = open_shop(shop)
    text = opened.export(case_id)
    copied, problems = (
        opened.export_files(case_id, recordings, originals=originals)
        if recordings is not None
        else ([], [])
    )
    if out is None:
        sys.stdout.buffer.write(text.encode())
    else:
        out.write_bytes(text.encode())
        rows = [{"where": p.where, "what": p.what, "do": p.do} for p in problems]
        document = {"case": case_id, "file": str(out), "files": copied, "problems": rows}
        _said(document, f"Case {case_id} is in {out}.", as_json)
    if out is None or not as_json:
        for problem in problems:
            click.echo(f"! {problem.where}: {problem.what} {problem.do}", err=True)


@command.command("import")
@SHOP
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--id", "case_id", help="Name of the case; else the file's name.")
@allow_option
@AS_JSON
def import_case(
    shop: Path, file: Path, case_id: str | None, allow: tuple[Path, ...], as_json: bool
) -> None:
    """Take a case file into SHOP, with the recordings that lie where it says, in its folder."""
    from witnessmark.workflow.case.shop_on_disk import open_shop

    case = open_shop(shop, create=True).import_case(file, case_id, allow=allow)
    problems = [{"where": p.where, "what": p.what, "do": p.do} for p in case.problems]
    _said(
        {"case": case.id, "entries": len(case.entries), "problems": problems},
        f"Case {case.id}: {len(case.entries)} entries.",
        as_json,
    )
    if not as_json:
        for problem in problems:
            click.echo(f"! {problem['where']}: {problem['what']} {problem['do']}")


def _tell_clocks(shop: Shop, case_id: str, ids: list[str]) -> None:
    """Let the other cases of a person on the clock know of starts, stops and what is taken back."""
    from witnessmark.workflow.shop.on_the_clock import tell_other_cases

    added = set(ids)
    fresh = [
        e for e in shop.case(case_id).entries if e.id in added and e.kind in {"clock", "retract"}
    ]
    tell_other_cases(shop, case_id, fresh)


def _suggest(shop: Shop, case_id: str, entry: str, words: str, document: dict[str, Any]) -> str:
    """Return what a complaint without a family may be about, and how to say so."""
    from witnessmark.workflow.shop.sounds_like import sounds_like, suggested_words

    found = sounds_like(shop, words)
    document["may_be_about"] = [
        {"family": s.family, "name": s.name, "because": s.because} for s in found
    ]
    rows = [f"  {s.family:22} {s.name} ({s.because})" for s in found]
    first = found[0].family if found else "FAMILY"
    how = f"Name it: witnessmark complaint name SHOP {case_id} {entry} {first}"
    return "\n".join(["", suggested_words(found), *rows, how])


def _said(document: dict[str, Any], words: str, as_json: bool) -> None:
    if as_json:
        echo_json(document)
    else:
        click.echo(words)


def fields_of(fields: tuple[str, ...]) -> dict[str, Any]:
    """Return FIELD=VALUE pairs as the data of an entry; dots lead to inner fields."""
    data: dict[str, Any] = {}
    for field in fields:
        path, mark, text = field.partition("=")
        if not mark or not path:
            raise click.UsageError(f"'{field}' is not FIELD=VALUE.")
        place = data
        *outer, last = path.split(".")
        for name in outer:
            inner = place.setdefault(name, {})
            if not isinstance(inner, dict):
                raise click.UsageError(f"'{field}': {name} already has a value.")
            place = inner
        place[last] = _value(text)
    return data


def _value(text: str) -> Any:
    """Read true, false, numbers, lists and objects as JSON; everything else is text."""
    if text[:1] in "[{-0123456789" or text in {"true", "false", "null"}:
        try:
            return json.loads(text)
        except ValueError:
            return text
    return text
