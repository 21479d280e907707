"""Draw the pictures of docs/fuel_supply.md: python studies/fuel_supply/draw_docs.py."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from witnessmark.inference.fuel.fuel_evidence import fuel_evidence
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, Circuit, solve
from witnessmark.physics.fuel.supply_types import nominal, type_circuit
from witnessmark.report.pictures.canvas import MARK, Canvas, Plot, printed
from witnessmark.report.pictures.fuel import for_finding

DOCS = Path(__file__).parents[2] / "docs" / "pictures"
RPM = tuple(float(n) for n in range(600, 2101, 50))
INHG = 3386.389
DASHES = ("", "7 4", "2 4")


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel of the signatures: a healthy curve and faulty ones over engine speed.

    Attributes:
        title: the part.
        y_words: what is drawn, with its unit.
        y: ends of the upright axis.
        x: engine speeds [r/min].
        healthy: healthy values.
        faulty: (name, values) of each fault.
    """

    title: str
    y_words: str
    y: tuple[float, float]
    x: tuple[float, ...]
    healthy: tuple[float, ...]
    faulty: tuple[tuple[str, tuple[float, ...]], ...]


def signature_picture(panels: Sequence[Panel], title: str, *, columns: int = 2) -> str:
    """Draw panels side by side: the healthy curve thick, faults in the accent with dashes."""
    width, height = 330.0, 256.0
    rows = math.ceil(len(panels) / columns)
    canvas = Canvas(
        width * columns, height * rows + 8, title, words="; ".join(p.title for p in panels)
    )
    for number, panel in enumerate(panels):
        left, top = width * (number % columns), height * (number // columns)
        canvas.text((left + 52, top + 16), panel.title, bold=True)
        plot = Plot(
            canvas, (panel.x[0], panel.x[-1]), panel.y, x_words="rpm", y_words="",
            corner=(left + 48, top + 38), size=(width - 66, height - 112),
        )  # fmt: skip
        canvas.text((left + 52, top + 31), panel.y_words, size=11)
        plot.curve(panel.x, panel.healthy, width=3.0)
        y, x = top + height - 12, left + 34
        canvas.line((x, y - 4), (x + 20, y - 4), width=3.0)
        canvas.text((x + 24, y), "healthy", size=10)
        x += 70
        for (name, values), dash in zip(panel.faulty, DASHES, strict=False):
            plot.curve(panel.x, values, dash=dash, width=2.0, colour=MARK)
            canvas.line((x, y - 4), (x + 20, y - 4), dash=dash, width=2.0, colour=MARK)
            canvas.text((x + 24, y), name, size=10)
            x += 34 + 5.2 * len(name)
    return canvas.svg()


def faults() -> dict[str, tuple[str, Circuit]]:
    """Return fault -> (short name, circuit) of the generic type."""
    c = type_circuit(nominal())
    idle = solve(c, 650.0)
    conductance = idle.return_flow / np.sqrt(idle.gallery)
    zero = 0 * c.air
    return {
        "relief": ("weak relief spring", c.with_(relief_crack=0.78 * c.relief_crack)),
        "relief_seat": (
            "relief seat leaking",
            c.with_(relief_leak=0.25 * c.displacement * 650 / np.sqrt(75 * PSI)),
        ),
        "pump": ("worn pump", c.with_(slip=7 * c.slip)),
        "spring": ("weak return spring", c.with_(return_crack=c.return_crack - 20 * PSI)),
        "seat": ("return seat leaking", c.with_(return_leak=0.5 * conductance)),
        "filter": (
            "plugged filter",
            c.with_(filter_laminar=20 * c.filter_laminar, filter_turbulent=20 * c.filter_turbulent),
        ),
        "suction": (
            "suction restricted",
            c.with_(
                suction_laminar=20 * c.suction_laminar, suction_turbulent=20 * c.suction_turbulent
            ),
        ),
        "air": ("air", c.with_(air=zero + 0.2)),
        "leak": (
            "injector seal leak",
            c.with_(injector_leak=0.4 * conductance, leak_to_return=zero + 0.5),
        ),
    }


def curve(c: Circuit, what: str, load: float = 0.0) -> tuple[float, ...]:
    """Return one quantity over engine speed in shop units."""
    found = []
    for rpm in RPM:
        s = solve(c, rpm, load)
        value = {
            "gallery": s.gallery / PSI,
            "drop": (s.prefilter - s.gallery) / PSI,
            "return": s.return_flow / L_PER_H,
            "vacuum": s.vacuum / INHG,
        }[what]
        found.append(float(value[0]))
    return tuple(found)


def panel(title: str, what: str, words: str, y: tuple[float, float], names, load=0.0) -> Panel:
    """Return a panel of one quantity for some faults."""
    known = faults()
    return Panel(
        title, words, y, RPM, curve(type_circuit(nominal()), what, load),
        tuple((known[n][0], curve(known[n][1], what, load)) for n in names),
    )  # fmt: skip


def pictures() -> dict[str, str]:
    """Return file name -> picture."""
    psi, flow = "gallery pressure [psi], no load", "return flow [L/h], no load"
    pages = {
        "fuel_supply_side": [
            panel("Relief valve in the pump", "gallery", psi, (40, 110), ("relief", "relief_seat")),
            panel("Relief valve: return flow", "return", flow, (0, 250), ("relief", "relief_seat")),
            panel("Worn pump, air", "gallery", psi, (40, 110), ("pump", "air")),
            panel("Worn pump, air: return flow", "return", flow, (0, 250), ("pump", "air")),
        ],
        "fuel_return_side": [
            panel("Return regulator", "gallery", psi, (40, 110), ("spring", "seat")),
            panel("Return regulator: return flow", "return", flow, (0, 250), ("spring", "seat")),
            panel("Injector seals", "gallery", psi, (40, 110), ("leak",)),
            panel("Injector seals: return flow", "return", flow, (0, 250), ("leak",)),
        ],
        "fuel_restrictions": [
            panel("Plugged filter", "gallery", psi, (40, 110), ("filter",)),
            panel("Plugged filter: drop across it", "drop", "psi", (0, 40), ("filter",)),
            panel("Suction, full load", "gallery", "gallery pressure [psi], full load", (40, 110),
                  ("suction",), 1.0),
            panel("Suction, full load: vacuum", "vacuum", "inHg at the pump inlet, full load",
                  (0, 30), ("suction",), 1.0),
        ],
    }  # fmt: skip
    drawn = {
        f"{name}.svg": printed(signature_picture(panels, name.replace("_", " ")))
        for name, panels in pages.items()
    }
    return drawn | {"fuel_case.svg": printed(case_picture())}


def case_picture() -> str:
    """Return the picture of the demo's open truck (invented): two low readings, new filters."""
    rows = [("complaint", {"words": "loses heart on the long hill", "families": ["fuel_low"]}),
            ("clue", {"clue": "filters_recent", "seen": True})]  # fmt: skip
    rows += [("reading", {"quantity": "fuel_gallery_pressure", "value": v,
                          "point": {"rpm": n, "load": "none", "warm": True}})
             for v, n in (("64 psi", 690), ("79 psi", 1570))]  # fmt: skip
    lines = [json.dumps({"kind": k, "id": f"e{i}", "at": "2026-03-02T08:00:00Z", "data": d})
             for i, (k, d) in enumerate(rows)]  # fmt: skip
    return for_finding(fuel_evidence(read_case("x", lines), load_knowledge()).findings[-1])


if __name__ == "__main__":
    for file, text in pictures().items():
        (DOCS / file).write_text(text, encoding="utf-8")
