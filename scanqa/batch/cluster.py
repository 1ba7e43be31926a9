"""The workers of a Dask scheduler as an engine.

Whoever reaches a scheduler runs any code on its workers. So an open address (``tcp://``) is taken
on the loopback alone, and beyond it ``tls://`` with certificates on all three sides, which Dask
reads from its own settings (``DASK_DISTRIBUTED__COMM__TLS__…``).
"""

from __future__ import annotations

import asyncio
import ipaddress
import logging
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager, suppress
from typing import Any, TypeVar
from urllib.parse import urlsplit

from scanqa.batch.engine import EngineGone
from scanqa.errors import BadOption

CONNECT_S = 15.0
NO_WORKERS_S = 60.0  # without a single worker
COUNT_S = 5.0  # between two looks at how many there are

Task = TypeVar("Task")
Result = TypeVar("Result")


class Cluster:
    """The workers of a scheduler; made by `cluster`.

    A scheduler begins a task anew whose worker ended, as often as its own setting allows.
    """

    tries = 1

    def __init__(self, client: Any, address: str) -> None:
        from distributed import KilledWorker

        self.lost: tuple[type[BaseException], ...] = (KilledWorker,)
        self._client, self._address = client, address
        self._executor = client.get_executor(pure=False)
        self._count, self._counted, self._seen = 0, 0.0, time.monotonic()

    def places(self) -> int:
        """One for each thread of a worker; as `Engine.places`."""
        now = time.monotonic()
        if self._client.status != "running":
            raise self.gone()
        if now - self._counted > COUNT_S or not self._count:
            try:
                self._count = sum(self._client.nthreads().values())
            except (OSError, TimeoutError, RuntimeError, asyncio.CancelledError) as error:
                raise self.gone() from error
            self._counted = now
        if self._count:
            self._seen = now
        elif now - self._seen > NO_WORKERS_S:
            raise EngineGone(
                f"scheduler {self._address}: has no workers; start some with dask worker "
                f"{self._address} --nthreads 1, then the same command goes on"
            )
        return self._count

    def submit(self, perform: Callable[[Task], Result], task: Task) -> Future[Result]:
        """Begin a task; as `Engine.submit`."""
        future: Future[Result] = self._executor.submit(perform, task)
        return future

    def gone(self) -> EngineGone:
        """What to say of a scheduler that went away."""
        return EngineGone(
            f"scheduler {self._address}: does not answer any more; what was measured is on "
            "record: start it again, then the same command goes on"
        )


@contextmanager
def cluster(address: str) -> Iterator[Cluster]:
    """The workers of a scheduler.

    Raises
    ------
    BadOption
        If the address is open to others, or Dask is not installed.
    EngineGone
        If it does not answer.
    """
    _check_guarded(address)
    try:
        import distributed
    except ImportError as error:
        raise BadOption("--scheduler: Dask is not installed; pip install 'scanqa[cluster]'") from (
            error
        )
    _check_answers(address)
    for name in [*logging.root.manager.loggerDict]:
        if name.partition(".")[0] in ("distributed", "tornado", "asyncio"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)  # we say it, in one line
    try:
        open_client: Any = distributed.Client
        client = open_client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError, TypeError) as error:
        raise EngineGone(
            f"scheduler {address}: does not answer ({type(error).__name__}); start it with dask "
            "scheduler --host 127.0.0.1, for tls:// see that certificates are set"
        ) from error
    try:
        yield Cluster(client, address)
    finally:
        with suppress(OSError, TimeoutError, asyncio.CancelledError):
            client.close(timeout=2)


def _check_guarded(address: str) -> None:
    parts = urlsplit(address)
    if parts.scheme not in ("tcp", "tls") or not parts.hostname:
        raise BadOption(f"--scheduler {address}: write tcp://127.0.0.1:8786 or tls://HOST:8786")
    if parts.scheme == "tcp" and not _is_loopback(parts.hostname):
        raise BadOption(
            f"--scheduler {address}: whoever reaches an open scheduler runs code on its workers; "
            "use tls:// with certificates, or a tunnel that ends at 127.0.0.1"
        )


def _check_answers(address: str) -> None:
    """See that a scheduler lets us in: Dask itself is not brief about one that does not.

    Raises
    ------
    EngineGone
        If it does not.
    """
    from distributed import Security

    parts = urlsplit(address)
    try:
        with socket.create_connection((parts.hostname, parts.port or 8786), CONNECT_S) as plain:
            if parts.scheme == "tls":
                security: Any = Security
                context = security().get_connection_args("client")["ssl_context"]
                if context is None:
                    raise ssl.SSLError("no certificate is set")
                with context.wrap_socket(plain, server_hostname=parts.hostname):
                    pass
    except (OSError, ValueError, OverflowError) as error:
        why = error.strerror or error.args[0] if isinstance(error, OSError) else error
        raise EngineGone(
            f"scheduler {address}: does not answer ({why}); start it with dask scheduler --host "
            "127.0.0.1, for tls:// see that the certificates are set (DASK_DISTRIBUTED__COMM__TLS)"
        ) from error


def _is_loopback(host: str) -> bool:
    try:
        found = socket.getaddrinfo(host, None)
    except OSError:
        return False
    return all(ipaddress.ip_address(place[4][0]).is_loopback for place in found)
