"""What is kept between runs: nothing wrong, damaged, or a stranger's is ever used."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest

from witnessmark.kept import FOLDER_VARIABLE, keep_arrays, keep_text, kept_arrays, kept_text
from witnessmark.knowledge import kept_packs, shipped_packs
from witnessmark.knowledge.loader import parse_packs
from witnessmark.model.digest import digest


@pytest.fixture(autouse=True)
def folder(monkeypatch, tmp_path):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


def only(folder):
    (path,) = folder.iterdir()
    return path


def test_what_was_kept_comes_out_again_and_another_key_has_nothing(folder):
    keep_text("a", "µ and more")
    keep_arrays("b", {"x": np.arange(6.0).reshape(2, 3), "n": np.array([3], dtype=np.int64)})
    assert kept_text("a") == "µ and more"
    held = kept_arrays("b")
    assert held["x"].tolist() == [[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]]
    assert held["n"].tolist() == [3]
    assert not held["x"].flags.writeable
    assert kept_text("b2") is kept_arrays("b2") is None
    assert all(p.stat().st_mode & 0o077 == 0 for p in (folder, *folder.iterdir()))


@pytest.mark.parametrize("keep", [
    lambda: keep_text("k", "x" * 500), lambda: keep_arrays("k", {"x": np.arange(50.0)}),
])  # fmt: skip
def test_a_damaged_file_is_as_if_it_were_not_there(folder, keep):
    keep()
    whole = only(folder).read_bytes()
    for cut in (0, 3, 20, 60, len(whole) - 1):
        only(folder).write_bytes(whole[:cut])
        assert kept_text("k") is None
        assert kept_arrays("k") is None
    for place in (0, 9, 30):
        only(folder).write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert kept_text("k") is None
        assert kept_arrays("k") is None


def test_a_strangers_file_is_not_read(folder, tmp_path):
    keep_text("k", "ours")
    only(folder).chmod(0o666)
    assert kept_text("k") is None
    path = only(folder)
    elsewhere = tmp_path / "elsewhere"
    path.rename(elsewhere)
    elsewhere.chmod(0o600)
    path.symlink_to(elsewhere)
    assert kept_text("k") is None


def test_a_folder_that_cannot_be_written_keeps_nothing_and_says_nothing(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    for named in (str(blocked), str(blocked / "deeper"), ""):
        monkeypatch.setenv(FOLDER_VARIABLE, named)
        keep_text("k", "x")
        assert kept_text("k") is None


def test_objects_are_never_kept():
    with pytest.raises(TypeError):
        keep_arrays("k", {"x": np.array([{}], dtype=object)})


def test_packs_come_out_of_the_kept_text_as_they_went_in(folder, monkeypatch):
    kept_packs._load.cache_clear()
    read = parse_packs(shipped_packs())
    kept_packs.load_knowledge()
    assert folder.exists()
    monkeypatch.setattr("witnessmark.knowledge.loader.parse_packs", None)
    kept_packs._load.cache_clear()
    held = kept_packs.load_knowledge()
    assert held == read
    assert repr(held) == repr(read)
    # the digest that was kept is the one that the record itself has
    assert digest(held) == digest(parse_packs(shipped_packs()))


def test_a_kept_text_of_another_make_is_read_anew(monkeypatch):
    kept_packs._load.cache_clear()
    packs = kept_packs.load_knowledge()
    read = []
    monkeypatch.setattr(
        "witnessmark.knowledge.loader.parse_packs", lambda paths: read.append(paths) or packs
    )
    key = f"packs {kept_packs._room()} []"
    told, rows = json.loads(kept_text(key))
    for wrong in ("[]", "{}", json.dumps([told, rows[:-1]]), json.dumps([told, [1, *rows[1:]]])):
        keep_text(key, wrong)
        kept_packs._load.cache_clear()
        assert kept_packs.load_knowledge() is packs
    assert read == [[*shipped_packs()]] * 4
    kept_packs._load.cache_clear()


PROGRAM = """
import json, sys
from witnessmark.inference.fuel.draws.fuel_types import table_for
table = table_for(None)
state = table.state(next(iter(table._solved)))
print(json.dumps([float(table.z.sum()), float(table.circuits.slip.sum()),
                  float(table.types.slip.sum()), float(state.gallery.sum()), len(table._solved)]))
print("scipy.stats" in sys.modules)
"""


def test_the_fuel_table_is_the_same_from_the_disk():
    def run():
        done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True,
                              timeout=300, check=True)  # fmt: skip
        return done.stdout.splitlines()

    made, made_with = run()
    held, held_with = run()
    assert made == held
    assert (made_with, held_with) == ("True", "False")
