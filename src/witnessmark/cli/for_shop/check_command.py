"""``witnessmark check``."""

from witnessmark.cli.for_shop.keeping_commands import check as command

__all__ = ["command"]
