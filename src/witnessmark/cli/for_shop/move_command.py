"""``witnessmark move``."""

from witnessmark.cli.for_shop.keeping_commands import move as command

__all__ = ["command"]
