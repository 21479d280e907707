"""``witnessmark demo``: the invented shop, on its page or all at once."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json


@click.command()
@click.option(
    "--once",
    "once_folder",
    type=click.Path(path_type=Path),
    help="Do the whole job without a browser, write everything into this folder, and end.",
)
@click.option("--no-browser", is_flag=True, help="Serve the page but open no browser.")
@click.option("--shop", type=click.Path(path_type=Path), help="Keep the shop in this folder.")
@click.option("--port", default=8740, show_default=True, type=click.IntRange(0, 65535))
@click.option("--workers", type=click.IntRange(1, 64), help="Processes for --once.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    once_folder: Path | None,
    no_browser: bool,
    shop: Path | None,
    port: int,
    workers: int | None,
    as_json: bool,
) -> None:
    """Build the invented shop and open its page on this machine.

    Trucks, names, readings and recordings are invented; the recordings come from the simulator.
    """
    if once_folder is not None:
        _once(once_folder, workers, as_json)
    else:
        _serve(shop, port, no_browser, as_json)


def _once(folder: Path, workers: int | None, as_json: bool) -> None:
    from witnessmark.demo.once import once, summary_text

    summaries = once(folder, workers=workers)
    if as_json:
        echo_json([summary.data for summary in summaries])
    else:
        click.echo(summary_text(summaries, folder), nl=False)


def _serve(folder: Path | None, port: int, no_browser: bool, as_json: bool) -> None:
    import tempfile
    import webbrowser

    from witnessmark.demo.demo_shop import build
    from witnessmark.web.serving import serve

    def say(text: str) -> None:
        click.echo(text, err=as_json)

    with tempfile.TemporaryDirectory(prefix="witnessmark-demo-") as temporary:
        say("Building the invented shop ...")
        shop = build(folder or Path(temporary) / "shop")
        if folder is None:
            say("It is gone when this ends; keep it with --shop FOLDER.")

        def ready(address: str) -> None:
            if as_json:
                echo_json({"address": address})
            if not no_browser:
                webbrowser.open(address)

        try:
            serve(shop, port=port, say=say, ready=ready)
        except KeyboardInterrupt:
            say("Stopped.")
        finally:
            shop.close()
