from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

from exchange.formats.columns.header import Header, read_header, read_zone_text
from exchange.formats.columns.targets import POSITION_TARGETS, TARGETS
from exchange.formats.columns.words import column_aliases, fold, fold_key, marker_words

UNIT_HEADERS = {
    "temp (F)": ("temperature", "F"),
    "Temp [°C]": ("temperature", "°C"),
    "temp_deg_c": ("temperature", "deg_c"),
    "tempF": ("temperature", "F"),
    "temp°F": ("temperature", "°F"),
    "Temperature, K": ("temperature", "K"),
    "Surface temperature (degrees Celsius)": ("temperature", "degrees Celsius"),
    "height_ft": ("height", "ft"),
    "heightFt": ("height", "Ft"),
    "Height AGL (m)": ("height_above_ground", "m"),
    "height_agl_ft": ("height_above_ground", "ft"),
    "relative altitude [m]": ("height_above_take_off", "m"),
    "alt_m": ("altitude", "m"),
    "Elevation (feet)": ("altitude", "feet"),
    "Area (ac)": ("area", "ac"),
    "area_sq_ft": ("area", "sq_ft"),
    "Fläche ha": ("area", "ha"),
    "area [m²]": ("area", "m²"),
    "accuracy_m": ("accuracy", "m"),
    "confidence (%)": ("confidence", "%"),
    "heading_deg": ("heading", "deg"),
    "camera pitch (°)": ("camera_pitch", "°"),
    "time (UTC)": ("time", "UTC"),
    "time_utc": ("time", "utc"),
    "UTC time": ("time", "UTC"),
    "Time (America/Boise)": ("time", "America/Boise"),
    "time [UTC-7]": ("time", "UTC-7"),
    "time (epoch ms)": ("epoch", "ms"),
    "epoch_s": ("epoch", "s"),
    "Latitude (WGS84)": ("latitude", "WGS84"),
    "lat_dms": ("latitude", "dms"),
    "Lon (DD)": ("longitude", "DD"),
    "easting (m)": ("easting", "m"),
}

UNKNOWN_HEADERS = (
    "tmpMax", "temp (ft)", "height (°F)", "Lat (NAD27)", "Longitude (ED50)", "x", "y", "time (s)", "timestamp_ms",
    "battery", "Temperature (max)", "heading (magnetic)", "wind speed km/h", "", "(F)", "°",
)  # fmt: skip

COORDINATE_HEADERS = {
    "en": ("Latitude", "Longitude"),
    "es": ("Latitud", "Longitud"),
    "pt": ("LATITUDE", "LONGITUDE"),
    "fr": ("Latitude décimale", "Longitude décimale"),
    "it": ("Latitudine", "Longitudine"),
    "de": ("Breitengrad", "Längengrad"),
    "nl": ("breedtegraad", "lengtegraad"),
    "pl": ("Szerokość geograficzna", "Długość geograficzna"),
    "sv": ("geografisk latitud", "geografisk longitud"),
    "da": ("Breddegrad", "Længdegrad"),
    "nb": ("breddegrad", "lengdegrad"),
    "fi": ("leveysaste", "pituusaste"),
    "cs": ("Zeměpisná šířka", "Zeměpisná délka"),
    "el": ("Γεωγραφικό πλάτος", "Γεωγραφικό μήκος"),
    "tr": ("Enlem", "Boylam"),
    "ru": ("Широта", "Долгота"),
    "ja": ("緯度", "経度"),
    "zh": ("纬度", "经度"),
    "ko": ("위도", "경도"),
}

TEMPERATURE_HEADERS = (
    "Temperature", "temperatura", "température", "Temperatur", "temperatuur", "lämpötila", "teplota", "θερμοκρασία",
    "S\u0131cakl\u0131k", "SICAKLIK", "температура", "温度",
)  # fmt: skip


@pytest.mark.parametrize(("name", "expected"), UNIT_HEADERS.items())
def test_a_header_parts_into_word_and_unit(name: str, expected: tuple[str, str]) -> None:
    """The unit, zone or form beside a plain word is found, however it is set apart."""
    assert read_header(name) == Header(name, *expected)


@pytest.mark.parametrize("name", UNKNOWN_HEADERS)
def test_what_is_no_plain_word_is_not_taken_for_one(name: str) -> None:
    """A near word, a unit of another quantity, another datum or an unstated start leaves a column unknown."""
    assert read_header(name) is None


@pytest.mark.parametrize("language", COORDINATE_HEADERS)
def test_coordinate_columns_are_known_in_many_languages(language: str) -> None:
    """Latitude and longitude are told apart in each language."""
    latitude, longitude = map(read_header, COORDINATE_HEADERS[language])
    assert latitude is not None
    assert longitude is not None
    assert (latitude.target, longitude.target) == ("latitude", "longitude")


@pytest.mark.parametrize("name", TEMPERATURE_HEADERS)
def test_temperature_is_known_in_many_languages(name: str) -> None:
    """The word for temperature is known with a unit and without, in capitals too."""
    assert read_header(name) == Header(name, "temperature")
    assert read_header(f"{name} [°C]") == Header(f"{name} [°C]", "temperature", "°C")


def test_no_word_means_two_things() -> None:
    """Each folded alias stands under one meaning only, and each meaning is one the code knows."""
    tables = tomllib.loads((files("exchange.formats.columns") / "aliases.toml").read_text(encoding="utf-8"))
    meanings: dict[str, set[str]] = {}
    for target, languages in tables.items():
        for words in languages.values():
            for word in words:
                meanings.setdefault(fold_key(word), set()).add(target)
    assert {word: targets for word, targets in meanings.items() if len(targets) > 1} == {}
    assert set(tables) - set(TARGETS) - set(POSITION_TARGETS) == set()
    assert "" not in column_aliases()


def test_no_marker_word_is_hotspot_and_place() -> None:
    """The words for hotspots and those for places have none in common."""
    assert marker_words()["hotspot"] & marker_words()["place"] == set()


def test_folding_takes_case_accents_and_letters_with_strokes() -> None:
    """Spelling habits of keyboards do not matter."""
    assert fold("Długość SZER. Ørsted İstanbul \u0131\u015f\u0131k ﬁ") == "dlugosc szer. orsted istanbul isik fi"
    assert fold_key("Camera-Heading (true)") == "cameraheadingtrue"


@pytest.mark.parametrize(
    ("text", "zone"),
    [("UTC", "UTC"), ("zulu", "UTC"), ("UTC+5:30", "+05:30"), ("-0700", "-07:00"), ("GMT-3", "-03:00"),
     ("America/Boise", "America/Boise"), ("local", ""), ("PST", ""), ("Nowhere/Else", ""), ("UTC+99", "")],
)  # fmt: skip
def test_only_a_zone_that_means_one_thing_is_read(text: str, zone: str) -> None:
    """Offsets, UTC and IANA names are zones; letters that mean several are none."""
    assert read_zone_text(text) == zone
