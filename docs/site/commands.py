"""Write docs/commands.md: every command with its help, as the commands themselves say it.

python docs/site/commands.py
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path

import click

from witnessmark.cli.main import cli

PAGE = Path(__file__).parents[1] / "commands.md"
HEAD = """# The commands

Made from the commands by `docs/site/commands.py`; a test makes it again and allows no difference.
`-h` behind any of them says the same.

"""


def page() -> str:
    """Return the page."""
    return HEAD + "\n".join(_one("witnessmark", cli))


def _one(name: str, command: click.Command) -> Iterator[str]:
    context = click.Context(
        command,
        info_name=name,
        terminal_width=92,
        max_content_width=92,
        help_option_names=["-h", "--help"],
    )
    # click keeps the help option of the first context a command was run in, which may be a test's
    command = copy.copy(command)
    vars(command)["_help_option"] = None
    level = "#" * min(4, 1 + len(name.split()))
    yield f"{level if name != 'witnessmark' else '##'} {name}\n"
    yield f"```text\n{command.get_help(context).rstrip()}\n```\n"
    if isinstance(command, click.Group):
        for inner in command.list_commands(context):
            found = command.get_command(context, inner)
            if found is not None:
                yield from _one(f"{name} {inner}", found)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
