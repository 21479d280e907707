"""``witnessmark experience``: give away what the shop has learnt, merge, take in."""

from __future__ import annotations

from dataclasses import asdict
from fractions import Fraction
from pathlib import Path

import click

from witnessmark.cli.main import echo_json
from witnessmark.errors import InputRefused

_FOLDER = click.Path(path_type=Path)


@click.group()
def command() -> None:
    """What many shops know together; docs/sharing.md says what leaves the shop."""


@command.command("export")
@click.argument("shop", type=_FOLDER)
@click.argument("dest", type=_FOLDER)
@click.option("--quarter", default="", help="Such as 2031Q2; left out: the last one that is over.")
@click.option(
    "--epsilon", default="1", show_default=True, help="Budget of this file: less blurs more."
)
@click.option("--most", default="8", show_default=True, help="Budget of all quarters together.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def export(shop: Path, dest: Path, quarter: str, epsilon: str, most: str, as_json: bool) -> None:
    """Write the blurred counts of one quarter of SHOP into the file DEST.

    No truck, customer, word or day stands in it. The same quarter gives the same file again.
    """
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.shared_experience import give

    given = give(
        open_shop(shop), dest, quarter=quarter, epsilon=_number(epsilon), most=_number(most)
    )
    if as_json:
        echo_json({"file": str(given.path), "quarter": given.quarter,
                   "epsilon": float(given.epsilon), "spent": float(given.spent),
                   "given_before": given.again})  # fmt: skip
        return
    before = " It was given before: the very same file." if given.again else ""
    click.echo(
        f"Written: {given.path}. {given.quarter} at a budget of {float(given.epsilon):g}; "
        f"{float(given.spent):g} in all.{before}"
    )


@command.command("merge")
@click.argument("files", type=_FOLDER, nargs=-1, required=True)
@click.option("--out", type=_FOLDER, required=True, help="The pool is written here.")
@click.option("--bound", default=0.02, show_default=True, help="What one shop may move a share by.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def merge(files: tuple[Path, ...], out: Path, bound: float, as_json: bool) -> None:
    """Merge experience FILES, or folders of them, into a pool."""
    from witnessmark.workflow.shop.shared_experience import merge_files

    paths = [p for f in files for p in (sorted(f.glob("*.json")) if f.is_dir() else [f])]
    found = merge_files(paths, out, bound=bound)
    if as_json:
        echo_json({"file": str(out), "files": found.files, "shops": found.shops,
                   "left_out": [asdict(one) for one in found.left_out]})  # fmt: skip
        return
    click.echo(f"Written: {out}. {found.files:,} files of {found.shops:,} shops.")
    for one in found.left_out:
        click.echo(f"Left out: {one.file}: {one.why}")


@command.command("take")
@click.argument("shop", type=_FOLDER)
@click.argument("pool", type=_FOLDER, required=False)
@click.option("--none", "out", is_flag=True, help="No pool counts any more.")
def take(shop: Path, pool: Path | None, out: bool) -> None:
    """Let POOL count in the odds of SHOP from now on; the packs' shares stand back."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.shared_experience import take_in, take_out

    opened = open_shop(shop)
    if out:
        click.echo("No pool counts now." if take_out(opened) else "No pool counted.")
    elif pool is None:
        raise InputRefused("No pool was named.", do="Name its file, or say --none.")
    else:
        click.echo(f"The pool counts from now on in {take_in(opened, pool)} families.")


def _number(told: str) -> Fraction:
    try:
        return Fraction(told)
    except (ValueError, ZeroDivisionError):
        raise InputRefused(
            f"'{told[:20]}' is no budget.", do="Give a number such as 1 or 0.5."
        ) from None
