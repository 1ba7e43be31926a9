"""What a batch costs: speed-up by a second worker, time to hand out a task, memory over many sets.

``python -m tests.batch.figures [speed] [tasks] [memory] [month] --write`` measures by hand, some
minutes each, and keeps what it finds in ``FIGURES.md``, a section for each.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import deque
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import psutil

from scanqa.batch.engine import TASKS_OF_A_WORKER, local, run
from scanqa.batch.manifest import read_all
from scanqa.batch.run_batch import Order, work
from scanqa.batch.tasks import Measure, perform
from scanqa.records.database import travelling
from scanqa.scans.save import save_tiff
from tests.batch.arena import LARGER, make_archive
from tests.batch.small_tasks import nothing

FIGURES = Path(__file__).parent / "FIGURES.md"
MOST_BYTES = 8 << 30
NOTHINGS = 100_000
SETS = 1000


def warm(workers, records, piece):
    """Have every place start its process and load what it needs, off the clock."""
    again = deque([Measure(piece, records)] * 6)
    run(workers, perform, again, lambda task, result: True)


def cpu_of_workers():
    """Seconds of processor time of all processes that measure."""
    inside = psutil.Process().children(recursive=True)
    times = [each.cpu_times() for each in inside if "spawn_main" in " ".join(each.cmdline())]
    return sum(each.user + each.system for each in times)


def speed(rounds=3) -> Iterator[str]:
    """Wall time of the same sets by one worker and by two, in turns; start-up left out."""
    yield "| round | workers | sets | wall s | processor s of workers | busy cores |"
    yield "| --- | --- | --- | --- | --- | --- |"
    ratios, by_cpu = [], []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        archive = make_archive(folder / "orchard", months=8, size=LARGER)
        pieces = read_all([archive], {}).pieces
        for turn in range(rounds):
            walls, cpus = {}, {}
            for count in (1, 2) if turn % 2 == 0 else (2, 1):
                records = travelling(str(folder / f"{turn}-{count}.sqlite"))
                with local(count, most_bytes=MOST_BYTES, records=records) as workers:
                    warm(workers, travelling(str(folder / f"w{turn}-{count}")), pieces[0])
                    cpu, begun = cpu_of_workers(), time.perf_counter()
                    ends = work(workers, pieces, Order(records), lambda piece, result: None)
                    walls[count] = time.perf_counter() - begun
                    cpus[count] = cpu = cpu_of_workers() - cpu
                assert ends == {"new": len(pieces)}, ends
                yield (
                    f"| {turn + 1} | {count} | {len(pieces)} | {walls[count]:.1f} | {cpu:.1f} | "
                    f"{cpu / walls[count]:.2f} |"
                )
            ratios.append(walls[1] / walls[2])
            by_cpu.append(2 * cpus[1] / cpus[2])
    yield ""
    yield "Speed-up by the second worker: " + ", ".join(f"{each:.2f}" for each in ratios) + "."
    yield (
        "Where others use the machine the wall clock tells of them. By processor time, which the "
        "second worker raises by what both share (memory, cache): 2 × that of one worker over "
        "that of two: " + ", ".join(f"{each:.2f}" for each in by_cpu) + "."
    )


def tasks() -> Iterator[str]:
    """Time to hand out a task that does nothing and take it back, and what this process grows."""
    from scanqa.batch import engine
    from scanqa.batch.cluster import cluster
    from tests.batch.services import farm

    yield "| engine | tasks | ms a task | this process grew | scheduler grew |"
    yield "| --- | --- | --- | --- | --- |"

    def measured(name, workers, scheduler):
        run(workers, nothing, deque(range(200)), lambda task, result: True)
        own = psutil.Process().memory_info().rss
        of_scheduler = scheduler.memory_info().rss if scheduler else 0
        begun = time.perf_counter()
        run(workers, nothing, deque(range(NOTHINGS)), lambda task, result: True)
        took = 1000 * (time.perf_counter() - begun) / NOTHINGS
        grew = (psutil.Process().memory_info().rss - own) / 1e6
        theirs = f"{(scheduler.memory_info().rss - of_scheduler) / 1e6:.0f} MB" if scheduler else ""
        return f"| {name} | {NOTHINGS} | {took:.2f} | {grew:.0f} MB | {theirs or 'none'} |"

    engine.TASKS_OF_A_WORKER = NOTHINGS * 2  # the cost of a task, not of a new process
    with local(2, most_bytes=MOST_BYTES, records="sqlite://") as workers:
        yield measured("two processes of this machine", workers, None)
    with tempfile.TemporaryDirectory() as place, farm(Path(place), "sqlite://") as found:
        scheduler = psutil.Process(found.scheduler().pid)
        found.workers(2)
        with cluster(found.address) as workers:
            yield measured("Dask, two workers of the command line", workers, scheduler)


def memory() -> Iterator[str]:
    """Memory of one worker over many small sets, one of them measured again and again."""
    yield f"| sets | worker MB, processes replaced after {TASKS_OF_A_WORKER} tasks |"
    yield "| --- | --- |"
    sizes: list[float] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (piece,) = read_all([make_archive(folder / "o", scanners=("heron",), months=1)], {}).pieces

        def finished(task, result):
            assert result.how == "new", result
            inside = psutil.Process().children(recursive=True)
            rss = [p.memory_info().rss for p in inside if "spawn_main" in " ".join(p.cmdline())]
            sizes.append(max(rss) / 1e6)
            return True

        # A database for each: what is on record already would not be measured.
        queue = deque(
            Measure(piece, travelling(str(folder / f"r{number}"))) for number in range(SETS)
        )
        with local(1, most_bytes=MOST_BYTES, records="sqlite://") as workers:
            run(workers, perform, queue, finished)
    for first in range(0, SETS, SETS // 10):
        part = sizes[first : first + SETS // 10]
        yield f"| {first + 1} to {first + len(part)} | {min(part):.0f} to {max(part):.0f} |"


def month() -> Iterator[str]:
    """One worker on a monthly check as it is: two blanks of an A3 bed at 600 dpi, 8 bit."""
    yield "| what | measured |"
    yield "| --- | --- |"
    rng = np.random.default_rng(16)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        made = folder / "o/heron/2026-01-01"
        made.mkdir(parents=True)
        for page in (1, 2):
            paper = rng.normal(225, 1.2, (9921, 7016, 3)).round().clip(0, 255).astype(np.uint8)
            save_tiff(made / f"blank-{page}.tif", paper, (600.0, 600.0))
        (piece,) = read_all([folder / "o"], {}).pieces
        files = sum(path.stat().st_size for path in made.iterdir())
        records = travelling(str(folder / "r"))
        with local(1, most_bytes=MOST_BYTES, records=records) as workers:
            small = read_all([make_archive(folder / "w", scanners=("wren",), months=1)], {})
            warm(workers, travelling(str(folder / "warm")), small.pieces[0])
            cpu, begun = cpu_of_workers(), time.perf_counter()
            ends = work(workers, [piece], Order(records), lambda piece, result: None)
            took, cpu = time.perf_counter() - begun, cpu_of_workers() - cpu
            assert ends == {"new": 1}, ends
            (worker,) = [p for p in psutil.Process().children(recursive=True)
                         if "spawn_main" in " ".join(p.cmdline())]  # fmt: skip
            status = Path(f"/proc/{worker.pid}/status").read_text()
            peak = int(status.partition("VmHWM:")[2].split()[0]) / 1e6
        yield f"| files of a set | {files / 1e6:.0f} MB |"
        yield f"| processor time of a set | {cpu:.1f} s |"
        yield f"| wall time, others using the machine too | {took:.1f} s |"
        yield f"| most memory of the worker | {peak:.2f} GB |"
        yield f"| a database of its record alone | {(folder / 'r').stat().st_size / 1e6:.2f} MB |"


PARTS = {"speed": speed, "tasks": tasks, "memory": memory, "month": month}


def main(arguments):
    chosen = [name for name in PARTS if name in arguments] or list(PARTS)
    old = FIGURES.read_text() if FIGURES.exists() else ""
    sections = dict(
        (part.partition("\n")[0], part.partition("\n")[2].strip())
        for part in old.split("\n## ")[1:]
    )
    for name in chosen:
        lines = []
        for line in PARTS[name]():
            print(line, flush=True)
            lines.append(line)
        load = f"Load of the machine when it was over: {psutil.getloadavg()[0]:.1f}, of 2 cores."
        sections[name] = f"{PARTS[name].__doc__}\n\n" + "\n".join(lines) + f"\n\n{load}"
    if "--write" in arguments:
        body = "\n\n".join(f"## {name}\n\n{sections[name]}" for name in PARTS if name in sections)
        head = "# Figures of batches\n\nWritten by `python -m tests.batch.figures --write`.\n\n"
        FIGURES.write_text(head + body + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
