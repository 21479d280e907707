"""``witnessmark backup``."""

from witnessmark.cli.for_shop.keeping_commands import backup as command

__all__ = ["command"]
