"""Many questions to one function, over Dask."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib import import_module
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from distributed import Client

Question = TypeVar("Question")
Answer = TypeVar("Answer")

AT_A_TIME = 32
"""So many questions are handed out before their answers are taken in, so that copies of few rows exist at once."""


def compute_all(
    function: Callable[[Question], Answer], questions: Iterable[Question], *, client: Client | None = None
) -> Iterator[Answer]:
    """Yield the answers to all questions, in their order.

    Parameters
    ----------
    function
        Answers one question; pure.
    questions
        Made while answers are taken in, and never many at once.
    client
        Of a Dask cluster; without one they are answered in threads of this process.
    """
    if client is not None:
        yield from _ask_cluster(function, questions, client)
        return
    waiting = iter(questions)
    while some := list(islice(waiting, AT_A_TIME)):
        yield from _ask_threads(function, some)


def _ask_cluster(
    function: Callable[[Question], Answer], questions: Iterable[Question], client: Client
) -> Iterator[Answer]:
    """Keep so many questions with the workers; the answer to the oldest is taken in before another is handed out."""
    ask: Any = client.submit  # it has no types of its own, nor have those below
    asked: deque[Any] = deque()
    for question in questions:
        asked.append(ask(function, question, pure=False))
        if len(asked) >= AT_A_TIME:
            yield asked.popleft().result()
    while asked:
        yield asked.popleft().result()


def _ask_threads(function: Callable[[Question], Answer], questions: Sequence[Question]) -> list[Answer]:
    compute: Any = import_module("dask.base").compute
    delayed: Any = import_module("dask.delayed").delayed
    return list(compute(*[delayed(function, pure=False)(one) for one in questions], scheduler="threads"))
