from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from exchange.errors import OptionError
from exchange.formats.columns.words import fold, fold_key
from exchange.model.status import STATUS_STYLES, STATUS_WORDS
from exchange.status import StatusWords
from exchange.status.colors import find_nearest
from exchange.status.phrases import PhraseReader
from exchange.status.words.load import SHIPPED

WORDS = StatusWords.shipped()
READER = PhraseReader(WORDS.text)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("HOT", {"hot"}),
        ("white ash, hot below", {"hot"}),
        ("smoker by two snags, no number", {"hot"}),
        ("still smoking", {"hot"}),
        ("🔥", {"hot"}),
        ("half dug", {"working"}),
        ("warm only, look again tonight", {"recheck"}),
        ("out", {"out"}),
        ("It is out.", {"out"}),
        ("called out 1430", {"out"}),
        ("100% out", {"out"}),
        ("out at 14:30", {"out"}),
        ("out, confirmed.", {"out"}),
        ("no smoke, out", {"out"}),
        ("cold to the touch, dug out", {"no heat"}),
        ("wet and cold", {"no heat"}),
        ("no heat found", {"no heat"}),
        ("Not checked yet", {"unchecked"}),
    ],
)
def test_plain_words_are_read(text: str, says: set[str]) -> None:
    """What people write says the status that they mean."""
    assert READER.read(text).says == says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("not out", {"recheck"}),
        ("isn\u2019t out yet", {"recheck"}),
        ("Not out, still smoking", {"recheck", "hot"}),
        ("no smoke", set()),
        ("no sign of smoke", set()),
        ("not hot", set()),
        ("nothing hot", set()),
        ("no longer smoking", set()),
        ("no smoke, not felt", {"unchecked"}),
        ("not cold", {"recheck"}),
        ("never out", set()),
        ("almost out", set()),
        ("no apagado", {"recheck"}),
        ("sin humo", set()),
        ("não apagado", {"recheck"}),
        ("pas éteint", {"recheck"}),
        ("ne fume plus", set()),
        ("non spento", {"recheck"}),
        ("nicht gelöscht", {"recheck"}),
        ("raucht nicht mehr", set()),
        ("kein offenes Feuer, raucht gar nicht", set()),
        ("niet uit", {"recheck"}),
        ("nie dymi", set()),
        ("inte släckt", {"recheck"}),
        ("není uhašeno", {"recheck"}),
        ("δεν έσβησε", {"recheck"}),
        ("duman yok", set()),
        ("не потушен", {"recheck"}),
        ("未鎮火", {"recheck"}),
        ("煙なし", set()),
        ("没熄灭", set()),
    ],
)
def test_a_negation_is_never_read_as_its_opposite(text: str, says: set[str]) -> None:
    """'Not out' is not out, 'no smoke' is not smoke, in any of the languages."""
    assert READER.read(text).says == says


@pytest.mark.parametrize(
    "text",
    ["out?", "out of water", "look out below", "will be out tomorrow", "crew out at noon lunch", "burned out snag",
     "dug out", "cold front coming", "cold beer", "out there somewhere", "went out to check", "should be out",
     "maybe out", "unless out", "Out: no", "out - no", "out: not yet", "out (not really)", "out=no", "50% out",
     "0 % out", "2 out", "1/2 out", "~out", "=out()", "out or hot", "done", "H-031 out", "cold: no", "burned out"],
)  # fmt: skip
def test_out_and_cold_count_only_where_the_clause_says_nothing_else(text: str) -> None:
    """A word that calls a spot out among words that may change it is not read."""
    assert not READER.read(text).says & {"out", "no heat"}


BY_LANGUAGE = {
    "Spanish": ("sigue humeando", "apagado", "Por revisar", "en trabajo", "sin calor"),
    "Portuguese": ("ainda quente", "extinto", "não verificado", "em andamento", "frio ao toque"),
    "French": ("fume encore", "éteint", "à vérifier", "en cours", "froid au toucher"),
    "Italian": ("ancora caldo", "spento", "da controllare", "in bonifica", "freddo"),
    "German": ("raucht noch", "gelöscht", "noch nicht kontrolliert", "in Arbeit", "handkalt"),
    "Dutch": ("rookt nog", "gedoofd", "niet gecontroleerd", "mee bezig", "koud"),
    "Polish": ("nadal dymi", "ugaszone", "do sprawdzenia", "w trakcie", "zimne"),
    "Swedish": ("ryker fortfarande", "släckt", "ej kontrollerad", "pågår", "kallt"),
    "Czech": ("stále kouří", "uhašeno", "ke kontrole", "rozpracováno", "studené"),
    "Greek": ("καπνίζει", "σβηστό", "δεν ελέγχθηκε", "σε εξέλιξη", "κρύο"),
    "Turkish": ("tütüyor", "söndürüldü", "kontrol edilmedi", "devam ediyor", "soğuk"),
    "Russian": ("ещё горячо", "потушено", "не проверено", "в работе", "холодно"),
    "Japanese": ("煙あり", "鎮火", "未確認", "作業中", "熱なし"),
}


@pytest.mark.parametrize("language", BY_LANGUAGE)
def test_each_language_has_the_words_of_the_work(language: str) -> None:
    """Hot, out, unchecked, working and no heat are read in each language, in capitals as well."""
    expected = ("hot", "out", "unchecked", "working", "no heat")
    for text, word in zip(BY_LANGUAGE[language], expected, strict=True):
        assert READER.read(text).says == {word}
        assert READER.read(text.upper()).says == {word}


def test_headings_say_nothing() -> None:
    """'Hot spots' is a heading, not a word that something is hot."""
    for text in ("Hot spots", "Hotspots", "waypoints", "Puntos calientes", "hot shot crew"):
        assert READER.read(text).says == frozenset()


def test_no_shipped_word_has_two_meanings() -> None:
    """Over all shipped files, a word means one thing, whatever language it stands under."""
    meanings: dict[tuple[str, str], str] = {}
    for name in SHIPPED:
        document = tomllib.loads((files("exchange.status.words") / name).read_text(encoding="utf-8"))
        for subject, tables in document.items():
            for meaning, languages in tables.items():
                for word in (word for words in languages.values() for word in words):
                    key = (subject, fold_key(word) if subject == "field" else fold(word))
                    assert meanings.setdefault(key, meaning) == meaning, f"{name}: {key}"
    assert len(meanings) > 1000


@pytest.mark.parametrize("status", STATUS_WORDS)
def test_the_colours_of_the_house_mean_what_it_draws_with_them(status: str) -> None:
    """Each colour that the house draws a status in is read as that status, and so is one a shade off."""
    color = STATUS_STYLES[status].color
    assert find_nearest(color, WORDS.color, limit=12.0, margin=4.0) == status
    shade = "#" + "".join(f"{max(int(color[k : k + 2], 16) - 4, 0):02x}" for k in (1, 3, 5))
    assert find_nearest(shade, WORDS.color, limit=12.0, margin=4.0) == status


@pytest.mark.parametrize(
    ("color", "status"),
    [("#ff0000", "hot"), ("#00ff00", "out"), ("#ffa500", "working"), ("#800080", "recheck"), ("#ffff00", "unchecked"),
     ("#ffffff", "nothing"), ("#0000ff", None), ("#8b4513", None), ("#00ced1", None)],
)  # fmt: skip
def test_plain_colours_mean_what_people_pick_them_for(color: str, status: str | None) -> None:
    """Red, green, orange, purple and yellow are read; white says nothing; blue, brown and turquoise are unknown."""
    assert find_nearest(color, WORDS.color, limit=12.0, margin=4.0) == status


def test_the_users_own_words_count(tmp_path: Path) -> None:
    """A file of the user's own adds words, and changes the meaning of shipped ones."""
    path = tmp_path / "own.toml"
    path.write_text(
        '[text.out]\nown = ["mopped to mineral soil"]\n[text.hot]\nown = ["Mopped up"]\n[color]\nhot = ["#0000FF"]\n'
    )
    words = WORDS.with_file(path)
    reader = PhraseReader(words.text)
    assert reader.read("Mopped to mineral soil").says == {"out"}
    assert reader.read("mopped up").says == {"hot"}
    assert (words.color["#0000ff"], WORDS.color.get("#0000ff")) == ("hot", None)
    assert READER.read("mopped up").says == {"out"}


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("[text", "is no TOML"),
        ("[shout.out]\nen = ['x']", "has no table \\[shout\\]"),
        ("[text.burning]\nen = ['x']", "'burning' is no meaning of \\[text\\]"),
        ("[text.out]\nen = 'x'", "'x' is no list of words"),
        ("[text]\nout = [1]", "\\[1\\] is no list of words"),
        ("[text]\nout = ['']", "is no list of words"),
        ("[color]\nout = ['green']", "'green' is no colour"),
        ("[text]\nout = ['done']\nhot = ['DONE']", "'DONE' means 'out' and 'hot'"),
        ("text = 3", "has no table \\[text\\]"),
    ],
)
def test_a_wrong_table_is_refused(text: str, error: str, tmp_path: Path) -> None:
    """What a table of words does wrong is named, with its file."""
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(OptionError, match=error) as caught:
        WORDS.with_file(path)
    assert caught.value.path == str(path)


def test_a_table_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    """A missing file, and one that is no UTF-8, are named."""
    with pytest.raises(OptionError, match="cannot be read"):
        WORDS.with_file(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes('[text]\nout = ["éteint"]'.encode("latin-1"))
    with pytest.raises(OptionError, match="not in UTF-8"):
        WORDS.with_file(tmp_path / "latin.toml")
