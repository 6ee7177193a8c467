"""The machines that do the work: a Dask cluster by its scheduler's address."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from exchange.errors import MissingExtraError, OptionError

if TYPE_CHECKING:
    from distributed import Client

WAIT_SECONDS = 10.0


def name_missing_dask() -> MissingExtraError:
    """Return what to say where Dask is not installed."""
    return MissingExtraError(
        "merging in cells needs Dask", remedy="Install it with pip install 'hotspot-exchange[scale]'."
    )


@contextmanager
def reach_cluster(address: str) -> Iterator[Client]:
    """Give a client of the cluster whose scheduler listens at an address, as long as it is needed.

    The workers must have this package installed, of the same version.

    Parameters
    ----------
    address
        As the scheduler prints it, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    MissingExtraError
        When Dask is not installed.
    OptionError
        When nobody answers there.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise name_missing_dask() from error
    start: Any = Client  # it has no types of its own
    try:
        client = start(address, timeout=WAIT_SECONDS)
    except (OSError, ValueError) as error:
        raise OptionError(
            f"no Dask scheduler answers at {address!r}",
            field="--scheduler",
            remedy="Give the address that it prints when it starts, such as tcp://10.0.0.5:8786.",
        ) from error
    try:
        yield client
    finally:
        client.close()
