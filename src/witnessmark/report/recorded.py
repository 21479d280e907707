"""What recordings say of a complaint by themselves: damper, cylinders, shake, sensors."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from witnessmark.model.dossier import Dossier
from witnessmark.model.finding import Finding
from witnessmark.report.paper import Block, Items, Picture, Said
from witnessmark.report.pictures import shake_spectra
from witnessmark.report.pictures.judged_trace import plausibility_picture
from witnessmark.report.pictures.stepped_together import together_picture
from witnessmark.words.plain import short_sentences

__all__ = ["RECORDED_KINDS", "recorded"]

_SHAKE, _CYLINDERS, _SENSORS = "shake", "cylinders", "sensors"
#: A finding's code or its end -> of what it is a recording, and its picture's caption. Which of
#: them speak of a complaint is the packs' ``told_by``.
_SPEAKS: Mapping[str, tuple[str, str]] = {
    "damper_twist": (_SHAKE, "The crankshaft's twist over the sweep, measured and fitted."),
    "cylinder_balance": (_CYLINDERS, "What every cylinder gives against the others."),
    "vibration_family": (_SHAKE, "Vibration by engine order and speed."),
    "vibration_change": (_SHAKE, "The shake before and after, at the same gear, speed and load."),
    "vibration_neutral": (_SHAKE, ""),
    "torsional_amplitude": (_SHAKE, ""),
    "sensors_step_together": (_SENSORS, "Every channel at the same instants: what steps together."),
    "temperatures_swapped": (_SENSORS, ""),
    "temperatures_apart_at_cold_soak": (_SENSORS, ""),
    "_jumps": (_SENSORS, "The trace; boxed, what the circuit made of it."),
    "_drift": (_SENSORS, ""),
    "_steadily_off": (_SENSORS, ""),
    "_stuck": (_SENSORS, ""),
    "_bus_against_probe": (_SENSORS, ""),
}  # fmt: skip
_OUTCOMES = {"seen": "", "not_seen": "", "inconclusive": "Cannot tell. "}
_MOST, _PICTURES = 8, 4


#: Every kind of recording that speaks by itself.
RECORDED_KINDS = frozenset({_SHAKE, _CYLINDERS, _SENSORS})


def recorded(
    kinds: Collection[str], assessment: Dossier, *, si: bool, only_judged: bool = False
) -> Iterator[Block]:
    """Yield what the recordings say of a complaint, sentence by sentence, with their pictures.

    "Looks healthy" and "cannot tell" are results, too: a customer who paid for the measurement
    reads them.

    Args:
        kinds: the kinds of recording that speak of the complaint: shake, cylinders, sensors.
        assessment: the case and what it comes to.
        si: show SI units.
        only_judged: leave out what could not be told.
    """
    last = max((f.stage for f in assessment.findings), default=0)
    rows = [
        (finding, spoken[1])
        for finding in assessment.findings
        if finding.outcome in _OUTCOMES
        and finding.stage == last
        and (spoken := _spoken(finding.code)) is not None
        and spoken[0] in kinds
        and not (only_judged and finding.outcome == "inconclusive")
    ]
    if not rows:
        return
    # What several channels did together says in three sentences what each trace says alone.
    rows.sort(key=lambda row: (row[0].outcome != "seen", row[0].code != "sensors_step_together"))
    yield Said("What the recordings show:")
    yield Items(tuple(_words(finding) for finding, _ in rows[:_MOST]))
    drawn = 0
    for finding, caption in rows:
        picture = _picture(finding, si=si) if caption and drawn < _PICTURES else ""
        if picture:
            drawn += 1
            yield Picture(picture, caption)


def _spoken(code: str) -> tuple[str, str] | None:
    if code in _SPEAKS:
        return _SPEAKS[code]
    return next((v for k, v in _SPEAKS.items() if k.startswith("_") and code.endswith(k)), None)


def _words(finding: Finding) -> str:
    reason = f" {finding.reason[0].upper()}{finding.reason[1:]}." if finding.reason else ""
    head = "" if "annot" in finding.sentence else _OUTCOMES[finding.outcome]
    return short_sentences(f"{head}{finding.sentence}{reason}")


def _picture(finding: Finding, *, si: bool) -> str:
    drawings: Sequence[str] = shake_spectra.for_finding(finding)
    return (
        next(iter(drawings), "")
        or together_picture(finding)
        or plausibility_picture(finding, si=si)
    )
