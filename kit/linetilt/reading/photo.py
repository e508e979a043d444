"""A file, bytes or array -> an upright RGB picture and its focal length; refuses what is not a usable photo."""

import os
import stat
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from ..base.errors import NoFace, PhotoTooLarge, UnreadablePhoto
from .evidence import Array

MAX_MEGAPIXELS = 50.0
MIN_MEGAPIXELS = 0.25
MAX_BYTES = 200_000_000
MOST_PARTS = 100_000  # segments or chunks of a file; a photo has some dozens, a large PNG some thousands
MOST_SCANS = 50  # of a JPEG; a progressive one has about ten, and every further one costs as much as a whole picture
WORKING_MEGAPIXELS = 2.4  # a JPEG is decoded at 1/2, 1/4 or 1/8 as long as this many are left; the print needs no more

DIAGONAL_35MM = 43.2666  # mm, of the 36 x 24 frame that "35 mm equivalent" refers to
# The main camera of a phone where the photo does not say: common practice, no source.
PHONE_F35_MM, PHONE_U_F35_MM = 26.0, 6.5
EXIF_U_F35_MM = 0.6  # EXIF rounds to whole millimetres, and focusing close lengthens the lens


@dataclass(frozen=True)
class Picture:
    """An upright picture.

    Attributes
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        At working size.
    reduction : int
        How many pixels of the upright original one pixel of `rgb` spans.
    f35_mm, u_f35_mm : float
        Focal length as its 35 mm equivalent, and its standard uncertainty.
    f35_from : {"exif", "usual"}
    squeezed : float
        Steps in which a JPEG keeps the brightness of 8 x 8 pixels of `rgb`, in eighths of a grey level; 0 where it is
        not known.
    """

    rgb: Array
    reduction: int
    f35_mm: float
    u_f35_mm: float
    f35_from: str
    squeezed: float = 0.0

    @property
    def focal_px(self) -> float:
        """Focal length in pixels of `rgb`."""
        return self.f35_mm / DIAGONAL_35MM * float(np.hypot(*self.rgb.shape[:2]))


def open_photo(photo: Any) -> Picture:
    """Read a photo.

    Parameters
    ----------
    photo : path, bytes or ndarray
        JPEG, PNG, WebP, or HEIC with the optional extra; or an upright RGB (or grey, or RGBA) array of uint8 or uint16.

    Returns
    -------
    Picture

    Raises
    ------
    UnreadablePhoto, PhotoTooLarge, NoFace
        The last for a picture that is too small to show a face.
    """
    if isinstance(photo, np.ndarray):
        return Picture(*_reduced(_as_rgb(photo)), PHONE_F35_MM, PHONE_U_F35_MM, "usual")
    data = photo_bytes(photo)
    kind = _kind(data)
    if kind is None:
        raise UnreadablePhoto("this is not a JPEG, PNG, WebP or HEIC picture")
    size, exif, *step = (_heic if kind == "heic" else _HEADERS[kind])(data)
    if size is None:
        raise UnreadablePhoto("the picture's header is damaged")
    _check_size(*size)
    if kind == "heic":
        rgb, reduction = _reduced(_as_rgb(_heic(data)[2]()))
    else:
        rgb, reduction = _decode(data, kind, size)
    f35 = _f35(exif)
    focal = (PHONE_F35_MM, PHONE_U_F35_MM, "usual") if f35 is None else (f35, EXIF_U_F35_MM, "exif")
    return Picture(rgb, reduction, *focal, squeezed=step[0] / reduction if kind == "jpeg" else 0.0)


def photo_bytes(photo: Any) -> bytes:
    """Return the bytes of a photo given as path or bytes; UnreadablePhoto or PhotoTooLarge where that cannot be."""
    if isinstance(photo, (bytes, bytearray, memoryview)):
        return bytes(photo)
    try:
        path = os.fspath(photo)
    except TypeError:
        raise UnreadablePhoto(f"a photo is a path, bytes or an array, not {type(photo).__name__}") from None
    try:
        status = os.stat(path)
        if not stat.S_ISREG(status.st_mode):  # a pipe would wait for ever
            raise UnreadablePhoto(f"{os.path.basename(path)!r} is not a file")
        if status.st_size == 0:  # some of the system's own files say so and then wait for ever
            raise UnreadablePhoto(f"{os.path.basename(path)!r} is empty")
        if status.st_size > MAX_BYTES:
            raise PhotoTooLarge(f"the file has {status.st_size / 1e6:.0f} MB; {MAX_BYTES / 1e6:.0f} MB is the most")
        with open(path, "rb") as file:
            return file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        raise UnreadablePhoto(f"the file cannot be opened ({getattr(error, 'strerror', None) or error})") from error


def _check_size(width: int, height: int) -> None:
    megapixels = width * height / 1e6
    if megapixels > MAX_MEGAPIXELS:
        raise PhotoTooLarge(
            f"the picture is {width} x {height}, {megapixels:.0f} megapixels; {MAX_MEGAPIXELS:.0f} is the most"
        )
    if megapixels < MIN_MEGAPIXELS or min(width, height) < 200:
        raise NoFace(f"the picture is only {width} x {height} pixels; half a megapixel is the least that shows a mark")


def _as_rgb(array: Array) -> Array:
    if (
        array.dtype not in (np.uint8, np.uint16)
        or array.ndim not in (2, 3)
        or (array.ndim == 3 and array.shape[2] not in (1, 3, 4))
    ):
        raise UnreadablePhoto(f"an array of {array.dtype}, shape {array.shape}, is not a picture (rows, columns, RGB)")
    _check_size(array.shape[1], array.shape[0])
    if array.dtype == np.uint16:
        array = (array >> 8).astype(np.uint8)
    if array.ndim == 2:
        array = array[..., None]
    if array.shape[2] == 1:
        array = np.repeat(array, 3, axis=2)
    return np.ascontiguousarray(array[..., :3])


def _decode(data: bytes, kind: str, size: tuple[int, int]) -> tuple[Array, int]:
    reduction = _reduction(*size) if kind == "jpeg" else 1
    how = {
        1: cv2.IMREAD_COLOR,
        2: cv2.IMREAD_REDUCED_COLOR_2,
        4: cv2.IMREAD_REDUCED_COLOR_4,
        8: cv2.IMREAD_REDUCED_COLOR_8,
    }[reduction]
    try:
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    except cv2.error as error:
        raise UnreadablePhoto("the picture's data is damaged") from error
    if picture is None or picture.ndim != 3:
        raise UnreadablePhoto("the picture's data is damaged")
    picture = cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)  # to have the decoder do it takes OpenCV 4.11
    return (picture, reduction) if kind == "jpeg" else _reduced(picture)


def _reduction(width: int, height: int) -> int:
    """How many pixels of the photo become one: the power of two that leaves just over `WORKING_MEGAPIXELS`."""
    reduction = 1
    while reduction < 8 and width * height / (2 * reduction) ** 2 >= WORKING_MEGAPIXELS * 1e6:
        reduction *= 2
    return reduction


def _reduced(rgb: Array) -> tuple[Array, int]:
    """The picture at working size, and by how much it was reduced."""
    height, width = rgb.shape[:2]
    reduction = _reduction(width, height)
    if reduction == 1:
        return rgb, 1
    size = width // reduction, height // reduction
    return cv2.resize(rgb[: size[1] * reduction, : size[0] * reduction], size, interpolation=cv2.INTER_AREA), reduction


# ---- headers: size and EXIF without decoding a pixel -----------------------------------------------------------------


def _kind(data: bytes) -> str | None:
    if data[:3] == b"\xff\xd8\xff":
        return "jpeg"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"hevc", b"hevx", b"mif1", b"msf1"):
        return "heic"
    return None


def _jpeg_header(data: bytes) -> tuple[tuple[int, int] | None, bytes, int]:
    """Walk the markers up to the scan. A file that ends before its end marker was cut short.

    The third of what is returned is the first step of the first quantization table (ITU-T T.81, B.2.4.1).
    """
    size, exif, step, at = None, b"", 0, 2
    for _ in range(MOST_PARTS):
        if at + 4 > len(data) or data[at] != 0xFF:
            break
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        # these stand alone; taken for segments, they could hide a second header
        if marker == 0x01 or 0xD0 <= marker <= 0xD7:
            at += 2
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if marker in (0xC0, 0xC1, 0xC2) and at + 9 <= len(data):
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            size = (width, height) if width and height else None
        elif marker == 0xE1 and data[at + 4 : at + 10] == b"Exif\0\0":
            exif = data[at + 10 : at + 2 + length]
        elif marker == 0xDB and data[at + 4 : at + 5] in (b"\x00", b"\x10"):
            step = int.from_bytes(data[at + 5 : at + 6 + (data[at + 4] >> 4)], "big")
        elif marker == 0xDA:
            if data.rfind(b"\xff\xd9", at) < 0:
                raise UnreadablePhoto("the file was cut short: its end is missing")
            scans = sum(
                np.count_nonzero(np.frombuffer(data, "<u2", (len(data) - first) // 2, first) == 0xDAFF)
                for first in (at, at + 1)
            )
            return (None if scans > MOST_SCANS else size), exif, step
        at += 2 + length
    return None, b"", step


def _png_header(data: bytes) -> tuple[tuple[int, int] | None, bytes]:
    if data[12:16] != b"IHDR" or len(data) < 24:
        return None, b""
    if b"IEND" not in data[-64:]:
        raise UnreadablePhoto("the file was cut short: its end is missing")
    size, exif, at = struct.unpack(">II", data[16:24]), b"", 8
    _check_size(*size)
    for _ in range(MOST_PARTS):
        if at + 8 > len(data):
            break
        length = int.from_bytes(data[at : at + 4], "big")
        if data[at + 4 : at + 8] == b"eXIf":
            exif = data[at + 8 : at + 8 + length]
        at += 12 + length
        if at > len(data):  # a decoder would make room for that length before it finds out
            raise UnreadablePhoto("the picture's data is damaged")
    return size, exif


def _webp_header(data: bytes) -> tuple[tuple[int, int] | None, bytes]:
    sizes, exif, at = [], b"", 12
    if int.from_bytes(data[4:8], "little") + 8 > len(data):
        raise UnreadablePhoto("the file was cut short: its end is missing")
    for _ in range(MOST_PARTS):
        if at + 8 > len(data):
            break
        name, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        body = data[at + 8 : at + 8 + min(length, 65536)]
        if name == b"VP8X" and len(body) >= 10:
            sizes.append((1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")))
        elif name == b"VP8 " and len(body) >= 10:
            sizes.append((int.from_bytes(body[6:8], "little") & 0x3FFF, int.from_bytes(body[8:10], "little") & 0x3FFF))
        elif name == b"VP8L" and len(body) >= 5:
            bits = int.from_bytes(body[1:5], "little")
            sizes.append(((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1))
        elif name == b"EXIF":
            exif = body.removeprefix(b"Exif\0\0")
        at += 8 + length + length % 2
    # where it says two sizes, the decoder may believe either
    return max(sizes, key=lambda size: size[0] * size[1], default=None), exif


_HEADERS = {"jpeg": _jpeg_header, "png": _png_header, "webp": _webp_header}


def _heic(data: bytes) -> tuple[tuple[int, int], bytes, Callable[[], Array]]:
    """Size, EXIF and a function that decodes; the library has turned the picture upright already."""
    try:
        import pillow_heif
    except ImportError as error:
        raise UnreadablePhoto("this is a HEIC picture, and the HEIC reader is not installed") from error
    try:
        file = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
        exif = (file.info.get("exif") or b"").removeprefix(b"Exif\0\0")
    except Exception as error:  # the reader's own errors are not one family
        raise UnreadablePhoto("the picture's data is damaged") from error

    def pixels() -> Array:
        try:
            return np.asarray(file)
        except Exception as error:
            raise UnreadablePhoto("the picture's data is damaged") from error

    return file.size, exif, pixels


def _f35(tiff: bytes) -> float | None:
    """Focal length (35 mm equivalent) from an EXIF block, or None: Exif 2.32 (CIPA DC-008), tags 0x8769 and 0xA405."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return None

    def entries(at: int) -> Iterator[tuple[int, int]]:
        try:
            count = struct.unpack_from(order + "H", tiff, at)[0]
            for k in range(min(count, 200)):
                tag, kind = struct.unpack_from(order + "HH", tiff, at + 2 + 12 * k)
                yield tag, struct.unpack_from(order + ("H" if kind == 3 else "I"), tiff, at + 2 + 12 * k + 8)[0]
        except struct.error:
            return

    try:
        start = struct.unpack_from(order + "I", tiff, 4)[0]
    except struct.error:
        return None
    for tag, value in entries(start):
        if tag == 0x8769:
            for inner, f35 in entries(value):
                if inner == 0xA405 and 10 <= f35 <= 400:
                    return float(f35)
    return None
