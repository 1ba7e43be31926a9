"""The same tests on SQLite and on a real PostgreSQL server, started here on loopback."""

import os
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path

import pytest

from scanqa.records.database import open_store

DEBIAN = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


def _tool(name):
    found = shutil.which(name) or next((str(d / name) for d in DEBIAN if (d / name).exists()), None)
    if found is None:
        raise RuntimeError(
            f"these tests need a PostgreSQL server: apt-get install postgresql ({name})"
        )
    return found


def _as_server_user():
    """PostgreSQL refuses to run as root: then Debian's user postgres runs it."""
    return ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []


@pytest.fixture(scope="session")
def postgres_server():
    """URL of an empty server on 127.0.0.1, stopped and deleted at the end."""
    folder = Path(tempfile.mkdtemp(prefix="scanqa-pg-"))
    folder.chmod(0o777)
    data = folder / "data"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    run = _as_server_user()
    quiet = {"check": True, "capture_output": True, "cwd": folder}
    subprocess.run([*run, _tool("initdb"), "-D", data, "-A", "trust", "-U", "scanqa"], **quiet)
    options = f"-h 127.0.0.1 -p {port} -k {folder} -c fsync=off"
    log = folder / "log"
    start = [_tool("pg_ctl"), "-D", data, "-o", options, "-l", log, "-w", "start"]
    subprocess.run([*run, *start], check=True, stdout=subprocess.DEVNULL, cwd=folder)
    yield f"postgresql+psycopg://scanqa@127.0.0.1:{port}/postgres"
    stop = [_tool("pg_ctl"), "-D", data, "-m", "immediate", "stop"]
    subprocess.run([*run, *stop], **quiet)
    shutil.rmtree(folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    """URL of an empty database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'records.sqlite'}"
    import psycopg

    server = request.getfixturevalue("postgres_server")
    name = f"t{os.urandom(6).hex()}"
    with psycopg.connect(server.replace("+psycopg", ""), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return server.rsplit("/", 1)[0] + f"/{name}"


@pytest.fixture
def engine(url):
    with open_store(url) as opened:
        yield opened
