"""Many at once: the same work on many tasks, in parallel, whatever happens to one of them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from stonelayout.errors import InputError, MissingExtraError

T = TypeVar("T")
R = TypeVar("R")
#: So few tasks are done in this process: starting workers takes longer.
FEW = 2
#: How long a Dask scheduler may take to answer.
CONNECT_SECONDS = 10


class Died:
    """In the place of a result: the worker died twice on this task."""


def run_all(
    work: Callable[[T], R],
    tasks: Sequence[T],
    workers: int | None = None,
    cluster: str | None = None,
    died: Callable[[int], None] | None = None,
) -> Iterator[tuple[int, R | Died]]:
    """Yield (index, result) as the work gets done, in no order.

    ``workers`` processes (None: one a core) through joblib; ``cluster`` is the address of a Dask
    scheduler to use instead. ``work`` must be importable and return its errors. When a worker
    dies, ``died`` is told how many tasks are left, and each of these is tried once more by
    itself; one that dies again gives ``Died``. Closing the iterator stops the workers.
    """
    count = workers or os.cpu_count() or 1
    left = dict(enumerate(tasks))
    if cluster is None and (count == 1 or len(tasks) <= FEW):
        for k, task in left.items():
            yield k, work(task)
        return
    for k, result in _until_death(work, dict(left), count, cluster):
        del left[k]
        yield k, result
    if left and died is not None:
        died(len(left))
    for k, task in left.items():
        alone = list(_until_death(work, {k: task}, FEW, cluster))
        yield alone[0] if alone else (k, Died())


def _until_death(
    work: Callable[[T], R], tasks: dict[int, T], count: int, cluster: str | None
) -> Iterator[tuple[int, R]]:
    """Yield results until all are there or a worker dies."""
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    dead: list[type[BaseException]] = [TerminatedWorkerError]
    settings: dict[str, Any] = {"backend": "loky", "n_jobs": count}
    if cluster is not None:
        settings = {"backend": "dask"}
        dead.append(_connect(cluster))
    with parallel_config(**settings):
        pool = Parallel(return_as="generator_unordered", batch_size=1 if cluster else "auto")
        results = pool(delayed(_numbered)(work, k, task) for k, task in tasks.items())
        try:
            yield from results
        except tuple(dead):
            return
        finally:
            results.close()


def _numbered(work: Callable[[T], R], k: int, task: T) -> tuple[int, R]:
    return k, work(task)


def _connect(address: str) -> type[BaseException]:
    """Connect to a Dask scheduler; return the error that tells of its dead workers."""
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise MissingExtraError(
            'a cluster needs an extra: pip install "stonelayout[cluster]"'
        ) from None
    try:
        Client(address, timeout=CONNECT_SECONDS)  # type: ignore[no-untyped-call] # distributed ships no types
    except (OSError, ValueError) as error:
        raise InputError(f"no Dask scheduler answers at {address}: {error}") from None
    found: type[BaseException] = KilledWorker
    return found
