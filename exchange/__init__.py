"""Carry tracks, perimeters, hotspots and status notes between the files of a fire's aircraft, crews and maps."""

__version__ = "0.1.0"
