"""``witnessmark pack check``: all faults with their path and exit code 2, or a sound pack and 0."""

from __future__ import annotations

import json
import tomllib

from witnessmark.knowledge import shipped_packs


def test_a_sound_pack_with_its_cases(witnessmark):
    path = next(p for p in shipped_packs() if p.stem == "fuel_low")
    tests = len(tomllib.loads(path.read_text(encoding="utf-8"))["tests"])
    done = witnessmark("pack", "check", path)
    assert done.returncode == 0, done.stderr
    assert f"is sound: 14 causes, {tests} tests" in done.stdout
    assert "DOES NOT HOLD" not in done.stdout
    told = json.loads(witnessmark("pack", "check", path, "--json").stdout)
    assert told["problems"] == []
    assert all(c["holds"] for c in told["cases"])
    assert told["counts"]["tests"] == tests


def test_a_faulty_pack_and_a_case_that_does_not_come_out(witnessmark, tmp_path):
    pack = tmp_path / "ours.toml"
    pack.write_text(
        """
schema = "witnessmark.pack/1.0"
name = "ours"
title = "Ours"
version = "1"
[sources.ours]
kind = "judgement"
words = "the foreman's"
[family]
id = "fuel_low"
[[cases]]
name = "wishful"
tests = [{ test = "f_dp", result = "positive" }]
leads = "pump_worn"
""",
        encoding="utf-8",
    )
    done = witnessmark("pack", "check", pack)
    assert done.returncode == 2
    assert "'secondary_filter' leads; 'pump_worn'" in done.stdout
    pack.write_text(pack.read_text(encoding="utf-8").replace("f_dp", "f_pd"), encoding="utf-8")
    done = witnessmark("pack", "check", pack, "--json")
    assert done.returncode == 2
    told = json.loads(done.stdout)
    assert [p["where"] for p in told["problems"]] == ["ours.toml line 13: cases[0].tests[0].test"]


def test_no_file_and_no_toml_are_refused_in_one_sentence(witnessmark, tmp_path):
    for path in (tmp_path / "nowhere.toml", tmp_path):
        done = witnessmark("pack", "check", path)
        assert done.returncode == 2
        assert "cannot be read" in done.stdout
        assert "Traceback" not in done.stdout + done.stderr


def test_a_shipped_case_whose_result_is_gone_is_a_fault_of_the_pack(witnessmark, tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(
        """
schema = "witnessmark.pack/1.0"
name = "ours"
title = "t"
version = "1"
[sources.s]
kind = "judgement"
words = "w"
[family]
id = "vib_speed"
[[tests]]
id = "s_order"
outcomes = ["found", "nothing"]
base = [0.1, 0.9]
given = { tyre_bal = [0.8, 0.2] }
source = "s"
""",
        encoding="utf-8",
    )
    done = witnessmark("pack", "check", str(path))
    assert done.returncode == 2
    assert "It names a result that a test no longer has." in done.stdout
    assert "Traceback" not in done.stderr
