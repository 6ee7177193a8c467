"""The Marrow Flat fire: an invented incident as other people's files, written from a seed.

No fire, crew, aircraft, agency or place of these names exists. It serves the demonstration, the documents and
the tests, and it is written by plain string formatting, so that it stays on the foreign side of every reader.
"""

from exchange.demo_fire.made_file import MadeFile, WrittenFile
from exchange.demo_fire.marrow_flat import make_marrow_flat, write_marrow_flat, write_returns
from exchange.demo_fire.numbered_list import NumberedSpot

__all__ = ["MadeFile", "NumberedSpot", "WrittenFile", "make_marrow_flat", "write_marrow_flat", "write_returns"]
