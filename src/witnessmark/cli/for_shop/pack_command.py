"""``witnessmark pack``: check a knowledge pack."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import echo_json

if TYPE_CHECKING:
    from witnessmark.workflow.shop.pack_check import Covered


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


def _covered(one: Covered) -> str:
    fires, silent = ("stands", "does not stand") if one.kind == "stop" else ("found", "not found")
    if not one.fired and not one.silent:
        return "NEVER SEEN in a case"
    missing = "" if one.both else f"; NEVER SEEN: {silent if one.fired else fires}"
    return f"{fires} in {len(one.fired)}, {silent} in {len(one.silent)} cases{missing}"
