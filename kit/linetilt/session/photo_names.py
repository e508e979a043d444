"""What the names of photos say: which club, in which order; and a list of shots that somebody kept."""

import re
from functools import cache
from pathlib import Path

from ..base.tables import read_rows, words_of

_RESERVED = re.compile(
    r"(con|prn|aux|nul|com\d|lpt\d)( *\..*)?", re.IGNORECASE
)  # devices of Windows, whatever their ending
PHOTO_ENDS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")


def safe_name(name):
    """Return the name of an uploaded file as one that any disk takes, and that leads into no other folder."""
    name = (
        re.sub(r"[^\w. ()-]", "_", str(name).replace("\\", "/").rpartition("/")[2]).strip().lstrip(".") or "photo.jpg"
    )
    stem, dot, end = name.rpartition(".")
    stem = stem.encode()[:120].decode(errors="ignore")  # file systems take 255 bytes; a digest may follow
    name = f"{stem}{dot}{end[:8]}"
    return f"_{name}" if _RESERVED.fullmatch(name) else name


def club_from_name(name, labels):
    """Return the label of the club that a photo's name says, or None.

    The file's name may start with it ("7-1.jpg", "PW_3.jpg", "7i 2.jpg"), or a folder may be called so
    ("7/IMG_0412.jpg", "7 iron/a.jpg").
    """
    *folders, file = Path(name).parts
    by_word = {label.lower(): label for label in labels}
    for part, pattern in (
        (Path(file).stem, r"(.+?) ?(?:i|iron)?(?:[-_ ]+\d+)?"),
        *((folder, r"(.+?) ?(?:i|iron)?") for folder in reversed(folders)),
    ):
        whole = re.fullmatch(pattern, part.lower())
        if whole and whole[1] in by_word:
            return by_word[whole[1]]
    return None


def read_shot_list(shot_list):
    """Return the rows of a list of shots (path, DataFrame or None), a dict each, by the photo that they name."""
    if shot_list is None:
        return {}
    rows = read_rows(
        shot_list,
        "the list of shots",
        needed=("photo",),
        known=("photo", "club", "net_left_mm", "net_distance_mm", "golfer", "shot", "note"),
        numeric=("net_left_mm", "net_distance_mm"),
    )
    return {
        str(row["photo"]): row | ({"club": words_of(row["club"])} if "club" in row else {})
        for _, row in rows
        if "photo" in row
    }


@cache
def counting(name):
    """A key that sorts "7-2" before "7-10"."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part.lower()) for part in re.split(r"(\d+)", name) if part
    )
