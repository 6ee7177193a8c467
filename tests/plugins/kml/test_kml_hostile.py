from __future__ import annotations

import io
import stat
import struct
import zipfile
from pathlib import Path

import pytest

from exchange.errors import ExchangeError, MalformedError, NotThisFormatError, UnsafeInputError
from exchange.model import Detections, Packet
from exchange_kml import archive
from tests.plugins.kml.kit import messages, point, read_both_ways, read_file, read_text, wrap, write_file
from tests.reference.packages import package_files

DOCUMENT = wrap(point())


def make_archive(path: Path, files: dict[str, str | bytes], *, deflate: bool = False) -> Path:
    method = zipfile.ZIP_DEFLATED if deflate else zipfile.ZIP_STORED
    with zipfile.ZipFile(path, "w", method) as written:
        for name, data in files.items():
            written.writestr(zipfile.ZipInfo(name), data, compress_type=method)
    return path


def test_a_doctype_is_refused(tmp_path: Path) -> None:
    """A DOCTYPE is refused before anything is expanded or fetched."""
    for declaration in (
        "<!DOCTYPE kml>",
        '<!DOCTYPE kml SYSTEM "http://192.0.2.1/x">',
        '<!DOCTYPE kml [<!ENTITY a "b">]>',
    ):
        with pytest.raises(UnsafeInputError, match="DOCTYPE"):
            read_text(tmp_path, declaration + DOCUMENT)


def test_entity_bombs_are_refused(tmp_path: Path) -> None:
    """The bombs of defusedxml's test data are refused as the wrong kind or as unsafe, fast."""
    bombs = sorted((package_files("defusedxml", "0.7.1", kind="sdist")).rglob("xmltestdata/*bomb*.xml"))
    assert bombs
    for bomb in bombs:
        with pytest.raises(UnsafeInputError, match="DOCTYPE"):
            read_text(tmp_path, bomb.read_bytes())


def test_deep_nesting_is_refused(tmp_path: Path) -> None:
    """A million elements within each other are refused without exhausting the stack."""
    for name in ("Folder", "MultiGeometry"):
        nested = f"<Placemark>{f'<{name}>' * 1_000_000}"
        with pytest.raises(UnsafeInputError, match="nested too deeply"):
            read_text(tmp_path, wrap(nested))


def test_files_cut_short_are_refused_with_their_line(tmp_path: Path) -> None:
    """Wherever a file ends too early it is malformed, and the line is right though the scanner took the rest."""
    text = "\n".join([wrap("\n".join([point()] * 50)).replace("</Document></kml>", "")])
    with pytest.raises(MalformedError, match=r"line 50\)"):
        read_text(tmp_path, text)
    with pytest.raises(MalformedError, match=r"line 50\)"):
        read_text(tmp_path, text[:-20])
    for end in range(1, len(DOCUMENT) - 1, 7):
        with pytest.raises(ExchangeError, match=r".+"):
            read_text(tmp_path, DOCUMENT[:end])


def test_malformed_markup_is_refused_both_ways() -> None:
    """What the parser refuses the scanner does not read."""
    for text in (
        "<name>a & b</name>",
        "<name>&nope;</name>",
        "<name>\x01</name>",
        "<a:name>x</a:name>",
        "<name>x</nam>",
        "<!-- a -- b -->",
    ):
        data = wrap(point() * 3 + point(inner=text) + point() * 3).encode()
        for way in (0, 1):
            with pytest.raises(MalformedError, match="not well-formed"):
                read_both_ways(data)[way]


def test_wrong_encodings_are_told(tmp_path: Path) -> None:
    """Bytes that do not fit the encoding are refused; the right one can be stated."""
    data = wrap(point(inner="<name>Peñasco</name>")).encode("latin-1")
    with pytest.raises(MalformedError, match=r"encod|UTF-8"):
        read_text(tmp_path, data)
    assert read_text(tmp_path, data, encoding="latin-1").detections.name.tolist() == ["Peñasco"]
    for encoding in ("utf-16", "utf-8-sig"):
        text = wrap(point(inner="<name>Peñasco</name>"))
        assert read_text(tmp_path, text.encode(encoding)).detections.name.tolist() == ["Peñasco"]


def test_other_files_are_told_apart(tmp_path: Path) -> None:
    """XML that is not KML is another error than what is no XML."""
    with pytest.raises(NotThisFormatError, match="root element is 'gpx'"):
        read_text(tmp_path, "<gpx><Document/></gpx>")
    with pytest.raises(NotThisFormatError, match="no element kml"):
        read_text(tmp_path, "<gpx/>")
    with pytest.raises(NotThisFormatError, match="namespace"):
        read_text(tmp_path, '<kml xmlns="urn:other"><Document/></kml>')
    with pytest.raises(MalformedError, match="not well-formed"):
        read_text(tmp_path, "name,lat,lon\n")


def test_html_in_names_and_notes_is_no_markup(tmp_path: Path) -> None:
    """A script in a note is text to whoever shows the description as HTML, and comes back as it was."""
    note = "<script>alert(1)</script> & <b>hot</b>"
    path = tmp_path / "list.kml"
    packet = Packet(detections=Detections(id=["<i>H</i>"], note=[note], longitude=[1.0], latitude=[2.0]))
    write_file(packet, path)
    assert "&amp;lt;script&amp;gt;" in path.read_text()
    assert read_file(path) == packet


@pytest.mark.parametrize(
    "name", ["../x.kml", "/etc/x.kml", "C:\\x.kml", "a/../../x.kml", "..\\x.kml", "\\\\host\\x.kml"]
)
def test_names_that_lead_out_of_an_archive_are_refused(name: str, tmp_path: Path) -> None:
    """No member may name a place outside of the archive (OWASP ASVS 5.0, 5.3.3; CWE-22)."""
    path = make_archive(tmp_path / "a.kmz", {"doc.kml": DOCUMENT, name: "x"})
    with pytest.raises(UnsafeInputError, match="leads out of it"):
        read_file(path)


def test_links_in_an_archive_are_refused(tmp_path: Path) -> None:
    """A symbolic link is refused (OWASP ASVS 5.0, 5.2.5)."""
    path = tmp_path / "a.kmz"
    with zipfile.ZipFile(path, "w") as written:
        written.writestr("doc.kml", DOCUMENT)
        link = zipfile.ZipInfo("link")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        written.writestr(link, "/etc/passwd")
    with pytest.raises(UnsafeInputError, match="holds a link"):
        read_file(path)


def test_bombs_are_refused_before_they_are_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Size, ratio and number of files are checked first (OWASP ASVS 5.0, 5.2.3; CWE-409)."""
    bomb = make_archive(tmp_path / "a.kmz", {"doc.kml": DOCUMENT, "zeros": bytes(64 << 20)}, deflate=True)
    with pytest.raises(UnsafeInputError, match="would unpack from"):
        read_file(bomb)
    many = make_archive(tmp_path / "b.kmz", {f"{n}": "" for n in range(20)})
    monkeypatch.setattr(archive, "MOST_FILES", 10)
    with pytest.raises(UnsafeInputError, match="20 files"):
        read_file(many)


def test_a_size_that_lies_is_told(tmp_path: Path) -> None:
    """A directory that understates a member's size brings an error, never more data than it said."""
    path = make_archive(tmp_path / "a.kmz", {"doc.kml": DOCUMENT}, deflate=True)
    data = bytearray(path.read_bytes())
    at = data.index(b"PK\x01\x02")
    data[at + 24 : at + 28] = struct.pack("<I", 40)
    path.write_bytes(bytes(data))
    with pytest.raises(MalformedError, match=r"damaged|well-formed"):
        read_file(path)


def test_encrypted_damaged_and_cut_archives_are_told(tmp_path: Path) -> None:
    """What cannot be unpacked says why."""
    path = make_archive(tmp_path / "a.kmz", {"doc.kml": DOCUMENT})
    whole = path.read_bytes()
    encrypted = bytearray(whole)
    encrypted[6] |= 1
    encrypted[whole.index(b"PK\x01\x02") + 8] |= 1
    for data, told in (
        (bytes(encrypted), "encrypted"),
        (whole[: len(whole) // 2], "no whole archive"),
        (whole.replace(b"-114.2", b"-114.9", 1), "damaged"),
    ):
        path.write_bytes(data)
        with pytest.raises(MalformedError, match=told):
            read_file(path)


def test_an_archive_without_kml_is_told(tmp_path: Path) -> None:
    """An archive of pictures is no KMZ."""
    with pytest.raises(NotThisFormatError, match="holds no KML"):
        read_file(make_archive(tmp_path / "a.kmz", {"a.png": "x"}))


@pytest.mark.parametrize(
    ("names", "main"),
    [
        (["z.kml", "doc.kml"], "doc.kml"),
        (["files/a.kml", "z.kml", "b.kml"], "z.kml"),
        (["files/a.kml"], "files/a.kml"),
        (["a.kml", "DOC.KML"], "DOC.KML"),
    ],
)
def test_the_main_document_is_the_one_the_standard_names(names: list[str], main: str, tmp_path: Path) -> None:
    """`doc.kml`, else the first at the root (OGC 12-007r2, annex C), else the first of all; others are kept."""
    files: dict[str, str | bytes] = {name: wrap(point(inner=f"<name>{name}</name>")) for name in names}
    packet = read_file(make_archive(tmp_path / "a.kmz", files))
    assert packet.detections.name.tolist() == [main]
    assert set(packet.attachments) == set(names) - {main}
    assert any("further KML" in message for message in messages(packet, "note")) == (len(names) > 1)


def test_files_in_an_archive_are_carried_along(tmp_path: Path) -> None:
    """Pictures come in as attachments and go out again, beside the house's own icons."""
    path = make_archive(tmp_path / "a.kmz", {"doc.kml": DOCUMENT, "files/a.png": b"\x89PNG", "files/": b""})
    packet = read_file(path)
    assert packet.attachments == {"files/a.png": b"\x89PNG"}
    again = tmp_path / "b.kmz"
    write_file(packet, again)
    assert read_file(again) == packet
    assert "icons/hot.png" in zipfile.ZipFile(again).namelist()


def test_attachments_whose_names_lead_out_are_not_written(tmp_path: Path) -> None:
    """A name that could not be read again is left out and told; the document comes first."""
    names = ["../a", "/a", "doc.kml", "a\\b", "", "good/a"]
    path = tmp_path / "a.kmz"
    told = write_file(Packet(attachments=dict.fromkeys(names, b"x")), path)
    assert sum(p.count for p in told) == 5
    assert read_file(path).attachments == {"good/a": b"x"}
    assert zipfile.ZipFile(path).namelist()[0] == "doc.kml"


def test_kml_named_as_an_archive_is_read_as_what_it_is(tmp_path: Path) -> None:
    """A document under an archive's suffix is still a document."""
    path = tmp_path / "a.kmz"
    path.write_text(DOCUMENT)
    assert len(read_file(path).detections) == 1


def test_the_same_packet_gives_the_same_bytes(tmp_path: Path) -> None:
    """Archives carry no time of writing, so that equal packets are equal files."""
    packet = Packet(detections=Detections(longitude=[1.0], latitude=[2.0]))
    for name in ("a.kmz", "b.kmz"):
        write_file(packet, tmp_path / name)
    first, second = (io.BytesIO((tmp_path / name).read_bytes()).getvalue() for name in ("a.kmz", "b.kmz"))
    assert first == second


@pytest.mark.parametrize("deflate", [False, True])
def test_an_archive_named_as_a_document_is_read_as_what_it_is(tmp_path: Path, deflate: bool) -> None:
    """The first bytes decide, not the name, even where the document stands in the archive unpacked."""
    path = make_archive(tmp_path / "list.kml", {"doc.kml": DOCUMENT}, deflate=deflate)
    assert len(read_file(path).detections) == 1
