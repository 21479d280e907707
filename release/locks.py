"""Make the locks: every version, and the hash of every file of it that may be installed.

    python release/locks.py             keeps what is locked and adds what is new
    python release/locks.py --upgrade   takes the newest of everything

One lock serves every system and every Python that the package allows: what only one of them needs
carries its marker. Needs ``uv`` on the path. Where the files come from is not written into the
locks: that is the business of whoever installs.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parents[1] / "requirements"
LOCKS = ("run", "test", "docs", "build")
HEAD = "# Made by release/locks.py; every file that may be installed is named by its hash.\n"


def make(name: str, *options: str) -> None:
    """Write one lock from its list of wishes; what the larger locks share has one version."""
    lock = HERE / f"{name}.lock"
    shared = [HERE / f"{n}.lock" for n in LOCKS[: LOCKS.index(name)]]
    subprocess.run(
        [
            "uv", "pip", "compile", "--quiet", "--universal", "--python-version", "3.11",
            "--fork-strategy", "fewest", "--generate-hashes", "--no-header", "--no-annotate",
            "--excludes", HERE / "left_out.txt",
            *(part for path in shared for part in ("--constraints", path)),
            *options, "--output-file", lock, HERE / f"{name}.in",
        ],
        check=True, cwd=HERE,
    )  # fmt: skip
    text = lock.read_text(encoding="utf-8").removeprefix(HEAD)
    lock.write_text(HEAD + text, encoding="utf-8")


if __name__ == "__main__":
    for each in LOCKS:
        make(each, *sys.argv[1:])
