"""A thousand kills: what was said to be stored is stored, whatever moment the process dies at.

Run from the project's folder::

    python benchmarks/kills.py [--scale 1.0] [--seed 1]

Each kind of work runs in a process of its own that is killed with SIGKILL at a random moment and
started again on what it left. The worker says over a pipe what it has been told is stored; the
parent holds it to that. The table is written into benchmarks/kills.md.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import random
import re
import shutil
import signal
import socket
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import can
import httpx
from sqlalchemy import create_engine

from witnessmark.casebook.migrate import upgrade
from witnessmark.knowledge import load_knowledge
from witnessmark.readers import read_recording
from witnessmark.web.serving import serve
from witnessmark.workflow.case import uploads
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.keeping.backup import back_up, states
from witnessmark.workflow.keeping.check_shop import check_shop
from witnessmark.workflow.keeping.restore import restore
from witnessmark.workflow.recordings.record_bus import FLUSH_S, record

HERE = Path(__file__).resolve().parent
AT = "2026-03-02T08:00:00Z"
Say = Callable[[str], None]
#: One whole line of a drive as it is recorded.
_FRAME = re.compile(rb"\(\d+\.\d{6}\) \S+ [0-9A-F]{8}#[0-9A-F]{16}")


@dataclass
class Row:
    """One line of the table."""

    work: str
    kills: int
    said: int
    lost: int
    faults: int
    seconds: float


def killed(work: Callable[[Say], None], after_s: float) -> tuple[list[str], bool]:
    """Do *work* in a fork of this process, kill it, and return what it said was stored."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        code = 1
        try:
            work(lambda text: os.write(writing, f"{text}\n".encode()) and None)
            code = 0
        finally:
            os._exit(code)
    os.close(writing)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(reading, "rb") as pipe:
        said = pipe.read().decode(errors="replace").split("\n")
    # The last piece may be half a line: that was not said yet.
    return said[:-1], os.WIFSIGNALED(status)


def entries(folder: Path, kills: int, draw: random.Random) -> Row:
    """``case add``: every entry that was acknowledged is in the case, the chain holds."""
    begun = time.monotonic()
    shop = open_shop(folder / "shop", create=True)
    shop.new_case("c1")
    shop.close()
    said: set[str] = set()
    count = 0
    for number in range(kills):

        def work(say: Say, number: int = number) -> None:
            mine = open_shop(folder / "shop")
            for entry in range(100_000):
                name = f"k{number}-{entry}"
                mine.add("c1", "note", {"words": "x" * draw.randint(1, 3000)}, entry_id=name)
                say(name)

        acknowledged, hit = killed(work, draw.uniform(0.02, 0.15))
        said |= set(acknowledged)
        count += hit
    shop = open_shop(folder / "shop")
    stored = {e.id for e in shop.case("c1").entries}
    faults = len(check_shop(shop).faults)
    shop.close()
    return Row("case add", count, len(said), len(said - stored), faults, time.monotonic() - begun)


def originals(folder: Path, kills: int, draw: random.Random) -> Row:
    """Files taken in: whole under their digest, or not there."""
    begun = time.monotonic()
    open_shop(folder / "shop", create=True).close()
    said: set[str] = set()
    count = 0
    for number in range(kills):

        def work(say: Say, number: int = number) -> None:
            mine = open_shop(folder / "shop")
            for file in range(100_000):
                content = hashlib.sha256(f"{number}/{file}".encode()).digest() * 20_000
                say(mine.store_file(io.BytesIO(content), f"{number}-{file}.log"))

        acknowledged, hit = killed(work, draw.uniform(0.02, 0.2))
        said |= set(acknowledged)
        count += hit
    shop = open_shop(folder / "shop")
    shop.originals.sweep(older_than_s=0)
    lost = 0
    for name in said:
        path = folder / "shop" / "recordings" / name
        whole = path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == name
        lost += not whole
    found = check_shop(shop)
    shop.close()
    return Row("recording taken in", count, len(said), lost, len(found.faults), _since(begun))


def recorded(folder: Path, kills: int, draw: random.Random) -> Row:
    """``record``: every frame that was told a flush ago is in the file, which can be read."""
    begun = time.monotonic()
    count = said = lost = faults = 0
    every_s, knowledge = 1.2 * FLUSH_S, load_knowledge()
    for number in range(kills):
        out = folder / f"r{number}.log"

        def work(say: Say, number: int = number, out: Path = out) -> None:
            threading.Thread(target=_talk, args=(f"k{number}",), daemon=True).start()
            record(
                f"virtual:k{number}",
                out,
                every_s=every_s,
                knowledge=knowledge,
                tell=lambda progress: say(str(progress.frames)),
            )

        told, hit = killed(work, draw.uniform(1.0, 3.5))
        count += hit
        held = int(told[-2]) if len(told) > 1 else 0  # what came after it may wait for its flush
        said += held
        if not out.exists():
            lost += held > 0
            continue
        *whole, _ = out.read_bytes().split(b"\n")
        lost += len(whole) < held
        faults += any(_FRAME.fullmatch(line) is None for line in whole)
        if len(whole) > 10:
            faults += read_recording(out).frames < len(whole)
        out.unlink()
    return Row("record", count, said, lost, faults, _since(begun))


def _talk(channel: str) -> None:
    """Say an engine speed, hundreds of times a second, until the process ends."""
    data = bytes.fromhex("FF7D7DE02EFFFF7D")
    with can.Bus(interface="virtual", channel=channel) as bus:
        while True:
            bus.send(can.Message(time.time(), 0x0CF00400, True, data=data))
            time.sleep(0.002)


def sent(folder: Path, kills: int, draw: random.Random) -> Row:
    """Uploads: every byte that was acknowledged is there, and the upload goes on from it."""
    begun = time.monotonic()
    shop = open_shop(folder / "shop", create=True)
    shop.new_case("c1")
    content = draw.randbytes(6 << 20)
    upload = uploads.begin(shop, "c1", "pull.log", len(content))
    shop.close()
    lost = count = finished = said_bytes = 0
    for _ in range(kills):

        def work(say: Say, key: str = upload.id, content: bytes = content) -> None:
            mine = open_shop(folder / "shop")
            at = uploads.state(mine, key).received
            while at < len(content):
                at = uploads.take_piece(mine, key, at, content[at : at + 40_000]).received
                say(str(at))
            say("=" + uploads.finish(mine, key, hashlib.sha256(content).hexdigest())[1])

        acknowledged, hit = killed(work, draw.uniform(0.03, 0.4))
        count += hit
        shop = open_shop(folder / "shop")
        done = [a[1:] for a in acknowledged if a.startswith("=")]
        high = max((int(a) for a in acknowledged if not a.startswith("=")), default=0)
        said_bytes += len(acknowledged)
        try:
            here = uploads.state(shop, upload.id).received
            part = (folder / "shop" / "uploads" / f"{upload.id}.part").read_bytes()
            lost += here < high or part != content[:here]
        except Exception:
            name = hashlib.sha256(content).hexdigest()
            lost += shop.originals.path(name).read_bytes() != content
            done.append(name)
        if done:
            finished += 1
            (folder / "shop" / "recordings" / done[0]).unlink()
            content = draw.randbytes(6 << 20)
            uploads.sweep(shop)
            upload = uploads.begin(shop, "c1", "pull.log", len(content))
        shop.close()
    return Row(f"upload ({finished} finished)", count, said_bytes, lost, 0, _since(begun))


def backups(folder: Path, kills: int, draw: random.Random) -> Row:
    """Backups: every state that is there can be restored whole."""
    begun = time.monotonic()
    shop = open_shop(folder / "shop", create=True)
    for number in range(20):
        shop.new_case(f"c{number}", [entry_line("note", {"words": "x"}, entry_id="e", at=AT)])
        shop.store_file(io.BytesIO(draw.randbytes(100_000)), f"{number}.log")
    shop.close()
    said: set[str] = set()
    count = faults = 0
    for number in range(kills):

        def work(say: Say, number: int = number) -> None:
            mine = open_shop(folder / "shop")
            mine.store_file(io.BytesIO(draw.randbytes(100_000)), f"new{number}.log")
            for _ in range(100):
                say(back_up(mine, folder / "away").state)

        acknowledged, hit = killed(work, draw.uniform(0.05, 0.9))
        said |= set(acknowledged)
        count += hit
    there = {s.name for s in states(folder / "away")}
    for name in sorted(there)[-10:]:
        restore(folder / "away", folder / f"r-{name}", at=name)
        again = open_shop(folder / f"r-{name}")
        faults += len(check_shop(again).faults)
        again.close()
    return Row("backup", count, len(said), len(said - there), faults, _since(begun))


def restores(folder: Path, kills: int, draw: random.Random) -> Row:
    """Restores: the folder is whole, or not there."""
    begun = time.monotonic()
    shop = open_shop(folder / "shop", create=True)
    for number in range(40):
        shop.new_case(f"c{number}", [entry_line("note", {"words": "x"}, entry_id="e", at=AT)])
        shop.store_file(io.BytesIO(draw.randbytes(200_000)), f"{number}.log")
    back_up(shop, folder / "away")
    shop.close()
    count = faults = whole = 0
    for number in range(kills):
        made = folder / f"r{number}"
        _, hit = killed(
            lambda say, made=made: say(restore(folder / "away", made).state),
            draw.uniform(0.01, 1.0),
        )
        count += hit
        if made.exists():
            whole += 1
            again = open_shop(made)
            faults += len(check_shop(again).faults) + (len(again.list_cases()) != 40)
            again.close()
            shutil.rmtree(made)
    restore(folder / "away", folder / "last")
    return Row(f"restore ({whole} whole)", count, 0, 0, faults, _since(begun))


def migrations(folder: Path, kills: int, draw: random.Random) -> Row:
    """Bringing an old casebook up to date: it is old or new, with every line."""
    begun = time.monotonic()
    old = folder / "old.sqlite"
    with create_engine(f"sqlite:///{old}").begin() as connection:
        upgrade(connection, "0001")
        for case in range(60):
            connection.exec_driver_sql("INSERT INTO cases VALUES (?, ?)", (f"c{case}", AT))
            for place in range(40):
                line = entry_line("note", {"words": "x" * 200}, entry_id=f"e{place}", at=AT)
                connection.exec_driver_sql(
                    "INSERT INTO lines VALUES (?, ?, ?, ?, ?, NULL)",
                    (f"c{case}", place, f"e{place}", line, AT),
                )
    count = lost = faults = 0
    for number in range(kills):
        made = folder / f"m{number}"
        made.mkdir()
        shutil.copyfile(old, made / "casebook.sqlite")
        _, hit = killed(lambda _, made=made: open_shop(made).close(), draw.uniform(0.01, 1.2))
        count += hit
        again = open_shop(made)
        with closing(sqlite3.connect(made / "casebook.sqlite")) as raw:
            lost += 2400 - int(raw.execute("SELECT count(*) FROM lines").fetchone()[0])
        faults += len(check_shop(again).faults)
        again.close()
        shutil.rmtree(made)
    return Row("change of version", count, 2400 * kills, lost, faults, _since(begun))


def pages(folder: Path, kills: int, draw: random.Random) -> Row:
    """The page: every entry it said was saved is in the case after the server was killed."""
    begun = time.monotonic()
    shop = open_shop(folder / "shop", create=True)
    shop.new_case("c1")
    shop.close()
    said: list[str] = []
    count = tries = 0
    for number in range(kills):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        child = os.fork()
        if child == 0:
            try:
                serve(open_shop(folder / "shop"), port=port, say=lambda _: None)
            finally:
                os._exit(0)
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30) as client:
            end = time.monotonic() + 120  # until it is up
            first = True
            while time.monotonic() < end:
                tries += 1
                name = f"p{number}-{tries}"
                body = {"kind": "note", "id": name, "data": {"words": "x"}}
                try:
                    if client.post("/api/cases/c1/entries", json=body).status_code == 201:
                        said.append(name)
                        if first:
                            first = False
                            end = time.monotonic() + draw.uniform(0.05, 1.0)
                            threading.Timer(end - time.monotonic(), os.kill, (child, 9)).start()
                except httpx.TransportError:
                    time.sleep(0.02)
        _, status = os.waitpid(child, 0)
        count += os.WIFSIGNALED(status)
    shop = open_shop(folder / "shop")
    stored = {e.id for e in shop.case("c1").entries}
    faults = len(check_shop(shop).faults)
    shop.close()
    return Row("page", count, len(said), len(set(said) - stored), faults, _since(begun))


WORK: tuple[tuple[Callable[[Path, int, random.Random], Row], int], ...] = (
    (entries, 400),
    (originals, 150),
    (recorded, 100),
    (sent, 150),
    (backups, 110),
    (restores, 210),
    (migrations, 100),
    (pages, 40),
)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--scale", type=float, default=1.0)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="", help="this work alone; the other rows stay")
    given = asked.parse_args()
    rows = []
    for work, kills in (w for w in WORK if given.only in {"", w[0].__name__}):
        with tempfile.TemporaryDirectory() as folder:
            draw = random.Random(given.seed)  # noqa: S311 - drawn moments, no secret
            rows.append(work(Path(folder), max(1, round(kills * given.scale)), draw))
        print(rows[-1], flush=True)
    table = HERE / "kills.md"
    held = _rows(table) if given.only and table.exists() else {}
    for row in rows:
        held[row.work.split(" (")[0]] = row
    lines = [
        "# Kills",
        "",
        "`python benchmarks/kills.py` made this table: SIGKILL at a random moment of each work; "
        "*said* is what the work was told is stored, *lost* what of it was not there afterwards, "
        "*faults* what `witnessmark check` found (every digest, every link of the chain).",
        "",
        f"{sum(r.kills for r in held.values())} kills in all (those that hit: a work that was "
        "done before its moment is not counted).",
        "",
        "| work | kills | said to be stored | lost | faults |",
        "|---|---:|---:|---:|---:|",
    ]
    lines += [f"| {r.work} | {r.kills} | {r.said} | {r.lost} | {r.faults} |" for r in held.values()]
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _rows(table: Path) -> dict[str, Row]:
    """Return the rows of a table that an earlier run wrote."""
    found = {}
    for line in table.read_text(encoding="utf-8").splitlines():
        cells = [c.strip() for c in line.strip("|").split("|")]
        if len(cells) == 5 and cells[1].isdigit():
            name = cells[0].split(" (")[0]
            found[name] = Row(cells[0], *map(int, cells[1:]), seconds=0.0)
    return found


def _since(begun: float) -> float:
    return time.monotonic() - begun


if __name__ == "__main__":
    main()
