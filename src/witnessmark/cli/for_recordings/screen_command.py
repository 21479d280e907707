"""``witnessmark screen``: findings over many recordings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import allow_option, echo_json
from witnessmark.words.masking import hidden, hide

if TYPE_CHECKING:
    from witnessmark.fleet.screening import Screened, Screening
    from witnessmark.workflow.case.shop_on_disk import Shop


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
@click.option("--dbc", multiple=True, type=click.Path(path_type=Path), help="A DBC file.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    help="Name a column: 'HEADING=quantity [unit]', 'HEADING=time' or 'HEADING=ignore'.",
)
@click.option(
    "--remember",
    type=click.Path(path_type=Path),
    help="A file that keeps what columns were named, for all files with the same headings.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A folder that the rows are written to as they come, and the ranked list of trucks; "
    "the same command goes on where it was ended.",
)
@click.option(
    "--memory",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="A shop's folder: its casebook, a file or PostgreSQL, remembers what was looked at, for "
    "every folder and machine; the list is then of all it knows.",
)
@click.option("--limit", type=float, help="Longest time one file may take, in seconds.")
@click.option(
    "--show-identity",
    is_flag=True,
    help="Show vehicle identification, plates and names; without it they are stars.",
)
@allow_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--si", is_flag=True, help="Show SI units.")
def command(
    paths: tuple[Path, ...],
    workers: int,
    cluster: str | None,
    dbc: tuple[Path, ...],
    columns: tuple[str, ...],
    remember: Path | None,
    out: Path | None,
    memory: Path | None,
    limit: float | None,
    show_identity: bool,
    allow: tuple[Path, ...],
    as_json: bool,
    si: bool,
) -> int:
    """Look over many recordings (files or folders) and say what stands out in each.

    A file that is refused, or that the work on it dies of, is a row of its own; the rest is
    looked at. Ends with 2 where the work on a file failed, with 3 where no file could be used.
    """
    from witnessmark.fleet.screening import Screening, files_in, screen
    from witnessmark.workflow.recordings.look_into import file_settings

    files = files_in(paths)
    if not files:
        click.echo("There is no file in these folders. Name files or other folders.", err=True)
        return 3
    known = file_settings(files if columns else (), dbc=dbc, columns=columns, remember=remember)
    said = Screening(known.dbc, dict(known.columns), limit_s=limit)
    if memory is not None and out is None:
        click.echo("--memory goes with --out: name a folder for the list too.", err=True)
        return 3
    if out is not None:
        from witnessmark.workflow.case.shop_on_disk import open_shop

        with ExitStack() as stack:
            shop = open_shop(memory) if memory is not None else None
            if shop is not None:
                stack.callback(shop.close)
            return _into_folder(paths, out, said, workers, cluster, allow, shop)
    told = dbc or known.columns or limit is not None
    found = screen(
        paths, workers=workers, cluster=cluster, allow=allow, said=said if told else None
    )
    return _print(found, as_json=as_json, si=si, show=show_identity)


def _print(found: Iterator[Screened], *, as_json: bool, si: bool, show: bool) -> int:
    from witnessmark.workflow.dossier.as_json import finding_json, problem_json

    def say(words: str) -> None:
        click.echo(words if show else hide(words))

    usable, failed, rows = 0, 0, []
    for one in found:
        usable += bool(one.sha256)
        failed += one.failed
        if as_json:
            rows.append({
                "file": one.file, "sha256": one.sha256,
                "findings": [finding_json(f, si=si) for f in one.findings],
                "problems": [problem_json(p) for p in one.problems],
            })  # fmt: skip
            continue
        say(one.file)
        for finding in one.findings:
            say(f"  {finding.sentence}")
        for problem in one.problems:
            say(f"  ! {problem.what} {problem.do}")
        if not one.findings and one.sha256:
            say("  Nothing stands out in what this recording can show.")
    if as_json:
        echo_json(rows if show else hidden(rows))
    return _code(usable, failed)


def _into_folder(
    paths: tuple[Path, ...],
    out: Path,
    said: Screening,
    workers: int,
    cluster: str | None,
    allow: tuple[Path, ...],
    shop: Shop | None,
) -> int:
    from witnessmark.fleet.fleet_folder import FleetFolder
    from witnessmark.fleet.fleet_paper import fleet_csv, fleet_html, fleet_pdf
    from witnessmark.fleet.ranking import ranked
    from witnessmark.fleet.screening import files_in, screen

    folder = FleetFolder(out, memory=shop.casebook if shop is not None else None)
    over = folder.done()
    done = {str(file) for file in files_in(paths) if folder.still(file) in over}
    if done:
        click.echo(f"{len(done)} files are done already; going on.", err=True)
    found = screen(
        paths, workers=workers, cluster=cluster, allow=allow,
        said=replace(said, identity_key=folder.key()), skip=done,
    )  # fmt: skip
    for _ in folder.take(found):
        pass
    folder.parts()
    rows = folder.latest()
    trucks = ranked(rows)
    (out / "fleet.html").write_text(fleet_html(trucks), encoding="utf-8")
    (out / "fleet.csv").write_text(fleet_csv(trucks), encoding="utf-8")
    (out / "fleet.pdf").write_bytes(fleet_pdf(trucks))
    for rank, truck in enumerate(trucks[:20], 1):
        worst = truck.troubles[0] if truck.troubles else None
        words = f"{worst.code.replace('_', ' ')} ({worst.recordings} of {worst.of})" if worst else (
            "nothing stands out"
        )  # fmt: skip
        click.echo(f"{rank:3}. {hide(truck.name)}: {words}. {hide(truck.next)}")
    click.echo(f"{len(rows)} recordings of {len(trucks)} trucks; the list is in {out}.")
    return _code(sum(bool(r["sha256"]) for r in rows), sum(r["failed"] for r in rows))


def _code(usable: int, failed: int) -> int:
    if failed:
        click.echo(f"{failed} of the files could not be looked at to the end.", err=True)
    if not usable:
        return 3
    return 2 if failed else 0
