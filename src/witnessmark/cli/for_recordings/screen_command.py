"""``witnessmark screen``: findings over many recordings."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json


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
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--si", is_flag=True, help="Show SI units.")
def command(
    paths: tuple[Path, ...], workers: int, cluster: str | None, as_json: bool, si: bool
) -> int:
    """Look over many recordings (files or folders) and say what stands out in each."""
    from witnessmark.fleet.screening import files_in, screen
    from witnessmark.workflow.dossier.as_json import finding_json, problem_json

    if not files_in(paths):
        click.echo("There is no file in these folders. Name files or other folders.", err=True)
        return 3
    usable, rows = 0, []
    for found in screen(paths, workers=workers, cluster=cluster):
        usable += bool(found.sha256)
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
    return 0 if usable else 3
