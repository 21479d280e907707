"""The programming interface held against its own description by schemathesis, with all its checks.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/contract.py [EXAMPLES] [SEED]

A shop is served by a process of its own. Requests are drawn from the description, at its edges and
against it, alone and in rows that follow one another. Held against: no server error, no status,
header or body that is not described, nothing right refused, nothing wrong taken. The table is
written into benchmarks/contract.md.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import httpx

from web.bench_page import served
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop

NOTES = (
    "Earlier runs found, and these were mended: six kinds of entry that the interface refused and "
    "the commands took; refused methods that were not told which there are; a description that "
    "did not say what an entry may hold, took a least number one too high and form feeds beside "
    "an odometer; true for a number and a number for true; 94.0 that was not as whole as 94.",
    "",
    "The two of the last run stand open: a gear is also taken as a number where the description "
    "says text, and a look at a point that the vehicle of the inspection has not is refused, which "
    "the description cannot say. No server error among them.",
)
HERE = Path(__file__).resolve().parent
AT = "2026-03-02T08:00:00Z"
_FOUND = re.compile(r"^\s*❌\s+(ST\d+ .*|[A-Z][^:]*): (\d+)$", re.M)


def run(examples: int, seed: int) -> str:
    """Return what schemathesis says of a shop that is served meanwhile."""
    program = shutil.which("schemathesis", path=str(Path(sys.executable).parent))
    assert program is not None, "schemathesis is not installed"
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        truck = entry_line("truck", {"label": "unit 7"}, entry_id="t", at=AT)
        complaint = {"words": "oil pressure low (invented)", "families": ["oil_press"]}
        shop.new_case("unit7", [truck, entry_line("complaint", complaint, entry_id="c", at=AT)])
        with served(shop) as address:
            httpx.get(f"{address}/api/openapi.json", timeout=300).raise_for_status()
            found = subprocess.run(
                [
                    program,
                    "run",
                    f"{address}/api/openapi.json",
                    "--checks=all",
                    "--phases=examples,coverage,fuzzing,stateful",
                    f"--max-examples={examples}",
                    f"--seed={seed}",
                    "--continue-on-failure",
                    "--request-timeout=300",
                    "--suppress-health-check=all",
                    "--no-color",
                ],
                capture_output=True,
                text=True,
                check=False,
                cwd=folder,
                env={**os.environ, "COLUMNS": "100"},
            )
        shop.close()
    return found.stdout + found.stderr


def main() -> int:
    """Write the table; return how many kinds of failure there were."""
    examples = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    said = run(examples, seed)
    print(said)
    generated = re.search(r"(\d+) generated", said)
    assert generated is not None, "schemathesis did not finish"
    failures = _FOUND.findall(said[said.index("SUMMARY") :])
    text = [
        "# The interface against its description",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/contract.py {examples} {seed}` made this: "
        f"{generated[1]} requests drawn by schemathesis from the description of the interface, "
        "right ones, wrong ones, edges, and rows of requests that follow one another; all its "
        "checks on.",
        "",
        "| failed check | distinct failures |",
        "|---|---:|",
        *(f"| {what} | {often} |" for what, often in failures),
    ]
    if not failures:
        text.append("| none | 0 |")
    text += ["", *NOTES]
    (HERE / "contract.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))
    return len(failures)


if __name__ == "__main__":
    sys.exit(main())
