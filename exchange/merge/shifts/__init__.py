"""By how much each sortie lies off the others."""

from exchange.merge.shifts.estimate import Shifts, find_shifts
from exchange.merge.shifts.linking import Compute

__all__ = ["Compute", "Shifts", "find_shifts"]
