"""Run tests on each Python that the package allows and this machine has, with the locked versions.

    python release/pythons.py [--write] [TESTS ...]

Without TESTS the whole suite, which takes its time on each. ``--write`` puts what came out into
``release/pythons.md``, with what was run. Needs ``uv``.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from outside import PYTHONS, ROOT, environment

LIMIT_S = 5400
LOCKS = ("test", "docs")


def on_python(python: str, tests: list[str], place: Path) -> str:
    """Return what the tests said on one Python, in their own last line."""
    home = place / python
    make = ["uv", "venv", "-q", "--no-managed-python", "--python", python, home]
    if subprocess.run(make, env=environment(), capture_output=True, check=False).returncode:
        return "not tried: not on this machine"
    locks = [word for n in LOCKS for word in ("-r", ROOT / "requirements" / f"{n}.lock")]
    subprocess.run(
        ["uv", "pip", "install", "-q", "--python", home, "--no-deps", "--require-hashes", *locks],
        env=environment(), check=True, capture_output=True,
    )  # fmt: skip
    done = subprocess.run(
        [home / "bin" / "python", "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests],
        cwd=ROOT, env=environment() | {"PYTHONPATH": str(ROOT / "src")}, capture_output=True,
        text=True, timeout=LIMIT_S, check=False,
    )  # fmt: skip
    lines = done.stdout.strip().splitlines() or [done.stderr.strip()[-200:]]
    if done.returncode:
        print(done.stdout[-4000:], file=sys.stderr)
    return lines[-1].strip("= ").rpartition(" in ")[0] or lines[-1]


def main() -> None:
    """Run, print, and write where that is asked for."""
    tests = [word for word in sys.argv[1:] if word != "--write"]
    with tempfile.TemporaryDirectory(prefix="witnessmark-pythons-") as name:
        rows = [(python, on_python(python, tests, Path(name))) for python in PYTHONS]
    table = "| Python | came out |\n|---|---|\n" + "".join(f"| {a} | {b} |\n" for a, b in rows)
    print(table)
    if "--write" in sys.argv:
        ran = ", ".join(f"`{t}`" for t in tests) or "the whole suite"
        (ROOT / "release" / "pythons.md").write_text(
            "# The tests on each Python\n\nWritten by `release/pythons.py --write`, with the "
            f"locked versions.\nRun: {ran}.\n\n{table}",
            encoding="utf-8",
        )
    if any(("passed" not in b and "not tried" not in b) or "failed" in b for _, b in rows):
        sys.exit(1)


if __name__ == "__main__":
    main()
