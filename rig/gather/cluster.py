"""Does the orders of a gather on a Dask cluster that exists already.

A worker only reads and returns results; whoever gathers writes them. So a worker that is killed
costs a task, which the scheduler gives to another, and workers need no place to write to.
"""

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from msgspec import structs

from rig.errors import BadInputError
from rig.gather.batch import BatchOrder, joined, make
from rig.gather.extra import needed

CONNECT_S = 10.0
AHEAD = 4
"""Tasks under way for each thread of the cluster: enough to keep it busy, few enough for memory."""


class Cluster:
    """A cluster's work; `close` it afterwards.

    Args:
        address: of its scheduler, such as `tcp://127.0.0.1:8786`.

    Raises:
        BadInputError: dask is not installed, or no scheduler answers there.
    """

    def __init__(self, address: str) -> None:
        distributed = needed("distributed")
        self._address = address
        try:
            self._client: Any = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise BadInputError(
                f"No Dask scheduler answers at {address}; start one with `dask scheduler` and"
                " workers with `dask worker`, or leave out --scheduler."
            ) from error

    def close(self) -> None:
        """Disconnect from the cluster, which keeps running."""
        self._client.close()

    def work(self, orders: Iterable[BatchOrder]) -> Iterator[tuple[BatchOrder, bytes]]:
        """Do orders in whatever order they are finished.

        A task during which workers died again and again is done once more, file by file. Files that
        only waited at a worker while another file ended it look alike, so each that is suspected is
        at last done with nothing else under way; one that still ends every worker is left out with
        a sentence.

        Raises:
            BadInputError: the cluster is gone, or has no rig.
        """
        distributed = needed("distributed")
        waiting = iter(orders)
        under_way: dict[Any, tuple[BatchOrder, BatchOrder]] = {}
        parts: dict[str, dict[str, bytes | None]] = {}
        suspected: list[tuple[BatchOrder, BatchOrder]] = []
        alone: set[str] = set()
        finished = distributed.as_completed(loop=self._client.loop)

        def submit(whole: BatchOrder, part: BatchOrder) -> None:
            future = self._client.submit(make, part, key=f"rig-{part.key}", pure=False)
            under_way[future] = whole, part
            finished.add(future)

        most = AHEAD * max(1, sum(self._client.nthreads().values()))
        for order in islice(waiting, most):
            submit(order, order)
        while under_way or suspected:
            if not under_way:
                whole, part = suspected.pop()
                part = structs.replace(part, key=f"{part.key}-alone")
                alone.add(part.key)
                submit(whole, part)
            future = next(finished)
            whole, part = under_way.pop(future)
            made = self._made(future, distributed)
            future.release()
            if part is whole and made is not None:
                yield whole, made
            elif part is whole and len(whole.names) > 1:
                parts[whole.key] = {}
                for one in split(whole):
                    submit(whole, one)
                continue
            elif made is None and part.key not in alone:
                suspected.append((whole, part))
                continue
            else:
                parts.setdefault(whole.key, {})[part.names[0]] = made
                if len(parts[whole.key]) < len(whole.names):
                    continue
                done = parts.pop(whole.key)
                yield whole, joined([done[name] for name in whole.names], whole.names)
            for order in islice(waiting, 1):
                submit(order, order)

    def _made(self, future: Any, distributed: Any) -> bytes | None:
        try:
            made: bytes = future.result()
        except distributed.KilledWorker:
            return None
        except ModuleNotFoundError as error:
            raise BadInputError(
                f"A worker at {self._address} lacks {error.name}; install rig with `.[many]`"
                " there, in the same version as here."
            ) from error
        except Exception as error:  # the task itself raises nothing: it was lost on its way
            raise BadInputError(
                f"The cluster at {self._address} gave up ({type(error).__name__}: {error}); what"
                " was read is kept, so start the same command again."
            ) from error
        return made


def split(order: BatchOrder) -> list[BatchOrder]:
    """An order for each file."""
    return [
        BatchOrder(url=order.url, names=(name,), key=f"{order.key}-{number}")
        for number, name in enumerate(order.names)
    ]
