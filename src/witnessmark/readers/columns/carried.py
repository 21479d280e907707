"""Recorders that refresh one column a row and carry the others forward.

Only what was measured anew is a reading; the carried values are marked, not dropped.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats

__all__ = ["repeated"]

Mask = npt.NDArray[np.bool_]
#: Fewer columns or rows than this show no pattern.
_LEAST_COLUMNS, _LEAST_ROWS = 3, 50


def repeated(columns: list[Floats]) -> list[Mask] | None:
    """Return for every column which cells were carried forward; ``None`` for other tables.

    The sign of such a table: from one row to the next at most one column changes, in all but
    one in a hundred rows, and many rows change something. Where every change of a column falls
    on the same place of a round of rows, that place is when it was asked for, changed or not.
    """
    if len(columns) < _LEAST_COLUMNS or columns[0].size < _LEAST_ROWS:
        return None
    changes = [_changes(column) for column in columns]
    together = np.sum(changes, axis=0, dtype=np.int64)
    if np.count_nonzero(together > 1) > 0.01 * together.size:
        return None
    if np.count_nonzero(together) < 0.1 * together.size:
        return None
    moving = sum(bool(c.any()) for c in changes)
    if moving < _LEAST_COLUMNS:
        return None
    return [~_asked(change, len(columns)) for change in changes]


def _changes(column: Floats) -> Mask:
    changed = np.empty(column.size, np.bool_)
    changed[0] = not np.isnan(column[0])
    before, after = column[:-1], column[1:]
    changed[1:] = (before != after) & ~np.isnan(after)
    return changed


def _asked(changed: Mask, columns: int) -> Mask:
    """Return the rows in which the column was asked for."""
    rows = np.flatnonzero(changed)
    if rows.size >= 2:
        for period in range(columns, 1, -1):
            if (rows % period == rows[0] % period).all():
                asked = np.zeros(changed.size, np.bool_)
                asked[rows[0] :: period] = True
                return asked
    # No fixed place: every change, and once a round in between.
    asked = changed.copy()
    index = np.arange(changed.size)
    last = np.maximum.accumulate(np.where(changed, index, -1))
    asked |= ((index - last) % columns == 0) & (last >= 0)
    return asked
