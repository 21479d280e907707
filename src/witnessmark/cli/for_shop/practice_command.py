"""``witnessmark practice``: an invented truck with a hidden fault, on the bench's own pages."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--family", default="", help="Of the complaint; left out: any.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="The same truck again.")
@click.option("--review", "reviews", is_flag=True, help="Say what it took, and end.")
@click.option("--port", default=8741, show_default=True, type=click.IntRange(0, 65535))
@click.option("--json", "as_json", is_flag=True, help="Say the address, or the review, as JSON.")
def command(
    folder: Path, family: str, seed: int | None, reviews: bool, port: int, as_json: bool
) -> None:
    """Serve a virtual truck in FOLDER: find its fault, and compare your way with the program's.

    A folder that holds a practice truck goes on with it. Nothing reaches a real shop's history.
    """
    from witnessmark.cli.main import echo_json
    from witnessmark.demo.machines.practice_machine import PracticeMachine
    from witnessmark.web.serving import serve
    from witnessmark.workflow.practice.practice_shop import (
        CASE,
        is_practice,
        new_practice,
        open_practice,
    )
    from witnessmark.workflow.practice.spent import review

    if reviews or is_practice(folder):
        shop = open_practice(folder, review, PracticeMachine())
    else:
        shop = new_practice(folder, family, seed=seed, at_the_end=review, machine=PracticeMachine())
    try:
        if reviews:
            words = review(shop)
            if as_json:
                echo_json({"review": words})
            else:
                click.echo(words)
            return
        serve(
            shop,
            port=port,
            say=lambda text: click.echo(text, err=as_json),
            ready=lambda address: _ready(f"{address.rstrip('/')}/cases/{CASE}", as_json=as_json),
        )
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)
    finally:
        shop.close()


def _ready(address: str, *, as_json: bool) -> None:
    from witnessmark.cli.main import echo_json

    if as_json:
        echo_json({"address": address})
    else:
        click.echo(f"The truck stands at {address}")
