"""A real PostgreSQL for the tests of the casebook."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest


@pytest.fixture(scope="session")
def postgresql_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Start a PostgreSQL of our own on a socket in a folder of its own."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    binaries = found[-1].parent if found else None
    if binaries is None and (initdb := shutil.which("initdb")):
        binaries = Path(initdb).parent
    if binaries is None:
        pytest.skip("PostgreSQL is not installed here")
    folder = tmp_path_factory.mktemp("postgresql")
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
    control = (binaries / "pg_ctl", "-D", data, "-w")
    run(*control, "-l", folder / "log", "-o", options, "start")
    yield folder
    run(*control, "-m", "immediate", "stop")


@pytest.fixture
def postgresql_url(postgresql_server: Path, request: pytest.FixtureRequest) -> str:
    """Return the address of an empty database."""
    name = f"t{abs(hash(request.node.nodeid))}"
    with psycopg.connect(
        host=str(postgresql_server), user="shop", dbname="postgres", autocommit=True
    ) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return f"postgresql+psycopg://shop@/{name}?host={postgresql_server}"
