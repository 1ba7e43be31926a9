"""What a batch meets beyond its own process, on the loopback: PostgreSQL, a scheduler, workers."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

from tests.batch.arena import ROOT, until
from tests.records.conftest import _as_server_user, _tool


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port):
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Database:
    """A PostgreSQL cluster of its own that can be stopped and started."""

    def __init__(self, folder):
        self._folder, self._port = folder, free_port()
        self.url = f"postgresql+psycopg://scanqa@127.0.0.1:{self._port}/postgres"
        self._do("initdb", "-D", folder / "data", "-A", "trust", "-U", "scanqa", "-N")

    def tell(self, words):
        """Have the server do something, as its owner."""
        import psycopg

        with psycopg.connect(self.url.replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute(words)

    def _do(self, tool, *arguments):
        words = [*_as_server_user(), _tool(tool), *map(str, arguments)]
        subprocess.run(
            words, check=True, cwd=self._folder, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def start(self):
        options = f"-h 127.0.0.1 -p {self._port} -k {self._folder}"
        log = self._folder / "log"
        self._do("pg_ctl", "-D", self._folder / "data", "-o", options, "-l", log, "-w", "start")

    def fresh(self, name):
        """URL of an empty database of this server."""
        self.tell(f"CREATE DATABASE {name}")
        return self.url.rsplit("/", 1)[0] + f"/{name}"

    def stop(self):
        """At once, as when its machine loses power."""
        self._do("pg_ctl", "-D", self._folder / "data", "-m", "immediate", "-w", "stop")


@contextmanager
def database():
    folder = Path(tempfile.mkdtemp(prefix="scanqa-pg-"))
    folder.chmod(0o777)
    try:
        found = Database(folder)
        found.start()
        yield found
        found.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class Farm:
    """A scheduler and its workers, started by the command line as a user would."""

    def __init__(self, folder, records, scheme="tcp", **environment):
        self._port, self._folder, self._started = free_port(), folder, []
        self.address = f"{scheme}://127.0.0.1:{self._port}"
        self._environment = {
            **os.environ, "PYTHONPATH": str(ROOT), "SCANQA_RECORDS": records,
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1", **environment,
        }  # fmt: skip
        self.log = folder / "farm.log"

    def _begin(self, *words):
        with self.log.open("a") as log:
            begun = subprocess.Popen(
                [sys.executable, "-m", *words], env=self._environment, stdout=log, stderr=log,
                cwd=self._folder, start_new_session=True,
            )  # fmt: skip
        self._started.append(begun)
        return begun

    def scheduler(self):
        scheme = self.address.partition(":")[0]
        begun = self._begin(
            "distributed.cli.dask_scheduler", "--host", f"{scheme}://127.0.0.1", "--port",
            str(self._port), "--no-dashboard",
        )  # fmt: skip
        until(lambda: answers(self._port))
        return begun

    def workers(self, count):
        scheme = self.address.partition(":")[0]
        return self._begin(
            "distributed.cli.dask_worker", self.address, "--nworkers", str(count), "--nthreads",
            "1", "--host", f"{scheme}://127.0.0.1", "--no-dashboard", "--local-directory",
            str(self._folder),
        )  # fmt: skip

    def close(self):
        for begun in reversed(self._started):
            if begun.poll() is None:
                begun.terminate()
        for begun in self._started:
            try:
                begun.wait(15)
            except subprocess.TimeoutExpired:
                begun.kill()
                begun.wait()


@contextmanager
def farm(folder, records, scheme="tcp", **environment):
    found = Farm(folder, records, scheme, **environment)
    try:
        yield found
    finally:
        found.close()
