"""WAV and FLAC: captures of a pickup or a microphone through a sound card."""

from __future__ import annotations

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Recording
from witnessmark.readers.contract import Settings
from witnessmark.readers.reader import Reader
from witnessmark.readers.source import Source

#: More samples than this, over all channels, do not fit into a small machine's memory.
_MOST_SAMPLES = 100_000_000
_PIECE = 1_000_000


def recognises(head: bytes) -> bool:
    """Say whether it is a WAV or FLAC file."""
    return (head[:4] in {b"RIFF", b"RF64"} and head[8:12] == b"WAVE") or head[:4] == b"fLaC"


def read(source: Source, settings: Settings) -> Recording:  # noqa: ARG001  (one shape for all)
    """Read the samples; full scale is 1, for a sound card is not calibrated."""
    import soundfile  # noqa: PLC0415  (loads a system library)

    pieces = []
    with source.seekable() as file:
        try:
            with soundfile.SoundFile(file) as sound:
                rate, count, stated = sound.samplerate, sound.channels, sound.frames
                kind = f"{sound.format} {sound.subtype}"
                have = 0
                while True:
                    piece = sound.read(_PIECE, dtype="float64", always_2d=True)
                    have += piece.size
                    if have > _MOST_SAMPLES:
                        raise RecordingRefused(
                            f"The sound has more than {_MOST_SAMPLES:,} samples.",
                            where=source.name,
                            do="Cut it into pieces of a few minutes.",
                        )
                    if not piece.shape[0]:
                        break
                    pieces.append(piece)
        except (soundfile.LibsndfileError, RuntimeError, ValueError, OSError) as error:
            if not pieces:
                raise RecordingRefused(
                    "The sound file is damaged or of a kind that is not read.",
                    where=source.name,
                    do="Save it again as WAV with 16 or 24 bits.",
                ) from error
            source.trouble.add("cut", "The sound file is damaged; what stands before is used.")
    if not pieces or rate <= 0:
        raise RecordingRefused(
            "The sound file holds no samples.", where=source.name, do="Record it again."
        )
    samples = np.concatenate(pieces)
    if 0 < samples.shape[0] < stated < 2**40:
        source.trouble.add(
            "cut",
            f"The sound file is cut off: {samples.shape[0]:,} of {stated:,} samples are there.",
        )
    time = np.arange(samples.shape[0]) / rate
    channels = []
    for number in range(count):
        values = np.ascontiguousarray(samples[:, number])
        loud = np.isfinite(values)
        full = float(np.mean(np.abs(values[loud]) >= 0.9999)) if loud.any() else 0.0
        if full > 1e-4:
            source.trouble.add(
                f"clipped {number}",
                f"Channel {number + 1} is overdriven: {100 * full:.2f} % of its samples are at "
                "full scale.",
                do="Turn the input down and record again; amplitudes are not to be trusted.",
            )
        quality = np.where(loud, 0, 4).astype(np.uint8)
        values[~loud] = np.nan
        name = f"sound {number + 1}" if count > 1 else "sound"
        channels.append(Channel(name, "", time, values, quality, name, rate_hz=float(rate)))
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="waveform",
        format=kind,
        duration_s=float(time[-1]),
        channels=tuple(channels),
        problems=source.trouble.problems(),
        frames=int(samples.shape[0]),
    )


READER = Reader("sound (WAV, FLAC)", recognises, read)
