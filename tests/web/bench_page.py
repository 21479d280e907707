"""A client in this process, a served shop, and a thumb that counts its taps.

Low and healthy fuel pressures here: common practice, no source.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx

from patience import PATIENCE_S
from witnessmark.inference.fuel.fuel_evidence import MODEL_ID
from witnessmark.knowledge.records import Knowledge
from witnessmark.model.digest import digest
from witnessmark.model.dossier import Dossier
from witnessmark.web.serving import serve
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line
from witnessmark.workflow.dossier.assess_case import dossier
from witnessmark.workflow.dossier.standing_of import standing_of
from witnessmark.workflow.recordings.case_recordings import recordings_of_shop

CHROMIUM = Path(os.environ.get("WITNESSMARK_CHROMIUM", "/usr/bin/chromium"))
FLAGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-gpu",
]
AT = "2026-03-02T08:00:00Z"
#: Every page is photographed where it is asked for; a picture costs as much as its checks.
KEEP_SCREENS = bool(os.environ.get("WITNESSMARK_SCREENS"))
SCREENS = Path(__file__).resolve().parents[2] / "build" / "screens"


class Client:
    """A client of the application in this process; one event loop for all its requests."""

    def __init__(self, app: Any, base: str = "http://testserver") -> None:
        self._loop = asyncio.new_event_loop()
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self.transport = transport
        self._client = httpx.AsyncClient(transport=transport, base_url=base)
        self.cookies = self._client.cookies

    def request(self, method: str, url: str, **options: Any) -> httpx.Response:
        options.setdefault("headers", {})
        options["headers"] = {"accept": "text/html", **options["headers"]}
        return self._loop.run_until_complete(self._client.request(method, url, **options))

    def get(self, url: str, **options: Any) -> httpx.Response:
        return self.request("GET", url, **options)

    def post(self, url: str, **options: Any) -> httpx.Response:
        return self.request("POST", url, **options)

    def close(self) -> None:
        self._loop.run_until_complete(self._client.aclose())
        self._loop.close()


def from_address(client: Client, address: str) -> Client:
    """Let the client's next requests come from another address."""
    client.transport.client = (address, 40000)
    return client


_ASSESSED: dict[str, Dossier] = {}


def remembering(shop: Shop) -> Callable[[str], Dossier]:
    """Assess without the model of the fuel circuit, which takes seconds and is tested elsewhere.

    The same entries under the same packs and settings are assessed only once.
    """

    def assess(case_id: str) -> Dossier:
        packs = [p.read_text() for p in sorted(shop.folder.glob("packs/*.toml"))]
        figures = shop.casebook.setting("figures")
        key = f"{len(shop.list_cases())}{shop.casebook.lines(case_id)}{packs}{figures}"
        if key not in _ASSESSED:
            case = shop.case(case_id)
            standing = standing_of(shop, case)
            standing = replace(standing, knowledge=_without_fuel(standing.knowledge))
            recordings, problems = recordings_of_shop(shop, case)
            _ASSESSED[key] = dossier(
                case, recordings, standing, problems=problems, parts={"case": digest(key)}
            )
        return _ASSESSED[key]

    return assess


def _without_fuel(knowledge: Knowledge) -> Knowledge:
    # The desk of a page that was left may still be at work: nothing of the program is replaced.
    families = {
        f: replace(row, modelled_by=tuple(m for m in row.modelled_by if m != MODEL_ID))
        for f, row in knowledge.families.items()
    }
    return replace(knowledge, families=families)


def settled(client: Client, case_id: str = "unit7") -> str:
    """Wait until the odds of a case are worked out and give its page."""
    end = time.monotonic() + PATIENCE_S
    while client.get(f"/cases/{case_id}/version").json()["working"]:
        assert time.monotonic() < end, "the odds are not worked out"
        time.sleep(0.05)
    return client.get(f"/cases/{case_id}").text


def fuel_lines(label: str = "unit 7") -> list[str]:
    """The check-in of a truck with low fuel pressure; all of it invented."""
    truck = {
        "label": label,
        "customer": "Testbarley Hauling",
        "miles": 640000,
        "engine": {"cylinders": 6, "displacement_l": 15, "fuel_supply": "gallery"},
    }
    complaint = {"words": "low fuel pressure, lazy up grades", "families": ["fuel_low"]}
    lines = [
        entry_line("truck", truck, entry_id="e1", at=AT),
        entry_line("complaint", complaint, entry_id="e2", at=AT),
    ]
    gauge = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}
    for i, (rpm, psi) in enumerate([(700, 50), (1000, 65), (1500, 76), (1800, 82)]):
        data = {
            "quantity": "fuel_gallery_pressure",
            "value": f"{psi} psi",
            "point": {"rpm": rpm, "load": "none", "warm": True},
            "instrument": gauge,
        }
        lines.append(entry_line("reading", data, entry_id=f"r{i}", at=AT))
    return lines


@contextlib.contextmanager
def served(shop: Shop, port: int = 0) -> Iterator[str]:
    """Serve a shop in a thread of its own and give its address."""
    ready, address = threading.Event(), []
    stop: list[Callable[[], None]] = []

    def say_ready(where: str) -> None:
        address.append(where)
        ready.set()

    def run() -> None:
        serve(shop, port=port, say=lambda _: None, ready=say_ready, stopper=stop.append)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(PATIENCE_S), "the page did not start"
    try:
        yield address[0]
    finally:
        stop[0]()
        thread.join(PATIENCE_S)
