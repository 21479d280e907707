"""``witnessmark erase``."""

from witnessmark.cli.for_shop.keeping_commands import erase as command

__all__ = ["command"]
