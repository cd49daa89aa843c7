"""Jobs that have nothing to do with one another: here, in processes of this machine, or on several machines.

Whoever works gets a job as a value and gives a value back; what each way yields for each job is the same.  A job whose
process ends is tried once more, alone; of one that is lost then, too, the reason is given in place of a result.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from typing import Any, Generic, TypeVar

import click

from interlock.diagnostics.frozen import frozen

J = TypeVar("J")
R = TypeVar("R")

AHEAD = 2
"""So many jobs for each process are handed out at a time: what is lost with one that ends is little."""
LOOKS_EVERY_S = 0.2
JOBS_OF_A_PROCESS = 50
"""After so many it makes way for a fresh one, with the memory that libraries kept."""
ENDED = "the process that worked on it ended twice"
NOT_BEGUN = "stopped before it was decided"


@frozen
class Done(Generic[J, R]):
    """What came of a job; `result` is None exactly where it was lost, for the reason `why`."""

    job: J
    result: R | None
    why: str = ""


_asked_to_stop: Callable[[], bool] | None = None
"""Where work is done: whether an end was asked for."""


def is_stopped() -> bool:
    """For work: whether an end was asked for."""
    return _asked_to_stop is not None and _asked_to_stop()


def here(work: Callable[[J], R], jobs: Sequence[J], stopped: Callable[[], bool]) -> Iterator[Done[J, R]]:
    """One after the other in this process."""
    global _asked_to_stop
    _asked_to_stop = stopped
    for job in jobs:
        yield Done(job, None, NOT_BEGUN) if stopped() else Done(job, work(job))


def in_processes(
    work: Callable[[J], R], jobs: Sequence[J], number: int, stopped: Callable[[], bool]
) -> Iterator[Done[J, R]]:
    """As they are done, by so many processes of this machine."""
    waiting, alone = deque(jobs), deque[J]()
    while waiting or alone:
        queue, size = (alone, 1) if alone else (waiting, number)
        with _pool(size) as (pool, stop):
            yield from _batches(work, pool, stop, queue, alone, 1 if queue is alone else AHEAD * number, stopped)


def _batches(
    work: Callable[[J], R],
    pool: ProcessPoolExecutor,
    stop: Event,
    queue: deque[J],
    alone: deque[J],
    ahead: int,
    stopped: Callable[[], bool],
) -> Iterator[Done[J, R]]:
    """Until the queue is empty or the pool breaks: then what was handed out and is not done goes to those `alone`."""
    by_itself = queue is alone
    pending: dict[Future[R], J] = {}
    is_broken = False
    while not is_broken:
        if stopped():
            stop.set()
            while queue:
                yield Done(queue.popleft(), None, NOT_BEGUN)
            for future in [one for one in pending if one.cancel()]:
                yield Done(pending.pop(future), None, NOT_BEGUN)
        while queue and len(pending) < ahead:
            job = queue.popleft()
            try:
                pending[pool.submit(work, job)] = job
            except BrokenProcessPool:
                queue.appendleft(job)
                is_broken = True
                break
        if not pending:
            return
        done, _ = wait(pending, LOOKS_EVERY_S, FIRST_COMPLETED)
        for future in done:
            fault = future.exception()
            if isinstance(fault, BrokenProcessPool):
                is_broken = True
                continue
            yield Done(pending.pop(future), future.result())
    lost = list(pending.values())
    for future, job in list(pending.items()):
        if future.done() and future.exception() is None:
            lost.remove(job)
            yield Done(job, future.result())
    if by_itself:
        yield from (Done(job, None, ENDED) for job in lost)
    else:
        alone.extend(lost)


@contextmanager
def _pool(number: int) -> Iterator[tuple[ProcessPoolExecutor, Event]]:
    """Processes that are made from a clean one, and end with this; whoever tears us out of this ends them at once."""
    ways = multiprocessing.get_all_start_methods()
    way = "forkserver" if "forkserver" in ways else "spawn"
    context: Any = multiprocessing.get_context(way)
    if way == "forkserver":
        context.set_forkserver_preload(["interlock.cli.fleet_work"])
    stop: Event = context.Event()
    pool = ProcessPoolExecutor(
        number, mp_context=context, initializer=_begin, initargs=(stop,), max_tasks_per_child=JOBS_OF_A_PROCESS
    )
    try:
        yield pool, stop
    except BaseException:
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            process.terminate()
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()


def _begin(stop: Event) -> None:
    """In a fresh process: Ctrl-C is heeded by the one that hands out jobs, and none outlives it."""
    global _asked_to_stop
    _asked_to_stop = stop.is_set
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def on_cluster(
    work: Callable[[J], R], jobs: Sequence[J], address: str, stopped: Callable[[], bool]
) -> Iterator[Done[J, R]]:
    """As they are done, by the workers of a scheduler of `dask.distributed`, which may be on several machines.

    A job whose worker ends is given to another one by the scheduler.  Raises click.UsageError where the library is not
    installed or nobody answers at the address.
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError as fault:
        raise click.UsageError("--cluster needs the extra `cluster` of this program to be installed.") from fault
    try:
        client = Client(address, timeout=10, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise click.UsageError(f"--cluster: no scheduler answers at {address!r}.") from fault
    try:
        waiting = deque(jobs)
        pending: dict[Any, J] = {}
        arriving = as_completed(loop=client.loop)
        while waiting or pending:
            if stopped():
                yield from (Done(job, None, NOT_BEGUN) for job in (*waiting, *pending.values()))
                client.cancel(list(pending))
                return
            most = AHEAD * max(1, sum(client.nthreads().values()))
            while waiting and len(pending) < most:
                job = waiting.popleft()
                future = client.submit(work, job, pure=False)
                pending[future] = job
                arriving.add(future)
            if not arriving.has_ready():
                threading.Event().wait(LOOKS_EVERY_S / 4)
                continue
            for future in arriving.next_batch(block=False):
                job = pending.pop(future)
                try:
                    result: R = future.result()
                except KilledWorker:
                    yield Done(job, None, ENDED)
                else:
                    yield Done(job, result)
    finally:
        client.close()
