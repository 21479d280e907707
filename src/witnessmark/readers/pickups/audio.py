"""WAV and FLAC: captures of a pickup or a microphone through a sound card."""

from __future__ import annotations

import shutil
import struct
import tempfile
from typing import IO

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Recording
from witnessmark.readers.files.keep import Keeper, let_go
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import ReaderSettings
from witnessmark.words.numbers import percentage

#: Bytes of samples that stay in memory.
_IN_MEMORY = 256 * 2**20
#: More samples than this, over all channels, are no capture of a truck.
_MOST_SAMPLES = 100_000_000
_PIECE = 1_000_000
#: From here on a size says that nobody knew it.
_UNKNOWN = 0xFFFFFF00
#: How a WAV file with wide sizes begins.
_W64 = bytes.fromhex("726966662E91CF11A5D628DB04C10000")


def recognises(head: bytes) -> bool:
    """Say whether it is a WAV or FLAC file, or one of their plain relatives."""
    if head[:4] in {b"RIFF", b"RF64"}:
        return head[8:12] == b"WAVE"
    if head[:4] == b"FORM":
        return head[8:12] in {b"AIFF", b"AIFC"}
    return head[:4] in {b"fLaC", b".snd", b"caff"} or head[:16] == _W64


def read(source: FileSource, settings: ReaderSettings) -> Recording:  # noqa: ARG001  (one shape for all)
    """Read the samples; full scale is 1, for a sound card is not calibrated."""
    import soundfile  # noqa: PLC0415  (loads a system library)

    pieces = []
    keeper = Keeper(_IN_MEMORY)
    with source.seekable() as whole, _mended(whole, source) as file:
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
                    pieces.append(keeper.array(piece))
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
    frames = sum(piece.shape[0] for piece in pieces)
    if 0 < frames < stated < 2**40 and not source.trouble.count("cut"):
        source.trouble.add(
            "cut",
            f"The sound file is cut off: {frames:,} of {stated:,} samples are there.",
        )
    time = keeper.array(np.arange(frames) / rate)
    channels = []
    for number in range(count):
        values = np.concatenate([piece[:, number] for piece in pieces])
        loud = np.isfinite(values)
        full = float(np.mean(np.abs(values[loud]) >= 0.9999)) if loud.any() else 0.0
        if full > 1e-4:
            source.trouble.add(
                f"clipped {number}",
                f"Channel {number + 1} is overdriven: {percentage(full, 2)} of its samples are at "
                "full scale.",
                do="Turn the input down and record again; amplitudes are not to be trusted.",
            )
        quality = np.where(loud, 0, 4).astype(np.uint8)
        values[~loud] = np.nan
        name = f"sound {number + 1}" if count > 1 else "sound"
        one = Channel(name, "", time, values, quality, name, rate_hz=float(rate))
        channels.append(keeper.channel(one))
        let_go(channels[-1])
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="waveform",
        format=kind,
        duration_s=float(time[-1]),
        channels=tuple(channels),
        problems=source.trouble.problems(),
        frames=frames,
    )


def _mended(file: IO[bytes], source: FileSource) -> IO[bytes]:
    """Return the file, with the size of its samples put right where the recorder left it wrong.

    A recorder that lost its power leaves a size of nothing, of everything, or of long ago; what
    is there counts. A size larger than what is there says that the file is cut off.
    """
    end = file.seek(0, 2)
    file.seek(0)
    if file.read(4) != b"RIFF":
        file.seek(0)
        return file
    at = 12
    while at + 8 <= end:
        file.seek(at)
        name, size = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            break
        at += 8 + size + size % 2
    else:
        file.seek(0)
        return file
    there = end - at - 8
    file.seek(0)
    if size > there and size < _UNKNOWN:
        source.trouble.add(
            "cut",
            f"The sound file is cut off: {there:,} of {size:,} bytes of samples are there.",
            do="Copy it from the recorder again.",
        )
        return file
    if size >= _UNKNOWN or (size and _chunks_follow(file, at + 8 + size, end)):
        file.seek(0)
        return file
    if there <= size:
        return file
    source.trouble.add(
        "size",
        "The sound file states a wrong size: the recorder did not close it. All samples that are "
        "there are used.",
        do="Check its length.",
    )
    return _with_size(file, at, min(there, _UNKNOWN - 1))


def _chunks_follow(file: IO[bytes], at: int, end: int) -> bool:
    """Say whether nothing, or whole chunks with plain names, stand behind the samples."""
    at += at % 2
    while at + 8 <= end:
        file.seek(at)
        name, size = struct.unpack("<4sI", file.read(8))
        if not all(32 <= letter < 127 for letter in name) or at + 8 + size > end + 1:
            return False
        at += 8 + size + size % 2
    return True


def _with_size(file: IO[bytes], at: int, size: int) -> IO[bytes]:
    spool: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115  (handed to the caller)
    file.seek(0)
    shutil.copyfileobj(file, spool, 2**20)
    total = spool.tell()
    spool.seek(4)
    spool.write(struct.pack("<I", min(total - 8, _UNKNOWN - 1)))
    spool.seek(at + 4)
    spool.write(struct.pack("<I", size))
    spool.seek(0)
    return spool


READER = Reader("sound (WAV, FLAC)", recognises, read)
