from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from exchange.errors import ModelError
from exchange.formats.holds import Held, Holds
from exchange.model import Detections, Packet, Perimeter, Problem, Sources, Track, gather_problems
from exchange.model.summary import summarise
from exchange.testing.strategies import packets

_few = settings(deadline=None, max_examples=30)

WHOLLY = Holds(
    tracks=Held(), perimeters=Held(), detections=Held(), notes=Held(), places=Held(), incident=True, attachments=True
)


def _piece(records: list[int], *, number: int = 1, file: str = "a.gpx", layer: str = "") -> Track:
    return Track(longitude=[0.1 * r for r in records], number=number, source=Sources.of(file, layer, records))


@_few
@given(packets())
def test_joining_one_packet_gives_it_back(packet: Packet) -> None:
    """A packet joined with nothing, or with an empty one, is itself."""
    assert Packet.join([packet]) == packet
    assert Packet.join([packet, Packet()]) == packet
    assert Packet.join([Packet(), packet]) == packet


@_few
@given(packets(), packets())
def test_joining_adds_the_counts(first: Packet, second: Packet) -> None:
    """Nothing is lost and nothing is made by a join."""
    joined = Packet.join([first, second]).counts()
    assert joined == {name: count + second.counts()[name] for name, count in first.counts().items()}


def test_pieces_of_one_track_become_one() -> None:
    """A long track handed out in batches is one track; the next track of the file is another."""
    parts = [Packet(tracks=(piece,)) for piece in (_piece([1, 2]), _piece([3]), _piece([4], number=2))]
    joined = Packet.join(parts)
    assert [len(track) for track in joined.tracks] == [3, 1]
    assert joined.tracks[0].source.record.tolist() == [1, 2, 3]
    assert summarise(parts).as_dict()["counts"] == {"tracks": 2, "fixes": 4}


@pytest.mark.parametrize(
    "other", [_piece([3], number=2), _piece([3], file="b.gpx"), _piece([3], layer="A"), _piece([3], number=0), Track()]
)
def test_other_tracks_stay_apart(other: Track) -> None:
    """Another number, file or layer, or an unknown number, is another track."""
    assert len(Packet.join([Packet(tracks=(_piece([1, 2]),)), Packet(tracks=(other,))]).tracks) == 2


def test_a_join_keeps_the_first_name_and_the_first_attachment() -> None:
    """The incident's name and a file of one name are taken from the first packet that has them."""
    first = Packet(attachments={"a.png": b"1"})
    second = Packet(incident="Marrow Flat", attachments={"a.png": b"2", "b.png": b"3"})
    joined = Packet.join([first, second])
    assert (joined.incident, dict(joined.attachments)) == ("Marrow Flat", {"a.png": b"1", "b.png": b"3"})


def test_problems_of_one_kind_are_folded() -> None:
    """Problems that differ in record and value only are counted as one, the first place kept."""
    wrong = [Problem(message="no number", path="a.csv", field="temp", record=n, value=f"x{n}") for n in (3, 5, 8)]
    other = Problem(message="no number", path="b.csv", field="temp", record=1, value="x1")
    first, second = gather_problems([*wrong, other])
    assert (first.record, first.value, first.count) == (3, "x3", 3)
    assert second == other
    assert str(first) == "a.csv, record 3, field temp: no number ('x3') [3 times, this is the first]"
    assert gather_problems([first, second]) == (first, second)
    assert Packet(problems=(*wrong, other)).problems == (first, second)


@pytest.mark.parametrize(("severity", "needs"), [("note", False), ("changed", True), ("skipped", True)])
def test_which_problems_need_a_person(severity: str, needs: bool) -> None:
    """A note loses nothing; what was changed or skipped must be looked at."""
    assert Problem(message="m", severity=severity).needs_person is needs  # type: ignore[arg-type]


def test_differences_are_told_in_words() -> None:
    """Where two packets differ is said by thing, column and row."""
    first = Packet(detections=Detections(name=["stump", "log"]), tracks=(Track(longitude=[1.0]),))
    second = Packet(incident="Marrow Flat", detections=Detections(name=["stump", "root"]))
    told = "\n".join(first.differences(second))
    for words in ("incident: ''", "detections: name: 1 rows differ, first row 1: 'log' is not 'root'", "tracks: 1 are"):
        assert words in told


@_few
@given(packets())
def test_every_thing_is_a_feature(packet: Packet) -> None:
    """The geo interface holds each row, track and perimeter once."""
    counts = packet.counts()
    expected = sum(count for kind, count in counts.items() if kind != "fixes")
    assert len(packet.__geo_interface__["features"]) == expected


@_few
@given(packets())
def test_a_format_that_holds_everything_loses_nothing(packet: Packet) -> None:
    """Limited to everything a packet is itself, without a word."""
    assert WHOLLY.limit(packet) == (packet, ())


@_few
@given(packets())
def test_a_format_that_holds_nothing_tells_everything(packet: Packet) -> None:
    """What is lost is counted kind by kind; nothing is left and nothing is silent."""
    limited, losses = Holds(incident=False).limit(packet)
    assert limited == Packet()
    counts = {kind: count for kind, count in packet.counts().items() if count and kind != "fixes"}
    told = {loss.message.removeprefix("the format has no place for "): loss.count for loss in losses}
    incident = {"the incident's name": 1} if packet.incident else {}
    assert told == counts | incident


@_few
@given(packets())
def test_limiting_twice_is_limiting_once(packet: Packet) -> None:
    """What was limited fits, so that a second time nothing more is lost."""
    lost = frozenset({"altitude", "name", "note", "accuracy", "method", "heading", "text"})
    held = Held(loses=lost, extra="text", needs_position=True)
    holds = Holds(tracks=held, perimeters=held, detections=held, notes=held, places=held, incident=False)
    limited, _ = holds.limit(packet)
    again, losses = holds.limit(limited)
    assert (again.differences(limited), losses) == ([], ())


def test_losses_are_counted_by_the_rows_that_hold_a_value() -> None:
    """A lost column counts the rows with a value, a lost foreign field too; an empty column is no loss."""
    detections = Detections(
        longitude=[1.0, 2.0, None],
        latitude=[1.0, 2.0, None],
        altitude=[0.0, None, 5.0],
        extra={"crew": ["a", "", "b"], "whole": [1, 2, 3]},
    )
    held = Held(loses=frozenset({"altitude", "temperature"}), extra="none", needs_position=True)
    limited, losses = Holds(detections=held).limit(Packet(detections=detections))
    told = {(loss.field, loss.count) for loss in losses}
    assert told == {("", 1), ("altitude", 1), ("crew", 1), ("whole", 2)}
    assert len(limited.detections) == 2
    assert limited.detections.extra == {}


def test_a_perimeter_is_a_polygon() -> None:
    """Lines are refused; one part in a collection is that part."""
    with pytest.raises(ModelError, match="not 'LineString'"):
        Perimeter(geometry=LineString([(0, 0), (1, 1)]))
    assert Perimeter(geometry=MultiPolygon([box(0, 0, 1, 1)])).geometry.geom_type == "Polygon"


def test_perimeters_compare_wherever_their_ring_starts() -> None:
    """The same ring from another vertex is equal; a moved vertex, a hole or a field is not."""
    square = Perimeter(geometry=Polygon([(0, 0), (1, 0), (1, 1), (0, 1)]), name="edge")
    turned = Perimeter(geometry=Polygon([(1, 1), (0, 1), (0, 0), (1, 0)]), name="edge", source=square.source)
    assert square == turned
    assert square != square.replace(geometry=Polygon([(0, 0), (1, 0), (1, 1.0000001), (0, 1)]))
    assert square != square.replace(geometry=Polygon(square.geometry.exterior, [box(0.2, 0.2, 0.4, 0.4).exterior]))
    assert square != square.replace(name="other")
    assert square.replace(area=float("nan")) == square


def test_source_columns_reach_tracks_and_perimeters() -> None:
    """With source columns every thing names its file."""
    packet = Packet(
        tracks=(_piece([1, 2], number=3),),
        perimeters=(Perimeter(geometry=box(0, 0, 1, 1)),),
        detections=Detections(longitude=[1.0], source=Sources.of("a.csv", "", [7])),
    ).with_source_columns()
    assert packet.tracks[0].properties == {"source_file": "a.gpx", "source_record": 3}
    assert packet.detections.row(0).extra == {"source_file": "a.csv", "source_record": 7}
    assert packet.perimeters[0].extra == {}


def test_a_summary_of_batches_is_that_of_the_whole() -> None:
    """Counting batch by batch gives what the joined packet gives."""
    parts = [
        Packet(detections=Detections(longitude=[x], latitude=[10.0 + x], temperature=[300 + x], sortie="S1"))
        for x in np.linspace(-3, 3, 5)
    ]
    assert summarise(parts).as_dict() == summarise([Packet.join(parts)]).as_dict()
