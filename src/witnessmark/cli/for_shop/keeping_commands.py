"""``witnessmark backup``, ``restore``, ``check``, ``erase``, ``move``: keeping the shop's book."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from witnessmark.model.problem import Problem
    from witnessmark.workflow.case.shop_on_disk import Shop

_FOLDER = click.Path(path_type=Path)


@click.command("backup")
@click.argument("shop", type=_FOLDER)
@click.argument("dest", type=_FOLDER)
@click.option("--verify", is_flag=True, help="Read the originals of earlier backups again, too.")
@click.option("--json", "as_json", is_flag=True)
def backup(shop: Path, dest: Path, verify: bool, as_json: bool) -> int:
    """Back the shop in folder SHOP up into DEST, while it is being used.

    Only what is not there yet is copied, everything is proven, and earlier backups stay.
    """
    from witnessmark.cli.main import echo_json
    from witnessmark.workflow.keeping.backup import back_up

    opened = _open(shop)
    try:
        found = back_up(opened, dest, verify=verify, say=lambda text: click.echo(text, err=True))
    finally:
        opened.close()
    if as_json:
        echo_json(asdict(found))
    else:
        click.echo(
            f"Backed up as {found.state}: {found.cases} cases, {found.entries} lines, "
            f"{found.copied} originals copied, {found.kept} there already."
        )
    for what, names in (("missing", found.missing), ("damaged", found.damaged)):
        for name in names:
            click.echo(f"recordings/{name}: {what} in the shop, not in the backup.", err=True)
    return 4 if found.missing or found.damaged else 0


@click.command("restore")
@click.argument("dest", type=_FOLDER)
@click.argument("shop", type=_FOLDER)
@click.option("--at", help="Name of the backup; the newest when not given.")
@click.option("--list", "only_list", is_flag=True, help="List the backups there are.")
@click.option("--json", "as_json", is_flag=True)
def restore(dest: Path, shop: Path, at: str | None, only_list: bool, as_json: bool) -> None:
    """Bring a backup in DEST back as a new folder SHOP. Nothing is overwritten."""
    from witnessmark.cli.main import echo_json
    from witnessmark.workflow.keeping.backup import states
    from witnessmark.workflow.keeping.restore import restore as work

    if only_list:
        rows = [{"state": s.name, "cases": len(s.manifest["cases"])} for s in states(dest)]
        if as_json:
            echo_json(rows)
        else:
            for row in rows:
                click.echo(f"{row['state']}  {row['cases']} cases")
        return
    found = work(dest, shop, at=at)
    if as_json:
        echo_json(asdict(found))
        return
    click.echo(
        f"Restored {found.state}: {found.cases} cases, {found.originals} originals. "
        "Passphrases are not in a backup; new ones are made when it is served."
    )


@click.command("check")
@click.argument("shop", type=_FOLDER)
@click.option("--here", is_flag=True, help="This folder is the shop's own from now on.")
@click.option("--json", "as_json", is_flag=True)
def check(shop: Path, here: bool, as_json: bool) -> int:
    """Read everything in the shop's folder SHOP and say what is hurt or missing."""
    from witnessmark.cli.main import echo_json
    from witnessmark.workflow.case.private_files import open_to_others
    from witnessmark.workflow.keeping.check_shop import accept_place, check_shop

    loose = open_to_others(shop) if shop.is_dir() else []
    opened = _open(shop)
    try:
        if here:
            accept_place(opened)
        found = check_shop(opened)
    finally:
        opened.close()
    if as_json:
        echo_json(asdict(found) | {"closed": [str(p) for p in loose]})
    else:
        for path in loose:
            click.echo(f"{path}: others of this machine could read it; closed now.")
        for problem in (*found.faults, *found.remarks):
            _tell(problem)
        click.echo(
            f"{found.cases} cases, {found.lines} lines, {found.originals} originals: "
            f"{len(found.faults)} faults."
        )
    return 4 if found.faults else 0


@click.command("erase")
@click.argument("shop", type=_FOLDER)
@click.argument("case")
@click.option("--words", multiple=True, help="A name, number or plate that stands elsewhere too.")
@click.option("--backup", "backups", multiple=True, type=_FOLDER, help="A backup folder.")
@click.option("--yes", is_flag=True, help="Do it; it cannot be undone.")
@click.option("--json", "as_json", is_flag=True)
def erase(
    shop: Path,
    case: str,
    words: tuple[str, ...],
    backups: tuple[Path, ...],
    yes: bool,
    as_json: bool,
) -> None:
    """Erase a customer's name, phone and plate from SHOP, beginning with those of CASE.

    Papers that were printed or saved elsewhere, and copies of the folder that were not made by
    'witnessmark backup', are not reached.
    """
    from witnessmark.cli.main import echo_json
    from witnessmark.errors import InputRefused
    from witnessmark.workflow.keeping.erase import erase as work

    if not yes:
        raise InputRefused("Erasing cannot be undone.", do="Say --yes when it is meant.")
    opened = _open(shop)
    try:
        found = work(opened, case, words=words, backups=backups)
    finally:
        opened.close()
    if as_json:
        echo_json(asdict(found))
        return
    click.echo(
        f"Erased from {found.lines} lines of {found.cases} cases and from {found.states} backups."
    )


@click.command("move")
@click.argument("source")
@click.argument("target")
@click.option("--shop", "name", default="", help="Name of the shop in the server's database.")
@click.option("--json", "as_json", is_flag=True)
def move(source: str, target: str, name: str, as_json: bool) -> None:
    """Move a book between a shop's folder and a PostgreSQL server, either way.

    SOURCE and TARGET are a folder and an address such as postgresql+psycopg://user@host/db.
    The source stays as it is; stop its servers first.
    """
    from witnessmark.cli.main import echo_json
    from witnessmark.workflow.keeping.move import move_between

    found = move_between(source, target, name, say=lambda text: click.echo(text, err=True))
    if as_json:
        echo_json(asdict(found))
        return
    click.echo(
        f"Moved {found.cases} cases, {found.lines} lines; the same bytes come out "
        f"(sha256 {found.export[:16]}...)."
    )


def _open(shop: Path) -> Shop:
    from witnessmark.workflow.case.shop_on_disk import open_shop

    return open_shop(shop)


def _tell(problem: Problem) -> None:
    click.echo(" ".join(filter(None, (f"{problem.where}: {problem.what}", problem.do))))
