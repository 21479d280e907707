"""``witnessmark pack``: check a knowledge pack; review what proven cases would change in it."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import echo_json
from witnessmark.errors import InputRefused
from witnessmark.words.say import review as say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from witnessmark.workflow.shop.pack_check import Covered
    from witnessmark.workflow.shop.pack_review import FamilyReview


@click.group()
def command() -> None:
    """Knowledge packs: the shop's own may override and add; docs/write_a_pack.md says how."""


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--coverage", "covers", is_flag=True, help="List what the cases cover, each way.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def check(file: Path, covers: bool, as_json: bool) -> None:
    """Report every fault of the pack FILE at once, with its line, and run the pack's own cases."""
    from witnessmark.workflow.shop.pack_check import check_pack_file

    report = check_pack_file(file)
    if as_json:
        echo_json(
            {
                "file": report.file,
                "problems": [
                    {"where": p.where, "what": p.what, "do": p.do} for p in report.problems
                ],
                "counts": report.counts,
                "not_told_apart": [list(pair) for pair in report.unparted],
                "cases": [
                    {
                        "name": run.case.name,
                        "must_lead": run.case.leads,
                        "leads": run.leads,
                        "probability": run.probability,
                        "holds": run.holds,
                        "stops": list(run.stops),
                    }
                    for run in report.cases
                ],
                **(
                    {
                        "coverage": [
                            {
                                "id": c.id,
                                "kind": c.kind,
                                "fired": list(c.fired),
                                "silent": list(c.silent),
                            }
                            for c in report.covered
                        ]
                    }
                    if covers
                    else {}
                ),
            }
        )
    else:
        for problem in report.problems:
            click.echo(f"{problem.where}\n    {problem.what} {problem.do}".rstrip())
        if report.problems:
            count = len(report.problems)
            click.echo(f"{count} fault{'s' if count > 1 else ''} in {report.file}.")
        else:
            held = ", ".join(f"{n} {kind}" for kind, n in report.counts.items() if n)
            click.echo(f"{report.file} is sound: {held}.")
        for run in report.cases:
            word = "holds" if run.holds else "DOES NOT HOLD"
            click.echo(f"  case '{run.case.name}': {run.leads} leads; {word}")
        for cause, other in report.unparted:
            click.echo(f"  no test of the pack tells {cause} from {other}")
        for one in report.covered if covers else ():
            click.echo(f"  {one.kind} {one.id}: {_covered(one)}")
    if report.problems:
        raise SystemExit(2)


@command.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--pool", type=click.Path(path_type=Path), help="Another pool than the shop's.")
@click.option(
    "--accept", "ids", multiple=True, help="Write this proposal into the shop's own pack."
)
@click.option("--by", default="", help="Who says yes.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def review(shop: Path, pool: Path | None, ids: tuple[str, ...], by: str, as_json: bool) -> None:
    """Show what proven cases would change in the packs of SHOP, before and after.

    SHOP may also be the file of a pool. Nothing is changed but what is named with --accept.
    """
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.dossier.pool_taken_in import read_pool
    from witnessmark.workflow.shop.pack_review import accept, review_pool, review_shop

    if shop.is_file():
        if ids:
            raise InputRefused("A pool has no pack of its own.", do="Name the shop instead.")
        found = review_pool(read_pool(shop))
    else:
        opened = open_shop(shop)
        other = read_pool(pool) if pool is not None else None
        if ids:
            done = accept(opened, ids, by=by, pool=other)
            if as_json:
                echo_json({"accepted": [p.id for p in done]})
            for one in () if as_json else done:
                click.echo(say.accepted(one.id, f"packs/learnt-{one.family}.toml"))
            return
        found = review_shop(opened, other)
    if as_json:
        echo_json({"families": [asdict(f) for f in found]})
        return
    for line in _review_lines(found):
        click.echo(line)


def _review_lines(found: Sequence[FamilyReview]) -> Iterator[str]:
    units = {"shares": "case", "row": "result", "minutes": "job"}
    if not found:
        yield say.nothing()
    for family in found:
        for one in family.proposals:
            rests = say.rests_on(one.own, units[one.kind], one.shops, one.pooled)
            yield say.head(one.id, rests)
            for v in one.values:
                if one.kind == "minutes":
                    yield f"    {say.minutes(v.of, v.before, v.after)}"
                else:
                    yield f"    {say.share(v.of, v.before, v.after, v.low, v.high)}"
        places = {t.test: k for k, t in enumerate(family.before, 1)}
        yield f"{family.family}: what tells the causes apart best for the money"
        for place, told in enumerate(family.after, 1):
            yield f"    {say.for_the_money(place, told.test, places.get(told.test, 0), told.usd)}"


def _covered(one: Covered) -> str:
    fires, silent = ("stands", "does not stand") if one.kind == "stop" else ("found", "not found")
    if not one.fired and not one.silent:
        return "NEVER SEEN in a case"
    missing = "" if one.both else f"; NEVER SEEN: {silent if one.fired else fires}"
    return f"{fires} in {len(one.fired)}, {silent} in {len(one.silent)} cases{missing}"
