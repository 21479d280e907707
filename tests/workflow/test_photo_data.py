"""What leaves the shop with a photo: the picture, and not where and with what it was taken."""

from __future__ import annotations

import io
import random
import zlib
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from witnessmark.errors import InputRefused
from witnessmark.workflow.case.photo import photo_bytes, store_photo
from witnessmark.workflow.case.photo_data import without_private_data
from witnessmark.workflow.case.shop_on_disk import open_shop

SECRETS = (b"Invented Phone 9", b"GPS-CANARY", b"51.5074", b"film of the moment", b"serial 4711")


def picture() -> Image.Image:
    draw = random.Random(3)
    found = Image.new("RGB", (64, 48))
    found.putdata([(draw.randrange(256), draw.randrange(256), 7) for _ in range(64 * 48)])
    return found


def exif(turn: int = 6) -> Image.Exif:
    found = Image.Exif()
    found[0x010F] = "Invented Phone 9"
    found[0x0131] = "serial 4711"
    found[0x0112] = turn
    found.get_ifd(0x8825)[29] = "GPS-CANARY"
    found.get_ifd(0x8825)[1] = "51.5074"
    return found


def photo(kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    picture().save(out, kind, exif=exif(), **options)
    return out.getvalue()


def photos() -> dict[str, bytes]:
    text = PngInfo()
    text.add_text("Comment", "GPS-CANARY 51.5074", zip=False)
    text.add_itxt("XML:com.adobe.xmp", "<x>Invented Phone 9</x>")
    return {
        "jpeg": photo("JPEG", comment=b"serial 4711", xmp=b"<x>GPS-CANARY</x>"),
        "progressive": photo("JPEG", progressive=True),
        "jpeg and film": photo("JPEG") + b"film of the moment" * 10,
        "png": photo("PNG", pnginfo=text),
        "webp": photo("WEBP", lossless=True, xmp=b"<x>GPS-CANARY</x>"),
        "webp lossy": photo("WEBP", quality=80),
    }


@pytest.mark.parametrize("kind", list(photos()))
def test_place_and_device_are_gone_and_every_pixel_stays(kind: str) -> None:
    content = photos()[kind]
    assert any(secret in content for secret in SECRETS), "the check can fail"
    found = without_private_data(content)
    assert not any(secret in found for secret in SECRETS)
    with Image.open(io.BytesIO(content)) as before, Image.open(io.BytesIO(found)) as after:
        assert after.tobytes() == before.tobytes()
        assert dict(after.getexif()) == ({0x0112: 6} if "jpeg" in kind or "prog" in kind else {})
    assert without_private_data(found) == found


def test_pixels_do_not_hide_compressed_text() -> None:
    text = PngInfo()
    text.add_text("Comment", "GPS-CANARY " * 40, zip=True)
    content = photo("PNG", pnginfo=text)
    packed = zlib.compress(b"GPS-CANARY " * 40)
    assert packed[2:20] in content
    assert packed[2:20] not in without_private_data(content)


def test_damaged_photos_are_refused_or_clean_and_never_a_fault() -> None:
    draw = random.Random(5)
    refused = 0
    for content in photos().values():
        for _ in range(150):
            bent = bytearray(content)
            for _ in range(draw.randint(1, 6)):
                bent[draw.randrange(3, len(bent))] = draw.randrange(256)
            cut = bytes(bent[: draw.randrange(12, len(bent))]) if draw.random() < 0.5 else bent
            try:
                without_private_data(bytes(cut))
            except InputRefused:
                refused += 1
    assert refused > 100


def test_a_format_that_cannot_be_cleaned_is_not_handed_out() -> None:
    with pytest.raises(InputRefused, match="cannot be taken out"):
        without_private_data(b"\x00\x00\x00\x18ftypheic" + b"\x00" * 100)


def test_page_and_export_are_clean_and_the_original_stays(tmp_path: Path, witnessmark) -> None:
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case("c1")
    content = photos()["jpeg"]
    entry = store_photo(shop, "c1", io.BytesIO(content), "a.jpg")
    shown, kind = photo_bytes(shop, "c1", entry.id)
    assert kind == "image/jpeg"
    assert not any(secret in shown for secret in SECRETS)
    assert photo_bytes(shop, "c1", entry.id, original=True)[0] == content
    shop.close()
    for options in ((), ("--originals",)):
        out = tmp_path / f"out{len(options)}"
        run = witnessmark(
            "case", "export", tmp_path / "shop", "c1", "--recordings", out, "--out",
            tmp_path / "c1.jsonl", *options,
        )  # fmt: skip
        assert run.returncode == 0, run.stderr
        (copy,) = out.iterdir()
        assert any(secret in copy.read_bytes() for secret in SECRETS) == bool(options)
