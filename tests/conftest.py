"""Fixtures shared by all rooms."""

from __future__ import annotations

import contextlib
import gc
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import settings

from patience import PATIENCE_S
from witnessmark.cli.main import run as command_line

# How long one example takes is no business of a test: a busy machine is no fault.
settings.register_profile("suite", deadline=None)
settings.load_profile("suite")

ROOT = Path(__file__).resolve().parent.parent
# As the command does: see __main__.
gc.set_threshold(50_000, 20, 50)
Run = Callable[..., "subprocess.CompletedProcess[str]"]


def pytest_configure(config: pytest.Config) -> None:
    """Let all workers and all commands of a run share what is kept between runs of the program.

    It lies in a folder of this run, not in the user's own, and so do the compiled modules: each of
    the hundreds of commands that the tests start would compile them anew where none may be written.
    """
    if hasattr(config, "workerinput"):
        return
    folder = Path(tempfile.mkdtemp(prefix="witnessmark-tests-"))
    config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))
    os.environ.setdefault("WITNESSMARK_CACHE", str(folder / "kept"))
    if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that hold a slow test, so that none of them is left alone at the end."""
    slow = {item.path for item in items if item.get_closest_marker("slow") is not None}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of outside check values and real recordings, beside the project."""
    folder = ROOT.parent / "shared"
    if not folder.is_dir():
        pytest.skip("the folder of outside check values and recordings (../shared) is not here")
    return folder


@pytest.fixture(scope="session")
def apart() -> Run:
    """Run the command line in a process of its own: ``apart("look", path)``.

    For what another process is to do: beside a server, with an environment, an input or a folder
    of its own, or with processes of its own.
    """

    def run(
        *arguments: object,
        timeout: float = PATIENCE_S,
        **options: object,
    ) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONUTF8": "1"}
        return subprocess.run(
            [sys.executable, "-m", "witnessmark", *map(str, arguments)],
            capture_output=True,
            text=True,
            timeout=timeout,
            env=environment,
            check=False,
            **options,  # type: ignore[call-overload]
        )

    return run


@pytest.fixture(scope="session")
def witnessmark() -> Run:
    """Run the command line in this process: ``witnessmark("look", path)``.

    A process costs its start, half a second of it, and says nothing more.
    """

    def run(*arguments: object) -> subprocess.CompletedProcess[str]:
        words = ["witnessmark", *map(str, arguments)]
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        code: object = 0
        with (
            patch.object(sys, "argv", words),
            patch.object(sys, "stdin", io.StringIO()),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            try:
                command_line()
            except SystemExit as ended:
                code = ended.code
        said, warned = (_text_of(stream) for stream in (out, err))
        return subprocess.CompletedProcess(words, int(str(code or 0)), said, warned)

    return run


def _text_of(stream: io.TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode()  # type: ignore[attr-defined]
