from __future__ import annotations

from pathlib import Path

import pytest

from exchange.errors import AmbiguityError, ExchangeError, MalformedError, NotThisFormatError, UnsafeInputError
from tests.plugins.geojson.geojson_kit import FIXTURES, read_file

VALID = sorted((FIXTURES / "valid").iterdir())
INVALID: dict[str, tuple[type[ExchangeError], str]] = {
    "truncated_in_a_feature.geojson": (MalformedError, "record 3: the file ends in the middle of a value"),
    "truncated_after_a_feature.geojson": (MalformedError, "ends after feature 3, before the end of the collection"),
    "trailing_garbage.geojson": (MalformedError, "something follows the end of the object: 'garbage'"),
    "two_collections.geojson": (MalformedError, "state --from geojson-seq"),
    "trailing_comma.geojson": (MalformedError, "is no JSON"),
    "no_comma_between.geojson": (MalformedError, "record 1: no comma follows the feature"),
    "single_quotes.geojson": (NotThisFormatError, "does not hold it"),
    "features_null.geojson": (MalformedError, "the collection has no array of features"),
    "feature_with_features.geojson": (MalformedError, "a Feature cannot have features"),
    "unknown_type.json": (MalformedError, "its type 'Topology' is none of GeoJSON's"),
    "feature_of_unknown_type.geojson": (MalformedError, "record 1: 'Spot' is no type of a GeoJSON feature"),
    "number_among_features.geojson": (MalformedError, "record 1: '7' is no GeoJSON feature"),
    "collection_in_a_collection.geojson": (MalformedError, "record 1: a collection of features cannot be inside"),
    "nested_deeply.geojson": (UnsafeInputError, "record 1: is nested too deeply to be honest"),
    "control_character_in_text.geojson": (MalformedError, "Invalid control character"),
    "windows_1252.geojson": (MalformedError, "is not UTF-8 .*\n.*--encoding"),
    "odd_utf_16.geojson": (MalformedError, "not in the encoding it should be in"),
    "old_crs_unknown.geojson": (AmbiguityError, "'urn:x:local-grid' is no known.*\n.*--crs"),
    "old_crs_link.geojson": (AmbiguityError, "cannot be looked up\n.*--crs"),
    "old_crs_null.geojson": (AmbiguityError, "cannot be looked up\n.*--crs"),
    "crs_of_one_feature.geojson": (AmbiguityError, "record 1, field crs: a single feature states"),
    "broken_line.geojsonl": (MalformedError, "record 2: is no JSON"),
    "two_on_a_line.geojsonl": (MalformedError, "record 2: a second object stands on the same line"),
}


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.name)
def test_every_valid_file_reads(path: Path) -> None:
    """Every file whose oddity is lawful, or can be mended and told, gives something, or is told to be empty."""
    packet = read_file(path)
    assert sum(packet.counts().values()) > 0 or path.name == "empty_collection.geojson"


@pytest.mark.parametrize("name", INVALID)
def test_every_invalid_file_is_refused_by_name(name: str) -> None:
    """The error is the one named here, and says which file it was."""
    error, text = INVALID[name]
    with pytest.raises(error, match=f"(?s){name}.*{text}"):
        read_file(FIXTURES / "invalid" / name)


def test_no_invalid_file_is_without_its_error() -> None:
    """A file added to the folder needs a line in the table above, and one in the folder's README."""
    readme = (FIXTURES / "README.md").read_text(encoding="utf-8")
    assert {path.name for path in (FIXTURES / "invalid").iterdir()} == set(INVALID)
    assert [
        p.name for folder in ("valid", "invalid") for p in (FIXTURES / folder).iterdir() if p.name not in readme
    ] == []
