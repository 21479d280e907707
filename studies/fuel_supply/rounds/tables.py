"""The tables of the rounds, written from the rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from studies.wilson import share

__all__ = ["write"]

HERE = Path(__file__).resolve().parent
#: Seeds that were played before, and what was otherwise then.
OLDER = {
    "9301": "The same steps, but bubbles without a leak taken for likelier (0.12, not 0.08), and "
    "for likeliest behind a plugged element.",
    "9203": "The older planner: no looks at pump, regulator and joints, the fuel side left less "
    "soon; and no bubbles by vacuum in these trucks.",
}
HEAD = ["| trucks | shop | cured within ten steps | steps | needless parts | money, USD | of "
        "all-knowing |", "|-|-|-|-|-|-|-|"]  # fmt: skip
PHYSICS = ("third", "fourth")
ORDER = ("ours", "fixed order", "habit order", "all-knowing")
Row = dict[str, str]

ABOUT = """# Rounds: trucks of two other physics, played to the end

Written by `studies/fuel_supply/rounds/run.py table {seed}`; nothing is typed in. Seed {seed}, used
once; seeds 11 to 33, 501 to 601, 9101, 9102, 9203 and 9301 were seen before. Trucks of the third
physics (`../third_physics.py`) and of a fourth (`fourth_physics.py`): equal shares of the eleven
fault kinds of every size, one in eight with two; a truck comes in when it lost 5 psi at idle, at
1,500 r/min or on a pull, or its gauge is wrong. What a look shows is the study's own table and not
the pack's: pump, regulator and joints are seen bad somewhat less often than the pack says, and
sound ones somewhat oftener. A high vacuum makes bubbles in the clear hose, and so does the little
air of a sound engine, about one time in eight. Four shops repair each:

- ours: the first step that the workbench proposes, entered and asked through the shop, and done;
- fixed order: look round, gauge check, vacuum, pressure before the filter, flow, then open; it
  knows the healthy flow of the engine, which nobody in a shop does. With the new looks before its
  repairs it cured fewer of 80 tuning trucks for more money, so it goes without them;
- habit order: parts by the pack's shares; all-knowing: what is at fault, and no look.

A truck has to be cured within ten steps. The looks without a tool are one walk round and count
once (after a repair those that follow each other do), measuring again belongs to its repair. What
the look just before a repair has opened is open still, and the element that a test has fitted new
stays in: neither is paid twice, whoever repairs. Where ours says that probably nothing is wrong,
the shop takes the readings that it still names, and lets the truck go when it names none. What is
not cured in ten steps is finished in habit order, and that is paid for. Needless parts and steps
are those within the ten. Intervals are Wilson's, of means twice the standard error. {played}
So many were meant to be played.
"""

#: What the packs hold for healthy at the first pair, as the technician reads it [psi].
_IDLE, _WORK = (69.0, 79.0), (87.0, 100.0)


def write(rows: Sequence[Row], seed: int) -> None:
    """Write ``RESULTS.md`` for a seed."""
    mine = [r for r in rows if r["seed"] == str(seed)]
    played = [r for r in mine if r["sound"] == "0"]
    whole = {p: _whole([r for r in played if r["physics"] == p]) for p in PHYSICS}
    counts = ", ".join(f"{len(whole[p]) // len(ORDER)} of the {p}" for p in PHYSICS)
    text = [ABOUT.format(seed=seed, played=f"Played: {counts}.")]
    text += HEAD
    for name, some in (*whole.items(), ("both", [r for p in PHYSICS for r in whole[p]])):
        text += [_line(name, policy, some) for policy in ORDER]
    text += ["", "Goals: cured 90 %, needless parts 0.3, money 1.5 of all-knowing.", ""]
    text += ["## Sound engines", "", *_sound([r for r in mine if r["sound"] == "1"]), ""]
    text += ["## What was not cured in ten steps, and why", ""]
    lost = [r for p in PHYSICS for r in whole[p] if r["policy"] == "ours" and r["cured"] == "0"]
    text += [f"- {r['physics']} {r['truck']}, {r['faults']}, lost {r['lost']} psi. "
             f"**{_reason(r)}.** {r['why']}. Done: {r['log']}." for r in lost]  # fmt: skip
    reasons = Counter(_reason(r) for r in lost)
    text += ["", "| reason | trucks |", "|-|-|"]
    text += [f"| {reason} | {n} |" for reason, n in reasons.most_common()]
    text += ["", "## By kind of fault, ours", "", *_kinds([r for p in PHYSICS for r in whole[p]])]
    text += ["", *_older(rows)]
    (HERE / "RESULTS.md").write_text("\n".join(text).rstrip() + "\n")


def _older(rows: Sequence[Row]) -> list[str]:
    """Return what ours and the fixed order came to on the trucks of earlier seeds, as tables."""
    text = []
    for seed, about in OLDER.items():
        old = [r for r in rows if r["seed"] == seed]
        sick = [r for r in old if r["sound"] == "0"]
        whole = [r for p in PHYSICS for r in _whole([s for s in sick if s["physics"] == p])]
        text += [f"## Before, on other trucks (seed {seed})", "", about, "", *HEAD]
        text += [_line("both", policy, whole) for policy in ("ours", "fixed order")]
        text += ["", *_sound([r for r in old if r["sound"] == "1"]), ""]
    return text


def _reason(row: Row) -> str:
    """Return the kind of reason why a truck was not cured, by what was done and read."""
    done = [line.split("=", 1) for line in row["log"].split("; ")]
    repaired = [d for d, r in done if not d.startswith(("f_", "remeasure")) and " psi" not in r
                and " at " not in r]  # fmt: skip
    faults = {f.split(":")[1] for f in row["faults"].split("+")}
    first = next((r for d, r in done if d == "gallery_idle_1400"), "")
    ends = [float(x) for x in re.findall(r"(\d+) psi", first)]
    sound = len(ends) == 2 and ends[0] >= _IDLE[0] and ends[1] >= _WORK[0]
    if "nothing is wrong" in row["why"]:
        if sound:
            return "Its first pair lies in the healthy bands: the sound engine stood higher"
        return "Taken for sound although its first pair lies under the bands"
    if "Proven" in row["why"]:
        return "The readings after the work met the proof with a fault left"
    if faults & set(repaired):
        two = len(faults) > 1
        return "One of two faults was cured" if two else "The new part did not hold"
    if repaired:
        return "Another part was renewed first, and the steps were used up"
    return "Measured to the end without a part that leads"


def _whole(rows: Sequence[Row]) -> list[Row]:
    """Return the rows of trucks that every shop has played."""
    done: dict[str, set[str]] = {}
    for r in rows:
        done.setdefault(r["truck"], set()).add(r["policy"])
    return [r for r in rows if done[r["truck"]] >= set(ORDER)]


def _line(name: str, policy: str, rows: Sequence[Row]) -> str:
    mine = [r for r in rows if r["policy"] == policy]
    if not mine:
        return f"| {name} | {policy} | none |  |  |  |  |"
    knowing = {
        (r["physics"], r["truck"]): float(r["usd"]) for r in rows if r["policy"] == "all-knowing"
    }
    usd = np.array([float(r["usd"]) for r in mine])
    least = np.array([knowing[r["physics"], r["truck"]] for r in mine])
    ratio = usd.sum() / least.sum()
    spread = 2.0 * np.std(usd - ratio * least) / np.sqrt(len(usd)) / least.mean()
    cured = share(sum(r["cured"] == "1" for r in mine), len(mine)) if policy != "habit order" else (
        share(sum(int(r["steps"]) <= 10 for r in mine), len(mine)))  # fmt: skip
    return (
        f"| {name} | {policy} | {cured} | {_mean([float(r['steps']) for r in mine])} | "
        f"{_mean([float(r['needless']) for r in mine])} | {_mean(usd, 0)} | "
        f"{ratio:.2f} (+- {spread:.2f}) |"
    )


def _sound(rows: Sequence[Row]) -> list[str]:
    out = ["| engines | shop | told that probably nothing is wrong, or that it leads | looks and "
           "measurements | parts |", "|-|-|-|-|-|"]  # fmt: skip
    for policy in ("ours", "fixed order"):
        mine = [r for r in rows if r["policy"] == policy]
        if mine:
            told = share(sum(r["cleared"] == "1" for r in mine), len(mine))
            out.append(
                f"| {len(mine)} | {policy} | {told if policy == 'ours' else 'says nothing'} | "
                f"{_mean([float(r['steps']) for r in mine])} | "
                f"{_mean([float(r['repairs']) for r in mine])} |"
            )
    return out


def _kinds(rows: Sequence[Row]) -> list[str]:
    found: dict[str, list[Row]] = {}
    for r in rows:
        if r["policy"] == "ours":
            for fault in r["faults"].split("+"):
                found.setdefault(fault.split(":")[0], []).append(r)
    out = ["| fault | cured within ten steps | needless parts |", "|-|-|-|"]
    for kind, some in sorted(found.items()):
        cured = share(sum(r["cured"] == "1" for r in some), len(some))
        out.append(f"| {kind} | {cured} | {_mean([float(r['needless']) for r in some])} |")
    return out


def _mean(values: Sequence[float] | np.ndarray, digits: int = 1) -> str:
    array = np.asarray(values, dtype=float)
    error = 2.0 * array.std() / np.sqrt(max(len(array), 1))
    return f"{array.mean():,.{digits}f} (+- {error:,.{digits}f})"
