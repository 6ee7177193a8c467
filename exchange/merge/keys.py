"""A key for what a sighting says, so that the same sighting given again is known again."""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from exchange.model.detections import Detections

Bits = NDArray[np.uint64]

KEY_DIGITS = 12
"""Hexadecimal digits of a key as it is written into a list."""


_HEXADECIMAL = np.frombuffer(b"".join(b"%02x" % value for value in range(256)), np.uint8).reshape(256, 2)


def compute_keys(
    table: Detections, placed: NDArray[np.int64], names: Sequence[str], sortie: NDArray[np.int64], image_bits: Bits
) -> Bits:
    """Return 64 bits per row made of its position, time, temperature, sortie and image.

    Parameters
    ----------
    table
        Sightings.
    placed
        The rows meant.
    names, sortie
        Names of the sorties and the index into them of each row meant.
    image_bits
        Bits that stand for the image's name of each row meant.
    """
    key = mix(_bits_of(table.longitude[placed]))
    key = mix(key ^ _bits_of(table.latitude[placed]))
    key = mix(key ^ table.time[placed].astype(np.int64).view(np.uint64))
    key = mix(key ^ _bits_of(table.temperature[placed]))
    return mix(key ^ hash_texts(names)[sortie] ^ image_bits)


def write_keys(keys: Bits) -> str:
    """Return keys as one text, each of ``KEY_DIGITS`` hexadecimal digits and a space."""
    octets = keys.astype(">u8").view(np.uint8).reshape(-1, 8)[:, : KEY_DIGITS // 2]
    letters = np.full((len(keys), KEY_DIGITS + 1), ord(" "), np.uint8)
    letters[:, :-1] = _HEXADECIMAL[octets].reshape(len(keys), KEY_DIGITS)
    return letters.tobytes().decode("ascii")


def mix(bits: Bits) -> Bits:
    """Return well-mixed bits: the finaliser of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014)."""
    mixed = bits + np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return mixed ^ (mixed >> np.uint64(31))


def code_texts(texts: NDArray[np.object_]) -> tuple[NDArray[np.int64], list[str]]:
    """Return an index per text into the distinct texts, which are in order of first appearance."""
    items = texts.tolist()
    names = list(dict.fromkeys(items))
    codes = dict(zip(names, range(len(names)), strict=True))
    return np.fromiter(map(codes.__getitem__, items), np.int64, len(items)), names


def hash_texts(texts: Sequence[str]) -> Bits:
    """Return 64 bits for each text, the same in every run; those of the empty text are 0."""
    sums = np.fromiter((zlib.crc32(text.encode()) if text else 0 for text in texts), np.uint64, len(texts))
    return np.where(sums == 0, np.uint64(0), mix(sums))


def _bits_of(numbers: NDArray[np.float64]) -> Bits:
    # Adding 0 makes -0.0 the same as 0.0, and every NaN is given one pattern.
    return np.where(np.isnan(numbers), np.nan, numbers + 0.0).view(np.uint64)
