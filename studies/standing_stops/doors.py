"""Every door of one case, rendered as a person or a program gets it, and what is wrong on them.

The oracle is that of :mod:`random_dossiers`. A proposal is the name of a check that was not made
and that nothing lists but to say that a stop forbids it, or a repair in the words in which one is
proposed.
"""

from __future__ import annotations

import asyncio
import html
import json
import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import httpx

from witnessmark.knowledge import Cause, Knowledge, Test
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry_data import TestData, WorkData
from witnessmark.words.plain import sentences
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.in_words import assessment_text
from witnessmark.workflow.recordings.drive_card import CardDrive
from witnessmark.workflow.recordings.look_into import card_of, line_in_words

__all__ = ["MUST_SAY", "Doors", "faults_of"]

#: Doors on which every stop that stands is said.
MUST_SAY = (
    "page", "phone", "json", "command", "numbers", "report", "appendix", "estimate", "customer",
    "torque card", "road-test card", "hand-over", "drive card",
)  # fmt: skip
_TAG = re.compile(r"<[^>]+>")
_DRIVEN = re.compile(r"full-load pull|the same hill|coast at|after the pull", re.I)
_IDLED = re.compile(r"idle for 30 s|in neutral, 15 s", re.I)


class Doors:
    """The doors of the cases of one shop."""

    def __init__(self, app: Any, token_of: Callable[[str], str]) -> None:
        """Begin.

        Args:
            app: the application, in this process.
            token_of: case id -> the token of its customer's link.
        """
        self._loop = asyncio.new_event_loop()
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self._client = httpx.AsyncClient(transport=transport, base_url="http://testserver")
        self._token_of = token_of

    def close(self) -> None:
        """End."""
        self._loop.run_until_complete(self._client.aclose())
        self._loop.close()

    def every(self, found: Dossier, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
        """Yield (door, its plain text) of a case."""
        base = f"/cases/{found.case.id}"
        whole = self.page(base)
        yield "page", _words(whole.partition("<main")[2])
        yield "first screen", _words(whole.partition("<main")[2].partition('class="folds"')[0])
        yield "phone", self._text(f"{base}/phone")
        for o in found.odds[:2]:
            for c in o.causes[:2]:
                yield "cause page", self._text(f"{base}/from/cause/{o.family}/{c.cause}")
        for place in range(min(len(found.steps), 5)):
            yield "forecast page", self._text(f"{base}/from/step/{place}")
        yield "report", _words(self.page(f"{base}/report").partition("<body")[2])
        yield "appendix", self._text(f"{base}/report?appendix=1")
        yield "estimate", self._text(f"{base}/report?quote=1")
        yield "customer", self._text(f"/c/{self._token_of(found.case.id)}")
        yield "torque card", self._text(f"{base}/torque-card")
        yield "road-test card", self._text(f"{base}/road-test")
        yield "hand-over", self._text(f"{base}/hand-over")
        rows = self.page("/").split("<li>")
        mine = [row for row in rows if f'href="/cases/{found.case.id}"' in row]
        yield "ledger", _words(" ".join(mine))
        yield "command", assessment_text(found)
        yield "numbers", assessment_text(found, numbers=True)
        yield "json", json.dumps(assessment_json(found), ensure_ascii=False)
        drive = CardDrive(found.case.truck(), found.case.families(), knowledge, found.stops)
        card = card_of(drive, [])
        rows = [*(s.name for s in found.stops), *(line_in_words(r) for r in card if r.due)]
        yield "drive card", "\n".join(rows)

    def _text(self, where: str) -> str:
        text = self.page(where)
        return _words(text.partition("<main")[2] or text)

    def page(self, where: str) -> str:
        """Return a page as it is sent."""
        answer = self._loop.run_until_complete(
            self._client.get(where, headers={"accept": "text/html"})
        )
        if answer.status_code != 200:
            raise AssertionError(f"{where}: {answer.status_code} {answer.text[:300]}")
        return answer.text


def _words(text: str) -> str:
    bare = re.sub(r"<(style|script|svg)\b.*?</\1>", " ", text, flags=re.S)
    return html.unescape(_TAG.sub(" ", bare))


def faults_of(
    found: Dossier,
    doors: Iterator[tuple[str, str]],
    knowledge: Knowledge,
    forbids: Callable[[str], bool],
    blocked: frozenset[str],
) -> list[str]:
    """Return what is wrong on the doors of a case, as ``door: what``.

    Args:
        found: the case.
        doors: (door, text).
        knowledge: the packs.
        forbids: whether a standing stop forbids a test or a repair, by the oracle.
        blocked: kinds of step that the standing stops forbid.
    """
    made = {d.test for _, d in found.case.of(TestData)}
    families = [knowledge.families[f] for f in found.case.families() if f in knowledge.families]
    records = {r.id: r for f in families for r in (*f.tests, *f.causes)}
    said_by_stops = _plain(" ".join(f"{s.name} {s.until} {s.why}" for s in found.stops))
    # What was put right is told on the papers; a cause of another complaint may have its name.
    works = {d.cause for _, d in found.case.of(WorkData)}
    told_as_done = {words for r in records.values() if r.id in works for words in _proposals(r)}
    barred = [
        (
            r,
            [
                words
                for words in _proposals(r)
                if words not in told_as_done and _plain(words) not in said_by_stops
            ],
        )
        for r in records.values()
        if forbids(r.id) and r.id not in made
    ]
    wrong = []
    for door, text in doors:
        whole = _plain(text)
        for record, told in barred:
            near = [words for words in told if _plain(words) in whole]
            if near and _said_alone(record, records.values(), whole, near):
                wrong += [f"{door}: {words}" for words in near]
        if door in MUST_SAY:
            wrong += [f"{door}: does not say {s.step}" for s in found.stops
                      if any(_plain(part) not in whole for part in sentences(s.name))]  # fmt: skip
        if door == "road-test card":
            if "road" in blocked and _DRIVEN.search(text):
                wrong.append(f"{door}: is to be driven")
            if blocked & {"key_on", "crank", "start", "parked_run"} and _IDLED.search(text):
                wrong.append(f"{door}: is to be idled")
    return wrong


def _proposals(record: Test | Cause) -> tuple[str, ...]:
    if isinstance(record, Test):
        return (record.name,)
    name = record.name
    return (f"Put right: {name}", f"Check the repair made: {name}", f"Repair: {name}",
            f"the repair would be: {name}", f"do {name.lower()} too")  # fmt: skip


def _said_alone(
    record: Test | Cause, others: Iterable[Test | Cause], whole: str, near: Iterable[str]
) -> bool:
    """Say whether a name stands for itself: a cause's name may hold a check's."""
    short = _plain(record.name)
    for other in others:
        longer = _plain(other.name)
        if short in longer and longer != short:
            whole = whole.replace(longer, " | ")
    return any(_plain(words) in whole for words in near)


def _plain(text: str) -> str:
    """Return the words alone: a paper cuts and capitalises, and says the same."""
    return f" {' '.join(re.findall(r'[a-z0-9]+', text.lower()))} "
