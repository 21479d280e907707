"""What a physical model is, and which ones a case has something for.

A model is a plug: it says what it reads and what it is like, weighs the material of a case, and
proposes readings. The odds, the planner, the doors and the papers know this protocol and no model
by its name. A pack binds a family to a model by ``modelled_by``; the model speaks of the families
that are bound to it and of no other.

A new model is one file, ``plugs/<id>_model.py`` with its ``MODEL``, and one line in a pack.
:mod:`witnessmark.inference.model_checks` examines any of them.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module
from typing import Literal, Protocol, cast

from witnessmark.analyses.an_analysis import Bench
from witnessmark.inference.look_first import OneWord
from witnessmark.knowledge import Family
from witnessmark.model.candidate import Candidate
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.finding import Finding
from witnessmark.model.fuel_baseline import FuelBaseline
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Recording
from witnessmark.model.shop_record import History
from witnessmark.model.step import Forecast

__all__ = [
    "Example",
    "JointDraws",
    "Material",
    "Model",
    "ModelEvidence",
    "Need",
    "Traits",
    "all_models",
    "families_of",
    "model_ids",
    "model_named",
    "question_at_entry",
    "weigh",
]

#: Where the models lie, one module each; none of them is named here.
_PLUGS, _SUFFIX = "witnessmark.inference.plugs", "_model"


@dataclass(frozen=True, slots=True)
class Need:
    """Something a model reads. Any one of what is named will do.

    Attributes:
        words: what it is, for a person.
        quantities: quantities, as readings or as channels of a recording.
        recordings: kinds of recording that it looks into whatever channels they hold.
        truck: fields of the truck that it reads.
        beside_recording: the quantities tell it something beside a recording only.
    """

    words: str
    quantities: frozenset[str] = frozenset()
    recordings: frozenset[str] = frozenset()
    truck: frozenset[str] = frozenset()
    beside_recording: bool = False


@dataclass(frozen=True, slots=True)
class Traits:
    """What a model says of itself; it chooses the checks that are made of it.

    Attributes:
        joint_draws: it holds draws over sets of causes, see :meth:`Model.draws`.
        wants_baseline: healthy readings of the engine's type tell it more.
        order_tells: the order of the entries is information (joints from front to rear).
    """

    joint_draws: bool = False
    wants_baseline: bool = False
    order_tells: bool = False


@dataclass(frozen=True, slots=True)
class Example:
    """A number that the model must give, and where the right one comes from.

    Attributes:
        name: what is computed.
        value: computes it by the model's own physics.
        expected: the right value.
        tolerance: the largest difference.
        kind: exact (a closed form), published, or second_hand.
        source: the closed form, or the publication.
    """

    name: str
    value: Callable[[], float]
    expected: float
    tolerance: float
    kind: Literal["exact", "published", "second_hand"]
    source: str


@dataclass(frozen=True)
class Material:
    """What a model may look at.

    Attributes:
        bench: the case, its recordings and the packs.
        bound: ids of the families bound to this model.
        history: the shop's own closings.
        baseline: healthy readings of this engine's type.
    """

    bench: Bench
    bound: tuple[str, ...]
    history: History | None = None
    baseline: FuelBaseline | None = None

    def complained(self) -> tuple[str, ...]:
        """Return the bound families that a complaint of the case names, in its order."""
        return tuple(f for f in self.bench.case.families() if f in self.bound)


@dataclass(frozen=True)
class ModelEvidence:
    """What a model makes of a case.

    Attributes:
        model: its id.
        families: the bound families that it speaks of here.
        findings: likelihoods of the causes, one finding a stage or more; ``not_run`` where a
            complaint asks for what is missing. Data for pictures stand in their details.
        problems: what could not be used of the user's material.
        forecasts: cause id -> what would be read after that repair.
        inside: the model's own result, which only the model reads again.
        one_word: where all that was read is the word of one instrument.
    """

    model: str
    families: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    problems: tuple[Problem, ...] = ()
    forecasts: Mapping[str, tuple[Forecast, ...]] = field(default_factory=dict)
    inside: object = None
    one_word: OneWord | None = None


@dataclass(frozen=True)
class JointDraws:
    """Weighted draws over sets of groups of causes.

    Attributes:
        groups: cause ids of each group.
        sets: set of group numbers at fault -> its probability; they sum to 1.
        margins: P(group at fault), as the model itself states it.
    """

    groups: tuple[tuple[str, ...], ...]
    sets: Mapping[frozenset[int], float]
    margins: tuple[float, ...]


class Model(Protocol):
    """A physical model. All of its methods are pure: same input, same answer."""

    @property
    def id(self) -> str:
        """The name packs give in ``modelled_by``."""
        ...

    @property
    def version(self) -> str:
        """Changes with every change of its answers; part of what an answer depends on."""
        ...

    @property
    def needs(self) -> tuple[Need, ...]:
        """What it reads; it reads nothing else."""
        ...

    @property
    def traits(self) -> Traits:
        """What it is like."""
        ...

    def evidence(self, material: Material) -> ModelEvidence:
        """Return what the material says of the causes of the bound families."""
        ...

    def proposals(self, evidence: ModelEvidence) -> tuple[Candidate, ...]:
        """Return the readings worth taking next, the most telling first."""
        ...

    def opening_waits(self, evidence: ModelEvidence) -> bool:
        """Say whether the least readings are not there yet that opening a part should wait for."""
        ...

    def draws(self, evidence: ModelEvidence) -> JointDraws | None:
        """Return its draws over sets of causes, ``None`` when it has none."""
        ...

    def examples(self) -> tuple[Example, ...]:
        """Return numbers that it must give, with their source."""
        ...


@cache
def model_ids() -> tuple[str, ...]:
    """Return the ids of all models, in order."""
    found = pkgutil.iter_modules(import_module(_PLUGS).__path__)
    names = sorted(m.name for m in found)
    return tuple(n.removesuffix(_SUFFIX) for n in names if n.endswith(_SUFFIX))


def model_named(identity: str) -> Model | None:
    """Return the model of that id, ``None`` where there is none."""
    if identity not in model_ids():
        return None
    module = import_module(f"{_PLUGS}.{identity}{_SUFFIX}")
    return cast("Model", module.MODEL)


def all_models() -> tuple[Model, ...]:
    """Return every model."""
    return tuple(m for i in model_ids() if (m := model_named(i)) is not None)


def question_at_entry(case: Case, fresh: Collection[str]) -> Problem | None:
    """Return what a model asks before a reading of its own is taken, ``None`` where none asks.

    A model that asks has a method ``question`` with these arguments; most have none.

    Args:
        case: the entries, the new ones among them.
        fresh: ids of the new entries.
    """
    quantities = {d.quantity for e, d in case.of(ReadingData) if e.id in fresh}
    for model in all_models():
        ask = getattr(model, "question", None)
        reads = {quantity for need in model.needs for quantity in need.quantities}
        if ask is not None and quantities & reads:
            question: Problem | None = ask(case, fresh)
            if question is not None:
                return question
    return None


def families_of(identity: str, families: Iterable[Family]) -> tuple[str, ...]:
    """Return the ids of the families that a pack binds to a model."""
    return tuple(f.id for f in families if identity in f.modelled_by)


def weigh(
    bench: Bench,
    *,
    history: History | None = None,
    baseline: FuelBaseline | None = None,
    models: Sequence[Model] | None = None,
) -> tuple[tuple[Model, ModelEvidence], ...]:
    """Return what every model makes of a case that it has something for.

    A model is asked where a complaint names a family bound to it, or where the case holds
    something that it reads.

    Args:
        bench: the case, its recordings and the packs.
        history: the shop's own closings.
        baseline: healthy readings of this engine's type.
        models: the models; all that the packs bind when not given.
    """
    families = tuple(bench.knowledge.families.values())
    asked = _bound(families) if models is None else models
    found = []
    for model in asked:
        bound = families_of(model.id, families)
        material = Material(bench, bound, history, baseline)
        if material.complained() or any(_has(bench, need) for need in model.needs):
            found.append((model, model.evidence(material)))
    return tuple(found)


def _bound(families: Sequence[Family]) -> tuple[Model, ...]:
    named = {name for family in families for name in family.modelled_by}
    return tuple(m for i in model_ids() if i in named and (m := model_named(i)) is not None)


def _has(bench: Bench, need: Need) -> bool:
    """Say whether the case holds what a need names."""
    if need.beside_recording and not bench.recordings:
        return False
    if any(d.quantity in need.quantities for _, d in bench.case.of(ReadingData)):
        return True
    truck = bench.case.truck()
    if truck is not None and any(getattr(truck, name, None) for name in need.truck):
        return True
    return any(_holds(recording, need) for recording in bench.recordings.values())


def _holds(recording: Recording, need: Need) -> bool:
    if recording.kind in need.recordings:
        return True
    return any(channel.name in need.quantities for channel in recording.channels)
