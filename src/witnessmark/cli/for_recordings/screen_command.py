"""``witnessmark screen``: findings over many recordings."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import allow_option, echo_json


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    default=1,
    show_default=True,
    help="Files looked at side by side.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Scheduler whose workers look instead, as tcp://host:port; they must see the files.",
)
@allow_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--si", is_flag=True, help="Show SI units.")
def command(
    paths: tuple[Path, ...],
    workers: int,
    cluster: str | None,
    allow: tuple[Path, ...],
    as_json: bool,
    si: bool,
) -> int:
    """Look over many recordings (files or folders) and say what stands out in each.

    A file that is refused, or that the work on it dies of, is a row of its own; the rest is
    looked at. Ends with 2 where the work on a file failed, with 3 where no file could be used.
    """
    from witnessmark.fleet.screening import files_in, screen
    from witnessmark.workflow.dossier.as_json import finding_json, problem_json

    if not files_in(paths):
        click.echo("There is no file in these folders. Name files or other folders.", err=True)
        return 3
    usable, failed, rows = 0, 0, []
    for found in screen(paths, workers=workers, cluster=cluster, allow=allow):
        usable += bool(found.sha256)
        failed += found.failed
        if as_json:
            rows.append({
                "file": found.file, "sha256": found.sha256,
                "findings": [finding_json(f, si=si) for f in found.findings],
                "problems": [problem_json(p) for p in found.problems],
            })  # fmt: skip
            continue
        click.echo(found.file)
        for finding in found.findings:
            click.echo(f"  {finding.sentence}")
        for problem in found.problems:
            click.echo(f"  ! {problem.what} {problem.do}")
        if not found.findings and found.sha256:
            click.echo("  Nothing stands out in what this recording can show.")
    if as_json:
        echo_json(rows)
    if failed:
        click.echo(f"{failed} of the files could not be looked at to the end.", err=True)
    if not usable:
        return 3
    return 2 if failed else 0
