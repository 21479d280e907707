"""Already decoded channels in MDF 4 files."""

from __future__ import annotations

from witnessmark.model.recording import Recording
from witnessmark.readers.contract import Settings
from witnessmark.readers.mdf_blocks import DataGroup, Mdf
from witnessmark.readers.source import Source


def decoded_channels(
    mdf: Mdf, groups: list[DataGroup], source: Source, settings: Settings
) -> Recording | None:
    """Return the decoded channels, ``None`` where there are none."""
    return None
