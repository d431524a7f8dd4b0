"""Pictures and files by digest: whole or not at all, and never altered."""

from __future__ import annotations

import base64
import hashlib
import io
import os
import stat
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image

from knowngood.store.files import MOST_PIXELS, Files
from knowngood.store.problem import StoreProblem


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path / "shop.db.files")


def picture(kind: str = "JPEG", size: tuple[int, int] = (60, 40), orientation: int = 1) -> bytes:
    """Left half red, right half blue, as the camera's sensor saw it."""
    image = Image.new("RGB", size, "red")
    image.paste("blue", (size[0] // 2, 0, size[0], size[1]))
    exif = Image.Exif()
    exif[0x0112] = orientation
    out = io.BytesIO()
    image.save(out, kind, exif=exif, **({"quality": 95} if kind == "JPEG" else {}))
    return out.getvalue()


def test_the_name_is_on_the_disk_before_the_digest_is_handed_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file is lost with its folder's entry unless the folder is synced after the rename, and so
    is each folder that was made for it (fsync(2): "Calling fsync() does not necessarily ensure
    that the entry in the directory containing the file has also reached disk")."""
    synced: dict[int, list[str]] = {}
    to_disk = os.fsync

    def watched(handle: int) -> None:
        to_disk(handle)
        found = os.fstat(handle)
        if stat.S_ISDIR(found.st_mode):
            synced[found.st_ino] = os.listdir(handle)

    monkeypatch.setattr(os, "fsync", watched)
    files = Files(tmp_path / "shop.db.files")
    place = files.path_of(files.keep_text("a machine"))
    assert synced[place.parent.stat().st_ino] == [place.name]
    assert place.parent.name in synced[files.folder.stat().st_ino]
    assert files.folder.name in synced[tmp_path.stat().st_ino]


def test_a_digest_is_sha_256(files: Files) -> None:
    # FIPS 180-4 example: SHA-256 of "abc" (NIST, SHA256.pdf, one block message sample).
    digest = files.keep_text("abc")
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert files.text_of(digest) == "abc"


def test_text_is_kept_to_the_byte(files: Files) -> None:
    for text in ("", "id: tolmin\r\nwords: Säge\n", "\ufefflast"):
        assert files.text_of(files.keep_text(text)) == text


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP"])
def test_the_original_is_kept(files: Files, kind: str) -> None:
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "red").save(out, kind)
    kept = files.keep_picture(out.getvalue())
    assert (kept.width, kept.height, kept.type) == (30, 20, kind.lower())
    assert kept.digest == hashlib.sha256(out.getvalue()).hexdigest()
    assert files.data_of(kept.digest) == kept.path.read_bytes() == out.getvalue()
    assert files.path_of(kept.digest) == kept.path


@pytest.mark.parametrize(
    # CIPA DC-008 (Exif), tag 274: where the sensor's row 0 and column 0 are in the upright view.
    # So the red half (column 0) is to be found on that side.
    ("orientation", "column_0"),
    [
        (1, "left"),
        (2, "right"),
        (3, "right"),
        (4, "left"),
        (5, "top"),
        (6, "top"),
        (7, "bottom"),
        (8, "bottom"),
    ],
)
def test_a_preview_is_upright(files: Files, orientation: int, column_0: str) -> None:
    kept = files.keep_picture(picture(orientation=orientation))
    with Image.open(files.preview(kept.digest, 50)) as preview:
        width, height = preview.size
        assert preview.format == "JPEG" and max(width, height) == 50
        assert (kept.width > kept.height) == (width > height)
        at = {
            "left": (5, height // 2),
            "right": (width - 6, height // 2),
            "top": (width // 2, 5),
            "bottom": (width // 2, height - 6),
        }[column_0]
        red, _, blue = preview.convert("RGB").getpixel(at)  # type: ignore[misc]
        assert red > 200 and blue < 60
        assert not dict(preview.getexif())


def test_a_see_through_picture_gets_white_behind_it(files: Files) -> None:
    out = io.BytesIO()
    Image.new("RGBA", (20, 20), (255, 0, 0, 0)).save(out, "PNG")
    kept = files.keep_picture(out.getvalue())
    with Image.open(files.preview(kept.digest)) as preview:
        assert min(preview.getpixel((10, 10))) > 250  # type: ignore[type-var, arg-type]


# 96 x 64, left half red, right half blue; encoded once with libheif's own encoder (pillow-heif
# 1.8.1), an encoder that is not among what is installed here.
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAZdtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAA"
    "AAAAAAAAADRpbG9jAAAAAERAAAIAAQAAAAABuwABAAAAAAAAAG8AAgAAAAACKgABAAAAAAAAACQAAAA4aWluZgAAAAAA"
    "AgAAABVpbmZlAgAAAAABAABodmMxAAAAABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA1mlwcnAAAAC3"
    "aXBjbwAAAHhodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQAr"
    "QgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbqSSmubgIaDAgAAAMAyAAAAwAIQGIAAQAHRAHBcrAiQAAAABNjb2xybmNseAAB"
    "AA0ABoAAAAAUaXNwZQAAAAAAAABgAAAAQAAAABBwaXhpAAAAAAMICAgAAAAXaXBtYQAAAAAAAAABAAEEgQIDBAAAABpp"
    "cmVmAAAAAAAAAA5jZHNjAAIAAQABAAAAm21kYXQAAABrKAGvCeDjSJtRH//96L7//25j0P9a1YHmTz/+8Zor/DzuP/ZL"
    "TYTLh8lk5X86O69N7SfNFLCiD8nxDrCaO58pOHlXaSdzVo8szab1neSt5Uip1YnYcvW3saw5Kk+mr6yf87GBJWQW7emb"
    "lU8AAAAGRXhpZgAATU0AKgAAAAgAAQESAAMAAAABAAYAAAAAAAA="
)


def with_size(width: int, height: int) -> bytes:
    """The same file telling another size (box "ispe", ISO/IEC 23008-12, 6.5.3)."""
    at = HEIC.index(b"ispe") + 8
    return HEIC[:at] + struct.pack(">II", width, height) + HEIC[at + 8 :]


def test_a_heic_picture_is_kept_with_a_jpeg_beside_it(files: Files) -> None:
    kept = files.keep_picture(HEIC, "IMG_7.heic")
    assert (kept.type, kept.width, kept.height) == ("heif", 96, 64)
    assert files.data_of(kept.digest) == HEIC and kept.path.suffix == ".heic"
    with Image.open(files.for_paper(kept.digest)) as paper:
        assert paper.format == "JPEG" and paper.size == (96, 64)
        left, right = paper.getpixel((10, 30)), paper.getpixel((85, 30))
    assert left[0] > 200 > 60 > left[2] and right[2] > 200 > 60 > right[0]  # type: ignore[index]
    jpeg = files.keep_picture(picture())
    assert files.for_paper(jpeg.digest) == jpeg.path


@pytest.mark.parametrize("side", [12_000, 30_000, 2**31])
def test_a_heic_bomb_is_not_unpacked(files: Files, side: int) -> None:
    with pytest.raises(StoreProblem, match=r"IMG_7.heic \(HEIC\)"):
        files.keep_picture(with_size(side, side), "IMG_7.heic")
    assert not files.folder.exists()


@pytest.mark.parametrize("left", [200, 380, len(HEIC) - 40])
def test_half_a_heic_picture_is_refused(files: Files, left: int) -> None:
    with pytest.raises(StoreProblem, match="HEIC"):
        files.keep_picture(HEIC[:left], "IMG_7.heic")


def test_without_its_decoder_a_heic_picture_has_a_way_out(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("knowngood.store.files._reads_heic", lambda: False)
    with pytest.raises(StoreProblem, match="most compatible"):
        files.keep_picture(HEIC, "IMG_7.heic")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no picture"),
        (b"PK\x03\x04" + b"\0" * 100, "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
        (picture()[:-200], "did not arrive whole"),
        (picture("PNG")[:-30], "did not arrive whole"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 100, "HEIC"),
        (b"\xff\xd8\xff" + b"\x5a" * 50, "no picture"),
    ],
)
def test_what_is_no_picture_is_refused(files: Files, data: bytes, said: str) -> None:
    with pytest.raises(StoreProblem, match=rf"IMG_1.jpg .*{said}"):
        files.keep_picture(data, "IMG_1.jpg")
    assert not files.folder.exists()


@pytest.mark.parametrize("side", [12_000, 60_000])
def test_a_bomb_is_not_unpacked(files: Files, side: int) -> None:
    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    assert side**2 > MOST_PIXELS
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0))
    bomb = b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
    with pytest.raises(StoreProblem, match="120 million pixels"):
        files.keep_picture(bomb)


def test_keeping_twice_is_one_file_and_repairs_a_damaged_one(files: Files) -> None:
    kept = files.keep_picture(picture())
    files.keep_picture(picture())
    assert [path.name for path in kept.path.parent.iterdir()] == [kept.path.name]
    kept.path.write_bytes(b"rot")
    with pytest.raises(StoreProblem, match="is damaged"):
        files.data_of(kept.digest)
    files.keep_picture(picture())
    assert files.data_of(kept.digest) == picture()


def test_what_is_not_there_is_said(files: Files) -> None:
    assert not files.has("0" * 64) and not files.has("../../etc/passwd")
    with pytest.raises(StoreProblem, match=r"000000000000\.\.\. is not in"):
        files.text_of("0" * 64)
    with pytest.raises(ValueError, match="no digest"):
        files.path_of("../../etc/passwd")


def test_nothing_half_written_stays(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(StoreProblem, match=r"is full.*Make room"):
            files.keep_text("abc")
    assert [path for path in files.folder.rglob("*") if path.is_file()] == []
    assert files.text_of(files.keep_text("abc")) == "abc"


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreProblem, match="could not be written"):
        Files(tmp_path / "file").keep_text("abc")
