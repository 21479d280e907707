"""A busy day: eight writers on one book, then thirty-two people with the page for ten minutes.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/load.py [SECONDS_OF_WRITING] [MINUTES_OF_USE]

The writers are processes of their own that add entry after entry to the same few cases. The people
come to a server of its own with TLS and passphrases, each over one connection that he keeps, and
think for some seconds between two requests; what they wait for and the server's memory are
written down. The table is written into benchmarks/load.md.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import random
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import psutil

from web.attackers import Served, serving
from web.bench_page import fuel_lines
from witnessmark.errors import WitnessmarkError
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.keeping.check_shop import check_shop

HERE = Path(__file__).resolve().parent
WRITERS, PEOPLE, CASES = 8, 32, 60
#: Longest and shortest time between an answer and the next request [s].
THINK_S = (2.0, 12.0)
WARM_S = 60.0


def percentile(values: list[float], share: float) -> float:
    """Return the value below which *share* of all lie."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


# ---- eight writers ------------------------------------------------------------------------------


def _write(folder: str, who: int, seconds: float, out: Any) -> None:
    shop = open_shop(Path(folder))
    waits, ids, refused = [], [], 0
    end = time.monotonic() + seconds
    number = 0
    while time.monotonic() < end:
        number += 1
        begun = time.monotonic()
        name = f"w{who}-{number}"
        try:
            shop.add(f"c{number % 4}", "note", {"words": "x" * (number % 900 + 1)}, entry_id=name)
        except WitnessmarkError:
            refused += 1
        else:
            ids.append(name)
        waits.append(time.monotonic() - begun)
    shop.close()
    out.put((ids, waits, refused))


def writers(folder: Path, seconds: float) -> list[tuple[str, str]]:
    """Let eight processes write at once and hold them to what they were told."""
    shop = open_shop(folder, create=True)
    for number in range(4):
        shop.new_case(f"c{number}")
    shop.close()
    context = multiprocessing.get_context("spawn")
    out = context.Queue()
    children = [
        context.Process(target=_write, args=(str(folder), n, seconds, out)) for n in range(WRITERS)
    ]
    for child in children:
        child.start()
    told = [out.get() for _ in children]
    for child in children:
        child.join()
    shop = open_shop(folder)
    stored = {e.id for n in range(4) for e in shop.case(f"c{n}").entries}
    faults = len(check_shop(shop).faults)
    shop.close()
    said = {i for ids, _, _ in told for i in ids}
    waits = [w for _, some, _ in told for w in some]
    return [
        ("entries said to be stored", f"{len(said)}"),
        ("of them lost", f"{len(said - stored)}"),
        ("refused with a sentence", f"{sum(r for _, _, r in told)}"),
        ("faults that `witnessmark check` found", f"{faults}"),
        ("fewest and most of one writer", f"{min(len(i) for i, _, _ in told)}, "
         f"{max(len(i) for i, _, _ in told)}"),
        ("wait of a writer, median", f"{1000 * statistics.median(waits):.0f} ms"),
        ("wait of a writer, 99th percentile", f"{1000 * percentile(waits, 0.99):.0f} ms"),
        ("longest wait", f"{1000 * max(waits):.0f} ms"),
    ]  # fmt: skip


# ---- thirty-two people --------------------------------------------------------------------------


@dataclass
class Day:
    """What the people met."""

    waits: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    refused: list[str] = field(default_factory=list)
    said: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    asked_again: int = 0
    memory: list[float] = field(default_factory=list)
    load: list[float] = field(default_factory=list)


async def _person(served: Served, number: int, end: float, warm: float, day: Day) -> None:
    draw = random.Random(number)  # noqa: S311 - drawn moments, no secret
    transport = httpx.AsyncHTTPTransport(verify=False, local_address=f"127.0.5.{1 + number}")
    async with httpx.AsyncClient(
        transport=transport,
        base_url=served.address,
        timeout=120,
        headers={"accept": "text/html", "origin": served.address},
    ) as client:
        await asyncio.sleep(draw.uniform(0, 20))
        login = {"name": f"Person {number}", "passphrase": served.shop_passphrase}
        while not await _signed_in(client, login):
            day.asked_again += 1
            await asyncio.sleep(draw.uniform(*THINK_S))
        count = 0
        while time.monotonic() < end:
            await asyncio.sleep(draw.uniform(*THINK_S))
            count += 1
            case = f"/cases/c{draw.randrange(CASES)}"
            entry = f"p{number}-{count}"
            kind, method, where, data = draw.choices(
                (
                    ("list of cases", "GET", "/", None),
                    ("a search", "GET", f"/?q=unit+{draw.randrange(CASES)}", None),
                    ("a case", "GET", case, None),
                    ("a form", "GET", f"{case}/looked", None),
                    ("reading stored", "POST", f"/api{case}/entries", _reading(draw, entry)),
                    ("note stored", "POST", f"/api{case}/entries", _note(entry)),
                    ("inspection", "GET", f"{case}/inspection", None),
                    ("report", "GET", f"{case}/report", None),
                ),
                weights=(18, 4, 40, 10, 8, 12, 4, 4),
            )[0]
            begun = time.monotonic()
            try:
                answer = await _sent(client, method, where, json=data)
            except httpx.TransportError as error:
                day.refused.append(f"{kind}: {type(error).__name__}")
                continue
            if answer.status_code not in {200, 201, 202}:
                day.refused.append(f"{kind}: {answer.status_code}")
            if method == "POST" and answer.status_code == 201:
                day.said[case[7:]].add(entry)
            if begun >= warm:
                day.waits[kind].append(time.monotonic() - begun)


async def _signed_in(client: httpx.AsyncClient, login: dict[str, str]) -> bool:
    try:
        return (await _sent(client, "POST", "/login", data=login)).status_code == 303
    except httpx.TransportError:
        return False


async def _sent(client: httpx.AsyncClient, method: str, where: str, **what: Any) -> httpx.Response:
    """Send a request; once more where the connection had just been let go, as browsers do."""
    try:
        return await client.request(method, where, **what)
    except httpx.RemoteProtocolError:
        return await client.request(method, where, **what)


def _reading(draw: random.Random, entry: str) -> dict[str, Any]:
    # Out of the air: how well an engine is does not matter here.
    value = f"{draw.uniform(8, 60):.0f} psi"
    point = {"rpm": draw.choice((650, 1200, 1800)), "load": "none"}
    data = {"quantity": "oil_pressure", "value": value, "point": point}
    return {"kind": "reading", "id": entry, "data": data}


def _note(entry: str) -> dict[str, Any]:
    return {"kind": "note", "id": entry, "data": {"words": "looked again (invented)"}}


async def _use(served: Served, minutes: float) -> Day:
    day = Day()
    warm = time.monotonic() + WARM_S
    end = warm + 60 * minutes
    people = [asyncio.create_task(_person(served, n, end, warm, day)) for n in range(PEOPLE)]
    await asyncio.sleep(WARM_S)
    while time.monotonic() < end:
        day.memory.append(served.memory() / 2**20)
        day.load.append(os.getloadavg()[0])
        await asyncio.sleep(15)
    await asyncio.gather(*people)
    return day


def people(folder: Path, minutes: float) -> tuple[list[tuple[str, str]], list[str]]:
    """Let the people work and hold the server to what it said was stored."""
    shop = open_shop(folder, create=True)
    for number in range(CASES):
        complaint = {"words": "oil pressure low (invented)", "families": ["oil_press"]}
        lines = [
            entry_line("truck", {"label": f"unit {number}"}, entry_id="t"),
            entry_line("complaint", complaint, entry_id="c1"),
        ]
        shop.new_case(f"c{number}", lines if number % 6 else fuel_lines(f"unit {number}"))
    shop.close()
    with serving(folder) as served:
        begun = _work_of(served)
        day = asyncio.run(_use(served, minutes))
        worked = _work_of(served) - begun
    shop = open_shop(folder)
    lost = sum(len(ids - {e.id for e in shop.case(name).entries}) for name, ids in day.said.items())
    faults = len(check_shop(shop).faults)
    shop.close()
    every = [w for waits in day.waits.values() for w in waits]
    third = max(1, len(day.memory) // 3)
    rows = [
        ("requests", f"{len(every)}"),
        ("refused or broken off", f"{len(day.refused)}" + (f" ({day.refused[0]})" if day.refused
                                                           else "")),
        ("asked to sign in again in a moment", f"{day.asked_again}"),
        ("entries said to be stored", f"{sum(map(len, day.said.values()))}"),
        ("of them lost", f"{lost}"),
        ("faults that `witnessmark check` found", f"{faults}"),
        ("memory, first third of the time, median", f"{statistics.median(day.memory[:third]):.0f} "
         "MiB"),
        ("memory, last third, median", f"{statistics.median(day.memory[-third:]):.0f} MiB"),
        ("memory, most", f"{max(day.memory):.0f} MiB"),
        ("load of the machine beside (two cores), median", f"{statistics.median(day.load):.1f}"),
        ("processor time of the server, warm-up included", f"{worked:.0f} s"),
    ]  # fmt: skip
    kinds = [("all", every), *sorted(day.waits.items(), key=lambda one: -len(one[1]))]
    table = ["| what was asked for | times | median, ms | 99th percentile, ms | longest, ms |",
             "|---|---:|---:|---:|---:|"]  # fmt: skip
    table += [
        f"| {kind} | {len(w)} | {1000 * statistics.median(w):.0f} | "
        f"{1000 * percentile(w, 0.99):.0f} | {1000 * max(w):.0f} |"
        for kind, w in kinds
        if w
    ]
    return rows, table


def _work_of(served: Served) -> float:
    """Return the processor time of the server and the children that live [s]."""
    found = 0.0
    process = psutil.Process(served.child.pid)
    for one in (process, *process.children(recursive=True)):
        times = one.cpu_times()
        found += times.user + times.system
    return found


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    with tempfile.TemporaryDirectory() as folder:
        wrote = writers(Path(folder) / "written", seconds)
        print(*wrote, sep="\n", flush=True)
        used, waits = people(Path(folder) / "used", minutes)
    low, high = THINK_S
    text = [
        "# Load",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/load.py {seconds:g} {minutes:g}` made this, on a "
        "machine with two cores that had other work to do.",
        "",
        f"{WRITERS} processes wrote into four cases of one book for {seconds:g} s, entry after "
        "entry:",
        "",
        "| | |",
        "|---|---:|",
        *(f"| {words} | {figure} |" for words, figure in wrote),
        "",
        f"{PEOPLE} people, each over one connection with TLS, in a shop of {CASES} cases, thinking "
        f"{low:g} to {high:g} s between two requests, for {minutes:g} minutes after "
        f"{WARM_S:g} s of warming up:",
        "",
        "| | |",
        "|---|---:|",
        *(f"| {words} | {figure} |" for words, figure in used),
        "",
        *waits,
    ]
    (HERE / "load.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))


if __name__ == "__main__":
    main()
