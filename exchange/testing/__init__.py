"""The kit a plugin author runs on an own format: it reads back what it wrote, and tells what it could not hold.

``check_round_trip`` needs nothing but the exchange itself; ``exchange.testing.strategies`` needs hypothesis.
"""

from exchange.testing.round_trip import check_round_trip, host_with

__all__ = ["check_round_trip", "host_with"]
