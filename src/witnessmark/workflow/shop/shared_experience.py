"""Giving experience away and taking it in: what leaves the shop, and what it costs of the budget.

A shop gives one file a quarter, when the quarter is over. What was given is kept as it is: asked
again, the same file comes out, for a second blur of the same counts would tell more than the first.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.machine import opened_new, put_in_place
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.shop_record import Closing, History
from witnessmark.pooling.cells import judged_of
from witnessmark.pooling.experience_file import read_experience, signed_text
from witnessmark.pooling.merging import BOUND, Merged, merge
from witnessmark.pooling.tally import Closed, Shape, age_of, class_of, tally
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.pool_taken_in import POOL_FILE, pool_json, read_pool

__all__ = ["EPSILON", "MOST_EPSILON", "Given", "give", "merge_files", "take_in", "take_out"]

#: Budget of a quarter, and of all quarters together (judgement; both are shown in the file).
EPSILON, MOST_EPSILON = Fraction(1), Fraction(8)


@dataclass(frozen=True, slots=True)
class Given:
    """What was written.

    Attributes:
        path: the file.
        quarter: such as ``2031Q2``.
        epsilon: what it costs.
        spent: what all the shop's files cost together.
        again: it was given before; the very same file.
    """

    path: Path
    quarter: str
    epsilon: Fraction
    spent: Fraction
    again: bool


def give(
    shop: Shop,
    dest: Path,
    *,
    quarter: str = "",
    epsilon: Fraction = EPSILON,
    most: Fraction = MOST_EPSILON,
    today: date | None = None,
) -> Given:
    """Write the shop's experience of one quarter into *dest*.

    Args:
        shop: the shop.
        dest: the file; it must not be there.
        quarter: such as ``2031Q2``; empty: the last one that is over.
        epsilon: its budget.
        most: budget of all quarters together.
        today: the day it is asked.

    Raises:
        InputRefused: no such quarter, one that is not over, or the budget is spent.
    """
    now = today or datetime.now(UTC).date()
    first, after, name = _quarter(quarter, now)
    kept = shop.folder / POOL_FILE.parent / f"{name}.json"
    again = kept.exists()
    if not again:
        earlier = [read_experience(p) for p in sorted(kept.parent.glob("*Q?.json"))]
        spent = sum((e.epsilon for e in earlier), Fraction(0)) + epsilon
        if not Fraction(1, 100) <= epsilon <= 20:
            raise InputRefused(
                f"A budget of {float(epsilon):g} is none.",
                do="Give a number from 0.01 (much blur) to 20 (hardly any).",
            )
        if spent > most:
            raise InputRefused(
                f"With this file the shop would have given {float(spent):g} of a budget of "
                f"{float(most):g}.",
                do="Give nothing more, or raise the budget with --most and know what it means.",
            )
        knowledge = knowledge_of(shop)
        history = learnt(shop, Case("", ()))[0]
        closed = _closed(shop, history, first, after)
        shape = _shape(knowledge)
        text = signed_text(tally(closed, shape), shape, quarter=name, epsilon=epsilon,
                           spent=spent, key=_key(kept.parent))  # fmt: skip
        _write(kept, text)
    found = read_experience(kept)
    try:
        with os.fdopen(opened_new(dest), "w", encoding="utf-8") as file:
            file.write(found.text)
    except FileExistsError:
        raise InputRefused(
            "There is such a file already.", where=str(dest), do="Name another one."
        ) from None
    return Given(dest, name, found.epsilon, found.spent, again)


def merge_files(files: Sequence[Path], dest: Path, *, bound: float = BOUND) -> Merged:
    """Merge files into a pool and write it.

    Raises:
        InputRefused: no file counts, or a bound outside 0.001 to 0.5.
    """
    if not 0.001 <= bound <= 0.5:
        raise InputRefused("The bound is a share from 0.001 to 0.5.", do="Leave it out: 0.02.")
    found = merge(files, judged_of(load_knowledge().families), bound=bound)
    if not found.files:
        why = "; ".join(f"{one.file}: {one.why}" for one in found.left_out[:5])
        raise InputRefused(f"No file counts. {why}", do="Give files of witnessmark experience.")
    text = json.dumps(
        pool_json(found.pool, files=found.files, bound=bound, epsilon=str(found.epsilon)), indent=1
    )
    _write(dest, text + "\n")
    return found


def take_in(shop: Shop, path: Path) -> int:
    """Let a pool count in the shop's odds from now on and return how many families it knows.

    Raises:
        InputRefused: it is no pool.
    """
    found = read_pool(path)
    _write(shop.folder / POOL_FILE, path.read_text(encoding="utf-8"))
    known = knowledge_of(shop).families
    return sum(1 for family, shares in found.families.items() if family in known and shares.shops)


def take_out(shop: Shop) -> bool:
    """Let no pool count any more and say whether one did."""
    path = shop.folder / POOL_FILE
    there = path.exists()
    path.unlink(missing_ok=True)
    return there


def _closed(shop: Shop, history: History, first: date, after: date) -> list[Closed]:
    """Return the closings of a span, oldest first: proven ones, and those that came back."""
    midnight = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    jobs = {(job.case, job.cause): job.minutes for job in history.jobs}
    trucks: dict[str, TruckData | None] = {}
    found = []
    for one in sorted(history.closings, key=lambda c: -c.days_ago):
        day = (midnight - timedelta(days=one.days_ago)).date()
        if not one.causes or not (one.proven or one.came_back) or not first <= day < after:
            continue
        if one.case not in trucks:
            trucks[one.case] = shop.case(one.case).truck()
        truck = trucks[one.case]
        engine = truck.engine if truck is not None else None
        found.append(
            Closed(
                customer=_customer(one, truck),
                family=one.family,
                cause=one.causes[0],
                alone=len(one.causes) == 1,
                engine_class=class_of(engine.displacement_l if engine is not None else None),
                age=age_of(truck.miles if truck is not None else None),
                results=one.results,
                minutes=jobs.get((one.case, one.causes[0])),
                came_back=one.came_back,
            )
        )
    return found


def _customer(closing: Closing, truck: TruckData | None) -> str:
    """Return whose case it is: by name, or phone, or the truck itself."""
    if truck is None:
        return f"case {closing.case}"
    whose = truck.customer or truck.phone or truck.vin or truck.label
    return " ".join(whose.lower().split())


def _shape(knowledge: Knowledge) -> Shape:
    families = knowledge.families
    return Shape(
        {name: tuple(c.id for c in f.causes) for name, f in families.items()},
        {name: {t.id: tuple(t.outcomes) for t in f.tests} for name, f in families.items()},
    )


def _quarter(told: str, today: date) -> tuple[date, date, str]:
    """Return (first day, day after the last, name) of a quarter that is over."""
    this = date(today.year, 3 * ((today.month - 1) // 3) + 1, 1)
    if told:
        year, _, number = told.upper().partition("Q")
        if not (year.isdecimal() and len(year) == 4 and number in {"1", "2", "3", "4"}):
            raise InputRefused(f"'{told[:20]}' is no quarter.", do="Write it as 2031Q2.")
        first = date(int(year), 3 * int(number) - 2, 1)
    else:
        before = this - timedelta(days=1)
        first = date(before.year, 3 * ((before.month - 1) // 3) + 1, 1)
    middle = first + timedelta(days=100)
    after = date(middle.year, 3 * ((middle.month - 1) // 3) + 1, 1)
    if first >= this:
        raise InputRefused(
            "This quarter is not over.", do="Give it when it is: a part would tell too much."
        )
    return first, after, f"{first.year}Q{(first.month + 2) // 3}"


def _key(folder: Path) -> Ed25519PrivateKey:
    path = folder / "key.pem"
    if path.exists():
        held = load_pem_private_key(path.read_bytes(), None)
        assert isinstance(held, Ed25519PrivateKey)  # noqa: S101  (no other is ever written)
        return held
    folder.mkdir(parents=True, exist_ok=True)
    key = Ed25519PrivateKey.generate()
    with os.fdopen(opened_new(path, private=True), "wb") as file:
        file.write(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return key


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".new")
    with os.fdopen(opened_new(beside, private=True, over=True), "w", encoding="utf-8") as file:
        file.write(text)
    put_in_place(beside, path)
