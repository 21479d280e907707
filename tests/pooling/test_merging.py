"""Merging: who counts, what a liar moves, how much shops differ."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.errors import InputRefused
from witnessmark.model.step import Spread
from witnessmark.pooling import merging
from witnessmark.pooling.cells import Cells, Judged
from witnessmark.pooling.experience_file import read_experience, signed_text
from witnessmark.pooling.merging import merge, pooled
from witnessmark.pooling.sums import Sums, shared
from witnessmark.pooling.tally import Closed, Shape, tally

PRIOR = {"a": 0.5, "b": 0.3, "c": 0.2}
SHAPE = Shape({"one": ("a", "b", "c")}, {"one": {"t": ("yes", "no")}})


def _file(
    folder: Path, name: str, causes: str, *, quarter: str = "2031Q2",
    key: Ed25519PrivateKey | None = None, epsilon: Fraction = Fraction(20),
) -> Path:  # fmt: skip
    rows = [Closed(f"{name}{k}", "one", c, True, "not told", "not told")
            for k, c in enumerate(causes)]  # fmt: skip
    text = signed_text(tally(rows, SHAPE), SHAPE, quarter=quarter, epsilon=epsilon, spent=epsilon,
                       key=key or Ed25519PrivateKey.generate())  # fmt: skip
    path = folder / f"{name}.json"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_says_what_it_cost_and_is_checked(tmp_path: Path) -> None:
    path = _file(tmp_path, "x", "aab", epsilon=Fraction(3, 2))
    found = read_experience(path)
    assert (found.quarter, found.epsilon, len(found.shop)) == ("2031Q2", Fraction(3, 2), 64)
    body = json.loads(path.read_text(encoding="utf-8"))
    parts = [Fraction(t["epsilon"]) for t in body["budget"]["tables"].values()]
    assert sum(parts) == Fraction(3, 2)


@pytest.mark.parametrize(
    ("there", "put", "said"),
    [
        (r'"one":\[-?\d+', '"one":[900', "changed after it was signed"),
        ("2031Q2", "2031Q3", "changed after it was signed"),
        (r',"signature":"\w+"', "", "lacks|changed"),
        (r'"shop":"\w\w', '"shop":"zz', "lacks"),
        ("witnessmark-experience/1", "other", "no file of a shop's experience"),
    ],
)
def test_a_changed_file_is_refused(tmp_path: Path, there: str, put: str, said: str) -> None:
    path = _file(tmp_path, "x", "ab")
    changed, times = re.subn(there, put, path.read_text(encoding="utf-8"), count=1)
    assert times == 1
    path.write_text(changed, encoding="utf-8")
    with pytest.raises(InputRefused, match=said):
        read_experience(path)


@pytest.mark.parametrize("text", ["", "[1]", "{" * 5000, '{"schema": "witnessmark-experience/1"}'])
def test_nonsense_is_refused_in_a_sentence(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused):
        read_experience(path)


def test_a_bad_or_doubled_file_is_left_out_and_named(tmp_path: Path) -> None:
    key = Ed25519PrivateKey.generate()
    first = _file(tmp_path, "first", "aaaa", key=key)
    second = _file(tmp_path, "second", "bbbb", key=key)  # the same shop and quarter
    later = _file(tmp_path, "later", "bbbb", key=key, quarter="2031Q3")
    broken = tmp_path / "broken.json"
    broken.write_text("no", encoding="utf-8")
    found = merge([first, second, later, broken], Judged({"one": PRIOR}, SHAPE.tests))
    assert (found.files, found.shops) == (2, 1)
    assert [x.file for x in found.left_out] == ["second.json", "broken.json"]
    assert found.pool.quarter == "2031Q3"


def test_one_file_under_two_names_counts_for_neither(tmp_path: Path) -> None:
    """Blurred counts are never the same by chance; who signs another's counts has copied them."""
    wide = {f"c{k}": 1 / 60 for k in range(60)}
    shape = Shape({"one": tuple(wide)}, {"one": {}})
    whole = tally([], shape)
    one = signed_text(whole, shape, quarter="2031Q2", epsilon=Fraction(1), spent=Fraction(1),
                      key=Ed25519PrivateKey.generate())  # fmt: skip
    thief = Ed25519PrivateKey.generate()
    plain = one.partition(',"signature"')[0] + "}"
    plain = re.sub(
        r'"shop":"\w+"', f'"shop":"{thief.public_key().public_bytes_raw().hex()}"', plain
    )
    signed = f'{plain[:-1]},"signature":"{thief.sign(plain.encode()).hex()}"}}'
    (tmp_path / "one.json").write_text(one, encoding="utf-8")
    (tmp_path / "thief.json").write_text(signed, encoding="utf-8")
    found = merge(sorted(tmp_path.glob("*.json")), Judged({"one": wide}))
    assert found.files == 0
    assert {x.file for x in found.left_out} == {"one.json", "thief.json"}


SHOPS = st.lists(st.lists(st.integers(-30, 300), min_size=3, max_size=3), min_size=1, max_size=14)


def _shares(counts: np.ndarray, bound: float) -> Mapping[str, float]:
    return pooled(counts.astype(float), np.full(len(counts), 4.0), PRIOR, bound=bound).shares


@settings(max_examples=150)
@given(SHOPS, st.lists(st.integers(-1_000_000, 1_000_000), min_size=3, max_size=3),
       st.sampled_from([0.005, 0.02, 0.1]))  # fmt: skip
def test_no_file_moves_a_share_by_more_than_the_bound(
    shops: list[list[int]], lie: list[int], bound: float
) -> None:
    honest = _shares(np.asarray(shops), bound)
    lied = _shares(np.asarray([*shops, lie]), bound)
    assert max(abs(honest[c] - lied[c]) for c in PRIOR) <= bound + 1e-12


def test_many_shops_outweigh_the_packs() -> None:
    chance = np.random.default_rng(31)
    truth = np.asarray([0.1, 0.2, 0.7])
    counts = chance.multinomial(60, truth, size=400)
    found = pooled(counts.astype(float), np.zeros(400), PRIOR)
    assert np.abs(np.asarray(list(found.shares.values())) - truth).max() < 0.02
    assert found.weight > 350.0  # shops alike: a shop's own few cases say little against them


@pytest.mark.parametrize("own", [4.0, 40.0])
def test_how_much_shops_differ_is_found_through_the_blur(own: float) -> None:
    """Shops drawn from a Dirichlet of concentration *own*, blurred: variance 50 a count."""
    chance = np.random.default_rng(int(own))
    truth = np.asarray([0.4, 0.35, 0.25])
    rows = [chance.multinomial(80, chance.dirichlet(own * truth)) for _ in range(1500)]
    counts = np.asarray(rows) + np.rint(chance.laplace(0, 5, (1500, 3)))
    found = pooled(counts, np.full(1500, 50.0), PRIOR)
    assert found.weight == pytest.approx(max(own, 20.0), rel=0.3)


def test_few_shops_say_nothing_of_how_shops_differ() -> None:
    assert pooled(np.ones((3, 3)), np.zeros(3), PRIOR).weight == 20.0
    assert pooled(np.zeros((0, 3)), np.zeros(0), PRIOR).shares == pytest.approx(PRIOR)


def _results(folder: Path, name: str, rows: list[Closed], key: Ed25519PrivateKey | None = None,
             *, shape: Shape = SHAPE, lie: int = 0) -> Path:  # fmt: skip
    """Write a hardly blurred file; with *lie* all its counts but the closings are that number."""
    whole = tally(rows, shape)
    if lie:
        for table in ("results", "minutes", "comebacks"):
            for counts in whole[table].values():
                counts[..., 0] = lie
                counts[..., 1:] = -lie
    text = signed_text(whole, shape, quarter="2031Q2", epsilon=Fraction(20), spent=Fraction(20),
                       key=key or Ed25519PrivateKey.generate())  # fmt: skip
    path = folder / f"{name}.json"
    path.write_text(text, encoding="utf-8")
    return path


JUDGED = Judged(
    {"one": PRIOR}, SHAPE.tests, {"one": {"t": dict.fromkeys("abc", (0.5, 0.5))}},
    {c: Spread(40, 60, 120) for c in "abc"},
)  # fmt: skip


def test_results_minutes_and_comebacks_come_back_as_the_shops_have_them(tmp_path: Path) -> None:
    """In 60 shops the test shows a 26 times of 27; it takes 200 min; a third comes back."""
    paths = []
    for shop in range(60):
        rows = [
            Closed(f"{shop}/{k}", "one", "a", True, "not told", "not told",
                   (("t", "yes" if k else "no"),), 200.0, came_back=k > 26)
            for k in range(40)
        ]  # fmt: skip
        paths.append(_results(tmp_path, str(shop), rows))
    pool = merge(paths, JUDGED, bound=0.1).pool
    row = pool.tests["one"]["t"].rows["a"]
    assert row[0] == pytest.approx(26 / 27, abs=0.05)
    assert set(pool.tests["one"]["t"].rows) == {"a"} or all(
        abs(r[0] - 0.5) < 0.1 for c, r in pool.tests["one"]["t"].rows.items() if c != "a"
    )
    assert 120 < pool.minutes["a"].typical < 240
    assert pool.minutes["a"].weight > 20
    assert pool.comebacks["a"].rate == pytest.approx(13 / 40, abs=0.06)


def test_one_lying_shop_moves_no_row_time_or_comeback_beyond_the_bound(tmp_path: Path) -> None:
    paths = [
        _results(tmp_path, str(shop), [
            Closed(f"{shop}/{k}", "one", "ab"[k % 2], True, "not told", "not told",
                   (("t", "yes"),), 100.0) for k in range(12)
        ])
        for shop in range(9)
    ]  # fmt: skip
    bound = 0.02
    for lie in (1_000_000, -1_000_000, 40):
        false = _results(tmp_path, "lie", [], lie=lie)
        cells, shares = Cells(JUDGED), []
        for files in (paths, [*paths, false]):
            sums = Sums(cells, bound)
            sums.plus(merging._read_chunk(merging._chunks(files)[0], JUDGED, bound).sums)
            shares.append(shared(sums).share)
        assert np.abs(shares[0] - shares[1]).max() <= bound + 1e-12
        honest, lied = merge(paths, JUDGED).pool, merge([*paths, false], JUDGED).pool
        for cause, row in honest.tests["one"]["t"].rows.items():
            assert abs(row[0] - lied.tests["one"]["t"].rows.get(cause, (0.5,))[0]) <= bound + 0.005


def test_read_in_processes_it_comes_to_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [Closed(f"{k}", "one", "abc"[k % 3], True, "not told", "not told") for k in range(9)]
    paths = [_results(tmp_path, str(shop), rows) for shop in range(6)]
    alone = merge(paths, JUDGED)
    monkeypatch.setattr(merging, "_WORTH_PROCESSES", 2)
    monkeypatch.setattr(merging, "_AT_ONCE", 2)
    many = merge(paths, JUDGED, processes=2)
    assert (many.files, many.shops, many.left_out) == (alone.files, alone.shops, alone.left_out)
    assert many.pool.families["one"].shares == pytest.approx(alone.pool.families["one"].shares)


def test_a_file_that_names_two_shops_has_no_second_voice(tmp_path: Path) -> None:
    path = _results(tmp_path, "x", [])
    key = Ed25519PrivateKey.generate()
    mine = key.public_key().public_bytes_raw().hex()
    plain = path.read_text(encoding="utf-8").partition(',"signature"')[0] + "}"
    plain = re.sub(r'"shop":"(\w+)"', rf'"shop":"{"0" * 64}","shop":"{mine}"', plain)
    path.write_text(f'{plain[:-1]},"signature":"{key.sign(plain.encode()).hex()}"}}', "utf-8")
    found = merge([path], JUDGED)
    assert (found.files, [x.why for x in found.left_out]) == (0, ["it names more than one shop"])


@pytest.mark.parametrize("cell", ["0.5", '"x"', "[1]", "1000000000000", "null"])
def test_counts_that_are_none_leave_the_file_out(tmp_path: Path, cell: str) -> None:
    key = Ed25519PrivateKey.generate()
    path = _results(tmp_path, "x", [], key)
    plain = path.read_text(encoding="utf-8").partition(',"signature"')[0] + "}"
    plain, times = re.subn(r'("results":\{"one t":\[\[)-?\d+', rf"\g<1>{cell}", plain)
    assert times == 1
    path.write_text(f'{plain[:-1]},"signature":"{key.sign(plain.encode()).hex()}"}}', "utf-8")
    found = merge([path], JUDGED)
    assert found.files == 0
    assert "lacks" in found.left_out[0].why
