"""Reminding of the backup: a book that nobody copies is lost with its disk."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.keeping.backup import last_backup

__all__ = ["backup_reminder"]

_DUE = timedelta(days=2)


def backup_reminder(shop: Shop) -> str:
    """Return what to say about the backup, empty when one was made lately or nothing is old."""
    if not shop.casebook.database.is_file:
        return ""  # a server has backups of its own
    now = datetime.now(UTC)
    made = last_backup(shop)
    if made is not None:
        age = abs(now - made)  # a clock that went backwards makes no backup younger
        return "" if age <= _DUE else f"The last backup is {age.days} days old."
    first = shop.casebook.first_opened()
    if first is None or now - datetime.fromisoformat(first) <= _DUE:
        return ""
    return "There is no backup of this shop yet."
