"""Ids of the packs as words."""

from __future__ import annotations

from witnessmark.workflow.case.packs_of_shop import Knowledge

__all__ = ["Names"]


class Names:
    """Ids of the packs -> words; an id that no pack knows is written out."""

    def __init__(self, knowledge: Knowledge) -> None:
        families = knowledge.families.values()
        self._families = {f.id: f.name for f in families}
        self._causes = {c.id: c.name for f in families for c in f.causes}
        self._tests = {t.id: t.name for f in families for t in f.tests}
        self._clues = {c.id: c.words for c in knowledge.conditions.values()}
        self._zones = {(f.id, z): words for f in families for z, words in f.zones.items()}

    def family(self, identity: str) -> str:
        """Return a family's name."""
        return self._families.get(identity) or _plain(identity)

    def cause(self, identity: str) -> str:
        """Return a cause's name."""
        return self._causes.get(identity) or _plain(identity)

    def test(self, identity: str) -> str:
        """Return a test's name."""
        return self._tests.get(identity) or _plain(identity)

    def step(self, identity: str) -> str:
        """Return the name of a step: of a test, or of the cause whose part is renewed."""
        return self._tests.get(identity) or self.cause(identity)

    def clue(self, identity: str) -> str:
        """Return what a clue means."""
        return self._clues.get(identity) or _plain(identity)

    def zone(self, family: str, identity: str) -> str:
        """Return a zone's name."""
        return self._zones.get((family, identity)) or _plain(identity)


def _plain(identity: str) -> str:
    return identity.replace("_", " ")
