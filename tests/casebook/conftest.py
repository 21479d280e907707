"""A real PostgreSQL for the tests of the casebook."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest


@pytest.fixture(scope="session")
def postgresql_binaries() -> Path:
    """The folder of PostgreSQL's own programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    if initdb := shutil.which("initdb"):
        return Path(initdb).parent
    pytest.skip("PostgreSQL is not installed here")


@pytest.fixture(scope="session")
def postgresql_server(
    tmp_path_factory: pytest.TempPathFactory, postgresql_binaries: Path
) -> Iterator[Path]:
    """Start a PostgreSQL of our own on a socket in a folder of its own."""
    folder = tmp_path_factory.mktemp("postgresql")
    control = _server(folder, postgresql_binaries)
    yield folder
    control("stop")


@pytest.fixture
def own_postgresql(
    tmp_path_factory: pytest.TempPathFactory, postgresql_binaries: Path
) -> Iterator[tuple[str, Callable[[str], None]]]:
    """A server of this test alone, and the handle to stop and start it."""
    folder = tmp_path_factory.mktemp("postgresql")
    control = _server(folder, postgresql_binaries)
    yield f"postgresql+psycopg://shop@/postgres?host={folder}", control
    control("stop")


def _server(folder: Path, binaries: Path) -> Callable[[str], None]:
    as_owner: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        if shutil.which("runuser") is None:
            pytest.skip("PostgreSQL cannot be started as root without runuser")
        shutil.chown(folder, "nobody")
        for parent in folder.parents:
            if parent.stat().st_uid == 0 and parent != Path("/"):
                parent.chmod(parent.stat().st_mode | 0o011)
        as_owner = ["runuser", "-u", "nobody", "--"]
    data = folder / "data"

    def run(*command: object) -> None:
        words = [*as_owner, *map(str, command)]
        subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT, check=True)

    run(binaries / "initdb", "-D", data, "-U", "shop", "-A", "trust", "-E", "UTF8", "--locale=C")
    options = f"-k {folder} -c listen_addresses='' -c fsync=off"

    def control(verb: str) -> None:
        words = [binaries / "pg_ctl", "-D", data, "-w"]
        if verb != "start":
            words += ["-m", "immediate"]
        if verb != "stop":
            words += ["-l", folder / "log", "-o", options]
        run(*words, verb)

    control("start")
    return control


@pytest.fixture
def postgresql_url(postgresql_server: Path, request: pytest.FixtureRequest) -> str:
    """Return the address of an empty database."""
    name = f"t{abs(hash(request.node.nodeid))}"
    with psycopg.connect(
        host=str(postgresql_server), user="shop", dbname="postgres", autocommit=True
    ) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return f"postgresql+psycopg://shop@/{name}?host={postgresql_server}"
