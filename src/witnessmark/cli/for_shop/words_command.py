"""``witnessmark words``: every sentence that is formed for people, with an example of each."""

from __future__ import annotations

import click

from witnessmark.cli.main import echo_json


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--page", "as_page", is_flag=True, help="Print the page of the manual.")
def command(as_json: bool, as_page: bool) -> None:
    """List every sentence with its id and an example, for somebody to proof-read."""
    from witnessmark.words.catalogue import catalogue, catalogue_page

    if as_page:
        click.echo(catalogue_page(), nl=False)
    elif as_json:
        rows = [{"id": s.id, "example": s.rendered, "module": s.module} for s in catalogue()]
        echo_json({"sentences": rows})
    else:
        for said in catalogue():
            click.echo(f"{said.id}\n    {said.rendered}")
