"""What the pages share: the shop, the desk, the templates, and how a page is answered."""

from __future__ import annotations

import hashlib
import re
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from importlib.resources import files as package_files
from typing import Any
from urllib.parse import unquote

from anyio import CapacityLimiter
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from witnessmark.errors import NotFound
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.web.bench import page_words as words
from witnessmark.web.bench.desk import Desk
from witnessmark.web.bench.names import Names
from witnessmark.web.bench.sheets import Sheets
from witnessmark.web.bench.watchers import Watchers
from witnessmark.web.door.attempts import HashQueue, Throttle
from witnessmark.web.door.doors import Access, Viewer
from witnessmark.words.plain import short_sentences
from witnessmark.words.say import decision, stops, waited
from witnessmark.workflow.case.packs_of_shop import Knowledge, knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import people_of, shows_si
from witnessmark.workflow.dossier.around_poison import assess_around_poison
from witnessmark.workflow.recordings.live_drive import LiveDrive
from witnessmark.workflow.shop.ledger_pages import ledger_page
from witnessmark.workflow.shop.worker import Worker, work_on

__all__ = ["WARM", "WORKER", "ServerState", "bench_of", "by_of", "going_on", "page", "viewer_of"]

#: Cookie of who works at this machine, where nobody signs in.
WORKER = "wm_worker"
THEMES = ("device", "light", "dark")
#: So many open trucks stand in the switcher of a case.
MOST_TRUCKS = 8
#: Cases, touched last, whose dossiers are worked out ahead of being asked for.
WARM = 50
_SI_S = 2.0
#: How long a page that is nothing without the odds waits for them [s].
_WAIT_S = 20.0
_FIELD_ID = re.compile(r"[^A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class ServerState:
    """Everything a page needs. One a running server."""

    shop: Shop
    desk: Desk
    access: Access
    templates: Environment
    throttle: Throttle = field(default_factory=Throttle)
    hashes: HashQueue = field(default_factory=HashQueue)
    login_threads: list[CapacityLimiter] = field(default_factory=list)
    watchers: Watchers = field(default_factory=Watchers)
    sheets: Sheets = field(default_factory=Sheets)
    drive: LiveDrive = field(default_factory=LiveDrive)
    #: Case -> version of its page on which a clock runs: such a page is a minute's.
    ticking: dict[str, str] = field(default_factory=dict)
    _si: list[float] = field(default_factory=lambda: [0.0, -10.0, -1.0])
    _local: list[bool] = field(default_factory=list)
    _names: list[object] = field(default_factory=lambda: [None, None])

    @classmethod
    def make(
        cls,
        shop: Shop,
        assess: Callable[[str], Dossier] | Worker | None,
        access: Access,
    ) -> ServerState:
        """Set the bench up.

        Args:
            shop: the shop.
            assess: case id -> assessment, or a worker in a process of its own; in this process
                when not given.
            access: how the page is reached.
        """
        if isinstance(assess, Worker):
            return cls(shop, Desk(shop, assess, assess.stop), access, _templates())
        if assess is None:
            work = partial(assess_around_poison, shop, then=work_on)
            return cls(shop, Desk(shop, work), access, _templates())
        plain = assess
        return cls(shop, Desk(shop, lambda name: work_on(plain(name))), access, _templates())

    @property
    def local(self) -> bool:
        """Whether the casebook is a file of this machine, which is quick to ask."""
        if not self._local:
            self._local.append((self.shop.folder / "casebook.sqlite").is_file())
        return self._local[0]

    def si(self) -> bool:
        """Say whether pages show SI units; asked of the casebook every two seconds at most."""
        now = time.monotonic()
        if now - self._si[1] > _SI_S or self._si[2] != self.desk.stamp:
            self._si[:] = [float(shows_si(self.shop)), now, self.desk.stamp]
        return bool(self._si[0])

    def names(self, case: Case | None = None) -> Names:
        """Return ids -> words of the packs in use, and of a case's own lists."""
        found = self.knowledge(case)
        if self._names[0] is not found:
            self._names[:] = [found, Names(found)]
        names = self._names[1]
        assert isinstance(names, Names)  # noqa: S101
        return names

    def knowledge(self, case: Case | None = None) -> Knowledge:
        """Return what the packs say in this shop, and a case's own lists."""
        return knowledge_of(self.shop, case)

    def assessment(self, case_id: str) -> Dossier:
        """Return the newest assessment of a case, waiting a while for that of this version.

        Raises:
            NotFound: no such case, or its odds are not worked out yet.
        """
        found = self.desk.look(case_id, wait_s=_WAIT_S).assessment
        if found is None:
            raise NotFound("The odds are not worked out yet.", do="Wait a moment and go back.")
        return found

    def warm_up(self) -> None:
        """Begin to work out the cases that were touched last."""
        for row in self.shop.list_cases()[:WARM]:
            self.desk.look(row.id, warm=True)

    def fresh_id(self) -> str:
        """Return an id for an entry that is about to be made."""
        return fresh_id()


def bench_of(request: Request) -> ServerState:
    """Return the bench that serves this request."""
    found = request.app.state.bench
    assert isinstance(found, ServerState)  # noqa: S101
    return found


def viewer_of(request: Request) -> Viewer:
    """Return who is looking."""
    found = request.scope.get("state", {}).get("viewer")
    return found if isinstance(found, Viewer) else Viewer("", "nobody")


def by_of(request: Request) -> str | None:
    """Return who makes an entry: who is signed in; on this machine alone, who said he works."""
    name = viewer_of(request).name
    if name or bench_of(request).access.lan:
        return name or None
    told = unquote(request.cookies.get(WORKER, ""))
    return told if told in {p.name for p in people_of(bench_of(request).shop)} else None


def page(request: Request, name: str, status: int = 200, **values: Any) -> Response:
    """Render a template for this request."""
    return HTMLResponse(render(request, name, **values), status)


def render(request: Request, name: str, **values: Any) -> str:
    """Return a template's text for this request."""
    bench = bench_of(request)
    theme = request.cookies.get("wm_theme", "device")
    values.setdefault("si", bench.si())
    return bench.templates.get_template(name).render(
        viewer=viewer_of(request),
        worker=by_of(request) or "",
        hands=() if bench.access.lan else people_of(bench.shop),
        access=bench.access,
        theme=theme if theme in THEMES else "device",
        here=request.url.path,
        told_everywhere=bench.shop.told_everywhere,
        fresh=fresh_id,
        open_trucks=partial(_open_trucks, bench.shop, request.url.path),
        **values,
    )


def _open_trucks(shop: Shop, here: str) -> list[tuple[str, str]]:
    """Return (case, truck) of the open cases last touched, in the order of their names.

    Nothing where the page is of no case, of one that is not among them, or of the only one.
    """
    if not here.startswith("/cases/"):
        return []
    rows = ledger_page(shop, is_open=True).rows[:MOST_TRUCKS]
    found = [(row.case, row.truck or row.case) for row in rows]
    mine = here.split("/")[2]
    return sorted(found) if len(found) > 1 and mine in dict(found) else []


def going_on(request: Request, where: str, met: str = "") -> Response:
    """Answer a write that was done: go on to *where* (as JSON to the page's own script).

    *met* says what another device entered meanwhile on the same thing.
    """
    if request.headers.get("x-witnessmark") == "queue":
        return JSONResponse({"next": where} | ({"met": met} if met else {}))
    return RedirectResponse(where, 303)


def fresh_id() -> str:
    """Return an id for an entry that is about to be made: sent twice, it is stored once."""
    return "e" + secrets.token_hex(6)


def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("witnessmark.web"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters.update(
        num=words.number,
        percent=words.percent,
        minutes=words.minutes,
        cap=lambda text: text[:1].upper() + text[1:],
        usd=words.usd,
        when=words.when,
        day=lambda at: time.strftime("%Y-%m-%d %H:%M", time.localtime(at)),
        quantity=words.quantity_words,
        short=words.quantity_short,
        channel_name=lambda i, recording: recording.channels[i].name,
        unit_pair=words.unit_pair,
        plainly=short_sentences,
        slug=lambda text: _FIELD_ID.sub("-", str(text)),
    )
    environment.globals.update(
        value=words.value,
        interval=words.interval,
        counted=words.count_words,
        OUTCOMES=words.OUTCOMES,
        KINDS=words.KINDS,
        asset=asset,
        gears_text=words.gears_text,
        accessories_text=words.accessories_text,
        shafts_text=words.shafts_text,
        bar=_bar,
        fork_heading=decision.heading,
        stop_words=stops.on_paper,
        stops_stand=stops.all_on_paper,
        overridden_words=stops.overridden,
        other_way=waited.other_way,
        line_waits=waited.line_waits,
        lifts_nothing=stops.overridden_lifts_nothing,
    )
    return environment


_DIGESTS: dict[str, str] = {}


def asset(name: str) -> str:
    """Return the address of a static file; it changes with its content."""
    if name not in _DIGESTS:
        content = (package_files("witnessmark.web") / "static" / name).read_bytes()
        _DIGESTS[name] = hashlib.sha256(content).hexdigest()[:10]
    return f"/static/{name}?v={_DIGESTS[name]}"


def _bar(probability: float, kind: str = "") -> Markup:
    """Return a bar for a probability; the number stands beside it as text."""
    width = f"{100 * min(max(probability, 0.0), 1.0):.1f}"
    return Markup(
        '<svg class="bar {}" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        '<rect width="{}" height="10"/></svg>'
    ).format(kind, width)
