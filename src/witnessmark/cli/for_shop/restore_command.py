"""``witnessmark restore``."""

from witnessmark.cli.for_shop.keeping_commands import restore as command

__all__ = ["command"]
