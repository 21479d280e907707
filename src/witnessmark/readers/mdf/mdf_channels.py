"""Already decoded channels in MDF 4 files."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel, Flag, Floats, Recording
from witnessmark.readers.columns.column_names import heading
from witnessmark.readers.columns.named_channels import channel_of, renamed
from witnessmark.readers.files.keep import Keeper
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.honesty import oddities
from witnessmark.readers.logs.timeline import Timeline
from witnessmark.readers.mdf.mdf_blocks import ChannelBlock, Conversion, DataGroup, Mdf, RecordGroup
from witnessmark.readers.mdf.mdf_records import raw_field, records
from witnessmark.readers.tables.table_kinds import is_waveform, steady_rate

__all__ = ["decoded_channels", "has_channels"]

Bytes2 = npt.NDArray[np.uint8]
#: Bytes of records and channels that stay in memory.
_IN_MEMORY = 512 * 2**20
_MASTER = {2, 3}
#: Data types of numbers: unsigned, signed and floating, either byte order.
_NUMBERS = {0, 1, 2, 3, 4, 5}


def has_channels(group: RecordGroup) -> bool:
    """Say whether a group holds decoded numbers."""
    if group.variable or not group.size:
        return False
    return any(_is_number(c) for c in group.channels)


def decoded_channels(mdf: Mdf, groups: list[DataGroup], source: FileSource) -> Recording | None:
    """Return the decoded channels of the file, ``None`` where there are none."""
    channels: list[Channel] = []
    taken: set[str] = set()
    rows_read = 0
    held: list[tuple[RecordGroup, Bytes2]] = []
    keeper = Keeper(_IN_MEMORY)
    masters = {g.master_link for group in groups for g in group.groups}
    for group in groups:
        wanted = [g for g in group.groups if has_channels(g) or g.link in masters]
        if not wanted:
            continue
        pieces: dict[int, list[npt.NDArray[np.uint8]]] = {}
        for found in records(mdf, group):
            for one in found:
                if one.group in wanted:
                    pieces.setdefault(one.group.number, []).append(keeper.array(one.rows))
        for one_group in wanted:
            parts = pieces.get(one_group.number)
            if parts:
                held.append((one_group, keeper.array(np.concatenate(parts))))
        if not masters - {0}:
            rows_read += _take(held, channels, source, taken, keeper)
    rows_read += _take(held, channels, source, taken, keeper)
    if not channels:
        return None
    start = min(float(c.time_s[0]) for c in channels)
    end = max(float(c.time_s[-1]) for c in channels)
    if start:
        channels = [replace(c, time_s=c.time_s - start) for c in channels]
    wave = [c for c in channels if c.rate_hz is not None]
    kind = "waveform" if wave and len(wave) == len(channels) else "table"
    flags: list[Flag] = []
    if kind == "table":
        channels, flags = oddities.checked(channels, source.trouble, keeper)
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="waveform" if kind == "waveform" else "table",
        format="MF4 channels",
        duration_s=end - start,
        channels=tuple(channels),
        flags=tuple(flags),
        problems=source.trouble.problems(),
        frames=rows_read,
        facts={"epoch_s": mdf.started_ns * 1e-9},
    )


def _take(
    held: list[tuple[RecordGroup, Bytes2]],
    channels: list[Channel],
    source: FileSource,
    taken: set[str],
    keeper: Keeper,
) -> int:
    """Turn the records that are held into channels; return how many records there were."""
    count = 0
    by_link = {group.link: (group, rows) for group, rows in held}
    for group, rows in held:
        timed = by_link.get(group.master_link, (group, rows))
        if has_channels(group):
            count += rows.shape[0] if timed[0] is group else 0
            channels += [keeper.channel(c) for c in _of_group(group, rows, timed, source, taken)]
        else:
            count += rows.shape[0]  # the times of other groups
    held.clear()
    return count


def _time_of(group: RecordGroup, rows: Bytes2) -> Floats | None:
    master = next((c for c in group.channels if c.kind in _MASTER and c.sync in {0, 1}), None)
    if master is None:
        return None
    counted = np.arange(rows.shape[0], dtype=np.float64)
    return _converted(counted if master.kind == 3 else _values(rows, master), master.conversion)


def _of_group(
    group: RecordGroup,
    rows: Bytes2,
    timed: tuple[RecordGroup, Bytes2],
    source: FileSource,
    taken: set[str],
) -> list[Channel]:
    time = _time_of(*timed)
    if time is not None and time.size != rows.shape[0]:
        least = min(time.size, rows.shape[0])
        source.trouble.add("torn", "Some channels end before their times, or their times before.")
        time, rows = time[:least], rows[:least]
    if time is None or not np.isfinite(time).all() or not time.size:
        source.trouble.add("no master", "Some channels have no time; they are left out.")
        return []
    timeline = Timeline(source.trouble, what="samples")
    time = timeline.repaired(np.clip(time, -1e11, 1e11))
    timeline.report()
    order = np.argsort(time, kind="stable") if timeline.unordered else None
    if order is not None:
        time = time[order]
    rate = steady_rate(time)
    found = []
    for number, block in enumerate(group.channels):
        if not _is_number(block):
            continue
        values = _converted(_values(rows, block), block.conversion)
        if values is None:
            source.trouble.add(
                "formula", "{count} channels are given by a formula; they are not read."
            )
            continue
        missing = _invalid(rows, group, block)
        if missing is not None:
            values = np.where(missing, np.nan, values)
        if order is not None:
            values = values[order]
        name = block.name.split("\\")[0]
        one = renamed(heading(name, block.unit), number, taken)
        wave = rate if is_waveform(rate, [one]) else None
        found.append(channel_of(one, values.astype(np.float64), time, wave))
    return found


def _is_number(block: ChannelBlock) -> bool:
    if block.kind not in {0, 4, 6} or block.data_type not in _NUMBERS or not 0 < block.bits <= 64:
        return False
    return block.name != "" and not (block.data_type in {4, 5} and block.bits not in {16, 32, 64})


def _values(rows: npt.NDArray[np.uint8], block: ChannelBlock) -> Floats:
    raw = raw_field(rows, block)
    if block.data_type in {4, 5}:
        if block.bits == 64:
            return raw.view(np.float64)
        if block.bits == 32:
            return raw.astype(np.uint32).view(np.float32).astype(np.float64)
        return raw.astype(np.uint16).view(np.float16).astype(np.float64)
    if block.data_type in {2, 3}:
        if block.bits == 64:
            return raw.view(np.int64).astype(np.float64)
        signed = raw.astype(np.int64)
        return np.where(signed >= 1 << (block.bits - 1), signed - (1 << block.bits), signed).astype(
            np.float64
        )
    return raw.astype(np.float64)


def _converted(values: Floats, conversion: Conversion | None) -> Floats | None:
    """Apply a conversion; ``None`` for formulas. Texts for numbers leave the numbers."""
    if conversion is None or conversion.kind in {0, 7, 8, 9, 10}:
        return values
    n = conversion.numbers
    if conversion.kind == 1 and len(n) >= 2:
        return values * n[1] + n[0]
    if conversion.kind == 2 and len(n) >= 6:
        with np.errstate(all="ignore"):
            top = n[0] * values**2 + n[1] * values + n[2]
            result: Floats = top / (n[3] * values**2 + n[4] * values + n[5])
        return result
    if conversion.kind in {4, 5} and len(n) >= 4:
        keys, results = np.array(n[0::2]), np.array(n[1::2])
        count = min(keys.size, results.size)
        keys, results = keys[:count], results[:count]
        if conversion.kind == 4:
            return np.asarray(np.interp(values, keys, results), np.float64)
        middle = (keys[:-1] + keys[1:]) / 2
        return np.asarray(results[np.searchsorted(middle, values)], np.float64)
    if conversion.kind == 6 and len(n) >= 4:
        found = np.full(values.shape, n[-1])
        for at in range(0, len(n) - 3, 3):
            found[(values >= n[at]) & (values <= n[at + 1])] = n[at + 2]
        return found
    return None


def _invalid(
    rows: npt.NDArray[np.uint8], group: RecordGroup, block: ChannelBlock
) -> npt.NDArray[np.bool_] | None:
    if block.flags & 1:
        return np.ones(rows.shape[0], np.bool_)
    if not block.flags & 2 or not group.invalid_size:
        return None
    byte = group.size + block.invalid_bit // 8
    if byte >= rows.shape[1]:
        return None
    return np.asarray((rows[:, byte] >> (block.invalid_bit % 8)) & 1 == 1, np.bool_)
