"""Print how much of each room the last `make coverage` ran, line by line and branch by branch.

A number here says what was *run*, not what was *checked*; what the suite would notice is counted by
`studies/mutations/run.py`.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

from coverage import Coverage

ROOM = Path(__file__).parents[1] / "src" / "witnessmark"


def by_room(data: Path) -> dict[str, tuple[int, int, int, int]]:
    """Return room -> lines, lines run, branches, branches run.

    Raises:
        SystemExit: nothing was measured.
    """
    coverage = Coverage(data_file=str(data), config_file=str(ROOM.parents[1] / "pyproject.toml"))
    coverage.load()
    seen = coverage.get_data().measured_files()
    if not seen:
        sys.exit("nothing was measured: run make coverage")
    rooms: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for path in sorted(p for p in ROOM.rglob("*.py")):
        numbers = coverage._analyze(str(path)).numbers  # there is no public door to it
        room = path.relative_to(ROOM).parts[0].removesuffix(".py")
        for n, add in enumerate(
            (
                numbers.n_statements,
                numbers.n_executed,
                numbers.n_branches,
                numbers.n_executed_branches,
            )
        ):
            rooms[room][n] += add
    return {room: (a, b, c, d) for room, (a, b, c, d) in sorted(rooms.items())}


def table(rooms: dict[str, tuple[int, int, int, int]]) -> str:
    """Return the rooms as a table, and all of them together at its end."""
    whole = tuple(sum(row[n] for row in rooms.values()) for n in range(4))
    text = f"{'room':12}{'lines':>8}{'run':>8}{'branches':>10}{'run':>8}\n"
    for room, row in [*rooms.items(), ("together", whole)]:
        lines, ran, branches, taken = row
        text += f"{room:12}{lines:8}{_share(ran, lines)}{branches:10}{_share(taken, branches)}\n"
    return text


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:7.1f}%" if whole else f"{'-':>8}"


if __name__ == "__main__":
    print(table(by_room(Path(sys.argv[1] if len(sys.argv) > 1 else ".coverage"))), end="")
