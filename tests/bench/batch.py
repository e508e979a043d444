"""A folder of photos one after the other, over a process pool and over a Dask cluster: `python tests/bench/batch.py
[photos] [workers]`.

In one run, by turns of some photos each, so that whatever else the machine does falls on all three: photos a second,
the ratio to one core, and that all three give the same table. Then the peak memory of a pool's batch of 100 photos and
of 500, each in a fresh process. The faces are drawn (2.4 megapixels), every photo with a grain of its own. Every worker
is a session of its own, since a busy Linux shares its processors out by session: else a pool would get no more than the
loop there. Processor seconds a photo, of all processes together, tell what spreading costs, whatever else runs
meanwhile.
"""

import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import cycle, islice
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1])]

import cv2
import linetilt as lt
import numpy as np
import pandas as pd
import psutil
from distributed import Client, LocalCluster
from faces.camera import take_photo
from threadpoolctl import threadpool_limits

DRAWN, TURN = 20, 50


def draw(folder, photos):
    """Write the photos and a table of them."""
    rows, rng = [], np.random.default_rng(1)
    for k in range(min(DRAWN, photos)):
        photo = take_photo(
            8600 + k, megapixels=2.4, finish=("satin", "chrome", "brushed")[k % 3], ink=("blue", "red", "green")[k % 3]
        )
        for n in range(k, photos, DRAWN):
            grain = rng.integers(-6, 7, photo.rgb.shape, np.int8)
            cv2.imwrite(
                str(folder / f"{n}.jpg"),
                cv2.add(photo.rgb, grain.astype(np.int16), dtype=cv2.CV_8U)[..., ::-1],
                [cv2.IMWRITE_JPEG_QUALITY, 92],
            )
            rows.append(
                (
                    n,
                    folder / f"{n}.jpg",
                    lt.Club(
                        label=str(k),
                        loft_deg=34,
                        handed=photo.handed,
                        score_line_length_mm=photo.head.score_line_length_mm,
                    ),
                )
            )
    return pd.DataFrame(rows, columns=["n", "photo", "club"]).sort_values("n", ignore_index=True)


def spent():
    """Processor seconds of this process and of those that it started."""
    total = 0.0
    for process in (psutil.Process(), *psutil.Process().children(recursive=True)):
        times = process.cpu_times()
        total += times.user + times.system
    return total


def peak_mb(wait_s=0.0):
    """The most memory that this process ever had, in MB."""
    time.sleep(wait_s)
    line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
    return os.getpid(), float(line.split()[1]) / 1024


def memory(table, photos, workers):
    """Measure as many photos over a pool, from an iterator, and print the peak of this process and of the worst
    worker."""
    jobs = islice(cycle(pd.read_pickle(table).to_dict("records")), int(photos))
    with ProcessPoolExecutor(int(workers)) as pool:
        lt.measure_photos(jobs, pool, resume=Path(table).with_name(f"{photos}.jsonl"))
        worst = max(dict(pool.map(peak_mb, [0.3] * 4 * int(workers))).values())
    print(f"{peak_mb()[1]:.0f} {worst:.0f}")


def main(photos=500, workers=2):
    with (
        tempfile.TemporaryDirectory() as folder,
        ProcessPoolExecutor(workers, initializer=os.setsid) as pool,
        LocalCluster(workers, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
    ):
        client.run(lambda: os.setsid() and None)
        jobs = draw(Path(folder), photos)
        cv2.setNumThreads(0)  # the loop on one core
        threadpool_limits(1)
        ways = {"loop": None, "process pool": pool, "Dask cluster": client.get_executor()}
        for executor in ways.values():
            lt.measure_photos(jobs[: 2 * workers], executor)
        tables, seconds, work = ({name: [] for name in ways} for _ in range(3))
        for first in range(0, photos, TURN):
            for name, executor in ways.items():
                start, used = time.perf_counter(), spent()
                tables[name].append(lt.measure_photos(jobs[first : first + TURN], executor))
                seconds[name].append(time.perf_counter() - start)
                work[name].append(spent() - used)
                print(first, name, f"{seconds[name][-1]:.1f} s, {work[name][-1]:.1f} s of processor", file=sys.stderr)
        tables = {name: pd.concat(parts) for name, parts in tables.items()}
        for name in ("process pool", "Dask cluster"):
            pd.testing.assert_frame_equal(tables[name], tables["loop"])
        print(
            f"{photos} photos, {(tables['loop'].error == '').sum()} measured, {workers} workers, {os.cpu_count()} "
            "processors; all three tables are the same"
        )
        print(
            "| | photos a second | times the loop on one core | middle of the turns | processor seconds a photo |\n| "
            "--- | --- | --- | --- | --- |"
        )
        for name in ways:
            ratios = np.array(seconds["loop"]) / seconds[name]
            print(
                f"| {name} | {photos / sum(seconds[name]):.2f} | {sum(seconds['loop']) / sum(seconds[name]):.2f} | "
                f"{np.median(ratios):.2f} | {sum(work[name]) / photos:.3f} |"
            )
        jobs.to_pickle(Path(folder) / "jobs.pkl")
        print("| photos in a batch over the pool | peak of this process | peak of a worker |\n| --- | --- | --- |")
        for size in (100, 500):
            told = subprocess.run(
                [sys.executable, __file__, "memory", f"{folder}/jobs.pkl", str(size), str(workers)],
                check=True,
                capture_output=True,
                text=True,
            )
            own, worker = told.stdout.split()
            print(f"| {size} | {own} MB | {worker} MB |")


if __name__ == "__main__":
    if sys.argv[1:2] == ["memory"]:
        memory(*sys.argv[2:])
    else:
        main(*(int(word) for word in sys.argv[1:]))
