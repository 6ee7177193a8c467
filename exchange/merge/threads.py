"""Work that knows nothing of each other, in as many threads as there are processors."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

Question = TypeVar("Question")
Answer = TypeVar("Answer")


def compute_in_threads(function: Callable[[Question], Answer], questions: Iterable[Question]) -> Iterator[Answer]:
    """Yield the answers to all questions in their order, as ``map`` does.

    Numpy and scipy let other threads run while they compute. A question is made when a thread is free for it.
    """
    threads = os.cpu_count() or 1
    waiting = iter(questions)
    some = list(islice(waiting, 2))
    if threads == 1 or len(some) < 2:
        yield from map(function, some)
        yield from map(function, waiting)
        return
    with ThreadPoolExecutor(threads) as pool:
        asked: deque[Future[Answer]] = deque(pool.submit(function, question) for question in some)
        for question in waiting:
            asked.append(pool.submit(function, question))
            if len(asked) > threads:
                yield asked.popleft().result()
        while asked:
            yield asked.popleft().result()
