"""Executors for a screening: processes of this machine, or the workers of a Dask cluster.

The standard pool keeps its tasks behind semaphores: when its owner is killed, its workers wait for ever and the
semaphores are left behind.  Here every worker hangs on a pipe of its own, and ends when the other end is gone.
"""

from __future__ import annotations

import os
import queue
import threading
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any, Final

from parcelfence.errors import Fault, InputError, MissingExtraError
from parcelfence.screening import WorkerLostError

if TYPE_CHECKING:
    from collections.abc import Callable, Generator
    from multiprocessing.connection import Connection

__all__ = ["Workers", "cluster"]

_TRIES: Final = 2
_LOOK_S: Final = 1.0
_ANSWER_S: Final = 20.0


class Workers(Executor):
    """A number of worker processes; a task whose worker dies is tried once more in a new one.

    Parameters
    ----------
    count : int
        Processes.
    """

    def __init__(self, count: int) -> None:
        self._tasks: queue.SimpleQueue[tuple[Future[Any], Callable[..., Any], Any] | None] = queue.SimpleQueue()
        self._feeders = [threading.Thread(target=self._feed, daemon=True) for _ in range(count)]
        for feeder in self._feeders:
            feeder.start()

    def __exit__(self, *raised: object) -> None:
        """Wait for what is under way, but for nothing after an error or an interrupt."""
        self.shutdown(cancel_futures=raised[0] is not None)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Hand over a task; what it is made of must be importable by name and picklable."""
        future: Future[Any] = Future()
        self._tasks.put((future, fn, (args, kwargs)))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002  (as the class above has it)
        """Let the workers end; those at work are not waited for where `cancel_futures` is set."""
        while cancel_futures:
            try:
                task = self._tasks.get_nowait()
            except queue.Empty:
                break
            if task is not None:
                task[0].cancel()
        for _ in self._feeders:
            self._tasks.put(None)
        for feeder in self._feeders if wait and not cancel_futures else ():
            feeder.join()

    def _feed(self) -> None:
        """Keep one worker at work, in a thread of this process."""
        worker = None
        while (task := self._tasks.get()) is not None:
            future, function, arguments = task
            if not future.set_running_or_notify_cancel():
                continue
            for _ in range(_TRIES):
                worker = worker or _Worker()
                try:
                    good, value = worker.ask(function, arguments)
                except (EOFError, OSError):
                    worker = None
                    continue
                (future.set_result if good else future.set_exception)(value)
                break
            else:
                future.set_exception(WorkerLostError())
        if worker is not None:
            worker.end()


@contextmanager
def cluster(address: str) -> Generator[Executor]:
    """Connect to a Dask cluster; its workers need parcelfence and see the files under the same paths.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://10.0.0.5:8786``.

    Yields
    ------
    Executor
        A task whose worker is lost is given to another one.  Raises MissingExtraError without dask.distributed, and
        InputError if no scheduler answers there.
    """
    with _client(address) as client:
        yield client.get_executor(pure=False, retries=_TRIES)


def _client(address: str) -> Any:
    try:
        import distributed
    except ImportError as error:
        raise MissingExtraError.of("cluster", package="distributed", purpose="Working on a cluster") from error
    try:
        return distributed.Client(address, set_as_default=False, timeout=_ANSWER_S)
    except (OSError, ValueError) as error:
        remedy = "start one with 'dask scheduler', and give the address that it tells"
        fault = Fault(where=f"--cluster {address}", found="no scheduler answers there", remedy=remedy)
        raise InputError(fault) from error


class _Worker:
    def __init__(self) -> None:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, os.getpid()), daemon=True)
        self._process.start()
        theirs.close()

    def ask(self, function: Callable[..., Any], arguments: Any) -> tuple[bool, Any]:
        self._pipe.send((function, arguments))
        answer: tuple[bool, Any] = self._pipe.recv()
        return answer

    def end(self) -> None:
        self._pipe.close()
        self._process.join()


def _serve(pipe: Connection, owner: int) -> None:
    """Work on what comes through the pipe, until it or the owner is gone."""
    threading.Thread(target=_end_with, args=(owner,), daemon=True).start()
    while True:
        try:
            function, (args, kwargs) = pipe.recv()
        except (EOFError, OSError, KeyboardInterrupt):
            return
        try:
            answer = True, function(*args, **kwargs)
        except Exception as error:  # noqa: BLE001  (it is handed to the one who asked)
            answer = False, error
        try:
            pipe.send(answer)
        except OSError:
            return


def _end_with(owner: int) -> None:
    """End this process in the middle of its work when its owner is gone."""
    waiting = threading.Event()
    while os.getppid() == owner:
        waiting.wait(_LOOK_S)
    os._exit(1)
