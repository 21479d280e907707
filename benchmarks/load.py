"""Many at once: eight writers on one book, and a mixed day of thirty-two connections.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/load.py [WRITE_S] [MIXED_S] [PAUSE_S]

The writers are processes of their own that add entries to the same case for WRITE_S. For MIXED_S
a served shop is used by 32 connections, each of which looks, enters, uploads or prints and then
waits PAUSE_S on average; the server's memory is read off meanwhile. *Lost* is what was
acknowledged and is not there afterwards. The table is written into benchmarks/load.md.
"""

from __future__ import annotations

import hashlib
import os
import random
import signal
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from witnessmark.errors import WitnessmarkError
from witnessmark.web.serving import serve
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.keeping.check_shop import check_shop

HERE = Path(__file__).resolve().parent
AT = "2026-03-02T08:00:00Z"
WRITERS, CONNECTIONS, CASES = 8, 32, 24


@dataclass
class Seen:
    """What was done, by kind: waits [s], refusals in a sentence, faults; and what was stored."""

    waits: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    refused: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    faults: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    stored: list[tuple[str, str]] = field(default_factory=list)
    files: list[str] = field(default_factory=list)


def write(folder: Path, seconds: float, number: int, into: Path) -> None:
    """Be one writer: note what was acknowledged and how long each took."""
    shop = open_shop(folder)
    end, rows, refused = time.monotonic() + seconds, [], 0
    while time.monotonic() < end:
        name, begun = f"w{number}-{len(rows)}", time.monotonic()
        try:
            shop.add("together", "note", {"words": "x" * 200}, entry_id=name)
        except WitnessmarkError:
            refused += 1
            continue
        rows.append(f"{name} {time.monotonic() - begun:.6f}")
    shop.close()
    into.write_text("\n".join([str(refused), *rows]), encoding="utf-8")


def writers(folder: Path, seconds: float) -> list[str]:
    """Return the rows of eight writers on one case."""
    shop = open_shop(folder / "w", create=True)
    shop.new_case("together")
    shop.close()
    children = []
    for number in range(WRITERS):
        child = os.fork()
        if child == 0:
            try:
                write(folder / "w", seconds, number, folder / f"w{number}.txt")
            finally:
                os._exit(0)
        children.append(child)
    for child in children:
        os.waitpid(child, 0)
    said, waits, refused = [], [], 0
    for number in range(WRITERS):
        first, *rows = (folder / f"w{number}.txt").read_text(encoding="utf-8").split("\n")
        refused += int(first)
        said += [row.split()[0] for row in rows]
        waits += [float(row.split()[1]) for row in rows]
    shop = open_shop(folder / "w")
    stored = [e.id for e in shop.case("together").entries]
    faults = len(check_shop(shop).faults)
    shop.close()
    lost = len(set(said) - set(stored))
    return [
        f"| {WRITERS} writers, {seconds:.0f} s, one case | {len(said)} | {refused} | {lost} "
        f"| {faults} | {1000 * statistics.median(waits):.0f} | {1000 * _p99(waits):.0f} |"
    ]


def one(address: str, number: int, end: float, pause: float, seen: Seen, lock: threading.Lock):
    """Be one connection: look, enter, upload, print, with pauses as people make them."""
    draw = random.Random(number)  # noqa: S311 - drawn work, no secret
    work = ("page", "page", "page", "ledger", "entry", "entry", "upload", "report", "parts")
    time.sleep(draw.uniform(0, pause))
    with httpx.Client(base_url=address, timeout=120) as client:
        count = 0
        while time.monotonic() < end:
            kind, case = draw.choice(work), f"c{draw.randrange(CASES)}"
            count += 1
            begun = time.monotonic()
            try:
                answer, made = _do(client, kind, case, f"m{number}-{count}", draw)
                took = time.monotonic() - begun
                with lock:
                    seen.waits[kind].append(took)
                    seen.refused[kind] += 400 <= answer.status_code < 500
                    seen.faults[kind] += answer.status_code >= 500
                    if answer.status_code >= 500:
                        print(kind, answer.status_code, answer.text[:400], file=sys.stderr)
                    if answer.status_code < 400 and made:
                        (seen.files if kind == "upload" else seen.stored).append(made)
            except httpx.HTTPError as error:
                with lock:
                    seen.faults[kind] += 1
                    print(kind, repr(error), file=sys.stderr)
            time.sleep(draw.expovariate(1 / pause))


def _do(client: httpx.Client, kind: str, case: str, name: str, draw: random.Random):
    if kind == "entry":
        value = f"{draw.randint(20, 60)} psi"
        data = {"quantity": "oil_pressure", "value": value, "point": {"rpm": 1500, "warm": True}}
        body = {"kind": "reading", "id": name, "data": data}
        return client.post(f"/api/cases/{case}/entries", json=body), (case, name)
    if kind == "upload":
        content = draw.randbytes(300_000)
        said = {"case": case, "name": "pull.log", "size": len(content)}
        begun = client.post("/uploads", json=said)
        if begun.status_code >= 400:
            return begun, None
        where = f"/uploads/{begun.json()['id']}"
        client.put(where, content=content, headers={"x-offset": "0"}, params={"offset": 0})
        sha256 = hashlib.sha256(content).hexdigest()
        return client.post(f"{where}/finish", json={"sha256": sha256}), sha256
    pages = {
        "page": f"/cases/{case}",
        "ledger": "/",
        "report": f"/cases/{case}/report",
        "parts": f"/cases/{case}/parts",
    }
    return client.get(pages[kind]), None


def mixed(folder: Path, seconds: float, pause: float) -> tuple[list[str], list[float]]:
    """Return the rows of the mixed day, and the server's memory every ten seconds [MiB]."""
    shop = open_shop(folder / "m", create=True)
    for number in range(CASES):
        complaint = {"words": "oil pressure low (invented)", "families": ["oil_press"]}
        truck = entry_line("truck", {"label": f"unit {number}"}, entry_id="t", at=AT)
        shop.new_case(
            f"c{number}", [truck, entry_line("complaint", complaint, entry_id="c", at=AT)]
        )
    shop.close()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    child = os.fork()
    if child == 0:
        try:
            serve(open_shop(folder / "m"), port=port, say=lambda _: None)
        finally:
            os._exit(0)
    address, seen, lock = f"http://127.0.0.1:{port}", Seen(), threading.Lock()
    memory = []
    try:
        _until_up(address)
        end = time.monotonic() + seconds
        threads = [
            threading.Thread(target=one, args=(address, n, end, pause, seen, lock), daemon=True)
            for n in range(CONNECTIONS)
        ]
        for thread in threads:
            thread.start()
        while time.monotonic() < end:
            memory.append(_memory_mib(child))
            time.sleep(min(10.0, seconds / 20))
        for thread in threads:
            thread.join(180)
    finally:
        os.kill(child, signal.SIGTERM)
        os.waitpid(child, 0)
    shop = open_shop(folder / "m")
    held = {f"c{n}": {e.id for e in shop.case(f"c{n}").entries} for n in range(CASES)}
    lost = {"entry": sum(name not in held[case] for case, name in seen.stored)}
    lost["upload"] = sum(sha256 not in shop.originals for sha256 in seen.files)
    faults = len(check_shop(shop).faults)
    shop.close()
    rows = [
        f"| {kind} | {len(waits)} | {seen.refused[kind]} | {lost.get(kind, 0)} "
        f"| {seen.faults[kind]} | {1000 * statistics.median(waits):.0f} "
        f"| {1000 * _p99(waits):.0f} |"
        for kind, waits in sorted(seen.waits.items())
    ]
    return [*rows, f"| the book and its files afterwards | | | | {faults} | | |"], memory


def _until_up(address: str) -> None:
    for _ in range(600):
        try:
            httpx.get(f"{address}/health", timeout=60)
            return
        except httpx.TransportError:
            time.sleep(0.2)
    raise AssertionError("the server did not start")


def _memory_mib(process: int) -> float:
    for line in Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


def _p99(waits: list[float]) -> float:
    return sorted(waits)[min(len(waits) - 1, int(0.99 * len(waits)))]


def main() -> None:
    write_s, mixed_s, pause = (
        float(a) for a in (*sys.argv[1:], *("60", "600", "4")[len(sys.argv) - 1 :])
    )
    with tempfile.TemporaryDirectory() as folder:
        rows = writers(Path(folder), write_s)
        print(*rows, sep="\n", flush=True)
        more, memory = mixed(Path(folder), mixed_s, pause)
    third = max(1, len(memory) // 3)
    text = [
        "# Many at once",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/load.py {write_s:.0f} {mixed_s:.0f} {pause:g}` "
        f"made this table, on a machine with two cores that had much other work to do (load "
        f"{os.getloadavg()[2]:.0f} over the last quarter of an hour): the waits are of that "
        f"machine. {CONNECTIONS} connections for {mixed_s:.0f} s, each with {pause:g} s between "
        "two requests on average.",
        "",
        "| work | done | refused in words | lost | faults | median, ms | 99th percentile, ms |",
        "|---|---:|---:|---:|---:|---:|---:|",
        *rows,
        *more,
        "",
        f"Memory of the server: {statistics.median(memory[:third]):.0f} MiB (median of the first "
        f"third), {statistics.median(memory[third : 2 * third]):.0f} MiB (second), "
        f"{statistics.median(memory[-third:]):.0f} MiB (last); at most {max(memory):.0f} MiB.",
    ]
    (HERE / "load.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))


if __name__ == "__main__":
    main()
