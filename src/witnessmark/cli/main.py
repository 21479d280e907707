"""The command group. Each command lives in a module of its own and is loaded when called."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from witnessmark.errors import WitnessmarkError, exit_code
from witnessmark.version import __version__

#: Command -> (module, one line for the list). Help must not load a heavy library.
COMMANDS: dict[str, tuple[str, str]] = {
    "assess": (
        "witnessmark.cli.for_case.assess_command",
        "Findings, odds, next steps and proof of a case.",
    ),
    "backup": ("witnessmark.cli.for_shop.backup_command", "Back a shop up while it is used."),
    "case": (
        "witnessmark.cli.for_case.case_command",
        "The casebook by hand: new, add, show, list, export, import.",
    ),
    "check": ("witnessmark.cli.for_shop.check_command", "What is hurt or missing in a shop."),
    "complaint": (
        "witnessmark.cli.for_case.complaint_command",
        "What a complaint may be about, and naming it.",
    ),
    "demo": ("witnessmark.cli.for_shop.demo_command", "Build the invented shop and open its page."),
    "due": ("witnessmark.cli.for_shop.due_command", "What is due: by day, miles, hours."),
    "erase": ("witnessmark.cli.for_shop.erase_command", "Erase a customer's data on request."),
    "experience": (
        "witnessmark.cli.for_shop.experience_command",
        "What many shops know together: give, merge, take.",
    ),
    "export": ("witnessmark.cli.for_shop.export_command", "Figures as tables: CSV, Parquet."),
    "history": (
        "witnessmark.cli.for_shop.history_command",
        "What the shop's own proven cases have taught.",
    ),
    "inspect": (
        "witnessmark.cli.for_case.inspect_command",
        "The periodic inspection: begin, show, look, repaired, sign, paper, covered.",
    ),
    "look": ("witnessmark.cli.for_recordings.look_command", "What is in a recording."),
    "move": (
        "witnessmark.cli.for_shop.move_command",
        "Move a book to a server for many sites, or back.",
    ),
    "override": (
        "witnessmark.cli.for_case.override_command",
        "Do something else than proposed; the score.",
    ),
    "pack": ("witnessmark.cli.for_shop.pack_command", "Check a knowledge pack."),
    "phone": (
        "witnessmark.cli.for_case.phone_command",
        "May it move? Questions for the phone and the roadside.",
    ),
    "practice": (
        "witnessmark.cli.for_shop.practice_command",
        "An invented truck with a hidden fault, to practise on.",
    ),
    "record": ("witnessmark.cli.for_recordings.record_command", "Record the data bus to a file."),
    "report": (
        "witnessmark.cli.for_case.report_command",
        "The customer's report, or the estimate.",
    ),
    "restore": ("witnessmark.cli.for_shop.restore_command", "Bring a backup back."),
    "screen": ("witnessmark.cli.for_recordings.screen_command", "Findings over many recordings."),
    "serve": ("witnessmark.cli.for_shop.serve_command", "Serve the bench page of a shop."),
    "words": ("witnessmark.cli.for_shop.words_command", "Every sentence, to proof-read."),
}


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands that this installation holds."""
        return [name for name in COMMANDS if _exists(COMMANDS[name][0])]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        if cmd_name not in COMMANDS or not _exists(COMMANDS[cmd_name][0]):
            return None
        command = importlib.import_module(COMMANDS[cmd_name][0]).command
        assert isinstance(command, click.Command)  # noqa: S101
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        rows = [(name, COMMANDS[name][1]) for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="witnessmark")
def cli() -> None:
    """Diagnostic workbench of a heavy-duty diesel shop: from the complaint to the proven repair.

    Every command takes --json. Exit codes: 0 done, 2 refused input, 3 nothing usable found,
    4 the disk or the database failed.
    """


def run() -> None:
    """Run the command line; a refusal becomes one sentence and its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except WitnessmarkError as error:
        click.echo(str(error), err=True)
        sys.exit(exit_code(error))
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except OSError as error:
        click.echo(_os_sentence(error), err=True)
        sys.exit(2)
    except Exception as error:  # a fault of ours: one sentence, never a traceback
        if os.environ.get("WITNESSMARK_DEBUG"):
            raise
        click.echo(
            f"Witnessmark failed on its own account ({type(error).__name__}: {error}). Nothing was "
            "stored by this command. Set WITNESSMARK_DEBUG=1 to see where, and report it.",
            err=True,
        )
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else 0)


def echo_json(document: Any) -> None:
    """Print *document* as JSON."""
    click.echo(json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False))


def allow_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--allow PATH``: how far names that come from outside may reach."""
    return click.option(
        "--allow",
        multiple=True,
        type=click.Path(path_type=Path, exists=True),
        help="A file or folder elsewhere that names in the file (or links in the folder) may "
        "lead to; without it nothing outside is read. May be repeated.",
    )(command)


def _exists(module: str) -> bool:
    return importlib.util.find_spec(module) is not None


def _os_sentence(error: OSError) -> str:
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{(error.strerror or str(error)).lower()}. Check the path and the permissions."
