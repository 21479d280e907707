"""One book on a server: moved there and back, several servers, several shops, and its loss."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import create_engine
from sqlalchemy.exc import DBAPIError

from patience import PATIENCE_S
from witnessmark.casebook.migrate import upgrade
from witnessmark.casebook.store import Casebook
from witnessmark.errors import InputRefused, StorageBusy, StorageFault, WitnessmarkError
from witnessmark.workflow.case import locks
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.keeping.backup import back_up
from witnessmark.workflow.keeping.check_shop import check_shop
from witnessmark.workflow.keeping.move import export_digest, move_between
from witnessmark.workflow.keeping.restore import restore

ROOT = Path(__file__).resolve().parents[2]
AT = "2026-03-02T08:00:00Z"


def note(identity: str, words: str = "x") -> str:
    return entry_line("note", {"words": words}, entry_id=identity, at=AT)


def as_role(url: str, role: str) -> str:
    return url.replace("//shop@", f"//{role}@")


def raw(url: str) -> psycopg.Connection:
    return psycopg.connect(url.replace("+psycopg", ""), autocommit=True)


def test_a_book_moves_to_a_server_and_back_byte_for_byte(
    tmp_path: Path, postgresql_url: str, apart
) -> None:
    shop = open_shop(tmp_path / "shop", create=True)
    odd = ['{"kind":"note" , "id":"e1","at":"2026-03-02T08:00:00Z","data":{"words":"ü  – µ"}}']
    shop.new_case("b-second", [*odd, "{damaged", note("e2")])
    shop.new_case("a-first", [note("e1", "\\u0000"[:1] + " backslash")])
    shop.casebook.set_setting("figures", {"labour_usd_per_hour": 161.5})
    shop.casebook.attach("a-first", "e1", "a" * 64)
    before = export_digest(shop.casebook)
    exports = {c: shop.export(c) for c in ("a-first", "b-second")}
    shop.close()
    run = apart("move", tmp_path / "shop", postgresql_url)
    assert run.returncode == 0, run.stderr
    assert before[:16] in run.stdout
    again = apart("move", tmp_path / "shop", postgresql_url)
    assert again.returncode == 2
    assert "holds cases already" in again.stderr
    assert move_between(postgresql_url, str(tmp_path / "back"), "").export == before
    back = open_shop(tmp_path / "back")
    assert {c: back.export(c) for c in exports} == exports
    assert [r.id for r in back.list_cases()] == ["a-first", "b-second"]
    assert back.casebook.setting("figures") == {"labour_usd_per_hour": 161.5}
    assert back.casebook.attachments("a-first") == {"e1": "a" * 64}
    assert check_shop(back).faults == () or all(
        "missing" in p.what for p in check_shop(back).faults
    )
    back.close()
    book = Casebook(postgresql_url)
    book.append("a-first", [note("new")])
    assert book.cases()[0].id == "a-first"
    book.close()


def test_two_shops_in_one_database_see_nothing_of_each_other(postgresql_url: str) -> None:
    Casebook(postgresql_url).close()
    text = (ROOT / "docs" / "many_sites.md").read_text(encoding="utf-8")
    (grants,) = re.findall(r"```sql\n(.*?)```", text, re.DOTALL)
    roles = {"yard_one": "yard-1", "yard_two": "yard-2"}
    with raw(postgresql_url) as connection:
        for role, shop in roles.items():
            connection.execute(f"DROP ROLE IF EXISTS {role}".encode())
            connection.execute(grants.replace("yard_one", role).replace("yard-1", shop).encode())
    try:
        books = {r: Casebook(as_role(postgresql_url, r), shop=s) for r, s in roles.items()}
        for role, book in books.items():
            book.new_case("same-name", [note("e1", f"of {role}")])
            book.set_setting("figures", {"source": role})
        for role, book in books.items():
            assert [c.id for c in book.cases()] == ["same-name"]
            assert role in book.lines("same-name")[0]
            assert book.setting("figures") == {"source": role}
            book.close()
        # Asking for the other's rows by name, or for no shop at all, changes nothing.
        lying = Casebook(as_role(postgresql_url, "yard_one"), shop="yard-2")
        assert "of yard_one" in lying.lines("same-name")[0]
        with lying.database.write() as connection:
            for statement in (
                "UPDATE settings SET value = '1' WHERE shop = 'yard-2'",
                "DELETE FROM settings WHERE shop = 'yard-2'",
            ):
                assert connection.exec_driver_sql(statement).rowcount == 0
        with pytest.raises((DBAPIError, WitnessmarkError)), lying.database.write() as connection:
            connection.exec_driver_sql(
                "INSERT INTO settings (shop, key, value, changed) VALUES ('yard-2','x','1','')"
            )
        with pytest.raises((DBAPIError, WitnessmarkError)), lying.database.write() as connection:
            connection.exec_driver_sql("INSERT INTO shop_roles VALUES ('yard_one', 'yard-2')")
        lying.close()
        with pytest.raises(InputRefused, match="sees the rows of every shop"):
            Casebook(postgresql_url)
    finally:
        with raw(postgresql_url) as connection:
            for role in roles:
                connection.execute(f"DROP OWNED BY {role}; DROP ROLE {role}".encode())


def test_two_servers_on_one_book_keep_everything_and_share_the_locks(
    tmp_path: Path, postgresql_url: str
) -> None:
    shops = [
        open_shop(tmp_path / f"server-{n}", create=True, database=postgresql_url) for n in (1, 2)
    ]
    shops[0].new_case("c1")
    faults: list[BaseException] = []

    def write(number: int) -> None:
        try:
            for entry in range(25):
                shops[number % 2].append("c1", [note(f"w{number}-{entry}")])
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)
    assert faults == []
    assert shops[1].casebook.count("c1") == 200
    assert check_shop(shops[0]).faults == ()
    locks.set_passphrase(shops[0], "technician", "four-lazy-pistons-sang")
    who = locks.sign_in(shops[1], "A. Example", "four-lazy-pistons-sang")
    assert who is not None
    token = locks.session_token(shops[0], who)
    assert locks.read_session(shops[1], token) == ("A. Example", "technician")
    locks.end_session(shops[1], token)
    assert locks.read_session(shops[0], token) is None
    for shop in shops:
        shop.close()


def test_the_server_goes_away_in_the_middle_of_writing(
    own_postgresql: tuple[str, Callable[[str], None]],
) -> None:
    url, control = own_postgresql
    book = Casebook(url)
    book.new_case("c1")
    said: list[str] = []
    refused: list[WitnessmarkError] = []
    faults: list[BaseException] = []
    stop = threading.Event()

    def write(number: int) -> None:
        entry = 0
        while not stop.is_set():
            name = f"w{number}-{entry}"
            try:
                book.append("c1", [note(name)])
                said.append(name)
                entry += 1
            except StorageFault as error:
                refused.append(error)  # the same entry is sent again
            except BaseException as error:
                faults.append(error)
                return

    threads = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for _ in range(3):
        time.sleep(1)
        control("restart")
    control("stop")
    end = time.monotonic() + PATIENCE_S
    while not refused and time.monotonic() < end:
        time.sleep(0.2)
    control("start")
    count = len(said)
    while len(said) < count + 20 and time.monotonic() < end + PATIENCE_S:
        time.sleep(0.2)
    stop.set()
    for thread in threads:
        thread.join(PATIENCE_S)
    assert faults == []
    assert refused
    assert isinstance(refused[0], StorageBusy)
    assert "cannot be reached" in refused[0].what
    ids = [e.id for e in book.case("c1").entries]
    assert set(said) <= set(ids), "nothing that was acknowledged is lost"
    assert len(ids) == len(set(ids)), "nothing is stored twice"
    assert len(said) > count
    book.close()


def test_an_old_database_is_brought_up_to_date_by_one_of_several(
    tmp_path: Path, postgresql_url: str
) -> None:
    with create_engine(postgresql_url).begin() as connection:
        upgrade(connection, "0001")
        for case in ("a", "b"):
            connection.exec_driver_sql("INSERT INTO cases (id, opened) VALUES (%s, %s)", (case, AT))
            for position in range(50):
                connection.exec_driver_sql(
                    "INSERT INTO lines (case_id, position, entry_id, line, added) "
                    "VALUES (%s, %s, %s, %s, %s)",
                    (case, position, f"e{position}", note(f"e{position}"), AT),
                )
    code = (
        "import sys\nfrom witnessmark.casebook.store import Casebook\n"
        "book = Casebook(sys.argv[1])\nprint(book.count('a'))\n"
        "book.append('a', [sys.argv[2]])\n"
    )
    children = [
        subprocess.Popen(
            [sys.executable, "-c", code, postgresql_url, note(f"new{n}")],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        )
        for n in range(3)
    ]
    for child in children:
        _, trouble = child.communicate(timeout=PATIENCE_S)
        assert child.returncode == 0, trouble
    shop = open_shop(tmp_path / "shop", create=True, database=postgresql_url)
    assert shop.casebook.count("a") == 53
    assert check_shop(shop).faults == ()
    back_up(shop, tmp_path / "away")
    shop.close()
    restore(tmp_path / "away", tmp_path / "again")
    again = open_shop(tmp_path / "again")
    assert again.casebook.count("a") == 53
    assert check_shop(again).faults == ()
    again.close()


def test_the_servers_own_tools_back_it_up(
    tmp_path: Path, postgresql_url: str, postgresql_binaries: Path
) -> None:
    book = Casebook(postgresql_url)
    book.new_case("c1", [note(f"e{n}") for n in range(30)])
    before = export_digest(book)
    book.close()
    plain = postgresql_url.replace("+psycopg", "")
    dump = tmp_path / "book.dump"
    subprocess.run(
        [postgresql_binaries / "pg_dump", "-Fc", "-f", dump, plain], check=True, timeout=PATIENCE_S
    )
    with raw(postgresql_url) as connection:
        connection.execute(b"CREATE DATABASE again")
    name = plain.split("@/")[1].split("?")[0]
    target = plain.replace(f"/{name}?", "/again?")
    subprocess.run(
        [postgresql_binaries / "pg_restore", "-d", target, dump], check=True, timeout=PATIENCE_S
    )
    again = Casebook(target.replace("postgresql:", "postgresql+psycopg:"))
    assert export_digest(again) == before
    again.append("c1", [note("later")])
    again.close()
