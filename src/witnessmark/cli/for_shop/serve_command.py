"""``witnessmark serve``: the bench page of a shop."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8740, show_default=True, type=click.IntRange(0, 65535))
@click.option("--name", "names", multiple=True, help="A further name the page is reached under.")
@click.option(
    "--proxy",
    default="",
    metavar="ADDRESS",
    help="Address of a proxy of yours that ends TLS and says who asks.",
)
@click.option(
    "--database",
    metavar="URL",
    envvar="WITNESSMARK_DATABASE",
    help="Casebook on a PostgreSQL server, for several sites; docs/many_sites.md.",
)
@click.option("--json", "as_json", is_flag=True, help="Say the address as JSON.")
def command(
    shop: Path,
    host: str,
    port: int,
    names: tuple[str, ...],
    proxy: str,
    database: str | None,
    as_json: bool,
) -> None:
    """Serve the bench page of the shop in folder SHOP.

    On loopback it is open to whoever sits at this machine. On any other address it asks for the
    shop's passphrase and uses HTTPS with a certificate of its own.
    """
    from witnessmark.cli.main import echo_json
    from witnessmark.web.serving import serve
    from witnessmark.workflow.case.shop_on_disk import open_shop

    opened = open_shop(shop, database=database)

    def say(text: str) -> None:
        click.echo(text, err=as_json)

    try:
        serve(
            opened,
            host=host,
            port=port,
            names=names,
            proxy=proxy,
            say=say,
            ready=(lambda address: echo_json({"address": address})) if as_json else None,
        )
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)
    finally:
        opened.close()
