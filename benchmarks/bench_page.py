"""The page's speed: a case of 200 entries against a plain page of the same data, and the chart.

    OMP_NUM_THREADS=1 python benchmarks/bench_page.py [--seconds 5] [--out benchmarks/bench_page.md]

Both pages are served by one uvicorn worker each and asked by the same client over 32 kept-alive
connections, one after the other in one run. The plain page is what one writes with FastAPI,
SQLAlchemy and Jinja and nothing else: it reads the 200 rows and renders them in a table.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import platform
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import numpy as np
import polars as pl
from playwright.sync_api import sync_playwright
from starlette.requests import Request

from witnessmark.web.app import create_app
from witnessmark.web.bench.state import bench_of, render
from witnessmark.web.door.doors import Viewer
from witnessmark.web.pages.pages_cases import strip_values
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop

CONNECTIONS = 32
ENTRIES = 200

_PLAIN = """
import sys
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from jinja2 import Environment
from sqlalchemy import create_engine, text
import uvicorn
engine = create_engine("sqlite:///" + sys.argv[1])
page = Environment(autoescape=True).from_string(
    "<!doctype html><html><body><h1>{{ name }}</h1><table>{% for r in rows %}"
    "<tr><td>{{ r.position }}</td><td>{{ r.entry_id }}</td><td>{{ r.line }}</td>"
    "<td>{{ r.added }}</td></tr>{% endfor %}"
    "</table></body></html>")
app = FastAPI()
@app.get("/cases/{name}", response_class=HTMLResponse)
def case(name: str):
    with engine.connect() as connection:
        rows = connection.execute(text(
            "select position, entry_id, line, added from lines where case_id = :n order by position"
        ), {"n": name}).all()
    return page.render(name=name, rows=rows)
uvicorn.run(app, port=int(sys.argv[2]), log_level="error", access_log=False)
"""

_OURS = """
import sys
from witnessmark.web.serving import serve
from witnessmark.workflow.case.shop_on_disk import open_shop
serve(open_shop(sys.argv[1]), port=int(sys.argv[2]), say=lambda _: None)
"""


def main() -> None:
    """Run everything and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        text = run(Path(folder), options.seconds, options.rounds)
    print(text)
    if options.out:
        options.out.write_text(text, encoding="utf-8")


def run(folder: Path, seconds: float, rounds: int) -> str:
    """Return the table of one run."""
    shop = open_shop(folder / "shop", create=True)
    shop.new_case("bench", _lines())
    entry = _million(shop)
    rows = [("figure", "ours", "plain page", "ours / plain")]
    first = _Served(_OURS, folder / "shop")
    second = _Served(_PLAIN, folder / "shop" / "casebook.sqlite")
    with (
        first as ours,
        second as plain,
    ):
        cold = _until_settled(ours)
        best: dict[str, list[tuple[float, float]]] = {"ours": [], "plain": []}
        spent, asked = {"ours": 0.0, "plain": 0.0}, {"ours": 0.0, "plain": 0.0}
        for _ in range(rounds):  # in turn, so that a busy machine hits both alike
            for name, address, served in (("ours", ours, first), ("plain", plain, second)):
                before = served.processor_s()
                best[name].append(asyncio.run(_load(f"{address}/cases/bench", seconds)))
                spent[name] += served.processor_s() - before
                asked[name] += best[name][-1][0] * seconds
        rate = {k: float(np.median([r for r, _ in v])) for k, v in best.items()}
        p99 = {k: float(np.median([p for _, p in v])) for k, v in best.items()}
        ratio = float(
            np.median([a[0] / b[0] for a, b in zip(best["ours"], best["plain"], strict=True)])
        )
        rows.append(
            ("requests a second", f"{rate['ours']:.0f}", f"{rate['plain']:.0f}", f"{ratio:.2f}")
        )
        rows.append(
            (
                f"99th percentile, {CONNECTIONS} connections [ms]",
                f"{p99['ours']:.1f}",
                f"{p99['plain']:.1f}",
                f"{p99['ours'] / p99['plain']:.2f}",
            )
        )
        each = {k: 1000 * spent[k] / max(asked[k], 1) for k in spent}
        rows.append(
            (
                "processor time a request [ms]",
                f"{each['ours']:.2f}",
                f"{each['plain']:.2f}",
                f"{each['ours'] / each['plain']:.2f}",
            )
        )
        alone = _alone(f"{ours}/cases/bench", 300)
        other = _alone(f"{plain}/cases/bench", 300)
        rows.append(
            (
                "99th percentile, one connection [ms]",
                f"{alone:.1f}",
                f"{other:.1f}",
                f"{alone / other:.2f}",
            )
        )
        wall, work, once = _fresh(shop)
        name = "rendered anew after an entry, 99th percentile of 300"
        rows.append((f"{name}, processor time [ms]", f"{work:.1f}", "", ""))
        rows.append((f"{name}, by the clock of the machine [ms]", f"{wall:.1f}", "", ""))
        rows.append(("the first rendering after a start [ms]", f"{once:.1f}", "", ""))
        weight = _weight(ours)
        rows.append(("first view without charts, on the wire [kB]", f"{weight / 1000:.1f}", "", ""))
        for name, text in _painted(f"{ours}/cases/bench").items():
            rows.append((name, text, "", ""))
        chart = _chart(ours, entry)
        rows.append(
            (
                "chart of 1,000,000 samples x 12 signals: first window [ms]",
                f"{chart['first']:.0f}",
                "",
                "",
            )
        )
        rows.append(("the same, zoom: median of 20 [ms]", f"{chart['zoom']:.0f}", "", ""))
        rows.append(("the same, zoom: slowest of 20 [ms]", f"{chart['worst']:.0f}", "", ""))
        rows.append(
            (
                "first view with the chart, on the wire [kB]",
                f"{(weight + chart['bytes']) / 1000:.1f}",
                "",
                "",
            )
        )
        rows.append(("first assessment of the case [s]", f"{cold:.1f}", "", ""))
    shop.close()
    return _table(rows, seconds, rounds)


def _lines() -> list[str]:
    truck = {
        "label": "bench truck (invented)",
        "engine": {"fuel_supply": "gallery", "cylinders": 6},
    }
    complaint = {"words": "low fuel pressure (invented)", "families": ["fuel_low"]}
    lines = [entry_line("truck", truck), entry_line("complaint", complaint)]
    rng = np.random.default_rng(1)
    kinds = ("oil_pressure", "coolant_temperature", "boost_pressure", "battery_voltage")
    units = ("psi", "degF", "psi", "V")
    middles = (48.0, 190.0, 22.0, 14.1)
    while len(lines) < ENTRIES:
        k = len(lines) % 5
        rpm = int(rng.choice([700, 1000, 1500, 1800]))
        point = {"rpm": rpm, "load": "none", "warm": True}
        if k == 4:
            data: dict[str, Any] = {"words": f"note no. {len(lines)} (invented)"}
            lines.append(entry_line("note", data))
            continue
        value = f"{middles[k] * (1 + 0.02 * rng.normal()):.1f} {units[k]}"
        data = {"quantity": kinds[k], "value": value, "point": point}
        lines.append(entry_line("reading", data))
    return lines


def _million(shop: Any) -> str:
    """Store a recording of a million rows and twelve signals; return its entry in a second case."""
    rng = np.random.default_rng(2)
    n, signals = 1_000_000, 12
    time_s = np.arange(n) / 1000.0
    path = shop.folder / "million.csv"
    columns = [f"signal_{k} (m/s2)" for k in range(signals)]
    values = rng.normal(size=(n, signals)).round(2)
    values[rng.integers(0, n, 50), rng.integers(0, signals, 50)] = 99.0
    frame = pl.DataFrame({"time (s)": time_s} | {c: values[:, k] for k, c in enumerate(columns)})
    frame.write_csv(path)
    sha256 = shop.store_file(path, "million.csv")
    path.unlink()
    data = {"path": "million.csv", "sha256": sha256, "holds": "table"}
    shop.new_case("traces", [entry_line("recording", data, entry_id="rec1")])
    return "/cases/traces/recordings/rec1"


class _Served:
    def __init__(self, program: str, what: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        self.child = subprocess.Popen(
            [sys.executable, "-c", program, str(what), str(self.port)], env=environment
        )

    def processor_s(self) -> float:
        """Return the processor time the server has taken so far [s] (Linux)."""
        fields = Path(f"/proc/{self.child.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def __enter__(self) -> str:
        address = f"http://127.0.0.1:{self.port}"
        for _ in range(600):
            try:
                httpx.get(address, timeout=5)
                return address
            except httpx.HTTPError:
                time.sleep(0.1)
        raise RuntimeError("the server did not start")

    def __exit__(self, *_: object) -> None:
        self.child.terminate()
        self.child.wait(20)


def _painted(url: str) -> dict[str, str]:
    """Return when a phone's browser has painted what the first screen says, cold and warm [ms].

    The largest paint of the first screen, from the start of the navigation; the words that say
    what is thought are in the page as it comes, so this is its first meaningful paint.
    """
    program = os.environ.get("WITNESSMARK_CHROMIUM", "/usr/bin/chromium")
    last = """() => new Promise(done => new PerformanceObserver(list => {
      const entry = list.getEntries().at(-1);
      done([entry.startTime, document.querySelector('.think').innerText]);
    }).observe({ type: 'largest-contentful-paint', buffered: true }))"""
    times: dict[str, list[float]] = {"nothing held": [], "styles held": []}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for _ in range(10):
            context = browser.new_context(
                viewport={"width": 390, "height": 844}, service_workers="block"
            )
            page = context.new_page()
            for painted in times.values():
                page.goto(url)
                found, words = page.evaluate(last)
                if not words:
                    raise RuntimeError("the first screen says nothing")
                painted.append(found)
                page.goto("about:blank")
            context.close()
        browser.close()
    return {
        f"first screen painted at 390 px, {name}: median and slowest of 10 [ms]": (
            f"{np.median(found):.0f}, {max(found):.0f}"
        )
        for name, found in times.items()
    }


def _until_settled(address: str) -> float:
    started = time.perf_counter()
    while httpx.get(f"{address}/cases/bench/version", timeout=60).json()["working"]:
        time.sleep(0.1)
    httpx.get(f"{address}/cases/bench", timeout=60)
    return time.perf_counter() - started


async def _load(url: str, seconds: float) -> tuple[float, float]:
    """Ask over many connections for a while; return (requests a second, 99th percentile [ms])."""
    parts = urlsplit(url)
    request = (
        f"GET {parts.path} HTTP/1.1\r\nHost: {parts.netloc}\r\nAccept: text/html\r\n"
        "Accept-Encoding: gzip\r\n\r\n"
    ).encode()
    times: list[float] = []
    end = time.perf_counter() + seconds

    async def one() -> None:
        reader, writer = await asyncio.open_connection(parts.hostname, parts.port)
        while time.perf_counter() < end:
            started = time.perf_counter()
            writer.write(request)
            head = await reader.readuntil(b"\r\n\r\n")
            assert head.startswith(b"HTTP/1.1 200"), head[:80]
            length = next(
                int(line.split(b":")[1])
                for line in head.split(b"\r\n")
                if line.lower().startswith(b"content-length:")
            )
            await reader.readexactly(length)
            times.append(time.perf_counter() - started)
        writer.close()

    started = time.perf_counter()
    await asyncio.gather(*(one() for _ in range(CONNECTIONS)))
    return len(times) / (time.perf_counter() - started), 1000 * float(np.percentile(times, 99))


def _alone(url: str, count: int) -> float:
    times = []
    with httpx.Client(headers={"accept": "text/html"}) as client:
        for _ in range(count):
            started = time.perf_counter()
            client.get(url).raise_for_status()
            times.append(time.perf_counter() - started)
    return 1000 * float(np.percentile(times, 99))


def _fresh(shop: Any) -> tuple[float, float, float]:
    """Render the whole page again and again, without the store of finished pages.

    The first rendering after a start also translates the templates; it is given apart.
    """
    app = create_app(shop)
    scope = {
        "type": "http",
        "app": app,
        "path": "/cases/bench",
        "headers": [],
        "query_string": b"",
        "method": "GET",
        "server": ("127.0.0.1", 80),
        "scheme": "http",
        "state": {"viewer": Viewer("", "owner")},
    }
    request = Request(scope)
    bench = bench_of(request)
    looked = bench.desk.look("bench", wait_s=300)
    assert looked.current
    begun = time.perf_counter()
    render(request, "case.html", **strip_values(bench, "bench", looked))
    first = 1000 * (time.perf_counter() - begun)
    times, work = [], []
    for _ in range(300):
        started, busy = time.perf_counter(), time.thread_time()
        render(request, "case.html", **strip_values(bench, "bench", looked))
        times.append(time.perf_counter() - started)
        work.append(time.thread_time() - busy)
    bench.desk.close()
    slow, busy_ms = (1000 * float(np.percentile(row, 99)) for row in (times, work))
    return slow, busy_ms, first


def _weight(address: str) -> int:
    """Return the bytes of the page, its styles and its scripts as they go over the wire."""
    total = 0
    with httpx.Client(headers={"accept": "text/html", "accept-encoding": "gzip"}) as client:
        page = client.get(f"{address}/cases/bench")
        total += int(page.headers["content-length"])
        for found in set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)):
            total += int(client.get(address + found).headers["content-length"])
    return total


def _chart(address: str, base: str) -> dict[str, float]:
    query = "&".join(f"c={c}" for c in range(12))
    headers = {"accept-encoding": "gzip"}
    with httpx.Client(headers=headers, timeout=300) as client:
        client.get(f"{address}{base}")  # decoded once, as opening the page does
        started = time.perf_counter()
        first = client.get(f"{address}{base}/window?{query}&w=900")
        first_ms = 1000 * (time.perf_counter() - started)
        highest = max(h for t in first.json()["traces"] for h in t["hi"])
        assert highest == 99.0, "a spike of one sample in a million is still there"
        rng, times = np.random.default_rng(3), []
        for _ in range(20):
            a = rng.uniform(0, 900)
            b = a + 10 ** rng.uniform(-1, 2)
            started = time.perf_counter()
            client.get(f"{address}{base}/window?{query}&w=900&from={a}&to={b}").raise_for_status()
            times.append(1000 * (time.perf_counter() - started))
        script = client.get(f"{address}/static/chart.js")
        size = int(first.headers["content-length"]) + int(script.headers["content-length"])
    return {"first": first_ms, "zoom": float(np.median(times)), "worst": max(times), "bytes": size}


def _table(rows: list[tuple[str, ...]], seconds: float, rounds: int) -> str:
    load = os.getloadavg()[0]
    out = [
        "# The page's speed",
        "",
        f"One run on {platform.machine()}, {os.cpu_count()} cores, Python "
        f"{platform.python_version()}, load average {load:.1f} while it ran. {rounds} rounds of "
        f"{seconds:g} s each, in turn; "
        "medians. What counts are the ratios of one run.",
        "",
        "| " + " | ".join(rows[0]) + " |",
        "|" + "---|" * len(rows[0]),
        *("| " + " | ".join(row) + " |" for row in rows[1:]),
        "",
        f"The case has {ENTRIES} entries. The plain page reads its rows and renders them anew for "
        "every request; ours is rendered once a state of the case and sent compressed. Without "
        "that store it is rendered in the time given as “rendered anew”.",
        "",
    ]
    return "\n".join(out)


if __name__ == "__main__":
    main()
