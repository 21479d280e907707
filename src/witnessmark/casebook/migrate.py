"""Bringing a casebook to the present version, one numbered migration after the other."""

from __future__ import annotations

from importlib.resources import files

import alembic.command
import alembic.config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

__all__ = ["known_versions", "upgrade"]


def upgrade(connection: Connection, to: str = "head") -> None:
    """Run the migrations that are still missing, in the transaction of *connection*."""
    config = _config()
    config.attributes["connection"] = connection
    alembic.command.upgrade(config, to)


def known_versions() -> set[str]:
    """Return the numbers of all migrations."""
    scripts = ScriptDirectory.from_config(_config())
    return {script.revision for script in scripts.walk_revisions()}


def _config() -> alembic.config.Config:
    config = alembic.config.Config()
    folder = files("witnessmark.casebook") / "migrations"
    config.set_main_option("script_location", str(folder))
    return config
