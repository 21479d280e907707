"""Write NOTICE and docs/licences.md from the metadata of what is installed.

    python release/licences.py [--check]

Run with the Python of an environment that holds the run lock; ``--check`` writes nothing and
fails where a file says something else. The sizes are those of the machine it ran on.
"""

from __future__ import annotations

import platform
import sys

from parts import ROOT, Part, parts

NOTICE = """Witnessmark
Licensed under the Apache License, Version 2.0; see LICENSE.

Witnessmark holds no code of others. It is installed together with the libraries below, each under
its own licence, whose text comes with the library. The list is made from the libraries' metadata.

"""

PAGE = """# Licences and sizes of what is installed with it

`witnessmark` itself is Apache-2.0 and holds no code of others. What `pip` or `uv` installs beside
it, from the metadata of each library (`release/licences.py` wrote this page; `NOTICE` has the same
list). "Not stated" means that the metadata say nothing, not that there is no licence.

The sizes are those on a disk of {system}, {total:.0f} MB in all; the three largest
({largest}) are {share:.0f} % of it. None of the three can be left out: the two commands use them.

| library | version | licence | MB |
|---|---|---|---|
"""


def notice(found: list[Part]) -> str:
    """Return the text of NOTICE."""
    return NOTICE + "".join(f"{p.name} {p.version}: {p.licence}\n" for p in found)


def page(found: list[Part]) -> str:
    """Return the page with licences and sizes."""
    total = sum(p.size for p in found)
    largest = sorted(found, key=lambda p: -p.size)[:3]
    head = PAGE.format(
        system=f"{platform.system()} ({platform.machine()})",
        total=total / 1e6,
        largest=", ".join(p.name for p in largest),
        share=100 * sum(p.size for p in largest) / total,
    )
    rows = [f"| {p.name} | {p.version} | {p.licence} | {p.size / 1e6:.1f} |\n" for p in found]
    return head + "".join(rows)


def main() -> None:
    """Write or check both."""
    found = parts()
    if "--check" in sys.argv:
        if (ROOT / "NOTICE").read_text(encoding="utf-8") != notice(found):
            sys.exit("NOTICE is not what the installed libraries say: run release/licences.py")
        return
    (ROOT / "NOTICE").write_text(notice(found), encoding="utf-8")
    (ROOT / "docs" / "licences.md").write_text(page(found), encoding="utf-8")


if __name__ == "__main__":
    main()
