"""Pictures and files, each named by its digest (SHA-256, 64 hex digits).

A file is written beside its place, synced, renamed, and its folder synced; only then is its
digest handed out. So whatever an event refers to is whole. The original is never altered.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import re
import uuid
import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from knowngood.store.problem import BadFile, StoreProblem

if TYPE_CHECKING:
    from PIL import Image

MOST_PIXELS = 120_000_000
"""A larger picture is refused: unpacked it would need more than 360 MB of memory."""

MOST_BYTES = 100_000_000

_SUFFIXES = {
    "JPEG": ".jpg",
    "MPO": ".jpg",
    "PNG": ".png",
    "WEBP": ".webp",
    "GIF": ".gif",
    "TIFF": ".tif",
    "BMP": ".bmp",
    "HEIF": ".heic",
}
_READABLE = tuple(kind for kind in _SUFFIXES if kind not in ("MPO", "HEIF"))  # MPO: JPEGs in one
_HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_TEXT = ".txt"
_VIDEOS = {".webm": (0, b"\x1a\x45\xdf\xa3"), ".mp4": (4, b"ftyp")}
"""Where in a video its own mark stands: Matroska and WebM (RFC 8794), ISO/IEC 14496-12."""
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """`width` and `height` in pixels as a person sees it, with the camera's rotation applied."""

    digest: str
    type: str
    width: int
    height: int
    path: Path


class Files:
    """The folder of pictures and files of one record."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep_text(self, text: str) -> str:
        """The digest under which this text (a machine, a meter, a price list) is now kept."""
        return self._keep(text.encode("utf-8"), _TEXT)

    def text_of(self, digest: str) -> str:
        """The text kept under a digest. Raises StoreProblem if it is not there or damaged."""
        return self.data_of(digest).decode("utf-8")

    def keep_picture(self, data: bytes, name: str = "the file") -> KeptPicture:
        """Keep a picture as it came, after looking whether it is one and is whole.

        `name` is what the person calls it, for messages. Raises StoreProblem.
        """
        if len(data) > MOST_BYTES:
            raise BadFile(
                f"{name} has {len(data) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are "
                f"kept. Send it smaller."
            )
        picture = _opened(data, name)
        kind = picture.format or ""
        turned = picture.getexif().get(0x0112, 1) in (5, 6, 7, 8)  # EXIF orientation: on its side
        width, height = picture.size
        _must_unpack(picture, name)
        digest = self._keep(data, _SUFFIXES[kind])
        size = (height, width) if turned else (width, height)
        return KeptPicture(digest, kind.lower(), *size, self._place(digest, _SUFFIXES[kind]))

    def keep_video(self, data: bytes, name: str = "the video") -> str:
        """The digest of a video, kept as it came. Raises StoreProblem."""
        if len(data) > MOST_BYTES:
            raise BadFile(
                f"{name} has {len(data) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB of a "
                f"video are kept. Pick stills of it instead; they are kept by themselves."
            )
        if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
            raise BadFile(f"{name} is a picture; send it as a picture.")
        for suffix, (place, mark) in _VIDEOS.items():
            if data[place : place + len(mark)] == mark:
                return self._keep(data, suffix)
        raise BadFile(
            f"{name} is no video that can be shown here (WebM, MP4, MOV). Nothing was stored; the "
            f"stills of it are kept by themselves."
        )

    def preview(self, digest: str, longest: int = 1600) -> Path:
        """A JPEG of at most `longest` pixels a side, upright, beside the original; made once.

        It carries no EXIF, so no place or serial of the camera leaves the shop with it.
        """
        target = self._place(digest, f".preview-{longest}.jpg")
        if target.exists():
            return target
        from PIL import ImageOps

        picture = _opened(self.data_of(digest), "the picture")
        picture.draft("RGB", (longest, longest))
        upright: Image.Image = ImageOps.exif_transpose(picture)
        upright.thumbnail((longest, longest))
        if upright.mode in ("RGBA", "LA", "PA", "P"):
            upright = upright.convert("RGBA")
            ground = _white(upright.size)
            ground.paste(upright, mask=upright.getchannel("A"))
            upright = ground
        out = io.BytesIO()
        upright.convert("RGB").save(out, "JPEG", quality=85)
        self._write(target, out.getvalue())
        return target

    def for_paper(self, digest: str) -> Path:
        """A file that papers can print: the original, or the JPEG beside a HEIC picture."""
        original = self.path_of(digest)
        return self.preview(digest) if original.suffix == _SUFFIXES["HEIF"] else original

    def data_of(self, digest: str) -> bytes:
        """What is kept under a digest, checked against it. Raises StoreProblem."""
        path = self.path_of(digest)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise StoreProblem(_words(error, path)) from error
        if hashlib.sha256(data).hexdigest() != digest:
            raise StoreProblem(
                f"{path} is damaged: its content no longer matches its name. Put back the copy "
                f"from the backup."
            )
        return data

    def path_of(self, digest: str) -> Path:
        """Where the original lies. Raises StoreProblem if it is not there."""
        found = self._found(digest)
        if found is None:
            raise StoreProblem(
                f"The file {digest[:12]}... is not in {self.folder}. If the record was moved, "
                f"move that folder with it; else put it back from the backup."
            )
        return found

    def has(self, digest: str) -> bool:
        """Whether it is here; what is no digest at all is not."""
        return bool(_DIGEST.fullmatch(digest)) and self._found(digest) is not None

    def _found(self, digest: str) -> Path | None:
        if not _DIGEST.fullmatch(digest):
            raise ValueError(f"{digest!r} is no digest; it has 64 hexadecimal digits")
        suffixes = (*dict.fromkeys(_SUFFIXES.values()), _TEXT, *_VIDEOS)
        places = (self._place(digest, suffix) for suffix in suffixes)
        return next((place for place in places if place.exists()), None)

    def _place(self, digest: str, suffix: str) -> Path:
        return self.folder / digest[:2] / f"{digest}{suffix}"

    def _keep(self, data: bytes, suffix: str) -> str:
        digest = hashlib.sha256(data).hexdigest()
        place = self._place(digest, suffix)
        try:
            whole = hashlib.sha256(place.read_bytes()).hexdigest() == digest
        except OSError:
            whole = False
        if not whole:
            self._write(place, data)
        return digest

    def _write(self, place: Path, data: bytes) -> None:
        try:
            new = [folder for folder in (place.parent, self.folder) if not folder.exists()]
            place.parent.mkdir(parents=True, exist_ok=True)
            part = place.with_name(f".part-{uuid.uuid4().hex}")
            try:
                with open(part, "xb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(part, place)
            except BaseException:
                part.unlink(missing_ok=True)
                raise
            for folder in (place.parent, *(folder.parent for folder in new)):
                _sync_folder(folder)
        except OSError as error:
            raise StoreProblem(_words(error, place)) from error


def _white(size: tuple[int, int]) -> Image.Image:
    from PIL import Image

    return Image.new("RGB", size, "white")


def _opened(data: bytes, name: str) -> Image.Image:
    from PIL import Image, UnidentifiedImageError

    kinds = _READABLE
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
        if not _reads_heic():
            raise BadFile(
                f"{name} is a HEIC picture, which cannot be read on this computer (the package "
                f"pi-heif is missing). Set the phone's camera to JPEG ('most compatible') and take "
                f"it again. Nothing was stored."
            )
        kinds, name = ("HEIF",), f"{name} (HEIC)"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=kinds)
    except UnidentifiedImageError as error:
        raise BadFile(
            f"{name} is no picture that can be read here (JPEG, HEIC, PNG, WebP, GIF, TIFF, BMP). "
            f"Nothing was stored."
        ) from error
    except Image.DecompressionBombError as error:
        raise BadFile(_too_large(name)) from error
    except Exception as error:  # a broken file makes a decoder stumble in any way
        raise BadFile(f"{name} is a damaged picture ({error}). Send it again.") from error
    if picture.width * picture.height > MOST_PIXELS:
        raise BadFile(_too_large(name))
    return picture


@cache
def _reads_heic() -> bool:
    """Whether HEIC can be read here. Its decoder has limits of its own, below which ours lie."""
    try:
        from pi_heif import register_heif_opener
    except ImportError:
        return False
    register_heif_opener(thumbnails=False)
    return True


def _must_unpack(picture: Image.Image, name: str) -> None:
    try:
        picture.draft("RGB", (max(1, picture.width // 8), max(1, picture.height // 8)))
        picture.load()
    except Exception as error:
        raise BadFile(
            f"{name} did not arrive whole ({error}). Nothing was stored; send it again."
        ) from error


def _too_large(name: str) -> str:
    return (
        f"{name} has more than {MOST_PIXELS / 1e6:.0f} million pixels, too many to unpack. "
        f"Nothing was stored; send it smaller."
    )


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened for that there
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _words(error: OSError, path: Path) -> str:
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT | errno.EFBIG:
            return (
                f"The disk that holds {path.parent} is full. Everything stored before is kept; "
                f"this file was not. Make room, then add it again."
            )
        case errno.EACCES | errno.EPERM | errno.EROFS:
            return (
                f"{path.parent} may not be written or read ({error.strerror}). Give yourself the "
                f"right to it, or choose another place with --store."
            )
        case _:
            return f"{path} could not be written or read: {error.strerror or error}."
