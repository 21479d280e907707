"""Which channels stepped at the same instants, and which way: one line a channel."""

from __future__ import annotations

from witnessmark.model.details.trace_details import StepsTogether
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.canvas import FAINT, INK, MARK, Canvas
from witnessmark.units import spoken

__all__ = ["together_picture"]

_WIDTH, _LANE, _LEFT, _RIGHT = 440.0, 34.0, 130.0, 14.0
_MOST = 6


def together_picture(finding: Finding) -> str:
    """Draw the instants of the leading channel's jumps and the others' steps under each other.

    An arrow up or down at each instant; a channel that stayed quiet has an empty line. Empty where
    the finding holds no instants.

    Args:
        finding: ``sensors_step_together``.
    """
    rows = _rows(finding)
    if finding.code != "sensors_step_together" or not rows:
        return ""
    times = [t for _, at, _ in rows for t in at]
    low, high = min(times), max(times)
    room = max(high - low, 10.0)
    low, high = low - 0.05 * room, high + 0.05 * room
    height = 44.0 + _LANE * len(rows) + 24.0
    canvas = Canvas(_WIDTH, height, "What steps together", words=finding.sentence)
    canvas.text((8, 18), "At the same instants", bold=True, size=13)
    span = _WIDTH - _LEFT - _RIGHT
    for number, (name, at, way) in enumerate(rows):
        base = 44.0 + _LANE * number + 14.0
        canvas.line((_LEFT, base), (_WIDTH - _RIGHT, base), colour=FAINT)
        canvas.text((8, base + 4), name, size=11, colour=INK)
        for time in at:
            place = _LEFT + span * (time - low) / (high - low)
            tip = base - 11.0 if way > 0 else base + 11.0
            canvas.line((place, base), (place, tip), colour=MARK, width=2.0)
            back = tip + (4.0 if way > 0 else -4.0)
            canvas.line((place - 3.5, back), (place, tip), colour=MARK, width=2.0)
            canvas.line((place + 3.5, back), (place, tip), colour=MARK, width=2.0)
        if not at:
            canvas.text((_LEFT + 4, base - 4), "stays", size=10.5)
    words = f"{_clock(low)} to {_clock(high)} of the recording; arrows: up or down"
    canvas.text((8, height - 8), words, size=10.5)
    return canvas.svg()


def _rows(finding: Finding) -> list[tuple[str, list[float], int]]:
    """Name, instants and way of every channel, the leading one first."""
    told = finding.details
    if not isinstance(told, StepsTogether) or not told.starts:
        return []
    rows = [(_plain(told.anchor), list(told.starts), _way(told.ways.get(told.anchor, 0.0)))]
    for name, at in list(told.lanes.items())[: _MOST - 1]:
        rows.append((_plain(name), list(at), _way(told.ways.get(name, 0.0))))
    silent = list(told.quiet)[: _MOST - len(rows)]
    return rows + [(_plain(name), [], 1) for name in silent]


def _way(value: float) -> int:
    return -1 if value < 0 else 1


def _plain(name: str) -> str:
    words = spoken(name)
    return words.replace(" temperature", " temp.").replace("delivery ", "")


def _clock(seconds: float) -> str:
    minutes, rest = divmod(max(int(seconds), 0), 60)
    return f"{minutes}:{rest:02d}"
