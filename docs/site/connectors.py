"""Draw docs/pictures/connector_*.svg: which contact of the diagnostic connector is what.

    python docs/site/connectors.py

Assignments after SAE J1939-13 and SAE J1962. Of the round one only the letters are drawn, in a
row: where each stands in the shell is read off the letter moulded beside it.
"""

from __future__ import annotations

from pathlib import Path

PICTURES = Path(__file__).parents[1] / "pictures"
#: What touches which contact; a battery contact is drawn with a heavy ring.
ROUND = {
    "A": "battery −", "B": "battery +", "C": "bus high", "D": "bus low", "E": "bus shield",
    "F": "older bus +", "G": "older bus −", "H": "maker's own", "J": "maker's own",
}  # fmt: skip
FLAT = {
    1: "maker's own", 2: "", 3: "maker's own", 4: "chassis ground", 5: "signal ground",
    6: "bus high", 7: "", 8: "maker's own", 9: "maker's own", 10: "", 11: "maker's own",
    12: "maker's own", 13: "maker's own", 14: "bus low", 15: "", 16: "battery +",
}  # fmt: skip
STYLE = "font-family='sans-serif' fill='none' stroke='currentColor' stroke-width='1.5'"


def contact(x: float, y: float, name: str, what: str, label: float) -> str:
    """Return one contact with its name inside and its use beside it, turned to be read."""
    heavy = "battery" in what
    used = "bus" in what and "older" not in what
    ring = f"<circle cx='{x}' cy='{y}' r='13' stroke-width='{4 if heavy else 1.5}'/>"
    inner = f"<circle cx='{x}' cy='{y}' r='17' stroke-dasharray='3 3'/>" if used else ""
    text = (
        f"<text x='{x}' y='{y + 4}' font-size='12' text-anchor='middle' fill='currentColor' "
        f"stroke='none'>{name}</text>"
        f"<text transform='translate({x + 4} {label}) rotate(-60)' font-size='11' "
        f"fill='currentColor' stroke='none' text-anchor='{'start' if label < y else 'end'}'>"
        f"{what}</text>"
    )
    return ring + inner + text


def drawn(title: str, wide: int, high: int, body: str) -> str:
    """Return a whole picture."""
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {wide} {high}' role='img' "
        f"aria-label='{title}' color='#222' {STYLE}><title>{title}</title>"
        f"<rect width='{wide}' height='{high}' fill='#fff' stroke='none'/>{body}</svg>\n"
    )


def pictures() -> dict[str, str]:
    """Return file name -> picture."""
    nine = "".join(
        contact(40 + 48 * n, 120, name, what, 98) for n, (name, what) in enumerate(ROUND.items())
    )
    sixteen = "<path d='M8 95 H416 L404 187 H20 Z'/>" + "".join(
        contact(44 + 48 * ((n - 1) % 8), 120 if n < 9 else 162, str(n), what, 82 if n < 9 else 198)
        for n, what in FLAT.items()
    )
    return {
        "connector_nine.svg": drawn(
            "Contacts of the round diagnostic connector, by their letters", 500, 150, nine
        ),
        "connector_sixteen.svg": drawn(
            "Contacts of the flat diagnostic connector, seen from the cab",
            460,
            290,
            sixteen,
        ),
    }


if __name__ == "__main__":
    for file, text in pictures().items():
        (PICTURES / file).write_text(text, encoding="utf-8")
