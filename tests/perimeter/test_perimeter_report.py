from __future__ import annotations

from exchange.perimeter import TraceReport


def test_an_edge_error_says_what_it_rests_on() -> None:
    """Where nothing tells where the camera looked, the error holds only for a camera that looked straight down."""
    assert TraceReport(expected_error_m=2.4).describe_error() == "within 2.4 m 95 times in 100"
    aside = TraceReport(expected_error_m=2.4, offset_unknown_m=60.0).describe_error()
    assert aside == "within 2.4 m 95 times in 100, if the camera looked straight down"
    assert TraceReport().describe_error() == "unknown"
