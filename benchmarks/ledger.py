"""The ledger of five thousand cases, and a case of ten thousand entries.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/ledger.py [CASES] [ENTRIES]

Times are given as wall clock and as time of this process's own work (other work of the machine is
not in it). The table is written into benchmarks/ledger.md.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from web.bench_page import Client
from witnessmark.errors import InputRefused
from witnessmark.model.dossier import Dossier
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.shop.ledger_pages import ledger_page

HERE = Path(__file__).resolve().parent
AT = "2026-03-02T08:00:00Z"


def timed(work: Callable[[], object], times: int = 7) -> tuple[float, float]:
    """Return the medians of (wall clock, own work) [ms]."""
    walls, own = [], []
    for _ in range(times):
        wall, mine = time.perf_counter(), time.process_time()
        work()
        walls.append(1000 * (time.perf_counter() - wall))
        own.append(1000 * (time.process_time() - mine))
    return statistics.median(walls), statistics.median(own)


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    entries = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000

    def nothing(_: str) -> Dossier:
        raise InputRefused("No odds are needed here.")

    rows = []
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        for number in range(cases):
            truck = {"label": f"unit {number % 700}", "customer": f"Invented {number % 300}"}
            complaint = {"words": "hums under load (invented)", "families": ["oil_press"]}
            lines = [
                entry_line("truck", truck, entry_id="t", at=AT),
                entry_line("complaint", complaint, entry_id="c", at=AT),
            ]
            if number % 10:
                gone = {"complaint": "c", "gone": True}
                lines.append(entry_line("outcome", gone, entry_id="o", at=AT))
            shop.casebook.new_case(f"c{number}", lines)
        rows.append(
            ("first look: all rows made", *timed(lambda: ledger_page(shop, is_open=True), 1), 0)
        )
        client = Client(create_app(shop, assess=nothing))
        for words, page in (
            ("ledger, warm", "/"),
            ("ledger, a search", "/?q=unit+42"),
            ("what changed (a page that watches)", "/ledger-version"),
            ("all cases by the interface", "/api/cases"),
            ("/learnt", "/learnt"),
        ):
            size = len(client.get(page).content)
            rows.append((words, *timed(lambda page=page: client.get(page), 3), size))
        many = [
            entry_line("note", {"words": f"note {n}"}, entry_id=f"n{n}", at=AT)
            for n in range(entries)
        ]
        shop.new_case("long", [entry_line("truck", {"label": "long"}, entry_id="t", at=AT), *many])
        size = len(client.get("/cases/long").content)
        rows.append(
            (f"case of {entries} entries", *timed(lambda: client.get("/cases/long"), 3), size)
        )
        rows.append(
            ("its oldest entries", *timed(lambda: client.get("/cases/long?e=999"), 3),
             len(client.get("/cases/long?e=999").content))
        )  # fmt: skip
        add = timed(lambda: shop.add("long", "note", {"words": "one more"}), 5)
        rows.append((f"one entry added to {entries}", *add, 0))
        after = []
        for _ in range(5):
            shop.add("long", "note", {"words": "one more"})
            after.append(timed(lambda: client.get("/cases/long"), 1))
        after = [statistics.median(one) for one in zip(*after, strict=True)]
        rows.append((f"case of {entries} entries after that", *after, size))
        client.close()
        shop.close()
    text = [
        "# The ledger",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/ledger.py {cases} {entries}` made this table: "
        f"{cases} cases, one in ten open; medians. The machine had other work to do, so the second "
        "figure (time of this process's own work) is the one to compare.",
        "",
        "| | wall clock, ms | own work, ms | kB |",
        "|---|---:|---:|---:|",
        *(f"| {w} | {wall:.0f} | {own:.0f} | {size / 1000:.0f} |" for w, wall, own, size in rows),
    ]
    (HERE / "ledger.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))


if __name__ == "__main__":
    main()
