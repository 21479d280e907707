"""The shop's own pages: knowledge, truck, settings."""

from __future__ import annotations

from typing import Any, cast

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused, NotFound, WitnessmarkError, http_status
from witnessmark.model.settings import Settings
from witnessmark.model.shop_head import ShopHead
from witnessmark.units import QUANTITIES
from witnessmark.web.bench.state import ServerState, bench_of, by_of, going_on, page, viewer_of
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.pages_cases import ledger_rows
from witnessmark.words.say import due as say
from witnessmark.workflow.case.locks import (
    drop_own_secret,
    end_link,
    end_sessions_of,
    has_passphrase,
    links_of,
    own_secrets,
    sessions_of,
    set_passphrase,
)
from witnessmark.workflow.case.packs_of_shop import own_words, save_own_words
from witnessmark.workflow.case.shop_settings import (
    Person,
    Role,
    ShopInstrument,
    instruments_of,
    own_figures,
    people_of,
    save_instrument,
    save_person,
    save_settings,
    set_shop_head,
    set_shop_name,
    set_si,
    settings_of,
    shop_head,
    shop_name,
    shows_si,
)
from witnessmark.workflow.dossier.gauge_round import baselines
from witnessmark.workflow.shop.experience import experience_of, family_shares
from witnessmark.workflow.shop.truck_over_time import series_of
from witnessmark.workflow.shop.trucks import merge_trucks, trucks

router = APIRouter(include_in_schema=False)

_FIGURES = (
    ("labour_usd_per_hour", "Labour", "USD an hour"),
    ("waiting_usd_per_hour", "A bay that waits", "USD an hour"),
    ("downtime_usd_per_hour", "A customer's truck that stands", "USD an hour"),
    ("comeback_usd", "A truck that comes back", "USD beyond the work"),
    ("second_person_usd_per_hour", "A second person", "USD an hour"),
    ("diagnostic_fee_usd", "Diagnostic fee", "USD"),
    ("diagnostic_limit_usd", "Diagnostic limit", "USD; beyond it the customer is asked"),
    ("road_test_minutes", "Road test", "minutes"),
    ("remeasure_minutes", "Measuring again", "minutes"),
    ("warm_up_minutes", "Warming up", "minutes"),
    ("load_minutes", "Arranging a load", "minutes"),
    ("search_minutes", "Open-ended search", "minutes"),
    ("search_usd", "Outside help for a search", "USD"),
    ("consumables_percent", "Shop supplies", "percent of labour"),
    ("consumables_cap_usd", "Shop supplies, at most", "USD"),
    ("parts_markup_percent", "Markup on parts", "percent"),
    ("tax_percent_parts", "Tax on parts", "percent"),
    ("tax_percent_labour", "Tax on labour", "percent"),
    ("overrun_percent_allowed", "Over the approved sum", "percent; local law decides"),
    ("source", "Where these figures come from", ""),
)


@router.get("/knowledge")
def knowledge(request: Request) -> Response:
    """List the families of complaints."""
    found = bench_of(request).knowledge()
    return page(
        request,
        "knowledge.html",
        families=sorted(found.families.values(), key=lambda f: f.name),
        digests=found.digests,
    )


@router.get("/learnt")
def learnt(request: Request) -> Response:
    """Show what the shop's own cases have taught."""
    bench = bench_of(request)
    names = bench.names()
    return page(
        request,
        "learnt.html",
        found=experience_of(bench.shop),
        family_name=names.family,
        cause_name=names.cause,
        step_name=names.step,
        person_words=say.person,
    )


@router.get("/knowledge/{family_id}")
def family(request: Request, family_id: str) -> Response:
    """Show the causes and tests of a family, the shop's own numbers beside the pack's."""
    return _family_page(request, family_id, None)


@router.post("/knowledge/{family_id}")
async def change_family(request: Request, family_id: str) -> Response:
    """Change a number of the pack for this shop, with the reason."""
    viewer_of(request).must_own()
    form = await posted(request)
    bench = bench_of(request)
    try:
        await run_in_threadpool(
            lambda: save_own_words(
                bench.shop,
                family_id,
                form.one("cause"),
                share=form.one("share"),
                why=form.one("why"),
                by=viewer_of(request).name,
            )
        )
    except WitnessmarkError as refused:
        error = refused
        return await run_in_threadpool(lambda: _family_page(request, family_id, error))
    bench.desk.settings_changed()
    return going_on(request, f"/knowledge/{family_id}")


@router.get("/trucks")
def all_trucks(request: Request, q: str = "") -> Response:
    """List the trucks of the shop; names that may be one truck are offered to be merged."""
    rows = trucks(bench_of(request).shop, q[:80])
    return page(request, "trucks.html", rows=rows, search=q[:80], error=None)


@router.post("/trucks-merge")
async def merge(request: Request) -> Response:
    """Call every visit of one truck by another's name."""
    form = await posted(request)
    shop, by = bench_of(request).shop, by_of(request)
    await run_in_threadpool(lambda: merge_trucks(shop, form.one("label"), form.one("into"), by=by))
    return going_on(request, "/trucks")


@router.get("/trucks/{label:path}")
def truck(request: Request, label: str) -> Response:
    """Show a truck over its visits, with its own baselines."""
    bench = bench_of(request)
    rows = [row for row in ledger_rows(bench) if row.truck == label]
    if not rows:
        raise NotFound("No case speaks of that truck.")
    cases = [bench.desk.case(row.case) for row in rows]
    newest = next((t for c in cases if (t := c.truck()) is not None), None)
    return page(
        request,
        "truck.html",
        label=label,
        rows=rows,
        truck=newest,
        baselines=baselines(cases),
        series=[s for s in series_of(cases) if s.band is not None or s.trend is not None],
        words={q: r.words for q, r in QUANTITIES.items()},
    )


@router.get("/settings")
def settings(request: Request) -> Response:
    """Show the shop's figures, instruments and people."""
    return _settings_page(request, None)


@router.post("/settings/{what}")
async def change_settings(request: Request, what: str) -> Response:
    """Change the shop's figures, instruments, people, units or passphrases."""
    viewer_of(request).must_own()
    form = await posted(request)
    bench = bench_of(request)
    try:
        await run_in_threadpool(_change, bench, what, form)
    except WitnessmarkError as refused:
        error = refused
        return await run_in_threadpool(lambda: _settings_page(request, error))
    bench.desk.settings_changed()
    return going_on(request, f"/settings#{what if what.isalpha() else 'figures'}")


def _change(bench: ServerState, what: str, form: Posted) -> None:
    if what == "figures":
        known = {name for name, _, _ in _FIGURES}
        save_settings(bench.shop, {n: form.one(n) for n in known if n in form.fields})
    elif what == "units":
        set_si(bench.shop, form.one("si") == "yes")
        set_shop_name(bench.shop, form.one("name"))
    elif what == "paper":
        names = ("address", "phone", "licence", "warranty")
        set_shop_head(bench.shop, ShopHead(**{n: form.one(n) for n in names}))
    elif what == "instruments":
        fields = ("id", "what", "span", "accuracy", "repeatability", "calibrated")
        save_instrument(bench.shop, ShopInstrument(**{n: form.one(n) for n in fields}))
    elif what == "people":
        save_person(bench.shop, Person(form.one("name"), _role(form)))
    elif what == "passphrase":
        set_passphrase(bench.shop, _role(form), (form.fields.get("passphrase") or [""])[-1])
    elif what == "forgot":
        drop_own_secret(bench.shop, form.one("name"))
    elif what == "signout":
        end_sessions_of(bench.shop, form.one("name"))
    elif what == "endlink":
        end_link(bench.shop, form.one("link"))
    else:
        raise NotFound("There is no such setting.")


def _role(form: Posted) -> Role:
    if form.one("role") not in {"owner", "technician"}:
        raise InputRefused("Say whether it is the owner or a technician.", where="role")
    return cast("Role", form.one("role"))


def _family_page(request: Request, family_id: str, error: WitnessmarkError | None) -> Response:
    bench = bench_of(request)
    found = bench.knowledge().families.get(family_id)
    if found is None:
        raise NotFound("There is no such family of complaints.")
    conditions = bench.knowledge().conditions
    own_shares = family_shares(bench.shop, family_id)
    return page(
        request,
        "family.html",
        http_status(error) if error else 200,
        family=found,
        error=error,
        own=own_words(bench.shop, family_id),
        shares=own_shares,
        numbers={row.cause: row for row in own_shares.causes},
        clue_words=lambda clue: conditions[clue].words if clue in conditions else clue,
    )


def _settings_page(request: Request, error: WitnessmarkError | None) -> Response:
    bench = bench_of(request)
    values: dict[str, Any] = {
        "figures": settings_of(bench.shop),
        "own": own_figures(bench.shop),
        "judged": Settings(),
        "rows": _FIGURES,
        "instruments": instruments_of(bench.shop),
        "people": people_of(bench.shop),
        "called": shop_name(bench.shop),
        "head": shop_head(bench.shop),
        "in_si": shows_si(bench.shop),
        "secrets": own_secrets(bench.shop),
        "sessions": sessions_of(bench.shop),
        "links": links_of(bench.shop),
        "locked": {r: has_passphrase(bench.shop, r) for r in ("owner", "technician")},
    }
    status = http_status(error) if error else 200
    return page(request, "settings.html", status, error=error, **values)
