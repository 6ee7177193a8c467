from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from exchange.model import STATUS_STYLES, Detections, Packet
from exchange_kml.head import to_kml_color
from exchange_kml.icons import NO_STATUS_SHAPE, SHAPES, draw_icon
from exchange_kml.styles import flip_color
from tests.plugins.kml.kit import check_document, document_of, point, read_file, read_text, wrap, write_file

HOT = (
    '<Style id="hot"><IconStyle><color>7fff0000</color><scale>1.1</scale>'
    "<Icon><href>files/a.png</href></Icon></IconStyle></Style>"
)
MAP = (
    '<StyleMap id="pin"><Pair><key>normal</key><styleUrl>#hot</styleUrl></Pair>'
    "<Pair><key>highlight</key><styleUrl>#big</styleUrl></Pair></StyleMap>"
    '<Style id="big"><IconStyle><color>ff00ffff</color></IconStyle></Style>'
)
INLINE = "<Style><IconStyle><color>ff00ff00</color></IconStyle></Style>"


# check-values.md G: Okabe and Ito's colours in KML's order of bytes; the schema's own example of a half-clear blue.
@pytest.mark.parametrize(
    ("web", "kml"),
    [
        ("#000000", "ff000000"),
        ("#e69f00", "ff009fe6"),
        ("#56b4e9", "ffe9b456"),
        ("#009e73", "ff739e00"),
        ("#f0e442", "ff42e4f0"),
        ("#0072b2", "ffb27200"),
        ("#d55e00", "ff005ed5"),
        ("#cc79a7", "ffa779cc"),
    ],
)
def test_colours_are_turned_round(web: str, kml: str) -> None:
    """KML writes aabbggrr (OGC 07-147r2, colorType); opaque colours come out as web colours and go in again."""
    assert flip_color(kml) == web
    assert to_kml_color(web) == kml


def test_a_half_clear_colour_keeps_its_alpha() -> None:
    """`7fff0000` is blue at 50 % (KML reference, `color`); what is no colour stays as it came."""
    assert flip_color("7fff0000") == "#0000ff7f"
    assert flip_color("#ff0000") == "#ff0000"
    assert flip_color("ff0000") == "ff0000"


def test_shared_and_inline_styles_are_columns(tmp_path: Path) -> None:
    """The style's name, its XML and the colour and icon that result are foreign columns; inline outweighs shared."""
    body = point(inner="<styleUrl>#hot</styleUrl>") + point(inner=f"<styleUrl>#pin</styleUrl>{INLINE}")
    extra = read_text(tmp_path, wrap(body, head=HOT + MAP)).detections.extra
    assert extra["icon_color"].tolist() == ["#0000ff7f", "#00ff00"]
    assert extra["icon_href"].tolist() == ["files/a.png", "files/a.png"]
    assert extra["style_url"].tolist() == ["#hot", "#pin"]
    assert extra["style"].tolist() == [HOT, MAP.split("<Style id")[0] + HOT + "<Style id" + MAP.split("<Style id")[1]]
    assert extra["style_inline"].tolist() == ["", INLINE]


def test_styles_behind_their_features_are_found(tmp_path: Path) -> None:
    """A style may stand behind what it is for; one that is nowhere is told."""
    body = point(inner="<styleUrl>#hot</styleUrl>") + point(inner="<styleUrl>#none</styleUrl>") + HOT
    packet = read_text(tmp_path, wrap(body))
    assert packet.detections.extra["icon_color"].tolist() == ["#0000ff7f", ""]
    assert [p.value for p in packet.problems if p.field == "style_url"] == ["#none"]


def test_foreign_styles_and_balloons_go_out_again(tmp_path: Path) -> None:
    """What came in styled and with a balloon is drawn and described the same in the file that is written."""
    balloon = "<table><tr><td>Crew</td><td>7</td></tr></table>"
    inner = f"<description><![CDATA[{balloon}]]></description><styleUrl>#pin</styleUrl>{INLINE}"
    packet = read_text(tmp_path, wrap(point(inner=inner), head=HOT + MAP))
    path = tmp_path / "again.kml"
    write_file(packet, path)
    check_document(document_of(path))
    root = etree.fromstring(document_of(path))
    assert root.findtext(".//{*}Placemark/{*}styleUrl") == "#pin"
    assert root.findtext(".//{*}Placemark/{*}description") == balloon
    assert root.findtext(".//{*}Placemark/{*}Style//{*}color") == "ff00ff00"
    assert {element.get("id") for element in root.iter("{*}StyleMap", "{*}Style")} >= {"pin", "hot", "big"}
    assert read_file(path) == packet.replace(incident="")


def test_styles_of_one_name_from_two_files_do_not_mix(tmp_path: Path) -> None:
    """Two styles called the same are both drawn as they were, one under another name."""
    other = HOT.replace("7fff0000", "ff0000ff")
    first = read_text(tmp_path, wrap(point(inner="<styleUrl>#hot</styleUrl>"), head=HOT))
    second = read_text(tmp_path, wrap(point(inner="<styleUrl>#hot</styleUrl>"), head=other))
    both = Packet.join([first, second])
    path = tmp_path / "both.kml"
    write_file(both, path)
    check_document(document_of(path))
    root = etree.fromstring(document_of(path))
    urls = [element.text or "" for element in root.iter("{*}Placemark") for element in element.iter("{*}styleUrl")]
    colors = [root.find(f".//{{*}}Style[@id='{url[1:]}']").findtext(".//{*}color") for url in urls]  # type: ignore[union-attr]
    assert colors == ["7fff0000", "ff0000ff"]
    assert read_file(path) == both


@pytest.mark.parametrize(
    "style",
    [
        '<Style id="a"><IconStyle><color>#ff0000</color></IconStyle></Style>',
        '<Style id="a"><IconStyle><scale>1</scale><color>ff0000ff</color></IconStyle></Style>',
        '<Style id="a"/>',
        '<Style id="1"><LineStyle><width>1</width></LineStyle></Style>',
        '<Style id="exchange-style-hot"><LineStyle><width>1</width></LineStyle></Style>',
        '<Style id="a"><PolyStyle/></Style>',
        '<Style id="a"><more xmlns="urn:m">x</more></Style>',
        '<StyleMap id="a"><Pair><key>normal</key></Pair></StyleMap>',
        '<Style id="a"><IconStyle id="a"><scale>1</scale></IconStyle></Style>',
    ],
)
def test_unlawful_styles_are_kept_but_not_drawn(style: str, tmp_path: Path) -> None:
    """A style that breaks the schema is kept as a field, and the file that is written is valid all the same."""
    url = style.split('"')[1]
    packet = read_text(tmp_path, wrap(point(inner=f"<styleUrl>#{url}</styleUrl>"), head=style))
    path = tmp_path / "again.kml"
    write_file(packet, path)
    check_document(document_of(path))
    assert read_file(path) == packet


@settings(max_examples=40, deadline=None)
@given(
    texts=st.lists(
        st.sampled_from(
            ["", "#hot", "hot", HOT, "<Style>", "<", "x\x07", "#exchange-style-hot", "http://a/b.kml#c", INLINE]
        ),
        min_size=8,
        max_size=8,
    )
)
def test_fields_called_like_style_columns_come_back(texts: list[str], tmp_path_factory: pytest.TempPathFactory) -> None:
    """Whatever stands in columns of these names, consistent or not, comes back and leaves the file valid."""
    path = tmp_path_factory.mktemp("styles") / "any.kml"
    extra = {"style_url": texts[:2], "style": texts[2:4], "style_inline": texts[4:6], "icon_color": texts[6:]}
    packet = Packet(detections=Detections(longitude=[1.0, 2.0], latitude=[1.0, 2.0], status=["hot", ""], extra=extra))
    write_file(packet, path)
    check_document(document_of(path))
    assert read_file(path) == packet


def test_a_pin_recoloured_in_the_field_is_seen(tmp_path: Path) -> None:
    """A spot of ours that another program drew anew, renamed and annotated brings colour, label and note home."""
    path = tmp_path / "list.kml"
    write_file(
        Packet(detections=Detections(id=["H-1", "H-2"], longitude=[1.0, 2.0], latitude=[1.0, 2.0], status="hot")), path
    )
    text = document_of(path).decode()
    edited = text.replace("<name>H-1</name>", "<name>H-1 done</name><description>cold</description>", 1)
    edited = edited.replace("<styleUrl>#exchange-style-hot</styleUrl>", "<styleUrl>#exchange-style-out</styleUrl>", 1)
    edited = edited.replace(
        "<styleUrl>#exchange-style-hot</styleUrl>", "<Style><IconStyle><color>ff0000ff</color></IconStyle></Style>", 1
    )
    table = read_text(tmp_path, edited).detections
    assert table.id.tolist() == ["H-1", "H-2"]
    assert table.extra["icon_color"].tolist() == [STATUS_STYLES["out"].color.lower(), "#ff0000"]
    assert table.extra["label"].tolist() == ["H-1 done", ""]
    assert table.note.tolist() == ["cold", ""]


def test_a_pin_moved_to_another_folder_is_seen(tmp_path: Path) -> None:
    """A spot of ours that was dragged into the folder of another status brings that folder's name home."""
    path = tmp_path / "list.kml"
    spots = Detections(
        id=["H-1", "H-2", "H-3"], longitude=[1.0, 2.0, 3.0], latitude=[1.0, 2.0, 3.0], status=["hot", "out", ""]
    )
    write_file(Packet(detections=spots), path)
    text = document_of(path).decode()
    pin = text[text.index("<Placemark><name>H-1<") : text.index("</Placemark>") + len("</Placemark>")]
    moved = text.replace(pin, "").replace("<name>out</name>", f"<name>out</name>{pin}")
    table = read_text(tmp_path, moved).detections
    assert dict(zip(table.id, table.extra["folder"], strict=True)) == {"H-1": "out", "H-2": "", "H-3": ""}
    assert dict(zip(table.id, table.status, strict=True)) == {"H-1": "hot", "H-2": "out", "H-3": ""}
    assert "folder" not in read_text(tmp_path, text).detections.extra


def test_every_status_has_a_colour_and_a_shape_of_its_own(tmp_path: Path) -> None:
    """An archive draws each status in its own colour and with its own icon; none of them needs the network."""
    path = tmp_path / "list.kmz"
    statuses = list(STATUS_STYLES)
    write_file(Packet(detections=Detections(longitude=[0.0] * 6, latitude=[0.0] * 6, status=statuses)), path)
    root = etree.fromstring(document_of(path))
    for status, style in STATUS_STYLES.items():
        drawn = root.find(f".//{{*}}Style[@id='exchange-style-{status.replace(' ', '-')}']/{{*}}IconStyle")
        assert drawn is not None
        assert flip_color(drawn.findtext("{*}color", "")) == style.color.lower()
        assert drawn.findtext("{*}Icon/{*}href") == f"icons/{status.replace(' ', '-')}.png"
    assert len({draw_icon(shape) for shape in SHAPES}) == len(SHAPES)


def test_icons_are_pngs_that_others_can_read() -> None:
    """The icons are PNG files by an independent reader (matplotlib's): white inside, clear outside."""
    import io

    image = pytest.importorskip("matplotlib.image")
    for shape in SHAPES:
        pixels = image.imread(io.BytesIO(draw_icon(shape)))
        assert pixels.shape == (64, 64, 4)
        assert pixels[32, 32].tolist() == [1.0, 1.0, 1.0, 1.0]
        assert pixels[0, 0, 3] == 0.0


def test_a_spot_without_a_status_word_is_told_apart_in_black_and_white() -> None:
    """Colour alone never carries it: every status has a shape, and none of them is that of no status."""
    shapes = [style.shape for style in STATUS_STYLES.values()]
    assert len({*shapes, NO_STATUS_SHAPE}) == len(STATUS_STYLES) + 1
