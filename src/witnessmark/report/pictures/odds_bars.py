"""Odds as bars: where in the machine, and which cause. Length and words, no colour code."""

from __future__ import annotations

from witnessmark.model.odds import DECIDED_FROM, Odds
from witnessmark.report.pictures.canvas import FAINT, INK, MARK, PAPER, Canvas, Scale
from witnessmark.words.numbers import chance_words

__all__ = ["odds_picture"]

_WIDTH, _SIDE, _ROW = 440.0, 12.0, 29.0


def odds_picture(odds: Odds, *, most: int = 6, zone_names: dict[str, str] | None = None) -> str:
    """Draw the probability of every zone and of the likeliest causes.

    The thin line on a bar spans what the probability may be with the doubt in the judged figures;
    a cause is called decided when its low end passes the dashed line at 80 %. Bars of
    causes that the readings cannot tell apart carry the sign \u2248.

    Args:
        odds: the odds of one family.
        most: number of causes drawn; the others are summed in words below.
        zone_names: zone id -> words.
    """
    zones = [(z, p) for z, p in odds.zones if p >= 0.02][:5]
    causes = odds.causes[:most]
    height = 24 + _ROW * len(zones) + 30 + _ROW * len(causes) + 80
    canvas = Canvas(_WIDTH, height, f"Odds, {odds.family.replace('_', ' ')}", words=_words(odds))
    scale = Scale(0.0, 1.0, _SIDE, _WIDTH - _SIDE)
    y = 16.0
    canvas.text((_SIDE, y), "Where", bold=True, size=13)
    for zone, probability in zones:
        y += _ROW
        name = (zone_names or {}).get(zone, zone.replace("_", " "))
        _bar(canvas, scale, y, name, probability, INK)
    y += 30
    canvas.text((_SIDE, y), "Which cause", bold=True, size=13)
    top = y + 10
    for cause in causes:
        y += _ROW
        same = "\u2248 " if cause.looks_like else ""
        _bar(canvas, scale, y, same + cause.name, cause.probability, MARK)
        if cause.low is not None and cause.high is not None:
            start, end = ((scale.clipped(x), y + 3.5) for x in (cause.low, cause.high))
            canvas.line(start, end)
            for x, middle in (start, end):
                canvas.line((x, middle - 4), (x, middle + 4))
    line = scale.at(DECIDED_FROM)
    canvas.line((line, top), (line, y + 12), dash="5 4")
    words = "decided where the thin line's low end passes 80 %"
    canvas.text((scale.end, y + 26), words, anchor="end", size=11)
    rest = f"two or more causes {chance_words(odds.two_causes)} · none of the listed "
    canvas.text((_SIDE, y + 46), rest + chance_words(odds.none_listed), size=12)
    if any(cause.looks_like for cause in causes):
        alike = "\u2248 these readings cannot tell it from another"
        canvas.text((_SIDE, y + 63), alike, size=12)
    return canvas.svg()


def _bar(
    canvas: Canvas, scale: Scale, base: float, name: str, probability: float, colour: str
) -> None:
    canvas.text((scale.start, base - 5), _short(name), size=12)
    canvas.text((scale.end, base - 5), chance_words(probability), size=12, anchor="end", bold=True)
    canvas.rect((scale.start, base), (scale.end - scale.start, 7), fill=PAPER, stroke=FAINT)
    width = scale.clipped(probability) - scale.start
    canvas.rect((scale.start, base), (width, 7), fill=colour)


def _short(name: str) -> str:
    return name if len(name) <= 58 else name[:56].rstrip() + "\u2026"


def _words(odds: Odds) -> str:
    causes = ", ".join(f"{c.name} {chance_words(c.probability)}" for c in odds.causes[:6])
    decided = "decided" if odds.decided else "not decided"
    return f"{causes}; {decided}."
