"""Work in two processes is the work of one: results, errors, Ctrl-C, and nobody left behind.

Each case runs in a process of its own, because this one has threads, with which it is not forked.
"""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pyvips

from scanqa.demo import HERON, write_check
from scanqa.side_by_side import processes_to_use

SHARED = """
import json, multiprocessing, os, signal, sys, time
from scanqa.side_by_side import processes_to_use, side_by_side
signal.signal(signal.SIGINT, signal.default_int_handler)
def run(work, things, cost=lambda thing: 0, begun=lambda done, thing: None, processes=2):
    return side_by_side(work, things, cost=cost, begun=begun, processes=processes)
"""


def process(code, *words, before=SHARED):
    return subprocess.run(
        [sys.executable, "-c", before + code, *map(str, words)],
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip


def said(code, *words):
    done = process(code, *words)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return json.loads(done.stdout)


def test_results_come_in_their_order_from_two_processes_the_dearest_begun_first():
    found = said("""
told = []
both = multiprocessing.get_context("fork").Barrier(2)
def work(n):
    if n in (8, 7):
        both.wait(60)  # each has one of the first two, however late the other was forked
    return n * n, os.getpid()
done = run(work, list(range(9)), cost=lambda n: n, begun=lambda done, n: told.append((done, n)))
print(json.dumps([done, told, os.getpid()]))
""")
    done, told, own = found
    assert [square for square, _ in done] == [n * n for n in range(9)]
    assert len({who for _, who in done} - {own}) == 2
    assert {n for _, n in told[:2]} == {8, 7}
    assert [count for count, _ in told] == sorted(count for count, _ in told)
    assert len(told) == 9


def test_the_process_that_asked_may_prepare_what_comes_next_even_beside_one_thing():
    (alone, many), shared, own = said("""
loaded = []
def work(n):
    return os.getpid()
def meanwhile(so_far):
    loaded.append((os.getpid(), len(so_far)))
def run(things, processes):
    return side_by_side(work, things, cost=lambda n: 0, begun=lambda done, n: None,
                        processes=processes, meanwhile=meanwhile)
done = run([1], 1), run([1], 2)
print(json.dumps([done, loaded, os.getpid()]))
""")
    assert alone == [own]  # which does the work itself, and prepares nothing
    assert many != [own]
    assert shared == [[own, 0], [own, 1]]  # before, and when the result came


def test_an_error_is_raised_here_as_it_would_have_been_alone():
    done = process("""
def work(n):
    return 1 / n
run(work, [1, 0, 2])
""")
    assert done.returncode == 1
    assert done.stderr.count("Traceback") == 1
    assert "ZeroDivisionError" in done.stderr


def test_what_a_killed_process_could_not_do_is_done_here():
    own, done = said("""
here = os.getpid()
def work(n):
    if n == 3 and os.getpid() != here:
        os.kill(os.getpid(), signal.SIGKILL)
    return n, os.getpid()
print(json.dumps([here, run(work, list(range(6)))]))
""")
    assert [n for n, _ in done] == list(range(6))
    assert done[3][1] == own


def test_one_process_does_everything_in_order():
    own, done, told = said("""
told = []
done = run(lambda n: (n, os.getpid()), [1, 2, 3], cost=lambda n: n,
           begun=lambda done, n: told.append(n), processes=1)
print(json.dumps([os.getpid(), done, told]))
""")
    assert done == [[1, own], [2, own], [3, own]]
    assert told == [1, 2, 3]


SLOW = """
def work(n):
    os.write(1, f"{os.getpid()}\\n".encode())
    time.sleep(60)
run(work, [1, 2, 3])
"""


def started_workers(code):
    """A process whose two workers have said their numbers."""
    running = subprocess.Popen(
        [sys.executable, "-c", SHARED + code],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    return running, [int(running.stdout.readline()) for _ in range(2)]


def gone(numbers, within_s=20):
    """Whether processes end in time; a zombie has ended."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        alive = [n for n in numbers if Path(f"/proc/{n}").exists() and state(n) != "Z"]
        if not alive:
            return True
        time.sleep(0.05)
    return False


def state(number):
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return "Z"


def test_ctrl_c_ends_all_at_once_and_says_so_once():
    for whole_group in (True, False):  # as a terminal sends it, and as kill does
        running, workers = started_workers(SLOW)
        (os.killpg if whole_group else os.kill)(running.pid, signal.SIGINT)
        _, words = running.communicate(timeout=30)
        assert words.count("KeyboardInterrupt") == 1
        assert words.count("Traceback") == 1
        assert gone(workers)


def test_workers_end_after_their_work_when_nobody_waits_for_it():
    running, workers = started_workers(SLOW.replace("60", "0.5"))
    running.kill()
    running.communicate(timeout=30)
    assert gone(workers)


def test_a_process_with_another_thread_or_one_core_is_not_forked():
    hold = threading.Event()
    thread = threading.Thread(target=hold.wait)
    thread.start()
    try:
        assert processes_to_use() == 1
    finally:
        hold.set()
        thread.join()
    free, one, asked, most = said("""
free = processes_to_use()
asked, most = processes_to_use(1), processes_to_use(9)
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
print(json.dumps([free, processes_to_use(), asked, most]))
""")
    cores = len(os.sched_getaffinity(0))
    assert (free, one, asked) == (min(cores, 2), 1, 1)
    assert most == min(cores, 9)


QUALIFY = """
import json, os, sys
from dataclasses import replace
from pathlib import Path
import scanqa, scanqa.placing, scanqa.qualification
from scanqa.codec import to_json
forked = int(sys.argv[2])
scanqa.qualification.processes_to_use = lambda asked: forked
found = scanqa.qualify([Path(sys.argv[1])], scanner="heron", processes=forked)
threads = len(os.listdir("/proc/self/task")) if forked > 1 else 1
print(json.dumps([to_json(replace(found.record, created="")), threads,
                  [(e.title, [list(map(float, c.y)) for c in e.curves]) for e in found.evidence]]))
"""


def test_a_scanner_is_measured_alike_by_one_process_and_by_two(tmp_path):
    whole, smaller = write_check(tmp_path, HERON, seed=[3], dpi=100)
    pixels = pyvips.Image.new_from_file(str(smaller)).numpy()
    image = pyvips.Image.new_from_array(pixels).copy(xres=100 / 25.4, yres=100 / 25.4)
    image.pngsave(str(tmp_path / "blank-3.png"))
    bare = np.where(np.arange(pixels.shape[1])[:, None] < 600, pixels, 8)  # paper of less width
    smaller.unlink()
    cut = pyvips.Image.new_from_array(bare.astype(np.uint8))
    cut.copy(xres=100 / 25.4, yres=100 / 25.4).tiffsave(str(tmp_path / "blank-4.tif"))
    (tmp_path / "damaged.png").write_bytes((tmp_path / "blank-3.png").read_bytes()[:30_000])
    alone, both = (process(QUALIFY, tmp_path, count, before="") for count in (1, 2))
    assert alone.returncode == both.returncode == 0, alone.stderr + both.stderr
    (record, _, figures), (other, threads, others) = map(json.loads, (alone.stdout, both.stdout))
    assert record == other
    assert figures == others
    assert threads == 1  # the parent stays such as can be forked
    assert len(json.loads(record)["rejected"]) == 1
    assert whole.exists()


def test_a_thread_that_came_to_live_while_the_cost_was_asked_is_not_forked_with():
    """A palette of greys is told from the pixels: libvips leaves threads, and a fork hung."""
    own, done = said("""
import threading
hold = threading.Event()
def cost(n):
    if not hold.is_set():
        hold.set()
        threading.Thread(target=time.sleep, args=(2,), daemon=True).start()
    return n
print(json.dumps([os.getpid(), run(lambda n: os.getpid(), [1, 2, 3], cost=cost)]))
""")
    assert set(done) == {own}
