"""A window on a recording as a still picture: for pages without script, and for print."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from witnessmark.units import QUANTITIES, spoken
from witnessmark.workflow.recordings.trace_window import Window, WindowTrace

__all__ = ["trace_svg"]

_WIDTH, _LANE, _FOOT, _EDGE = 720, 96, 28, 6
_INK, _ACCENT, _FAINT, _WASH, _PAPER = "#12110d", "#1b2f9c", "#cfcabb", "#eceefa", "#ffffff"


def trace_svg(shown: Window, scales: Sequence[tuple[float, float, str]]) -> str:
    """Draw a window.

    Args:
        shown: the window.
        scales: for each trace (factor, offset, unit) from its unit to the one that is shown.
    """
    height = _LANE * max(len(shown.traces), 1) + _FOOT
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" '
        f'font-family="sans-serif" font-size="13"><rect width="{_WIDTH}" height="{height}" '
        f'fill="{_PAPER}"/>'
    ]
    bottom = height - _FOOT
    for steady in shown.steady:
        a, b = _x(shown, steady.start_s), _x(shown, steady.end_s)
        words = escape(steady.name or f"{steady.rpm:.0f} rpm")
        out.append(
            f'<rect x="{a:.1f}" width="{max(b - a, 1):.1f}" height="{bottom}" fill="{_WASH}"/>'
            f'<text x="{a + 3:.1f}" y="{bottom - 4}" fill="{_INK}">{words}</text>'
        )
    for i, (trace, (factor, offset, unit)) in enumerate(zip(shown.traces, scales, strict=True)):
        out.append(_lane(shown, trace, i * _LANE, factor, offset, unit))
    for k in range(6):
        t = shown.start_s + (shown.end_s - shown.start_s) * k / 5
        anchor = "start" if k == 0 else "end" if k == 5 else "middle"
        out.append(
            f'<text x="{_x(shown, t):.1f}" y="{height - 8}" text-anchor="{anchor}" '
            f'fill="{_INK}">{t:.4g} s</text>'
        )
    return "".join(out) + "</svg>"


def _x(shown: Window, t: float) -> float:
    part = (t - shown.start_s) / (shown.end_s - shown.start_s)
    return _EDGE + min(max(part, -0.05), 1.05) * (_WIDTH - 2 * _EDGE)


def _lane(
    shown: Window, trace: WindowTrace, top: int, factor: float, offset: float, unit: str
) -> str:
    low, high = trace.lowest, trace.highest
    name = escape(spoken(trace.name if trace.name in QUANTITIES else trace.label))
    if not math.isfinite(low):
        return _head(top, f"{name}: no readings here")
    span = (high - low) or abs(high) * 0.1 or 1.0
    scale = (_LANE - 36) / span

    def y(v: float) -> float:
        return top + _LANE - 8 - (v - low) * scale

    steps, pen = [], "M"
    for t, a, b in zip(trace.time_s.tolist(), trace.low.tolist(), trace.high.tolist(), strict=True):
        if math.isnan(a):
            pen = "M"
            continue
        steps.append(f"{pen}{_x(shown, t):.1f} {y(a):.1f}")
        if a != b:
            steps.append(f"V{y(b):.1f}")
        pen = "L"
    flags = "".join(
        f'<rect x="{_x(shown, f.start_s):.1f}" y="{top + 2}" '
        f'width="{max(_x(shown, f.end_s) - _x(shown, f.start_s), 3):.1f}" height="{_LANE - 4}" '
        f'fill="none" stroke="{_INK}" stroke-dasharray="3 3"/>'
        for f in shown.flags
        if f.channel == trace.name
    )
    ends = sorted((low * factor + offset, high * factor + offset))
    words = f"{name}  {ends[0]:.4g} to {ends[1]:.4g} {escape(unit)}"
    return (
        f'{flags}<path d="{"".join(steps)}" fill="none" stroke="{_ACCENT}" stroke-width="1.6" '
        f'stroke-linejoin="round"/>{_head(top, words)}'
    )


def _head(top: int, words: str) -> str:
    return (
        f'<text x="{_EDGE}" y="{top + 16}" font-weight="bold" fill="{_INK}">{words}</text>'
        f'<path d="M0 {top + _LANE}H{_WIDTH}" stroke="{_FAINT}"/>'
    )
