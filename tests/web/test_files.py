"""Files: photos, recordings with a form, uploads in pieces, traces."""

from __future__ import annotations

import hashlib
import json
import zlib

import numpy as np
import pytest

from witnessmark.errors import Conflict, InputRefused, NotFound, TooLarge
from witnessmark.model.entries.entry_data import PhotoData, RecordingData
from witnessmark.model.recording import Channel, Recording
from witnessmark.workflow.case import uploads
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.recordings.trace_window import extremes, window


def _block(kind: bytes, content: bytes) -> bytes:
    end = zlib.crc32(kind + content).to_bytes(4, "big")
    return len(content).to_bytes(4, "big") + kind + content + end


#: One black point: what is sent has to be a whole photo, its place and device data are taken out.
PNG = (
    b"\x89PNG\r\n\x1a\n"
    + _block(b"IHDR", bytes([0, 0, 0, 1, 0, 0, 0, 1, 8, 0, 0, 0, 0]))
    + _block(b"IDAT", zlib.compress(bytes(2)))
    + _block(b"IEND", b"")
)


def test_a_photo_is_stored_by_its_digest_and_sent_as_what_it_is(client, shop):
    files = {"photo": ("../../etc/passwd\x00.png", PNG, "text/html")}
    answer = client.post("/cases/unit7/photo", files=files, data={"caption": "old seal"})
    assert answer.status_code == 303
    entry = shop.case("unit7").entries[-1]
    assert isinstance(entry.data, PhotoData)
    assert "/" not in entry.data.path
    assert entry.data.sha256 == hashlib.sha256(PNG).hexdigest()
    sent = client.get(f"/files/unit7/{entry.id}")
    assert sent.headers["content-type"] == "image/png"
    assert "sandbox" in sent.headers["content-security-policy"]
    assert 'alt="old seal"' in client.get("/cases/unit7").text


def test_what_is_no_photo_is_refused(client, shop):
    files = {"photo": ("a.png", b"<svg onload=alert(1)>", "image/png")}
    assert client.post("/cases/unit7/photo", files=files).status_code == 422
    assert client.get("/files/unit7/e1").status_code == 404
    assert len(shop.case("unit7").entries) == 6


def test_a_recording_comes_with_a_plain_form(client, shop):
    files = {"file": ("pull one.csv", b"time_s,engine_speed (rpm)\n0,700\n1,710\n", "text/csv")}
    answer = client.post("/cases/unit7/recording", files=files, data={"holds": "table"})
    assert answer.status_code == 303
    data = shop.case("unit7").entries[-1].data
    assert isinstance(data, RecordingData)
    assert data.path == "pull one.csv"
    assert data.holds == "table"


def begin(client, content, case="unit7"):
    asked = {"case": case, "name": "pull.log", "size": len(content)}
    return client.post("/uploads", content=json.dumps(asked)).json()["id"]


def piece(client, key, offset, content):
    return client.request("PUT", f"/uploads/{key}?offset={offset}", content=content)


def finish(client, key, sha256, entry="eup1"):
    asked = {"sha256": sha256, "entry_id": entry, "case": "unit7", "holds": "bus"}
    return client.post(f"/uploads/{key}/finish", content=json.dumps(asked))


def test_an_upload_goes_on_where_it_stopped(client, shop):
    content = bytes(range(256)) * 5000
    sha256 = hashlib.sha256(content).hexdigest()
    key = begin(client, content)
    assert piece(client, key, 0, content[:500_000]).json()["received"] == 500_000
    # The answer was lost: the same piece again, and then one that reaches back.
    assert piece(client, key, 0, content[:500_000]).json()["received"] == 500_000
    assert piece(client, key, 400_000, content[400_000:900_000]).json()["received"] == 900_000
    # The shop's machine was started again.
    again = open_shop(shop.folder)
    assert uploads.state(again, key).received == 900_000
    again.close()
    assert piece(client, key, 1_000_000, content[1_000_000:]).status_code == 409, "a hole"
    assert finish(client, key, sha256).status_code == 409, "bytes are missing"
    piece(client, key, 900_000, content[900_000:])
    done = finish(client, key, sha256)
    assert done.json()["next"] == "/cases/unit7/recordings/eup1"
    assert finish(client, key, sha256).json() == done.json(), "asked again, the same answer"
    data = shop.case("unit7").entries[-1].data
    assert isinstance(data, RecordingData)
    assert data.sha256 == sha256
    assert len(shop.case("unit7").entries) == 7
    assert not list((shop.folder / "uploads").iterdir())


def test_an_upload_that_arrived_changed_is_thrown_away(client, shop):
    key = begin(client, b"abc")
    piece(client, key, 0, b"abd")
    answer = finish(client, key, hashlib.sha256(b"abc").hexdigest())
    assert answer.status_code == 409
    assert "arrived changed" in answer.json()["what"]
    assert len(shop.case("unit7").entries) == 6
    assert client.get(f"/uploads/{key}").status_code == 404


def test_uploads_have_limits(client, shop):
    with pytest.raises(TooLarge):
        uploads.begin(shop, "unit7", "x", 3 << 30)
    with pytest.raises(InputRefused):
        uploads.begin(shop, "unit7", "x", 0)
    with pytest.raises(NotFound):
        uploads.begin(shop, "nobody", "x", 5)
    made = uploads.begin(shop, "unit7", "../../x", 5)
    with pytest.raises(TooLarge):
        uploads.take_piece(shop, made.id, 0, b"123456")
    with pytest.raises(Conflict):
        uploads.take_piece(shop, made.id, 3, b"1")
    for wrong in ("..", "../../etc/passwd", "A" * 32, ""):
        with pytest.raises(NotFound):
            uploads.state(shop, wrong)
    assert client.request("DELETE", f"/uploads/{made.id}").status_code == 200
    for body in (b"", b"[]", b"{", b'{"size": "9"}', b'{"size": true, "case": "unit7"}'):
        assert client.post("/uploads", content=body).status_code == 422


def channel(values, rate=1000.0):
    values = np.asarray(values, dtype=float)
    quality = np.where(np.isnan(values), 2, 0).astype(np.uint8)
    return Channel("vibration", "m/s2", np.arange(values.size) / rate, values, quality)


@pytest.mark.parametrize("columns", [10, 333, 800])
def test_no_spike_is_lost_however_wide_the_window(columns):
    rng = np.random.default_rng(7)
    values = rng.normal(size=200_000)
    places = rng.choice(values.size, 40, replace=False)
    values[places] = rng.choice([-50.0, 50.0], 40)
    found = extremes(channel(values), 0.0, 199.999, columns)
    assert found.low.size == columns
    edges = np.linspace(0.0, 199.999, columns + 1)
    for place in places:
        column = min(int(np.searchsorted(edges, place / 1000, side="right")) - 1, columns - 1)
        near = slice(max(column - 1, 0), column + 2)
        assert values[place] in {found.low[near].min(), found.high[near].max()}
    inside = (np.arange(values.size) / 1000) <= 199.999
    assert found.lowest == values[inside].min()
    assert found.highest == values[inside].max()


def test_gaps_stay_gaps_and_missing_is_not_zero():
    values = np.ones(100_000)
    values[40_000:60_000] = np.nan
    found = extremes(channel(values), 0.0, 99.999, 100)
    assert np.isnan(found.low[41:59]).all()
    assert not (found.low == 0).any()
    assert found.samples == 80_000
    empty = extremes(channel(np.full(50_000, np.nan)), 0.0, 49.0, 50)
    assert np.isnan(empty.lowest)


def test_sparse_samples_are_given_as_they_are():
    found = extremes(channel([1, 5, 2, 9]), 0.0, 0.003, 100)
    assert found.low.tolist() == [1, 5, 2, 9]


def test_a_window_refuses_what_is_none():
    recording = Recording("x", "0" * 64, "table", "csv", 1.0, (channel([1, 2, 3]),))
    with pytest.raises(InputRefused):
        window(recording, [1])
    with pytest.raises(InputRefused):
        window(recording, [0] * 13)
    with pytest.raises(InputRefused):
        window(recording, [0], start_s=2.0, end_s=1.0)
    with pytest.raises(InputRefused):
        window(recording, [0], start_s=float("nan"), end_s=1.0)


def test_the_trace_of_a_real_bus_log(client, shop, shared):
    path = shared / "data" / "j1939" / "bench_keyon_faults.candump.log.gz"
    sha256 = shop.store_file(path, path.name)
    data = {"path": path.name, "sha256": sha256, "holds": "bus"}
    entry = shop.add("unit7", "recording", data)
    base = f"/cases/unit7/recordings/{entry.id}"
    page = client.get(base)
    assert page.status_code == 200
    assert "Every signal of the file" in page.text
    cut = client.get(f"{base}/window?c=0&w=400").json()
    assert len(cut["traces"]) == 1
    assert len(cut["traces"][0]["lo"]) == len(cut["traces"][0]["hi"])
    picture = client.get(f"{base}/trace.svg?c=0")
    assert picture.headers["content-type"] == "image/svg+xml"
    for odd in ("?c=99999", "?c=-1&from=nan&to=inf", "?from=5&to=1&w=-4", "?c=0&w=1e9"):
        assert client.get(f"{base}/window{odd}").status_code in {200, 422}
        assert client.get(f"{base}{odd}").status_code == 200
