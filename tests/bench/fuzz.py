"""Broken, odd and hostile photos: `python tests/bench/fuzz.py [inputs] [first seed]`, or coverage-guided (atheris):
`... fuzz.py guided [seconds]`.

Every input goes to `measure_photo` or `measure_setup`, which may only give a result or a PhotoError. It runs in a child
process with at most 4 GB of address space, so that a crash of a decoder, a hang or a picture that swells is seen and
counted, and the rest goes on. Seconds are of the processor, not of the clock; memory is the process's highest resident
size. Printed: tries by kind, what came of them, and everything that should not have come.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import collections
import io
import resource
import struct
import subprocess
import tempfile
import time
import zlib
from pathlib import Path

import numpy as np

MOST_S, MOST_MB, HANG_S, ADDRESS_GB = 5.0, 1000, 120, 4
SOI, EOI = b"\xff\xd8", b"\xff\xd9"


# ---- sound files to spoil --------------------------------------------------------------------------------------------


def desk(width=520, height=500, seed=0):
    """A picture with no face in it that is quickly searched."""
    rng = np.random.default_rng(seed)
    import cv2

    small = rng.integers(40, 200, (4, 5, 3)).astype(np.uint8)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)


def saved(picture, form, **options):
    from PIL import Image

    out = io.BytesIO()
    (picture if isinstance(picture, Image.Image) else Image.fromarray(picture)).save(out, form, **options)
    return out.getvalue()


def chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width, height, *chunks, depth=8, colour=2):
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
        + b"".join(chunks)
        + chunk(b"IEND", b"")
    )


def riff(*chunks):
    body = b"WEBP" + b"".join(
        name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2) for name, data in chunks
    )
    return b"RIFF" + struct.pack("<I", len(body)) + body


def sound_files(rgb):
    """A picture in every form."""
    import pillow_heif
    from PIL import Image

    sys.path[:0] = [str(Path(__file__).parents[1])]
    from faces.camera import with_exif

    pillow_heif.register_heif_opener()
    picture, other = Image.fromarray(rgb), Image.fromarray(rgb[::-1].copy())
    frames = dict(save_all=True, append_images=[other, picture], duration=90)
    return {
        "jpeg": with_exif(saved(picture, "JPEG"), 26),
        "progressive": saved(picture, "JPEG", progressive=True),
        "grey": saved(picture.convert("L"), "JPEG"),
        "cmyk": saved(picture.convert("CMYK"), "JPEG"),
        "png": saved(picture, "PNG"),
        "grey_png": saved(picture.convert("LA"), "PNG"),
        "alpha": saved(picture.convert("RGBA"), "PNG"),
        "palette": saved(picture.convert("P"), "PNG"),
        "bits": saved(picture.convert("1"), "PNG"),
        "deep": saved(Image.fromarray(rgb[..., 0].astype(np.uint16) * 257), "PNG"),
        "apng": saved(picture, "PNG", **frames),
        "gif": saved(picture, "GIF", **frames),
        "webp": saved(picture, "WEBP"),
        "lossless": saved(picture, "WEBP", lossless=True),
        "moving": saved(picture, "WEBP", **frames),
        "heic": saved(picture, "HEIF"),
        "tiff": saved(picture, "TIFF"),
        "bmp": saved(picture, "BMP"),
    }


# ---- kinds: a generator, the sound files and a folder -> what is handed to the kit -----------------------------------


def truncated(rng, files, folder):
    data = _any(rng, files)
    return data[: int(rng.integers(0, len(data)))]


def truncated_with_end(rng, files, folder):
    """Cut short, but its last bytes put back, so that the file looks whole."""
    data = _any(rng, files)
    return data[: int(rng.integers(8, len(data)))] + data[-16:]


def flipped(rng, files, folder):
    return _flip(rng, _any(rng, files), int(rng.integers(1, 12)))


def flipped_header(rng, files, folder):
    data = _any(rng, files)
    head = int(rng.integers(8, 400))
    return _flip(rng, data[:head], int(rng.integers(1, 6))) + data[head:]


def flipped_heic(rng, files, folder):
    data = files["heic"] if rng.random() < 0.05 else files["small heic"]
    head = int(rng.integers(20, len(data)))
    return _flip(rng, data[:head], int(rng.integers(1, 8))) + data[head:]


def shuffled(rng, files, folder):
    """A piece is taken out, doubled, or overwritten with a piece of another file."""
    data, other = _any(rng, files), _any(rng, files)
    a, b = sorted(rng.integers(0, len(data), 2).tolist())
    return data[:a] + (b"", data[a:b] * 2, other[a:b])[rng.integers(0, 3)] + data[b:]


def noise_after_magic(rng, files, folder):
    magic = [
        b"\xff\xd8\xff\xe0",
        b"\xff\xd8\xff\xdb",
        b"\x89PNG\r\n\x1a\n",
        b"RIFF\x40\0\0\0WEBPVP8 ",
        b"RIFF\x40\0\0\0WEBPVP8X",
        b"\0\0\0\x18ftypheic",
        b"\0\0\0\x18ftypmif1",
        b"",
    ]
    return magic[rng.integers(0, len(magic))] + rng.bytes(int(rng.integers(0, 3000)))


def segments(rng, files, folder):
    """A JPEG of lawful and unlawful segments in any order, sizes anything, before a sound scan or none."""
    out = SOI
    for _ in range(int(rng.integers(0, 12))):
        marker = int(
            rng.choice(
                [
                    0xE0,
                    0xE1,
                    0xFE,
                    0xC0,
                    0xC1,
                    0xC2,
                    0xC4,
                    0xDB,
                    0xDD,
                    0xDA,
                    0x01,
                    0xD0,
                    0xD8,
                    0xFF,
                    0xCC,
                    int(rng.integers(0, 256)),
                ]
            )
        )
        body = rng.bytes(int(rng.integers(0, 30)))
        if marker in (0xC0, 0xC2) and rng.random() < 0.7:
            body = struct.pack(">BHHB", 8, *rng.choice([0, 1, 500, 520, 30000, 65535], 2).tolist(), 3) + bytes(
                [1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1]
            )
        length = len(body) + 2 if rng.random() < 0.8 else int(rng.integers(0, 65536))
        out += bytes([0xFF, marker]) + struct.pack(">H", length) + body
    return out + (files["jpeg" if rng.random() < 0.1 else "small jpeg"][2:] if rng.random() < 0.5 else EOI)


def spoiled_exif(rng, files, folder):
    """The EXIF block is noise, points at itself, outside the file, or counts thousands of entries."""
    order = rng.choice(["<", ">"])
    tiff = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(
        order + "I", int(rng.choice([8, 0, 4, 2**31, 2**32 - 1, 20]))
    )
    tiff += struct.pack(order + "H", int(rng.choice([1, 2, 65535, 0])))
    for _ in range(int(rng.integers(0, 4))):
        tiff += struct.pack(
            order + "HHII",
            int(rng.choice([0x112, 0x8769, 0xA405, 0x8825, 0x927C])),
            int(rng.choice([3, 4, 0, 65535])),
            int(rng.choice([1, 0, 2**32 - 1])),
            int(rng.choice([8, 1, 6, 26, 2**31, 2**32 - 1])),
        )
    tiff += rng.bytes(int(rng.integers(0, 40)))
    block = b"Exif\0\0" + tiff
    small = files["small jpeg"] if rng.random() < 0.97 else files["jpeg"]
    return SOI + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + small[2:]


def wrong_ending(rng, files, folder):
    name = folder / f"photo{rng.choice(['.jpg', '.png', '.webp', '.heic', '.txt', '', '.JPG.exe', '.jpeg.zip'])}"
    name.write_bytes(_any(rng, files))
    return name


def odd_name(rng, files, folder):
    letters = "a b\n\r\t'\"\\%;|*?<>&$é漢字🏌\u202e\u0301\ud800\x7f\x00/"
    name = "".join(rng.choice(list(letters), int(rng.integers(1, 60)))) + ".jpg"
    path = os.path.join(str(folder), name)
    try:
        os.makedirs(os.path.dirname(path), exist_ok=True)
        Path(path).write_bytes(files["small jpeg"])
    except (OSError, ValueError):
        pass
    return path if rng.random() < 0.8 else os.fsencode(path) if "\ud800" not in path else path


def no_file(rng, files, folder):
    """Directory, pipe, link to itself, device, missing, too long, no path at all."""
    import pathlib
    import socket

    kind = rng.integers(0, 16)
    path = folder / "thing"
    if kind == 0:
        return folder
    if kind == 1:
        os.mkfifo(path)
    elif kind == 2:
        path.symlink_to(path)
    elif kind == 3:
        return pathlib.Path(
            rng.choice(
                [
                    "/dev/zero",
                    "/dev/random",
                    "/dev/null",
                    "/dev/full",
                    "/dev/stdin",
                    "/dev/tty",
                    "/proc/self/mem",
                    "/proc/self/maps",
                    "/proc/kmsg",
                    "/proc/kcore",
                ]
            )
        )
    elif kind == 4:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(str(path))
    elif kind == 5:
        return str(folder / ("x" * int(rng.integers(200, 6000))))
    elif kind == 6:
        return [None, 7, 0, -1, 3.5, object(), [], {}, (), True, "", ".", "\0", type, iter(())][rng.integers(0, 15)]
    elif kind == 7:
        return [
            b"",
            bytearray(),
            memoryview(b""),
            memoryview(np.zeros((4, 4), np.uint8)),
            bytearray(files["small jpeg"]),
            memoryview(files["small jpeg"])[::2],
        ][rng.integers(0, 6)]
    elif kind == 8:
        path.write_bytes(b"")
    elif kind == 9:
        with open(path, "wb") as file:
            file.truncate(int(rng.choice([10**9, 10**12, 190_000_000], p=[0.5, 0.4, 0.1])))
    elif kind == 10:
        path.write_bytes(files["small jpeg"])
        return os.path.join(str(path), "inside")
    elif kind == 11:
        os.symlink("nowhere", path)
    elif kind == 12:
        os.symlink("/dev/zero", path)
    elif kind == 13:
        path.write_bytes(files["small jpeg"])
        path.chmod(0)
    elif kind == 14:
        return io.BytesIO(files["small jpeg"])
    return path


def array(rng, files, folder):
    shapes = [
        (),
        (0,),
        (5,),
        (0, 0),
        (0, 9, 3),
        (1, 1, 3),
        (1, 1),
        (600, 600, 2),
        (600, 600, 5),
        (600, 600, 0),
        (3, 600, 600),
        (600, 600, 3, 1),
        (200, 1300),
        (199, 5000, 3),
        (500, 501, 4),
        (500, 501, 1),
    ]
    kinds = [
        np.uint8,
        np.int8,
        np.uint16,
        np.int64,
        np.float32,
        np.float64,
        np.float16,
        bool,
        complex,
        ">u2",
        "U3",
        "M8[s]",
        object,
        [("r", "u1")],
    ]
    shape, kind = shapes[rng.integers(0, len(shapes))], kinds[rng.integers(0, len(kinds))]
    how = rng.integers(0, 6)
    if how == 0:  # huge, though it takes no memory
        return np.broadcast_to(
            np.zeros((), kind), (int(rng.choice([30000, 2**20])), 30000, 3)[: int(rng.integers(2, 4))]
        )
    out = np.zeros(shape, kind)
    if how == 1 and out.dtype.kind == "f":
        out = np.full(shape, rng.choice([np.nan, np.inf, -1e30]), kind)
    if how == 2 and out.ndim > 1:
        out = out[::-1, ::-1]
    if how == 3:
        out = np.asfortranarray(out)
    if how == 4:
        out = np.ma.masked_array(out, mask=False) if rng.random() < 0.5 else out
    return out


def tiny(rng, files, folder):
    shape = (int(rng.integers(1, 9)), int(rng.integers(1, 9)), 3)
    return saved(rng.integers(0, 256, shape).astype(np.uint8), str(rng.choice(["JPEG", "PNG", "WEBP", "HEIF", "GIF"])))


def narrow(rng, files, folder):
    shape = (int(rng.integers(1, 40)), int(rng.integers(2000, 16000)), 3)[:: 1 if rng.random() < 0.5 else -1]
    shape = shape if shape[2] == 3 else (shape[1], shape[0] if shape[0] != 3 else 5, 3)
    return saved(np.zeros(shape, np.uint8), str(rng.choice(["JPEG", "PNG"])))


def huge_header(rng, files, folder):
    """Says that it is enormous, in a few bytes; some of them say two sizes."""
    w, h = (int(rng.choice([30000, 65535, 16383, 60000, 8000])) for _ in range(2))
    body = chunk(b"IDAT", zlib.compress(b"\0" * 1000))
    sof = lambda marker, w, h: (
        b"\xff" + bytes([marker]) + struct.pack(">HBHHB", 17, 8, h, w, 3) + bytes([1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1])
    )
    small = files["jpeg" if rng.random() < 0.1 else "small jpeg"][2:]
    hidden = sof(0xC0, w, h) + small
    vp8 = b"\x30\x01\x00\x9d\x01\x2a" + struct.pack("<HH", w & 0x3FFF, h & 0x3FFF) + bytes(300)
    vp8x = b"\0\0\0\0" + (519).to_bytes(3, "little") + (499).to_bytes(3, "little")
    return [
        lambda: png(w, h, body),
        lambda: png(w, h, body, depth=16, colour=6),
        lambda: png(2**31 - 1, 2**31 - 1, body),
        lambda: png(520, 500, body, chunk(b"IHDR", struct.pack(">IIBBBBB", w, h, 8, 2, 0, 0, 0)), body),
        lambda: SOI + sof(0xC0, w, h) + small,
        lambda: SOI + sof(0xC2, w, h) + files["progressive"][2:],
        lambda: SOI + b"\xff\x01\xff\xfe" + struct.pack(">H", 30) + hidden,
        lambda: SOI + b"\xff\xd0" + struct.pack(">H", 2 + len(hidden) % 5) + hidden,
        lambda: files["jpeg"] + SOI + hidden,
        lambda: SOI + sof(0xC3, w, h) + small,
        lambda: riff((b"VP8 ", vp8), (b"VP8X", vp8x)),
        lambda: riff((b"VP8X", vp8x), (b"VP8 ", vp8)),
        lambda: riff((b"VP8X", bytes(4) + b"\xff" * 6), (b"VP8 ", vp8)),
        lambda: riff((b"VP8L", b"\x2f" + struct.pack("<I", (w - 1 & 0x3FFF) | (h - 1 & 0x3FFF) << 14) + bytes(99))),
    ][rng.integers(0, 14)]()


def bomb(rng, files, folder):
    """Small files that are much work: text that swells, thousands of segments, of scans, of frames."""
    swell = zlib.compress(b"\0" * int(rng.choice([10**6, 3 * 10**7])), 9)
    scan = files["progressive"][files["progressive"].find(b"\xff\xda") : -2]
    head = files["progressive"][: files["progressive"].find(b"\xff\xda")]
    anim = b"\x02\0\0\0" + (519).to_bytes(3, "little") + (499).to_bytes(3, "little")
    frame = bytes(6) + (519).to_bytes(3, "little") + (499).to_bytes(3, "little") + b"\x10\0\0\0" + files["webp"][12:]
    few = int(rng.choice([10, 300, 3000]))
    return [
        lambda: png(
            520, 500, chunk(b"zTXt", b"a\0\0" + swell), chunk(b"iCCP", b"a\0\0" + swell), chunk(b"IDAT", swell)
        ),
        lambda: png(520, 500, *[chunk(b"tEXt", b"a\0b")] * (30 * few)),
        lambda: png(520, 500, *[chunk(b"eXIf", b"II*\0\x08\0\0\0\xff\xff")] * few),
        lambda: png(520, 500, chunk(b"IDAT", swell)),
        lambda: SOI + b"\xff" * (1000 * few) + files["jpeg"][2:],
        lambda: SOI + b"\xff\xfe\0\x02" * (1000 * few) + files["jpeg"][2:],
        lambda: head + scan * min(few, 400) + EOI,
        lambda: riff((b"VP8X", anim), *[(b"JUNK", b"")] * (300 * few), *[(b"VP8 ", files["webp"][20:])]),
        lambda: riff((b"VP8X", anim), (b"ANIM", bytes(6)), *[(b"ANMF", frame)] * min(few, 300)),
        lambda: files["heic"][:30] + b"\0\0\0\x08free" * few + files["heic"][30:],
    ][rng.integers(0, 10)]()


def polyglot(rng, files, folder):
    """Two files in one, or something else behind a picture's first bytes."""
    one, two = _any(rng, files), _any(rng, files)
    other = [b"PK\3\4" + rng.bytes(50), b"%PDF-1.7\n", b"<html><script>", b"GIF89a\x01\0\x01\0", b"MZ", b"#!/bin/sh\n"][
        rng.integers(0, 6)
    ]
    return [
        lambda: one + two,
        lambda: other + one,
        lambda: one + other,
        lambda: one[:12] + two,
        lambda: one[:4] + two[4:12] + one[12:],
        lambda: files["gif"] + one,
    ][rng.integers(0, 6)]()


def sound(rng, files, folder):
    """Sound files of every form; the search for a face finds none."""
    return _any(rng, files)


def noisy_array(rng, files, folder):
    """Pictures of noise, stripes, circles, of all brightness: there is much to find and nothing to see."""
    height, width = int(rng.integers(420, 700)), int(rng.integers(620, 800))
    y, x = np.mgrid[0:height, 0:width]
    turn, period = rng.normal(0, 0.4), rng.uniform(3, 40)
    stripes = 90 + 80 * np.sign(np.sin((y * np.cos(turn) + x * np.sin(turn)) * 2 * np.pi / period))
    round_ = 200.0 * (np.hypot(x - rng.uniform(0, width), y - rng.uniform(0, height)) < rng.uniform(20, 300))
    kind = rng.integers(0, 7)
    grey = [
        rng.normal(120, 60, (height, width)),
        stripes,
        round_,
        stripes * (round_ > 0),
        round_ + rng.normal(0, 20, (height, width)),
        np.full((height, width), float(rng.integers(0, 256))),
        stripes * (np.abs(x - width / 2) < rng.uniform(40, 300)) * (np.abs(y - height / 2) < rng.uniform(30, 200)),
    ][kind]
    out = np.clip(grey, 0, 255).astype(np.uint8)
    return out if rng.random() < 0.3 else np.dstack([out, np.roll(out, int(rng.integers(0, 9)), 1), out])


def large(rng, files, folder):
    """As large as is taken: up to 50 megapixels of every form, from nothing but a few colours."""
    width = int(rng.integers(5000, 8000))
    height = int(rng.uniform(0.9, 0.999) * 50e6 / width)
    picture = desk(width, height, int(rng.integers(0, 99)))
    return [
        lambda: saved(picture, "JPEG"),
        lambda: saved(picture, "JPEG", progressive=True),
        lambda: saved(picture, "PNG", compress_level=1),
        lambda: picture,
        lambda: saved(picture[:3000, :6000], "WEBP", method=0),
        lambda: picture[..., 0].astype(np.uint16) * 257,
        lambda: saved(picture[:4000, :4000], "HEIF"),
    ][rng.integers(0, 7)]()


KINDS = {  # and their share of the inputs
    truncated: 12,
    truncated_with_end: 6,
    flipped_header: 14,
    flipped: 3,
    flipped_heic: 8,
    shuffled: 3,
    noise_after_magic: 14,
    segments: 6,
    spoiled_exif: 6,
    wrong_ending: 4,
    odd_name: 5,
    no_file: 6,
    array: 6,
    tiny: 3,
    narrow: 1.5,
    huge_header: 5,
    bomb: 1,
    polyglot: 1,
    sound: 0.5,
    noisy_array: 0.2,
    large: 0.02,
}


def _any(rng, files):
    """One of the sound files: mostly too small to be searched, which is soon over; the others reach the decoders and
    the search."""
    name = list(files)[rng.integers(0, len(files))]
    return files["small " + name] if rng.random() < 0.96 else files[name]


def _flip(rng, data, most):
    out = bytearray(data)
    for _ in range(most):
        if out:
            out[rng.integers(0, len(out))] ^= 1 << int(rng.integers(0, 8))
    return bytes(out)


def made(seed, files, folder):
    """Kind, argument and which of the two is asked, from a seed."""
    rng = np.random.default_rng([seed, 4242])
    shares = np.array(list(KINDS.values()), float)
    kind = list(KINDS)[rng.choice(len(shares), p=shares / shares.sum())]
    return kind.__name__, kind(rng, files, folder), "setup" if rng.random() < 0.3 else "photo"


def ask(entry, photo):
    """What came of it: a reason code, "mark", "reading", or "!" and the exception that should not have come."""
    import linetilt as lt

    try:
        if entry == "photo":
            result = lt.measure_photo(photo, lt.Club(label="7", loft_deg=34, score_line_length_mm=52.0))
            return "mark" if isinstance(result, lt.FaceMark) else f"!{type(result)}"
        return "reading" if lt.measure_setup(photo) is not None else "!None"
    except lt.PhotoError as error:
        return error.code if str(error) else "!no words"
    except BaseException as error:
        return f"!{type(error).__name__}: {error}".replace("\n", " ")[:200]


# ---- child and parent ------------------------------------------------------------------------------------------------


def child(first, stop, place):
    """Try the seeds from `first` on, a line each; `place` says which one is in hand."""
    import cv2

    cv2.setNumThreads(1)
    files = Files()
    peak = 0
    limit = ADDRESS_GB * 2**30
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    with open(place, "r+b", buffering=0) as status, tempfile.TemporaryDirectory() as folder:
        for seed in range(first, stop):
            os.pwrite(status.fileno(), struct.pack("<q", seed), 0)
            own = Path(folder) / str(seed)
            own.mkdir()
            kind, photo, entry = made(seed, files, own)
            started = time.process_time()
            came = ask(entry, photo)
            spent, now = time.process_time() - started, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            grew, peak = now > peak + 1, max(now, peak)
            print(seed, kind, entry, f"{spent:.3f}", f"{now:.0f}" if grew else "-", came, sep="\t", flush=True)
            del photo
            subprocess.run(["rm", "-rf", str(own)], check=False) if kind in (
                "no_file",
                "odd_name",
                "wrong_ending",
            ) else own.rmdir()


class Files(dict):
    """The sound files by form; "small jpeg" is the same too small to be searched, and is never drawn by chance."""

    def __init__(self):
        super().__init__(sound_files(desk()))
        self._small = sound_files(desk(64, 48))

    def __missing__(self, name):
        return self._small[name.removeprefix("small ")]


def run(inputs, first):
    """Send the seeds to children, a new one after every crash; return a row each (seed, kind, entry, seconds,
    megabytes, outcome)."""
    rows, seed, last = [], first, first + inputs
    with tempfile.TemporaryDirectory() as folder:
        place, said = Path(folder) / "place", Path(folder) / "said"
        while seed < last:
            place.write_bytes(struct.pack("<q", seed))
            with open(said, "wb") as out, open(Path(folder) / "errors", "wb") as errors:
                process = subprocess.Popen(
                    [sys.executable, __file__, "child", str(seed), str(min(seed + 5000, last)), str(place)],
                    stdout=out,
                    stderr=errors,
                    stdin=subprocess.DEVNULL,
                )
                at, since = -1, time.monotonic()
                while process.poll() is None:
                    time.sleep(0.2)
                    now = struct.unpack("<q", place.read_bytes())[0]
                    at, since = (now, time.monotonic()) if now != at else (at, since)
                    if time.monotonic() - since > HANG_S:
                        process.kill()
            rows += [
                line.split("\t", 5) for line in said.read_text(errors="replace").splitlines() if line.count("\t") >= 5
            ]
            if process.returncode:
                at = struct.unpack("<q", place.read_bytes())[0]
                rows.append(
                    [
                        str(at),
                        "?",
                        "?",
                        "0",
                        "-",
                        f"!the process ended with {process.returncode}: "
                        f"{(Path(folder) / 'errors').read_text(errors='replace')[-300:]!r}",
                    ]
                )
                seed = at + 1
            else:
                seed = min(seed + 5000, last)
            print(
                f"{seed - first} of {inputs}, {sum(row[5].startswith('!') for row in rows)} faults",
                file=sys.stderr,
                flush=True,
            )
    return rows


def main(inputs=100_000, first=1_000_000):
    started = resource.getrusage(resource.RUSAGE_CHILDREN)
    rows = run(inputs, first)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    counts = collections.defaultdict(collections.Counter)
    for row in rows:
        counts[row[1]][row[5] if not row[5].startswith("!") else "FAULT"] += 1
    print("| kind | tries | came to |\n| --- | --- | --- |")
    for kind in sorted(counts):
        print(
            f"| {kind} | {sum(counts[kind].values())} | "
            f"{', '.join(f'{code} {count}' for code, count in counts[kind].most_common())} |"
        )
    faults = [row for row in rows if row[5].startswith("!")]
    slow = [row for row in rows if float(row[3]) > MOST_S]
    heavy = [row for row in rows if row[4] != "-" and float(row[4]) > MOST_MB]
    worst, most = (
        max(rows, key=lambda row: float(row[3])),
        max((row for row in rows if row[4] != "-"), key=lambda row: float(row[4])),
    )
    print(
        f"\n{len(rows)} inputs, seeds from {first}; {len(faults)} faults, {len(slow)} above {MOST_S:g} s, "
        f"{len(heavy)} above {MOST_MB} MB"
    )
    print(
        f"longest {worst[3]} s of the processor ({worst[1]}, seed {worst[0]}); most memory {most[4]} MB ({most[1]}, "
        f"seed {most[0]}); {used.ru_utime + used.ru_stime - started.ru_utime - started.ru_stime:.0f} s in all"
    )
    for title, some in (("faults", faults), ("slow", slow), ("heavy", heavy)):
        for row in some[:40]:
            print(title, *row)
    return 1 if faults or slow or heavy else 0


def guided(seconds=300):
    """Let atheris follow the coverage of the kit's own header readers from the sound files; ends at the first exception
    that should not come."""
    import atheris

    with atheris.instrument_imports(include=["linetilt.reading.photo"]):
        import linetilt as lt  # noqa: F401
        from linetilt.reading.photo import open_photo

    from linetilt.base.errors import PhotoError

    def one(data):
        try:
            open_photo(data)
        except PhotoError:
            pass

    with tempfile.TemporaryDirectory() as folder:
        for name, data in sound_files(desk()).items():
            (Path(folder) / name).write_bytes(data)
        atheris.Setup(
            [
                sys.argv[0],
                f"-max_total_time={int(seconds)}",
                "-max_len=20000",
                f"-rss_limit_mb={MOST_MB}",
                "-timeout=20",
                "-print_final_stats=1",
                folder,
            ],
            one,
        )
        atheris.Fuzz()


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(int(sys.argv[2]), int(sys.argv[3]), sys.argv[4])
    elif sys.argv[1:2] == ["guided"]:
        guided(*sys.argv[2:])
    else:
        raise SystemExit(main(*(int(word) for word in sys.argv[1:])))
