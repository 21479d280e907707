"""The ranked list of a fleet as a page, a table and a paper."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from witnessmark.fleet.ranking import TruckRow
from witnessmark.report.as_html import paper_html
from witnessmark.report.as_pdf import paper_pdf
from witnessmark.report.paper import Block, Heading, Items, Paper, Said, TableBlock
from witnessmark.words.masking import hide

__all__ = ["fleet_csv", "fleet_html", "fleet_pdf"]

_HEAD = ("truck", "worst", "in recordings", "since", "trend", "next")


def fleet_html(trucks: Sequence[TruckRow]) -> str:
    """Return the list as one HTML page."""
    return paper_html(_paper(trucks))


def fleet_pdf(trucks: Sequence[TruckRow]) -> bytes:
    """Return the list as PDF."""
    return paper_pdf(_paper(trucks))


def fleet_csv(trucks: Sequence[TruckRow]) -> str:
    """Return a line a truck and trouble."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["rank", "truck", "score", "code", "weight", "recordings", "of", "since",
                    "trend", "sentence", "unread", "next"])  # fmt: skip
    for rank, truck in enumerate(trucks, 1):
        name, then = hide(truck.name), hide(truck.next)
        for t in truck.troubles:
            table.writerow([rank, name, truck.score, t.code, t.weight, t.recordings, t.of, t.since,
                            t.trend, hide(t.sentence), truck.unread, then])  # fmt: skip
        if not truck.troubles:
            table.writerow([rank, name, truck.score, "", "", 0, truck.recordings, "", "", "",
                            truck.unread, then])  # fmt: skip
    return out.getvalue()


def _paper(trucks: Sequence[TruckRow]) -> Paper:
    rows = []
    for truck in trucks:
        worst = truck.troubles[0] if truck.troubles else None
        rows.append((
            hide(truck.name),
            worst.code.replace("_", " ") if worst else "nothing stands out",
            f"{worst.recordings} of {worst.of}" if worst else f"0 of {truck.recordings}",
            worst.since if worst else "",
            worst.trend if worst else "",
            hide(truck.next),
        ))  # fmt: skip
    blocks: list[Block] = [
        Said(
            "The truck to look at first stands first. What weighs how much is judgement; a truck "
            "in which nothing stands out is not thereby healthy.",
            "small",
        ),
        TableBlock(_HEAD, tuple(rows)),
    ]
    for truck in trucks:
        if truck.troubles:
            blocks.append(Heading(hide(truck.name), 2))
            blocks.append(Items(tuple(hide(t.sentence) for t in truck.troubles[:5])))
    read, unread = sum(t.recordings for t in trucks), sum(t.unread for t in trucks)
    facts = (("trucks", str(len(trucks))), ("recordings read", str(read)),
             ("not read", str(unread)))  # fmt: skip
    return Paper("Fleet: where to look first", "", facts, tuple(blocks))
