"""Batches: the same table whichever way it was measured, whatever died meanwhile, and without measuring twice."""

import logging
import multiprocessing
import os
import platform
import re
import shutil
import signal
import subprocess
import sys
import threading
import weakref
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import dask
import linetilt as lt
import numpy as np
import pandas as pd
import pytest
from distributed import Client, LocalCluster
from faces.camera import take_photo
from linetilt.reading import batch

CLUB = lt.Club(label="7", loft_deg=34, score_line_length_mm=52)


class Deadly:
    """A path that kills whoever else opens it."""

    def __init__(self, path, signal_number=None):
        self.path, self.home, self.signal_number = path, os.getpid(), signal_number

    def __fspath__(self):
        if os.getpid() != self.home:
            if self.signal_number is None:
                os._exit(3)
            os.kill(os.getpid(), self.signal_number)
        return str(self.path)


class Unsendable:
    """A path that cannot be handed to another process."""

    def __init__(self, path):
        self.path, self.lock = path, threading.Lock()

    def __fspath__(self):
        return str(self.path)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    """Three photos that are measured, one without a face, one that is no picture and one that is not there."""
    folder = tmp_path_factory.mktemp("season")
    rows = []
    for seed in (1600, 1601, 1602):
        photo = take_photo(seed, hard=False, megapixels=1.0, finish="satin", ink="blue")
        (folder / f"{seed}.jpg").write_bytes(photo.jpeg)
        rows.append(
            (
                folder / f"{seed}.jpg",
                replace(CLUB, handed=photo.handed, score_line_length_mm=photo.head.score_line_length_mm),
            )
        )
    (folder / "note.jpg").write_text("not a picture")
    rows += [(np.full((600, 800, 3), 90, np.uint8), CLUB), (folder / "note.jpg", CLUB), (folder / "missing.jpg", CLUB)]
    return pd.DataFrame(rows, columns=["photo", "club"]).assign(ball=range(6)).iloc[[3, 0, 4, 1, 5, 2]]


@pytest.fixture(scope="module")
def table(jobs):
    table = lt.measure_photos(jobs)
    assert table["error_code"].tolist() == ["no_face", "", "unreadable", "", "unreadable", ""]
    return table


@pytest.fixture(scope="module")
def client():
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=":0", silence_logs=logging.CRITICAL
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


@pytest.fixture
def measured(monkeypatch):
    """What is really measured here, by a list of the photos."""
    calls = []
    monkeypatch.setattr(
        batch,
        "measure_photo",
        lambda photo, *rest, **more: calls.append(photo) or lt.measure_photo(photo, *rest, **more),
    )
    return calls


def test_loop_pool_and_cluster_give_the_same_table(jobs, table, client):
    assert table.index.tolist() == jobs.index.tolist() and table["ball"].tolist() == jobs["ball"].tolist()
    with ProcessPoolExecutor(2) as pool:
        for executor in (pool, client.get_executor()):
            done = []
            pd.testing.assert_frame_equal(lt.measure_photos(jobs, executor, lambda *count: done.append(count)), table)
            assert done == [(number, 6) for number in range(1, 7)]
        assert pool.submit(int).result() == 0  # the caller's, not ours to end


def test_marks_come_from_the_pool_with_their_pictures(jobs):
    marks = {}
    with ProcessPoolExecutor(2) as pool:
        lt.measure_photos(jobs, pool, on_mark=marks.__setitem__)
    assert set(marks) == {1, 3, 5} and marks[1].overlay(300).max() > 100


def test_a_worker_uses_one_thread_and_this_process_keeps_its_own(jobs):
    import cv2
    from threadpoolctl import threadpool_info

    before = cv2.getNumThreads(), [pool["num_threads"] for pool in threadpool_info()]
    with ProcessPoolExecutor(1) as pool:
        lt.measure_photos(jobs.iloc[:1], pool)
        assert pool.submit(cv2.getNumThreads).result() == 1
        assert {found["num_threads"] for found in pool.submit(threadpool_info).result()} == {1}
    with ThreadPoolExecutor(1) as pool:
        lt.measure_photos(jobs.iloc[:1], pool)
    assert (cv2.getNumThreads(), [pool["num_threads"] for pool in threadpool_info()]) == before


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only this C library can be told")
def test_a_worker_told_to_give_memory_back_at_once_keeps_it_between_photos(jobs, monkeypatch):
    """So Dask tells its workers; these two photos would then ask for 430 MB in fresh pages."""
    resource = pytest.importorskip("resource")
    monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", "65536")
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        fresh = lambda: (
            pool.submit(resource.getrusage, resource.RUSAGE_SELF).result().ru_minflt * resource.getpagesize() / 1e6
        )
        lt.measure_photos(jobs.iloc[[1, 3]], pool)
        before = fresh()
        lt.measure_photos(jobs.iloc[[1, 3]], pool)
        assert fresh() - before < 50


def test_an_iterator_is_drawn_as_photos_are_handed_out_and_no_picture_is_kept(jobs, table):
    alive, most, drawn, ahead = set(), 0, 0, 0

    def season():
        nonlocal most, drawn
        for number in range(60):
            picture = np.full((300, 300, 3), number, np.uint8)
            alive.add(number)
            weakref.finalize(picture, alive.discard, number)
            most, drawn = max(most, len(alive)), drawn + 1
            yield {"photo": picture, "club": CLUB, "ball": number}

    def progress(done, total):
        nonlocal ahead
        ahead = max(ahead, drawn - done)
        assert total is None

    for executor, limit in ((None, 2), (ThreadPoolExecutor(2), 8)):
        most = drawn = ahead = 0
        got = lt.measure_photos(season(), executor, progress)
        assert (
            got["ball"].tolist() == list(range(60))
            and got["photo"].isna().all()
            and set(got["error_code"]) == {"no_face"}
        )
        assert ahead < limit and most <= limit + 3  # those in work, the one being drawn, the one just answered
    rows = jobs.reset_index(drop=True).to_dict("records")
    listed = lt.measure_photos(row for row in rows)
    pd.testing.assert_frame_equal(listed.drop(columns="photo"), table.reset_index(drop=True).drop(columns="photo"))
    assert listed["photo"].iloc[1] == rows[1]["photo"] and lt.measure_photos(iter(())).columns[0] == "photo"


def test_what_was_measured_is_not_measured_again(jobs, table, measured, tmp_path):
    season = tmp_path / "season.jsonl"
    pd.testing.assert_frame_equal(lt.measure_photos(jobs.iloc[:3], resume=season), table.iloc[:3])
    measured.clear()
    pd.testing.assert_frame_equal(lt.measure_photos(jobs, resume=season), table)
    assert len(measured) == 3  # two photos, and what is no picture, which nobody wrote down
    measured.clear()
    renamed = tmp_path / "another name.jpg"
    renamed.write_bytes(jobs["photo"].iloc[1].read_bytes())
    moved = jobs.iloc[[1]].assign(photo=renamed)
    assert (
        lt.measure_photos(moved, resume=season)["tilt_deg"].tolist() == table["tilt_deg"].iloc[[1]].tolist()
        and not measured
    )
    other = jobs.iloc[[1]].assign(club=[replace(jobs["club"].iloc[1], score_line_length_mm=50)])
    assert (
        lt.measure_photos(other, resume=season)["strike_toe_mm"].iloc[0] != table["strike_toe_mm"].iloc[1]
        and len(measured) == 1
    )
    renamed.write_bytes(jobs["photo"].iloc[3].read_bytes())
    assert lt.measure_photos(moved, resume=season)["tilt_deg"].iloc[0] != table["tilt_deg"].iloc[1]
    lt.measure_photos(jobs.iloc[[1]].assign(before=[jobs["photo"].iloc[3]]), resume=season)
    assert len(measured) == 3


def test_another_version_of_the_kit_measures_again(jobs, measured, tmp_path, monkeypatch):
    lt.measure_photos(jobs.iloc[[1]], resume=tmp_path / "season.jsonl")
    monkeypatch.setattr(batch, "_code", lambda: b"mended")
    lt.measure_photos(jobs.iloc[[1]], resume=tmp_path / "season.jsonl")
    assert len(measured) == 2


@pytest.mark.parametrize(
    "torn", [b"", b'{"key": "ab', b'{"key": "ab", "tilt_deg": 1}', b"\x00\x00\x00", b"[1, 2]\n", b"\xff\xfe\n"]
)
def test_a_torn_line_spoils_nothing(jobs, table, measured, tmp_path, torn):
    season = tmp_path / "season.jsonl"
    lt.measure_photos(jobs.iloc[:4], resume=season)
    whole = season.read_bytes()
    season.write_bytes(whole[:-30] + torn)  # the answer of the last photo is lost
    for again in (1, 0):
        measured.clear()
        got = lt.measure_photos(jobs.iloc[[0, 1, 3]], resume=season)
        pd.testing.assert_frame_equal(got, table.iloc[[0, 1, 3]])
        assert len(measured) == again
    assert season.read_bytes().startswith(whole[:-30])


def test_a_batch_that_was_killed_goes_on_where_it_was(jobs, table, measured, tmp_path):
    pickled, season = tmp_path / "jobs.pkl", tmp_path / "season.jsonl"
    jobs.to_pickle(pickled)
    script = (
        "import os, signal, sys\nimport pandas as pd\nimport linetilt as lt\n"
        "die = lambda done, total: done == 3 and os.kill(os.getpid(), signal.SIGKILL)\n"
        "lt.measure_photos(pd.read_pickle(sys.argv[1]), progress=die, resume=sys.argv[2])\n"
    )
    ended = subprocess.run([sys.executable, "-c", script, pickled, season], timeout=120)
    assert ended.returncode == -signal.SIGKILL
    pd.testing.assert_frame_equal(lt.measure_photos(jobs, resume=season), table)
    assert len(measured) == 3


def test_a_file_that_is_something_else_is_left_alone(jobs, tmp_path):
    bag = tmp_path / "bag.csv"
    bag.write_text("label,loft_deg\n7,34\n")
    with pytest.raises(lt.InputError, match="some other file"):
        lt.measure_photos(jobs, resume=bag)
    assert bag.read_text() == "label,loft_deg\n7,34\n"
    with pytest.raises(lt.InputError, match="expected a file that can be written"):
        lt.measure_photos(jobs, resume=tmp_path)


@pytest.mark.parametrize("how", [None, signal.SIGSEGV])
def test_a_photo_that_kills_its_worker_is_refused_and_the_others_go_on(jobs, table, tmp_path, how):
    """Twice in one batch, so that the kit's own processes die as well; what was measured then is written down."""
    more = pd.concat([jobs] * 3, ignore_index=True)
    more["photo"] = [
        Deadly("here.jpg", how) if number in (3, 16) else photo for number, photo in enumerate(more["photo"])
    ]
    done, season, others = [], tmp_path / "season.jsonl", set(multiprocessing.active_children())
    with ProcessPoolExecutor(2) as pool, pytest.warns(RuntimeWarning, match="processes of the kit's own"):
        got = lt.measure_photos(more, pool, lambda *count: done.append(count), resume=season)
    expected = pd.concat([table] * 3, ignore_index=True)
    lost = got.index[got["error_code"] == "crashed"].tolist()
    assert lost == [3, 16] and got["error"].iloc[3].startswith("The picture crashed the reader")
    pd.testing.assert_frame_equal(got.drop(lost).drop(columns="photo"), expected.drop(lost).drop(columns="photo"))
    assert done[-1] == (18, 18) and len(done) == 18
    assert b"crashed" not in season.read_bytes() and season.read_bytes().count(b"\n") >= 4
    assert not set(multiprocessing.active_children()) - others


def test_a_photo_that_kills_a_cluster_s_worker_is_refused_and_the_others_go_on(jobs, table, client):
    got = lt.measure_photos(
        jobs.assign(photo=[*jobs["photo"].iloc[:3], Deadly("here.jpg"), *jobs["photo"].iloc[4:]]), client.get_executor()
    )
    assert got["error_code"].tolist() == ["no_face", "", "unreadable", "crashed", "unreadable", ""]
    rest = got.index != got.index[3]
    pd.testing.assert_frame_equal(got[rest].drop(columns="photo"), table[rest].drop(columns="photo"))


def test_an_executor_that_is_gone_is_replaced(jobs, table):
    pool = ProcessPoolExecutor(2)
    pool.shutdown()
    with pytest.warns(RuntimeWarning, match="after shutdown"):
        pd.testing.assert_frame_equal(lt.measure_photos(jobs, pool), table)


def test_a_photo_that_cannot_be_sent_and_a_fault_of_the_kit_are_rows(jobs, table, monkeypatch):
    with ProcessPoolExecutor(2) as pool:
        got = lt.measure_photos(jobs.assign(photo=[Unsendable("x.jpg"), *jobs["photo"].iloc[1:]]), pool)
    assert got["error_code"].tolist() == ["crashed", *table["error_code"].iloc[1:]] and "pickle" in got["error"].iloc[0]

    def fails(*_, **__):
        raise ZeroDivisionError("a spacing of nothing")

    monkeypatch.setattr(batch, "measure_photo", fails)
    got = lt.measure_photos(jobs.iloc[:2])
    assert set(got["error_code"]) == {"crashed"} and "ZeroDivisionError: a spacing of nothing" in got["error"].iloc[0]


@pytest.mark.parametrize("workers", [0, 2])
def test_a_batch_that_is_stopped_says_so_and_can_be_finished(jobs, table, tmp_path, workers):
    more, expected = (pd.concat([frame] * 3, ignore_index=True) for frame in (jobs, table))
    stop, done, season = threading.Event(), [], tmp_path / "season.jsonl"

    def progress(*count):
        done.append(count)
        if count[0] == 2:
            stop.set()

    with ProcessPoolExecutor(max(workers, 1)) as pool:
        got = lt.measure_photos(more, pool if workers else None, progress, resume=season, stop=stop.is_set)
    stopped = got["error_code"] == "stopped"
    assert 2 <= (~stopped).sum() == len(done) < 18 and got["error"][stopped].str.contains("run the batch again").all()
    pd.testing.assert_frame_equal(got[~stopped], expected[~stopped])
    pd.testing.assert_frame_equal(lt.measure_photos(more, resume=season), expected)


def test_a_stopped_iterator_is_left_where_it_is(jobs):
    rows = iter(jobs.to_dict("records"))
    got = lt.measure_photos(rows, stop=lambda: True)
    assert got["error_code"].tolist() == ["stopped"] and len(list(rows)) == 5


def test_what_cannot_be_a_batch_is_told_before_anything_is_measured(jobs, measured, client):
    bag = lt.Bag([CLUB])
    rows = [{"photo": b"", "club": "7"}, {"photo": b"", "club": "8"}]
    with pytest.raises(lt.InputError, match="no club '8' in the bag"):
        lt.measure_photos(rows, bag=bag)
    with pytest.raises(lt.InputError, match="row 2 of jobs is a tuple"):
        lt.measure_photos([rows[0], (b"", "7")], bag=bag)
    with pytest.raises(lt.InputError, match="row 1 of jobs has the columns photo; expected photo and club"):
        lt.measure_photos({"photo": b""} for _ in range(2))
    with pytest.raises(lt.InputError, match="get_executor"):
        lt.measure_photos(jobs, client)
    assert not measured


def test_the_readme_s_lines_run_and_run_again(jobs, table, request, tmp_path):
    code = re.search(
        r"```python\n(.*?measure_photos.*?)```", (request.config.rootpath / "README.md").read_text(), re.DOTALL
    )[1]
    (tmp_path / "season.py").write_text(code)
    (tmp_path / "season" / "7").mkdir(parents=True)
    for name in jobs["photo"].iloc[[1, 3]]:
        shutil.copy(name, tmp_path / "season" / "7")
    lt.Bag([jobs["club"].iloc[1]]).to_frame().to_csv(tmp_path / "bag.csv", index=False)
    for _ in range(2):
        subprocess.run([sys.executable, "season.py"], cwd=tmp_path, check=True, timeout=120)
        season = pd.read_csv(tmp_path / "season.csv", dtype={"club": str})
        assert season["club"].tolist() == ["7", "7"] and season["tilt_deg"].iloc[0] == pytest.approx(
            table["tilt_deg"].iloc[1]
        )
    assert (tmp_path / "season.jsonl").read_text().count("\n") == 2
