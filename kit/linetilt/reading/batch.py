"""Thousands of photos -> a table with a row each, over processes or machines.

What was measured once is not measured again. A worker imports neither pandas nor anything that draws.
"""

import contextlib
import ctypes
import functools
import hashlib
import json
import multiprocessing
import os
import warnings
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from ..base.club import Bag, Club
from ..base.errors import CrashedReader, InputError, NotMeasured, PhotoError
from .mark import NUMBERS, ROW, FaceMark
from .photo import photo_bytes
from .pipeline import measure_photo

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (*ROW, "error_code", "error")
# Photos handed out at once to an executor that does not say how many workers it has; a pool gets four a worker.
AHEAD = 64
LOOK_S = 0.2  # how often a wait looks whether the batch was stopped, in seconds
# M_TRIM_THRESHOLD, M_MMAP_THRESHOLD (mallopt(3)): Dask has its workers give all memory back at once, which takes as
# long as the measuring.
_KEPT = (-1, 2**28), (-3, 2**25)
GONE_S = 5.0  # how long an executor that broke is given to say which photos it still finished, in seconds
# Not the picture's last word, so not written down as its answer.
PASSING = "unreadable", CrashedReader.code, NotMeasured.code

Row = tuple[Any, ...]  # in the order of COLUMNS
Task = tuple[Any, Club, Any, bool, bool]  # the arguments of `measure_job`
Answer = tuple[str | None, Any]  # what `measure_job` returns


def measure_photos(
    jobs: Any,
    executor: Executor | None = None,
    progress: Callable[[int, int | None], Any] | None = None,
    *,
    bag: Bag | None = None,
    on_mark: Callable[[int, FaceMark], Any] | None = None,
    resume: str | os.PathLike[str] | None = None,
    stop: Callable[[], Any] | None = None,
) -> "pd.DataFrame":
    """Measure many photos, a row each; one that is refused, or that crashes its reader, never stops the others.

    Parameters
    ----------
    jobs : DataFrame, or iterable of dict
        photo (path, bytes or array), club (a linetilt.Club, or a label of `bag`), and optionally before. Other columns
        are kept. An iterator is drawn from only as photos are handed out, and pictures that it gives as bytes or arrays
        are not kept (None stands in the table).
    executor : concurrent.futures.Executor, optional
        Any; a process pool, or a cluster's, whose machines see the same paths. Default: one photo after the other,
        here, where a crash of native code ends the program. With an executor a photo whose worker died is tried again
        alone, in a process of the kit's own on this machine, and refused with the code "crashed" where that dies too;
        where the executor itself is broken such processes do the rest.
    progress : callable, optional
        Called as progress(done, total) after every photo; total is None where `jobs` has no length.
    bag : linetilt.Bag, optional
        Needed where `club` holds labels.
    on_mark : callable, optional
        Called as on_mark(position, mark) with every FaceMark, for its overlay; nothing else keeps the pictures. Not
        called for a row that `resume` knew.
    resume : path, optional
        A file to which every photo's answer is added as soon as it is there (JSON, a line a photo). What it holds is
        not measured again, as long as the photo's content, the whole club and the kit's code are the same; whatever a
        crash left half written is measured again.
    stop : callable, optional
        Asked without arguments all the while, such as `threading.Event().is_set`. Once it says True no further photo is
        begun, and those not measured get the error code "stopped" (an iterator is left where it is).

    Returns
    -------
    DataFrame
        `jobs` in its order, with the columns of `FaceMark.to_row` (remarks: codes with single spaces between them, as
        in `linetilt.reading.remarks`), and error_code, error ("" where the photo was measured). The same whichever the
        executor, resumed or not.

    Raises
    ------
    InputError
        When a column is missing, a club is not in the bag, the executor is none, or the file of `resume` cannot be
        used.

    Examples
    --------
    >>> table = measure_photos([{"photo": b"no picture", "club": Club(label="7", loft_deg=34)}])
    >>> table["error_code"].tolist()
    ['unreadable']
    """
    import pandas as pd

    if executor is not None and not isinstance(executor, Executor):
        raise InputError(
            f"executor is a {type(executor).__name__}; expected a concurrent.futures.Executor, such as "
            "ProcessPoolExecutor() or a Dask client's get_executor()"
        )
    table = jobs if isinstance(jobs, pd.DataFrame) else None
    total = len(jobs) if hasattr(jobs, "__len__") else None
    if table is not None:
        _check_columns(table.columns, "jobs")
        jobs = [dict(zip(table.columns, row)) for row in table.itertuples(index=False, name=None)]
    if total is not None:  # a wrong club is told before hours of work, not after them
        for number, job in enumerate(jobs, 1):
            _club_of(job, bag, number)
    kept: list[dict[str, Any]] = []
    results: list[Row | None] = []
    done, stopped = 0, False

    def asked_to_stop() -> bool:
        nonlocal stopped
        stopped = stopped or (stop is not None and bool(stop()))
        return stopped

    def keep(position: int, row: Row) -> None:
        nonlocal done
        results[position] = row
        done += row[-2] != NotMeasured.code
        if progress is not None and row[-2] != NotMeasured.code:
            progress(done, total)

    def tasks() -> Iterator[tuple[int, Task]]:
        """What is still to be measured, drawn as it is wanted: position, and the arguments of `measure_job`."""
        for number, job in enumerate(jobs, 1):
            club = _club_of(job, bag, number)
            if table is None:
                kept.append(
                    {
                        name: None if isinstance(value, (bytes, bytearray, memoryview, np.ndarray)) else value
                        for name, value in job.items()
                    }
                )
            results.append(None)
            photo, before = (
                bytes(job.get(name)) if isinstance(job.get(name), (bytearray, memoryview)) else job.get(name)
                for name in ("photo", "before")
            )
            before = before if isinstance(before, (str, bytes, np.ndarray)) or hasattr(before, "__fspath__") else None
            task = photo, club, before, on_mark is not None, resume is not None
            if asked_to_stop():
                keep(number - 1, _row(_not_measured()))
            elif (row := answers.find(task)) is not None:
                keep(number - 1, row)
            else:
                yield number - 1, task
            if stopped and total is None:
                return

    with _Answers(resume) as answers:
        work = _here(tasks()) if executor is None else _apart(tasks(), executor, asked_to_stop)
        with contextlib.closing(work):
            for position, (key, found) in work:
                row = _row(found)
                answers.add(key, row)
                if on_mark is not None and isinstance(found, FaceMark):
                    on_mark(position, found)
                keep(position, row)
    index = None if table is None else table.index
    measured = pd.DataFrame(results, index=index, columns=list(COLUMNS))
    given = pd.DataFrame(kept, columns=None if kept else ["photo", "club"]) if table is None else table
    return pd.concat([given.drop(columns=[name for name in measured if name in given]), measured], axis=1)


def measure_job(photo: Any, club: Club, before: Any, whole: bool, keyed: bool) -> Answer:
    """Return (key, answer) of one photo; runs in the workers.

    The answer is the FaceMark if `whole`, else its row, which is small to send between processes; or the PhotoError.
    The key, None unless `keyed`, is of the very bytes that were measured: a file that is still arriving may be another
    a moment later.
    """
    key = None
    try:
        if keyed:
            photo, before = _read_pictures(photo, before)
            key = _key(photo, before, club)
        mark = measure_photo(photo, club, before=before)
        return key, mark if whole else mark.to_row()
    except PhotoError as error:
        # a new one: the old one's traceback and trace hold pictures
        return key, type(error)(error.seen, None if error.trace is None else error.trace.slim())
    except Exception as error:  # one photo's bad luck in ten thousand is told in its row
        return key, _crashed(error)


def _measure_apart(*task: Any) -> Answer:
    if multiprocessing.parent_process() is not None:
        _settle(os.getpid())
    return measure_job(*task)


@functools.cache
def _settle(process: int) -> None:
    """Have this worker use one thread, as there is a worker for every core already, and keep memory between photos."""
    from threadpoolctl import threadpool_limits

    cv2.setNumThreads(0)  # not 1: a worker that was forked would wait for ever for threads that only its parent has
    threadpool_limits(1)
    with contextlib.suppress(AttributeError, OSError, TypeError):  # the C library of Linux alone can be told so
        for what, size in _KEPT:
            ctypes.CDLL(None).mallopt(what, size)


# ---- one after the other, or spread out ------------------------------------------------------------------------------


def _here(tasks: Iterator[tuple[int, Task]]) -> Iterator[tuple[int, Answer]]:
    for position, task in tasks:
        yield position, measure_job(*task)


def _apart(
    tasks: Iterator[tuple[int, Task]], executor: Executor, asked_to_stop: Callable[[], bool]
) -> Iterator[tuple[int, Answer]]:
    """Measure on an executor that has a bounded number of photos in its hands at once; yields as they are done."""
    pool, alone, waiting = executor, None, {}
    workers = getattr(executor, "_max_workers", None)  # a pool's; a cluster's does not say
    ahead = 4 * workers if workers else AHEAD
    try:
        while True:
            for position, task in islice(tasks, ahead - len(waiting)):
                waiting[_submit(pool, task)] = position, task
            if not waiting:
                return
            if asked_to_stop():
                for future in [future for future in waiting if future.cancel()]:
                    yield waiting.pop(future)[0], (None, _not_measured())
            finished, _ = wait(waiting, LOOK_S, FIRST_COMPLETED)
            broken = next((error for error in map(_error, finished) if isinstance(error, BrokenExecutor)), None)
            if broken is not None:
                wait(waiting, GONE_S)
                finished = list(waiting)
            suspects = []
            for future in finished:
                position, task = waiting.pop(future)
                if _error(future) is None:
                    yield position, future.result()
                else:
                    suspects.append((position, task))
            for position, task in suspects:  # one at a time, so that nobody else can be at fault
                if asked_to_stop():
                    yield position, (None, _not_measured())
                    continue
                alone = alone or _own_pool(1)
                try:
                    answer = alone.submit(_measure_apart, *task).result()
                except BrokenExecutor:
                    alone.shutdown()
                    alone = None
                    answer = None, CrashedReader("the picture crashed the reader, in a process of its own as well")
                except Exception as error:  # such as a photo that cannot be sent to another process
                    answer = None, _crashed(error)
                yield position, answer
            if broken is not None:
                if pool is executor:
                    warnings.warn(
                        f"the executor broke ({broken}); what is left is measured by processes of the kit's own",
                        RuntimeWarning,
                        stacklevel=3,
                    )
                else:
                    pool.shutdown()
                pool = _own_pool(workers)
    finally:
        for future in waiting:
            future.cancel()
        for own in (alone, None if pool is executor else pool):
            if own is not None:
                own.shutdown(cancel_futures=True)


def _submit(pool: Executor, task: Task) -> "Future[Answer]":
    try:
        return pool.submit(_measure_apart, *task)
    except Exception as error:  # told where all else is told: an executor that is gone, or a photo that cannot be sent
        future = Future()
        gone = (
            not isinstance(error, (BrokenExecutor, TypeError, AttributeError))
            and type(error).__name__ != "PicklingError"
        )
        future.set_exception(BrokenExecutor(str(error)) if gone else error)
        return future


def _error(future: "Future[Answer]") -> BaseException | None:
    """What went wrong, or None; to be cancelled, or left undone by an executor that broke, is an error too."""
    return future.exception() if future.done() and not future.cancelled() else CancelledError()


def _own_pool(workers: int | None) -> ProcessPoolExecutor:
    """Start a pool, and make sure that it works: else every photo would be called guilty."""
    pool = ProcessPoolExecutor(workers)
    try:
        pool.submit(int).result()
    except BrokenExecutor as error:
        raise InputError(
            "a process started by this program ended at once; expected one that works; in a script, put the call under "
            '`if __name__ == "__main__":`'
        ) from error
    return pool


# ---- a row a photo ---------------------------------------------------------------------------------------------------


def _row(found: Any) -> Row:
    """The answer as a tuple in the order of COLUMNS."""
    if isinstance(found, PhotoError):
        return (*(np.nan if name in NUMBERS else "" for name in ROW), found.code, str(found))
    found = found.to_row() if isinstance(found, FaceMark) else found
    return (*(found[name] for name in ROW), "", "")


def _crashed(error: Exception) -> CrashedReader:
    return CrashedReader(f"the picture crashed the reader ({type(error).__name__}: {error})")


def _not_measured() -> NotMeasured:
    return NotMeasured("the batch was stopped before this photo")


def _check_columns(names: Any, where: str) -> None:
    for name in ("photo", "club"):
        if name not in names:
            raise InputError(f"{where} has the columns {', '.join(map(str, names))}; expected photo and club")


def _club_of(job: Any, bag: Bag | None, number: int) -> Club:
    if not isinstance(job, Mapping):
        raise InputError(f"row {number} of jobs is a {type(job).__name__}; expected a dict with photo and club")
    _check_columns(job, f"row {number} of jobs")
    if isinstance(job["club"], Club):
        return job["club"]
    if bag is None:
        raise InputError(
            f"row {number} of jobs names the club {job['club']!r}; give bag= so that its loft and score lines are known"
        )
    club: Club = bag[str(job["club"])]
    return club


# ---- what was measured before ----------------------------------------------------------------------------------------


class _Answers:
    """The file of `resume`: a line of JSON a photo, only ever added to. Without a path it knows and keeps nothing."""

    def __init__(self, path: str | os.PathLike[str] | None) -> None:
        self._path = path
        self._file: Any = None
        self._rows: dict[str, Row] = {}

    def __enter__(self) -> "_Answers":
        if self._path is not None:
            try:
                data = Path(self._path).read_bytes() if os.path.exists(self._path) else b""
                self._read(data)
                self._file = open(self._path, "ab", buffering=0)  # every line is with the system before the next photo
                if data and not data.endswith(b"\n"):
                    self._file.write(b"\n")
            except OSError as error:
                raise InputError(
                    f"resume={str(self._path)!r} cannot be used ({error.strerror or error}); expected a file that can "
                    "be written"
                ) from error
        return self

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.close()

    def _read(self, data: bytes) -> None:
        start = b'{"key": "'
        if not start.startswith(data[: len(start)]):
            raise InputError(
                f"resume={str(self._path)!r} is some other file; expected a new name, or a file that an earlier batch "
                "wrote"
            )
        for line in data.splitlines():
            try:
                row = json.loads(line)
                self._rows[row["key"]] = tuple(np.nan if row[name] is None else row[name] for name in COLUMNS)
            except (ValueError, KeyError, TypeError):  # torn by a crash: that photo is measured again
                continue

    def find(self, task: Task) -> Row | None:
        """Return the row of a task that was measured before, else None."""
        if not self._rows:
            return None
        try:
            return self._rows.get(_key(*_read_pictures(task[0], task[2]), task[1]))
        except PhotoError:  # it is told again
            return None

    def add(self, key: str | None, row: Row) -> None:
        """Write an answer down, unless another day may give another."""
        if self._file is None or key is None or row[-2] in PASSING:
            return
        values = {name: None if value != value else value for name, value in zip(COLUMNS, row)}
        try:
            self._file.write(json.dumps({"key": key, **values}).encode() + b"\n")
        except OSError as error:
            raise InputError(
                f"{str(self._path)!r} cannot be written ({error.strerror}); expected a file on a disk with room; make "
                "some and run the batch again, what it holds is not measured again"
            ) from error


def _read_pictures(photo: Any, before: Any) -> Iterator[Any]:
    return (
        value if value is None or isinstance(value, np.ndarray) else photo_bytes(value) for value in (photo, before)
    )


def _key(photo: Any, before: Any, club: Club) -> str:
    """Name an answer by all that it depends on."""
    whole = hashlib.sha256(_code() + repr(club).encode())
    for picture in (photo, before):
        if isinstance(picture, np.ndarray):
            whole.update(f"{picture.dtype} {picture.shape}".encode())
            picture = picture.tobytes()
        whole.update(hashlib.sha256(picture or b"").digest())
    return whole.hexdigest()


@functools.cache
def _code() -> bytes:
    """Name the kit's code and the libraries that decode and compute: a version would not notice a mended line."""
    kit = Path(__file__).parents[1]
    files = sorted(file for part in ("base", "reading") for file in (kit / part).rglob("*.py"))
    code = b"".join(file.read_bytes() for file in files)
    return hashlib.sha256(code + f"{cv2.__version__} {np.__version__}".encode()).digest()
