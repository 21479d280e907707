"""Install the wheel where nothing of this repository is, and see that its commands work there.

    python release/outside.py [--write]

For each Python that the package allows and this machine has: with the locked versions, on the
lowest Python with the lowest that ``pyproject.toml`` allows, and with the newest; then as a
tool of ``uv`` and of ``pipx``. In each the invented shop is served and its page fetched, a case is
assessed and a report is set. ``--write`` puts what came out into ``release/outside.md``. Needs
``uv``; what is not on this machine is said to be not tried.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[1]
PYTHONS = ("3.11", "3.12", "3.13")
LIMIT_S = 900
#: Nothing of this folder may help: no path, no settings of its own environment.
DROPPED = ("PYTHON", "VIRTUAL_ENV", "WITNESSMARK")


def main() -> None:
    """Try every way and print the table."""
    with tempfile.TemporaryDirectory(prefix="witnessmark-outside-") as name:
        place = Path(name)
        wheel = build(place)
        rows = [row for python in PYTHONS for row in on_python(python, wheel, place)]
        rows += [as_tool(tool, wheel, place) for tool in ("uv tool", "pipx")]
    table = "| Python | versions | came out |\n|---|---|---|\n"
    table += "".join(f"| {a} | {b} | {c} |\n" for a, b, c in rows)
    print(table)
    if "--write" in sys.argv:
        head = "# The wheel outside the repository\n\nWritten by `release/outside.py --write`. "
        head += "Works: the invented shop was served and its page\nfetched, a case assessed and "
        head += "a report set, from another folder than this one.\n\n"
        (ROOT / "release" / "outside.md").write_text(head + table, encoding="utf-8")
    if any(not c.startswith(("works", "not tried")) for _, _, c in rows):
        sys.exit(1)


def build(place: Path) -> Path:
    """Build the wheel from a copy of the tree, so that nothing left in a build folder gets in."""
    copy = place / "copy"
    copy.mkdir()
    for part in ("pyproject.toml", "README.md", "LICENSE", "NOTICE"):
        shutil.copy(ROOT / part, copy / part)
    made = shutil.ignore_patterns("__pycache__", "*.egg-info")
    shutil.copytree(ROOT / "src", copy / "src", ignore=made)
    code = (
        "import os, sys; os.chdir(sys.argv[1]); from setuptools import build_meta as b; "
        "b.build_wheel(sys.argv[2])"
    )
    run([sys.executable, "-W", "ignore", "-c", code, copy, place], place)
    (wheel,) = place.glob("*.whl")
    return wheel


def on_python(python: str, wheel: Path, place: Path) -> list[tuple[str, str, str]]:
    """Try the wheel on one Python with the locked, the lowest and the newest versions."""
    lock = ROOT / "requirements" / "run.lock"
    ways: dict[str, list[list[str | Path]]] = {
        "locked": [["--require-hashes", "--no-deps", "-r", lock], ["--no-deps", wheel]],
        "lowest allowed": [["--resolution", "lowest-direct", wheel]],
        "newest": [[wheel]],
    }
    if python != PYTHONS[0]:  # the lowest versions are older than the newer Pythons
        del ways["lowest allowed"]
    rows = []
    for way, steps in ways.items():
        home = place / f"{python}-{way.split()[0]}"
        try:
            run(["uv", "venv", "-q", "--no-managed-python", "--python", python, home], place)
        except RuntimeError:
            rows.append((python, way, "not tried: not on this machine"))
            continue
        binaries = home / ("Scripts" if os.name == "nt" else "bin")
        try:
            for step in steps:
                run(["uv", "pip", "install", "-q", "--python", home, *step], place)
            rows.append((python, way, works(binaries / "witnessmark", place)))
        except RuntimeError as error:
            rows.append((python, way, str(error)))
        shutil.rmtree(home)
    return rows


def as_tool(tool: str, wheel: Path, place: Path) -> tuple[str, str, str]:
    """Install the wheel as a person would who wants only the command."""
    words = tool.split()
    if shutil.which(words[0]) is None:
        return ("-", tool, "not tried: not on this machine")
    home = place / words[0]
    own = {
        "UV_TOOL_DIR": str(home), "UV_TOOL_BIN_DIR": str(home / "bin"),
        "PIPX_HOME": str(home), "PIPX_BIN_DIR": str(home / "bin"),
    }  # fmt: skip
    try:
        run([*words, "install", wheel], place, own)
        return ("-", tool, works(home / "bin" / "witnessmark", place))
    except RuntimeError as error:
        return ("-", tool, str(error))


def works(command: Path, place: Path) -> str:
    """Serve the invented shop, fetch its page, assess a case and set a report.

    Raises:
        RuntimeError: one of them did not work; the message says which.
    """
    with tempfile.TemporaryDirectory(dir=place) as name:
        folder = Path(name)
        serve = [command, "demo", "--no-browser", "--port", "0", "--json", "--shop", folder / "s"]
        with subprocess.Popen(
            serve, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder,
            env=environment(),
        ) as server:  # fmt: skip
            assert server.stdout
            told = ""
            while "}" not in told and (line := server.stdout.readline()):
                told += line
            try:
                if "}" not in told:
                    raise RuntimeError(f"demo: {(server.stderr or server.stdout).read()[-300:]}")
                with urllib.request.urlopen(json.loads(told)["address"], timeout=300) as answer:
                    if b"<html" not in answer.read():
                        raise RuntimeError("demo: no page")
            finally:
                server.terminate()
        run([command, "assess", folder / "s", "feed-22"], folder)
        run([command, "report", folder / "s", "feed-22", "--out", folder / "r.pdf"], folder)
        if (folder / "r.pdf").read_bytes()[:4] != b"%PDF":
            raise RuntimeError("report: no PDF")
    return "works"


def run(command: Sequence[str | Path], place: Path, own: dict[str, str] | None = None) -> None:
    """Run a command elsewhere; what it says stands in the error where it fails."""
    done = subprocess.run(
        command, cwd=place, env=environment() | (own or {}), capture_output=True, text=True,
        timeout=LIMIT_S, check=False,
    )  # fmt: skip
    if done.returncode:
        print(done.stderr, file=sys.stderr)
        last = done.stderr.strip().split("\n")[-1][:200]
        raise RuntimeError(f"{Path(command[0]).name} {command[1]}: {last}")


def environment() -> dict[str, str]:
    """Return the environment without what would lead back here."""
    return {k: v for k, v in os.environ.items() if not k.startswith(DROPPED)}


if __name__ == "__main__":
    main()
