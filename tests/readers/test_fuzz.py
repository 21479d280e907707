"""Damaged and absurd input: a refusal in a sentence or what is good, never a crash or a hang."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readers.compliance import assert_honest, assert_sentence
from readers.read_mutants import read_mutants
from witnessmark.errors import WitnessmarkError
from witnessmark.readers import READERS, read_recording

COUNT = 500


def test_mutants_of_real_and_invented_files(tmp_path: Path) -> None:
    """500 here; benchmarks/fuzz_recordings.py runs 10,000.

    In a process of its own: the peak of this one is that of every test before.
    """
    shared = Path(__file__).parents[3] / "shared"
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as own:
        told = own.submit(
            read_mutants, shared if shared.is_dir() else None, tmp_path / "mutant", COUNT, 20260302
        ).result()
    assert told.slowest_s < 5.0, f"{told.slowest} took {told.slowest_s:.1f} s of computing"
    assert told.read > COUNT // 2
    assert told.peak_mb < 600, "memory blew up"


@given(st.binary(max_size=3000))
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    _read(tmp_path_factory, data)


CELLS = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(-(10**30), 10**30).map(str),
    st.sampled_from(
        ["", "n/a", "1,5", "1.234,5", "12:00:00.5", "ON", '"', "[°C]", "\ufeff", "x" * 99]
    ),
)


@given(
    st.lists(st.lists(CELLS, min_size=1, max_size=6), min_size=1, max_size=30),
    st.sampled_from([",", ";", "\t", " ", "|"]),
    st.sampled_from(["utf-8", "utf-16", "cp1252"]),
)
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_table(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], mark: str, encoding: str
) -> None:
    text = "\n".join(mark.join(row) for row in rows)
    _read(tmp_path_factory, text.encode(encoding, "replace"))


@given(st.lists(st.from_regex(
    rb"(\(\d{1,12}\.\d{1,9}\) )?can\d [0-9A-F]{3,8}#([0-9A-F]{2}){0,9}R?\d?", fullmatch=True),
    min_size=1, max_size=40,
))  # fmt: skip
@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_candump(tmp_path_factory: pytest.TempPathFactory, lines: list[bytes]) -> None:
    _read(tmp_path_factory, b"\n".join(lines))


def test_asking_every_reader_never_fails() -> None:
    random = np.random.default_rng(7)
    for size in (0, 1, 2, 7, 8, 100, 5000):
        for _ in range(40):
            head = random.bytes(size)
            for reader in READERS:
                assert reader.recognises(head) in {True, False}


def _read(folder: pytest.TempPathFactory, data: bytes) -> None:
    path = folder.getbasetemp() / "any"
    path.write_bytes(data)
    try:
        recording = read_recording(path)
    except WitnessmarkError as error:
        assert_sentence(error)
    else:
        assert_honest(recording, "any")
