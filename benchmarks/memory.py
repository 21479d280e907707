"""What a long-lived server holds: resident memory while it assesses many different cases.

    python benchmarks/memory.py [CASES] [--write]

One process with a shop of invented cases, every one with readings of the fuel circuit at speeds
of its own, assessed one after the other as the server does it. Prints ``memory.md``; ``--write``
puts it there.
"""

from __future__ import annotations

import argparse
import os
import platform
import tempfile
from pathlib import Path

from dossier import head, line

from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

GAUGE = {"id": "g", "span": "160 psi", "accuracy": "1 % of span"}


def lines(number: int) -> list[str]:
    """Return a case whose three readings stand at speeds that no other case has."""
    points = [(660 + number, 60.0), (1210 + 3 * number, 72.0), (1500 + number, 78.0)]
    return [
        *head("fuel_low"),
        *(
            line("reading", f"r{n}", quantity="fuel_gallery_pressure",
                 value=f"{psi - 0.05 * (number % 40):.1f} psi",
                 point={"rpm": rpm, "load": "none"}, instrument=GAUGE)
            for n, (rpm, psi) in enumerate(points)
        ),
    ]  # fmt: skip


def resident_mb() -> float:
    """Return the resident memory of this process [MB]."""
    pages = int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def measured(shop: Shop, cases: int) -> list[tuple[int, float]]:
    """Return (cases assessed, resident memory [MB]) on the way."""
    rows = [(0, resident_mb())]
    for number in range(cases):
        assess_in_shop(shop, f"c{number}")
        done = number + 1
        if done in {1, 2, 5, 10, 25, 50, 100, 150, 200, cases}:
            rows.append((done, resident_mb()))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=int, nargs="?", default=200)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        for number in range(given.cases):
            shop.new_case(f"c{number}", lines(number))
        rows = measured(shop, given.cases)
        shop.close()
    text = "\n".join([
        "# Memory of a long-lived server", "",
        "Made by `python benchmarks/memory.py --write`. One process, a shop of invented cases with",
        "three readings of the fuel circuit each, at speeds that no other case has, assessed one",
        f"after the other; resident memory, Python {platform.python_version()}.", "",
        "| cases assessed | resident, MB |", "|-|-|",
        *(f"| {done} | {mb:.0f} |" for done, mb in rows), "",
        "The table of the fuel circuit holds 9 standard points and the 16 further ones asked for",
        "last; what is older is solved again. Of learnt types three tables are held.", "",
    ])  # fmt: skip
    print(text)
    if given.write:
        Path(__file__).with_name("memory.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
