"""By how much each sortie lies off the others."""

from exchange.merge.shifts.estimate import Shifts, find_shifts

__all__ = ["Shifts", "find_shifts"]
