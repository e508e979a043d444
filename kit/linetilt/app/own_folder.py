"""The folder a fitter works in: the kit's notebooks and photos are copied there; what the fitter changed stays."""

import hashlib
import json
from pathlib import Path
from typing import Literal

from ..base.errors import InputError
from ..base.files import write_whole

PARTS = ("notebooks", "demo_photos")
RECORD = ".kit_files.json"  # in the fitter's folder: of each file, the digest of the kit's file that was put there last
PACKAGE = Path(__file__).resolve().parents[1]


def working_folder(own: Path, package: Path = PACKAGE) -> tuple[Path, list[str]]:
    """Return the folder that holds the notebooks to work in, and what there is to say about it, a sentence each.

    Parameters
    ----------
    own : path
        The fitter's own folder; what is missing there is copied from an installed kit.
    package : path
        Where the kit's modules lie. In a copy of the whole project the notebooks stand beside them and are worked in
        as they are.

    Raises
    ------
    InputError
        Where this copy of the kit has no notebooks.
    BookError
        Where the disk refuses a copy.
    """
    project = package.parents[1]
    if package.parent.name == "kit" and (project / "notebooks").is_dir():
        return project, []
    if not (package / "notebooks").is_dir():
        raise InputError(
            f"{str(package)!r} holds no notebooks; expected those that come with linetilt; "
            "install it again from its wheel or from the whole project"
        )
    return own, lay_out(package, own)


def lay_out(kit: Path, own: Path) -> list[str]:
    """Copy the kit's notebooks and demo photos into the fitter's folder; return what was put beside a changed file.

    Nothing that the fitter changed is ever written over. Run again, it restores what was deleted and renews what
    nobody changed.
    """
    record_file, said = own / RECORD, []
    before = _read_record(record_file)
    record = dict(before)
    for name in _kit_files(kit):
        content, target = (kit / name).read_bytes(), own / name
        new, now = _digest(content), _digest(target.read_bytes()) if target.is_file() else None
        step = decide(new, now, before.get(name))
        if step == "beside":
            target = _free_name(target, new)
            said.append(f"{name} is your own and stays as it is; the kit's newer one is beside it: {target.name}")
        if step != "keep":
            write_whole(target, content, "the kit's copy")
        record[name] = new
    if record != before:
        write_whole(record_file, json.dumps(record, indent=0, sort_keys=True).encode(), "the list of copies")
    return said


def decide(new: str, now: str | None, last: str | None) -> Literal["copy", "keep", "beside"]:
    """Return what to do about one file.

    Parameters
    ----------
    new : str
        Digest of the kit's file.
    now, last : str or None
        Digest of the file in the fitter's folder, and of the kit's file that was put there last; None where there is
        none.

    Examples
    --------
    >>> decide("b", None, None), decide("b", "a", "a"), decide("b", "edited", "b"), decide("b", "edited", "a")
    ('copy', 'copy', 'keep', 'beside')
    """
    if now is None:
        return "copy"
    if now == new or new == last:
        return "keep"
    return "copy" if now == last else "beside"


def _kit_files(kit: Path) -> list[str]:
    files = (file for part in PARTS for file in (kit / part).rglob("*") if file.is_file())
    names = (file.relative_to(kit) for file in files if file.suffix not in (".py", ".pyc"))
    return sorted(name.as_posix() for name in names if not any(part.startswith(".") for part in name.parts))


def _read_record(file: Path) -> dict[str, str]:
    try:
        record = json.loads(file.read_bytes())
    except (OSError, ValueError):  # not there yet, or spoiled: then no file is taken for unchanged
        return {}
    return record if isinstance(record, dict) else {}


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _free_name(target: Path, digest: str) -> Path:
    """Return a name beside the file that is free, or that holds this content already."""
    number = 2
    while True:
        beside = target.with_name(f"{target.stem} ({number}){target.suffix}")
        if not beside.exists() or _digest(beside.read_bytes()) == digest:
            return beside
        number += 1
