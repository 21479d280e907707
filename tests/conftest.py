"""Fixtures shared by all rooms."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from patience import PATIENCE_S

ROOT = Path(__file__).resolve().parent.parent
# As the command does: see __main__.
gc.set_threshold(50_000, 20, 50)
Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(scope="session", autouse=True)
def _kept_apart(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What is kept between runs lies in a folder of this run, not in the user's own."""
    held = os.environ.get("WITNESSMARK_CACHE")
    os.environ["WITNESSMARK_CACHE"] = held or str(tmp_path_factory.mktemp("kept"))
    yield
    if held is None:
        del os.environ["WITNESSMARK_CACHE"]


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of outside check values and real recordings, beside the project."""
    folder = ROOT.parent / "shared"
    if not folder.is_dir():
        pytest.skip("the folder of outside check values and recordings (../shared) is not here")
    return folder


@pytest.fixture(scope="session")
def witnessmark() -> Run:
    """Run the command line in a process of its own: ``witnessmark("look", path)``."""

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
