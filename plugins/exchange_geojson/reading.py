"""Files read feature by feature, from the fastest way that is certain to the careful one, and handed out in batches."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from exchange.errors import MalformedError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.formats.values import to_text
from exchange.model import Packet
from exchange_geojson.careful import CarefulDecoder
from exchange_geojson.features import FeatureGatherer
from exchange_geojson.members import MemberReader, tell_members
from exchange_geojson.ordinary import take_block
from exchange_geojson.regular import RegularReader
from exchange_geojson.sequence import SequenceReader
from exchange_geojson.source_bytes import BLOCK_BYTES, Window

_CAREFUL_BYTES = 1 << 18
LARGE_BYTES = 1 << 18
"""From this size on the fast ways are tried; below it they gain nothing."""


def read_collection(file: InputFile, options: ReadOptions) -> Iterator[Packet]:
    """Read one GeoJSON object, batch by batch.

    Raises
    ------
    MalformedError
        When it is no JSON, no GeoJSON, or ends too early.
    UnsafeInputError
        When it is nested too deeply.
    AmbiguityError
        When its own coordinate reference system is not known.
    """
    members = MemberReader(CarefulDecoder())
    with Window(file, encoding=options.encoding) as window:
        members.look_ahead(file, window)
        has_features = members.advance(window)
        gatherer = FeatureGatherer(file.name, members.members, options)
        gatherer.problems += window.problems
        if has_features:
            yield from _read_features(window, members, gatherer)
        elif members.members.get("type") == "FeatureCollection":
            raise MalformedError("the collection has no array of features", remedy="Ask its sender for it again.")
        else:
            gatherer.add(members.members)
        gatherer.problems += [*members.decoder.repairs, *tell_members(members.members, has_features=has_features)]
        gatherer.problems += gatherer.placement.finish()
        yield gatherer.take_packet()


def _read_features(window: Window, members: MemberReader, gatherer: FeatureGatherer) -> Iterator[Packet]:
    regular = RegularReader(",")
    is_open = window.skip_blank() != b"]"
    while is_open:
        if window.unused() < BLOCK_BYTES // 4:
            window.fill()
        window.skip_blank()
        if not _take_many(window, members.decoder, gatherer, regular):
            gatherer.add(members.decoder.decode_next(window, record=gatherer.count + 1))
            is_open = _follow(window, gatherer.count)
        if gatherer.is_full():
            yield gatherer.take_packet()
    window.position += 1
    members.advance(window)


def _take_many(window: Window, decoder: CarefulDecoder, gatherer: FeatureGatherer, regular: RegularReader) -> bool:
    """Take several features with their commas at once; tell whether any could be taken."""
    values: list[Any] | None = None
    if window.unused() >= LARGE_BYTES:
        found = regular.take(window, first_record=gatherer.count + 1)
        if found is not None:
            gatherer.add_rows(*found)
            return True
        values = take_block(window)
    if values is None:
        values = decoder.decode_several(window, separator=",", limit=_CAREFUL_BYTES, first_record=gatherer.count + 1)
    gatherer.add_all(values)
    return bool(values)


def _follow(window: Window, record: int) -> bool:
    """Use up the comma after a feature; tell whether another follows."""
    mark = window.skip_blank()
    if mark == b",":
        window.position += 1
        if window.skip_blank() == b"]":
            raise MalformedError("a comma stands before the end of the features", record=record)
        return True
    if mark == b"]":
        return False
    if not mark:
        raise MalformedError(
            f"the file ends after feature {record}, before the end of the collection",
            remedy="Ask its sender for the whole file.",
        )
    raise MalformedError(f"no comma follows the feature, but {to_text(mark.decode(errors='replace'))!r}", record=record)


def read_sequence(file: InputFile, options: ReadOptions) -> Iterator[Packet]:
    """Read one GeoJSON object after the other, behind record separators or one a line, batch by batch.

    Raises
    ------
    MalformedError
        When a line is no GeoJSON object. Behind record separators it is left out and told, as RFC 7464 §2.3 asks.
    UnsafeInputError
        When an object is nested too deeply.
    AmbiguityError
        When the first object's own coordinate reference system is not known.
    """
    with Window(file, encoding=options.encoding) as window:
        texts = SequenceReader(window)
        first = texts.read_first()
        gatherer = FeatureGatherer(file.name, first, options)
        gatherer.problems += [*window.problems, *texts.tell_style()]
        gatherer.add_all(_open_collection(first))
        while not texts.is_done():
            _take_texts(window, texts, gatherer)
            if gatherer.is_full():
                yield gatherer.take_packet()
        gatherer.problems += [*texts.problems, *gatherer.placement.finish()]
        yield gatherer.take_packet()


def _take_texts(window: Window, texts: SequenceReader, gatherer: FeatureGatherer) -> None:
    """Take as many texts as the fastest way that is certain can take."""
    values: list[Any] = []
    if window.unused() >= LARGE_BYTES:
        found = texts.take_rows(first_record=gatherer.count + 1)
        if found is not None:
            gatherer.add_rows(*found)
            return
        values = texts.take_lines()
    for value in values or texts.take_value(gatherer.count + 1):
        gatherer.add_all(_open_collection(value))


def _open_collection(value: Any) -> list[Any]:
    """Return the features of a collection, or a value that is none as it is."""
    if not isinstance(value, dict) or value.get("type") != "FeatureCollection":
        return [value] if value else []
    features = value.get("features")
    if not isinstance(features, list):
        raise MalformedError("the collection has no array of features", remedy="Ask its sender for it again.")
    return features
