"""Flown tracks become the clean perimeter that the edge is, with figures that say how far to trust it.

The order of the steps is in `exchange.perimeter.pipeline`; each step is a module of its own.
"""

from exchange.perimeter.finding import Finding
from exchange.perimeter.options import TraceOptions
from exchange.perimeter.pipeline import trace_perimeter
from exchange.perimeter.report import TraceReport
from exchange.perimeter.traced import Bridge, Line, Traced

__all__ = ["Bridge", "Finding", "Line", "TraceOptions", "TraceReport", "Traced", "trace_perimeter"]
