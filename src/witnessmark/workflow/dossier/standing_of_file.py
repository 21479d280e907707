"""The standing that a case in a file is judged by: no shop, so the packs and the defaults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from witnessmark.inference.models import all_models
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.standing import Standing
from witnessmark.version import __version__

__all__ = ["model_versions", "standing_of_file"]


def standing_of_file(packs: Sequence[Path] = ()) -> Standing:
    """Return what a case in a file is judged by: the packs, and the defaults of everything else."""
    return Standing(load_knowledge(tuple(packs)), models=model_versions())


def model_versions() -> Mapping[str, str]:
    """Return what a change of the program or of a model's answers is seen by."""
    return {"witnessmark": __version__, **{m.id: m.version for m in all_models()}}
