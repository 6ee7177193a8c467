from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from exchange.errors import OptionError
from exchange_kml import coordinates
from tests.plugins.kml.kit import messages, point, read_text, wrap

SCHEMA = (
    '<Schema id="s" name="heat"><SimpleField name="whole" type="int"/><SimpleField name="ratio" type="double"/>'
    '<SimpleField name="truth" type="bool"/><SimpleField name="text" type="string"/></Schema>'
)


def typed(**values: str) -> str:
    fields = "".join(f'<SimpleData name="{name}">{text}</SimpleData>' for name, text in values.items())
    return f'<ExtendedData><SchemaData schemaUrl="#s">{fields}</SchemaData></ExtendedData>'


def data(**values: str) -> str:
    fields = "".join(f'<Data name="{name}"><value>{text}</value></Data>' for name, text in values.items())
    return f"<ExtendedData>{fields}</ExtendedData>"


def test_folders_at_any_depth_are_the_layer(tmp_path: Path) -> None:
    """The path of folders is the layer; the document's own name is no part of it."""
    inner = f"<Folder><name>Hot</name>{point('3,4')}</Folder>"
    body = f"<Folder><name>Division A</name>{point('1,2')}{inner}</Folder>{point('5,6')}"
    packet = read_text(tmp_path, wrap(body, head="<name>Export</name>"))
    assert packet.detections.source.layer.tolist() == ["Division A", "Division A/Hot", ""]
    assert packet.detections.source.record.tolist() == [1, 2, 3]
    assert packet.incident == ""
    assert [p.value for p in packet.problems if "title" in p.message] == ["Export"]


def test_layers_can_be_chosen(tmp_path: Path) -> None:
    """A layer asked for brings what is in and below it; one that is not there is refused by name."""
    body = f"<Folder><name>A</name>{point('1,2')}<Folder><name>B</name>{point('3,4')}</Folder></Folder>{point('5,6')}"
    assert read_text(tmp_path, wrap(body), layers=("A",)).detections.longitude.tolist() == [1.0, 3.0]
    assert read_text(tmp_path, wrap(body), layers=("A/B",)).detections.longitude.tolist() == [3.0]
    with pytest.raises(OptionError, match=r"'C'.*\n.*'A/B'"):
        read_text(tmp_path, wrap(body), layers=("C",))


@pytest.mark.parametrize(
    "namespace",
    [
        "http://earth.google.com/kml/2.0",
        "http://earth.google.com/kml/2.1",
        "http://earth.google.com/kml/2.2",
        "http://www.opengis.net/kml/2.2",
        "http://www.opengis.net/kml/2.3",
        "",
    ],
)
def test_old_and_missing_namespaces_are_read(namespace: str, tmp_path: Path) -> None:
    """Old, new and missing namespaces hold the same points; a missing one is told."""
    packet = read_text(tmp_path, wrap(point(inner=data(temp_c="85.5")), namespace=namespace))
    assert packet.detections.temperature.tolist() == [85.5]
    assert ("the file states no namespace; it is read as KML 2.2" in messages(packet, "note")) == (not namespace)


def test_typed_data_keep_their_types(tmp_path: Path) -> None:
    """What a schema types comes typed; what it does not, and untyped data, stay text."""
    first = point(inner=typed(whole="7", ratio="1.5", truth="true", text="007"))
    second = point(inner=typed(whole="-3", ratio="2", truth="0", text="x"))
    extra = read_text(tmp_path, wrap(first + second, head=SCHEMA)).detections.extra
    assert extra["whole"].tolist() == [7, -3]
    assert extra["whole"].dtype == np.int64
    assert extra["ratio"].tolist() == [1.5, 2.0]
    assert extra["truth"].tolist() == [True, False]
    assert extra["text"].tolist() == ["007", "x"]
    assert read_text(tmp_path, wrap(point(inner=data(code="007")))).detections.extra["code"].tolist() == ["007"]


def test_values_that_do_not_fit_their_type_stay_text_and_are_told(tmp_path: Path) -> None:
    """A word in a column of whole numbers is kept beside the numbers, and counted."""
    packet = read_text(tmp_path, wrap(point(inner=typed(whole="7")) + point(inner=typed(whole="many")), head=SCHEMA))
    assert packet.detections.extra["whole"].tolist() == [7, "many"]
    told = [p for p in packet.problems if p.field == "whole"]
    assert [(p.severity, p.value, p.count, p.record) for p in told] == [("skipped", "many", 1, 2)]


def test_display_names_and_foreign_elements_are_kept(tmp_path: Path) -> None:
    """A display name stands beside its field; elements of other namespaces are canonical XML."""
    inner = (
        '<ExtendedData xmlns:c="urn:camp"><Data name="dbh"><displayName>Trunk</displayName><value>3</value></Data>'
        '<c:site c:no="1"><c:fuel>slash</c:fuel></c:site></ExtendedData><other xmlns="urn:other">x</other>'
    )
    extra = read_text(tmp_path, wrap(point(inner=inner))).detections.extra
    assert extra["dbh (display name)"].tolist() == ["Trunk"]
    assert extra["site"].tolist() == ['<c:site xmlns:c="urn:camp" c:no="1"><c:fuel>slash</c:fuel></c:site>']
    assert extra["other"].tolist() == ['<other xmlns="urn:other">x</other>']


def test_fields_that_repeat_the_name_claim_nothing(tmp_path: Path) -> None:
    """A field called Name beside the placemark's name is kept as a foreign field, and the name stands."""
    packet = read_text(tmp_path, wrap(point(inner="<name>stump</name>" + data(Name="tree", time="x"))))
    assert packet.detections.name.tolist() == ["stump"]
    assert packet.detections.extra["Name (data)"].tolist() == ["tree"]


def test_html_tables_are_read_into_fields(tmp_path: Path) -> None:
    """Cells of a balloon's table become fields by name; the balloon itself is kept, markup that is no table too."""
    rows = "<tr><td><b>Temperature</b></td><td>312.5 C</td></tr><tr><th>Image:</th><td>a&amp;b.jpg<i>!</i></td></tr>"
    table = f"<table>{rows}</table>"
    body = point(inner=f"<description><![CDATA[{table}]]></description>") + point(
        inner="<description>dry log</description>"
    )
    detections = read_text(tmp_path, wrap(body)).detections
    assert detections.temperature.tolist()[0] == 312.5
    assert detections.extra["Image"].tolist()[0] == "a&b.jpg!"
    assert detections.extra["description_html"].tolist() == [table, ""]
    assert detections.note.tolist() == ["", "dry log"]


def test_a_table_of_headings_is_read(tmp_path: Path) -> None:
    """A row of headings above one row of values is read by the headings; a nested table is not taken for a value."""
    table = "<table><tr><th>Area (m2)</th><th>Crew</th></tr><tr><td>2.5</td><td>7</td></tr></table>"
    detections = read_text(tmp_path, wrap(point(inner=f"<description><![CDATA[{table}]]></description>"))).detections
    assert detections.area.tolist() == [2.5]
    assert detections.extra["Crew"].tolist() == ["7"]


def test_times_and_spans(tmp_path: Path) -> None:
    """A time stamp is the time, a span is first and last seen; dates without a time of day stay text and are told."""
    stamps = [
        "<TimeStamp><when>2026-08-14T12:03:05-07:00</when></TimeStamp>",
        "<TimeSpan><begin>2026-08-14T10:00:00Z</begin><end>2026-08-14T11:00:00Z</end></TimeSpan>",
        "<TimeStamp><when>2026</when></TimeStamp>",
        "<TimeStamp><when>2026-08</when></TimeStamp>",
        "<TimeStamp><when>2026-08-14</when></TimeStamp>",
        "<TimeStamp><when>2026-08-14T12:03:05</when></TimeStamp>",
    ]
    packet = read_text(tmp_path, wrap("".join(point(inner=stamp) for stamp in stamps)))
    table = packet.detections
    assert table.time[0] == np.datetime64("2026-08-14T19:03:05")
    assert np.isnat(table.time[1:]).all()
    assert (table.first_seen[1], table.last_seen[1]) == (
        np.datetime64("2026-08-14T10:00"),
        np.datetime64("2026-08-14T11:00"),
    )
    assert table.extra["time_text"].tolist()[2:5] == ["2026", "2026-08", "2026-08-14"]
    assert [p.count for p in packet.problems if "no instant" in p.message] == [3]
    assert [p.value for p in packet.problems if "no zone" in p.message] == ["2026-08-14T12:03:05"]
    zoned = read_text(tmp_path, wrap(point(inner=stamps[5])), assume_timezone="-07:00").detections
    assert zoned.time[0] == np.datetime64("2026-08-14T19:03:05")


def test_altitude_modes_tell_altitude_from_height(tmp_path: Path) -> None:
    """Only absolute is above the sea; relative to the ground is a height; 0 without a mode is a filler."""
    modes = ["absolute", "relativeToGround", "clampToGround", "", ""]
    heights = ["0", "30", "0", "0", "1500"]
    body = "".join(point(f"1,2,{z}", mode=mode) for z, mode in zip(heights, modes, strict=True))
    packet = read_text(tmp_path, wrap(body))
    assert np.array_equal(packet.detections.altitude, [0.0, np.nan, np.nan, np.nan, 1500.0], equal_nan=True)
    assert packet.detections.extra["height_above_ground_m"].tolist()[1] == 30.0
    assert packet.detections.extra["altitude_mode"].tolist() == modes
    assert [p.count for p in packet.problems if "without an altitude mode" in p.message] == [1]


@pytest.mark.parametrize(
    ("text", "position", "fault"),
    [
        ("-120, 40", (-120.0, 40.0), coordinates.SPACED),
        ("-1.2e2,4e1", (-120.0, 40.0), coordinates.EXPONENT),
        ("-120,40,1500,7", (-120.0, 40.0), coordinates.FOUR_VALUES),
        ("-120,40 -121,41", (-120.0, 40.0), coordinates.SEVERAL),
        ("-120,40,NaN", (-120.0, 40.0), coordinates.NO_ALTITUDE),
        ("NaN,NaN", (np.nan, np.nan), coordinates.NO_POSITION),
        ("40 N,-120", (np.nan, np.nan), coordinates.NO_POSITION),
        ("-120 40", (np.nan, np.nan), coordinates.NO_POSITION),
        ("-120;40", (np.nan, np.nan), coordinates.NO_POSITION),
        ("inf,40", (np.nan, np.nan), coordinates.NO_POSITION),
        ("1_0,2", (np.nan, np.nan), coordinates.NO_POSITION),
        ("", (np.nan, np.nan), coordinates.EMPTY),
    ],
)
def test_broken_coordinates_are_told_and_never_guessed(
    text: str, position: tuple[float, float], fault: str, tmp_path: Path
) -> None:
    """What breaks the rules (OGC 12-007r2, 16.10) is read where it means one thing, else kept as text and told."""
    packet = read_text(tmp_path, wrap(point(text) * 2 + point("1,2")))
    table = packet.detections
    assert np.array_equal((table.longitude[0], table.latitude[0]), position, equal_nan=True)
    assert (table.longitude[2], table.latitude[2]) == (1.0, 2.0)
    assert [(p.count, p.record) for p in packet.problems if p.message == fault] == [(2, 1)]
    if fault not in (*coordinates.NOTES, coordinates.EMPTY):
        assert table.extra["position_text"].tolist() == [text, text, ""]


def test_latitude_120_is_refused_and_the_swap_suspected(tmp_path: Path) -> None:
    """A latitude of 120 is no position; that it looks swapped is told."""
    packet = read_text(tmp_path, wrap(point("44.5,-114.2")))
    assert np.isnan(packet.detections.longitude).all()
    assert any("look swapped" in message for message in messages(packet))


def test_several_points_in_one_placemark(tmp_path: Path) -> None:
    """Each point of a multi-geometry is a row with the placemark's fields, in the order of the file."""
    inner = "<MultiGeometry><Point><coordinates>3,4</coordinates></Point></MultiGeometry>"
    several = f"<MultiGeometry><Point><coordinates>1,2</coordinates></Point>{inner}</MultiGeometry>"
    body = (
        point("0,0", "<name>a</name>")
        + f"<Placemark><name>b</name>{several}</Placemark>"
        + point("5,6", "<name>c</name>")
    )
    table = read_text(tmp_path, wrap(body)).detections
    assert table.name.tolist() == ["a", "b", "b", "c"]
    assert table.longitude.tolist() == [0.0, 1.0, 3.0, 5.0]
    assert table.source.record.tolist() == [1, 2, 2, 3]


def test_a_placemark_without_geometry_is_kept(tmp_path: Path) -> None:
    """What has no place of its own is a row without a position, and told."""
    packet = read_text(tmp_path, wrap("<Placemark><name>hot stump</name></Placemark>"))
    assert packet.detections.name.tolist() == ["hot stump"]
    assert any("no place of its own" in message for message in messages(packet, "note"))


def test_folder_and_style_tell_what_a_marker_is(tmp_path: Path) -> None:
    """Words in the folder's path or the style's name tell places from hotspots."""
    body = f"<Folder><name>Drop points</name>{point()}</Folder><Folder><name>Hot spots</name>{point()}</Folder>"
    packet = read_text(tmp_path, wrap(body + point(inner="<styleUrl>#water_source</styleUrl>")))
    assert (len(packet.places), len(packet.detections)) == (2, 1)


def test_plain_children_are_kept(tmp_path: Path) -> None:
    """Address, phone number, snippet, visibility, view and region stay as foreign fields."""
    inner = (
        "<visibility>0</visibility><open>1</open><address>Mill Road</address><phoneNumber>555</phoneNumber>"
        "<Snippet>by the mill</Snippet><LookAt><longitude>1</longitude></LookAt><Region><Lod/></Region>"
    )
    extra = read_text(tmp_path, wrap(f'<Placemark id="p1">{inner}</Placemark>')).detections.extra
    wanted = {"visibility": "0", "open": "1", "address": "Mill Road", "phone_number": "555", "snippet": "by the mill"}
    assert {name: extra[name][0] for name in wanted} == wanted
    assert extra["LookAt"][0] == "<LookAt><longitude>1</longitude></LookAt>"
    assert extra["placemark_id"][0] == "p1"


def test_links_are_listed_and_never_fetched(tmp_path: Path) -> None:
    """A network link is told with its address and kept as a file beside; overlays are counted."""
    link = "<NetworkLink><name>more</name><Link><href>http://192.0.2.1/x.kml</href></Link></NetworkLink>"
    packet = read_text(tmp_path, wrap(link + "<GroundOverlay/><GroundOverlay/><PhotoOverlay/>" + point()))
    told = [p for p in packet.problems if p.field == "NetworkLink"]
    assert [(p.severity, p.value) for p in told] == [("note", "http://192.0.2.1/x.kml")]
    assert b"192.0.2.1" in packet.attachments["network-links.kml"]
    assert [p.count for p in packet.problems if "GroundOverlay" in p.message] == [2]
    assert len(packet.detections) == 1


def test_updates_of_other_files_are_left_out(tmp_path: Path) -> None:
    """Placemarks within an update belong to another file."""
    control = f"<NetworkLinkControl><Update><Create><Folder>{point()}</Folder></Create></Update></NetworkLinkControl>"
    packet = read_text(tmp_path, f'<kml xmlns="http://www.opengis.net/kml/2.2">{control}</kml>')
    assert len(packet.detections) == 0
    assert any("NetworkLinkControl" in message for message in messages(packet, "skipped"))


def test_what_a_folder_says_of_itself_is_told(tmp_path: Path) -> None:
    """The description of a folder has no row to stand on: it is told with its text."""
    packet = read_text(tmp_path, wrap(f"<Folder><name>A</name><description>flown low</description>{point()}</Folder>"))
    assert [(p.layer, p.field, p.value) for p in packet.problems if "of itself" in p.message] == [
        ("A", "description", "flown low")
    ]
