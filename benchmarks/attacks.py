"""The doors at full strength: a thousand connections that say nothing, guesses, floods of polls.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/attacks.py [COUNT]

A shop is served by a process of its own with TLS and passphrases; the attackers come from many
addresses of 127.0.0.0/8, all bounded in number and time. *Lost* counts what a signed-in user was
refused meanwhile, *door opened* what an attacker got that he should not have. The table is written
into benchmarks/attacks.md.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import httpx

from web.attackers import (
    Served,
    close_all,
    listeners,
    polls,
    serving,
    slow_connections,
    still_open,
    wrong_passphrases,
)
from witnessmark.web.door.doors import COOKIE
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop

HERE = Path(__file__).resolve().parent


@dataclass
class Row:
    """One line of the table."""

    attack: str
    tries: int
    lost: int
    opened: int
    said: str


def user(client: httpx.Client, tries: int = 10) -> tuple[int, float]:
    """Return how often a signed-in user was refused, and his median wait [s]."""
    lost, waits = 0, []
    for _ in range(tries):
        begun = time.monotonic()
        try:
            lost += client.get("/cases/oil").status_code != 200
        except httpx.TransportError:
            lost += 1
        waits.append(time.monotonic() - begun)
    return lost, statistics.median(waits)


def guesses(served: Served, count: int) -> Row:
    """Wrong passphrases, forty at once from one address, then from many."""
    before = served.memory()
    first = wrong_passphrases(served, 40, "127.0.0.2")
    grown = served.memory() - before
    with served.client("127.0.0.3") as other:
        lost = served.sign_in(other, served.shop_passphrase).status_code != 303
    many: Counter[int] = Counter()
    for source in range(count // 40):
        many += wrong_passphrases(served, 10, f"127.0.7.{1 + source % 200}")
    opened = first[303] + many[303]
    said = f"one address: {first[403]} x 403, {first[429]} x 429; memory {grown >> 20:+d} MiB"
    return Row("wrong passphrases", 40 + many.total(), int(lost), opened, said)


def slow(kind: str, sources: int) -> Callable[[Served, int], Row]:
    """Connections that stop in the middle of something."""

    def work(served: Served, count: int) -> Row:
        with served.signed_in("127.0.0.20") as client:
            opened, away = slow_connections(served, count, sources, kind)
            lost, wait = user(client)
            held = still_open(opened)
            close_all(opened)
        words = f"{held} held open, {away} turned away, the user's median wait {wait:.2f} s"
        return Row(f"slow {kind}, {sources} addresses", count, lost, 0, words)

    return work


def anonymous_polls(served: Served, count: int) -> Row:
    """Polls of somebody who is not signed in."""
    found = polls(served, count, "/cases/oil/version")
    return Row("polls, not signed in", found.total(), 0, found[200], f"{dict(found)}")


def signed_polls(served: Served, count: int) -> Row:
    """Polls and event streams of somebody who is."""
    with served.signed_in("127.0.0.22") as client:
        cookie = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
        opened = listeners(served, count // 3, "/cases/oil/events", cookie)
        lost, wait = user(client)
        found = polls(served, count, "/cases/oil/version", client.cookies)
        close_all(opened)
    lost += found.total() - found[200]
    words = f"{len(opened)} streams beside them, the user's median wait {wait:.2f} s"
    return Row("polls and streams, signed in", found.total(), lost, 0, words)


def forged(served: Served, count: int) -> Row:
    """Sessions, links and devices that nobody gave out."""
    opened = 0
    with served.client("127.0.0.40") as client:
        for number in range(min(count, 300)):
            client.cookies.set(COOKIE, f"{number:x}" * 8)
            opened += client.get("/").status_code == 200
            client.cookies.clear()
            opened += client.get(f"/c/{number:032d}").status_code == 200
    return Row("forged sessions and links", 2 * min(count, 300), 0, opened, "")


def other_names(served: Served, _: int) -> Row:
    """Host names, origins and forwarded addresses that are not ours."""
    opened = 0
    names = ("evil.example", "127.0.0.1.evil.example", "evil@127.0.0.1", "", "[::1", "0x7f000001")
    with served.signed_in("127.0.0.41") as client:
        for name in names:
            opened += client.get("/", headers={"host": name}).status_code == 200
        for origin in ("https://evil.example", "null", "https://127.0.0.1"):
            answer = client.post(
                "/cases/oil/add/note", data={"words": "x"}, headers={"origin": origin}
            )
            opened += answer.status_code == 303
    statuses = []
    for number in range(10):
        with served.client("127.0.0.42") as client:
            client.headers["x-forwarded-for"] = f"192.0.2.{number}"
            statuses.append(served.sign_in(client, "wrong-again").status_code)
    opened += statuses.count(403) > 5
    return Row("foreign Host, Origin, forwarded address", len(names) + 3 + 10, 0, opened, "")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    work: list[Callable[[Served, int], Row]] = [guesses]
    work += [slow(k, n) for k in ("handshake", "head", "body") for n in (1, 100)]
    work += [anonymous_polls, signed_polls, forged, other_names]
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        complaint = {"words": "oil pressure low at idle (invented)", "families": ["oil_press"]}
        shop.new_case("oil", [entry_line("complaint", complaint, entry_id="c1")])
        shop.close()
        with serving(Path(folder) / "shop") as served:
            for one in work:
                begun = time.monotonic()
                rows.append(one(served, count))
                print(rows[-1], f"{time.monotonic() - begun:.0f} s", flush=True)
            alive = served.child.poll() is None
    text = [
        "# Attacks on the doors",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/attacks.py {count}` made this table, on a "
        "machine with two cores that had other work to do; the waits are of that machine. The "
        f"server {'was alive' if alive else 'HAD ENDED'} at the end.",
        "",
        "| attack | tries | lost | door opened | |",
        "|---|---:|---:|---:|---|",
        *(f"| {r.attack} | {r.tries} | {r.lost} | {r.opened} | {r.said} |" for r in rows),
    ]
    (HERE / "attacks.md").write_text("\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
