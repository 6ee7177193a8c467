"""The words that stand for a unit, folded: no case, accents, spaces or dots, and ``/`` for 'per'."""

from __future__ import annotations

from typing import Final

_WORDS_BY_UNIT: Final[dict[str, str]] = {
    # English, then Spanish, Portuguese, French, Italian, German and Dutch where they differ.
    "metre": "metre metres meter meters mtr mtrs metro metros metri",
    "centimetre": "cm centimetre centimetres centimeter centimeters centimetro centimetros zentimeter",
    "kilometre": "km kms kilometre kilometres kilometer kilometers kilometro kilometros chilometri",
    "inch": "in inch inches",
    "foot": "ft foot feet pie pies pe pes pied pieds piede piedi fuss voet",
    "yard": "yd yds yard yards",
    "chain": "chain chains",
    "mile": "mi mile miles statutemile statutemiles milla millas milha milhas meile meilen",
    "nautical mile": "nmi nauticalmile nauticalmiles seemeile seemeilen millanautica millasnauticas",
    "US survey foot": "ftus usft us-ft ussurveyfoot ussurveyfeet surveyfoot surveyfeet",
    "square metre": "m2 sqm squaremetre squaremetres squaremeter squaremeters metroscuadrados metrescarres qm",
    "hectare": "ha hectare hectares hectarea hectareas hektar ettaro ettari",
    "square kilometre": "km2 sqkm squarekilometre squarekilometres squarekilometer squarekilometers",
    "square foot": "ft2 sqft squarefoot squarefeet",
    "square yard": "yd2 sqyd squareyard squareyards",
    "square chain": "ch2 sqch squarechain squarechains",
    "acre": "ac acre acres",
    "square mile": "mi2 sqmi squaremile squaremiles",
    "degree Celsius": "°c degc degreec degreesc celsius degcelsius degreecelsius degreescelsius °celsius "
    "centigrade degreescentigrade gradoscelsius grauscelsius degrescelsius gradcelsius gradicelsius",
    "degree Fahrenheit": "°f degf degreef degreesf fahrenheit degfahrenheit degreefahrenheit "
    "degreesfahrenheit °fahrenheit gradosfahrenheit grausfahrenheit degresfahrenheit gradfahrenheit",
    "kelvin": "kelvin kelvins degk °k",
    "metre per second": "m/s mps m/sec ms-1 metre/second metres/second meter/second meters/second",
    "kilometre per hour": "km/h kmh kph km/hr kmh-1 kilometre/hour kilometres/hour kilometer/hour kilometers/hour",
    "mile per hour": "mph mi/h mi/hr mile/hour miles/hour",
    "knot": "kt kts kn knot knots nmi/h nudo nudos noeud noeuds nodo nodi knoten",
    "foot per second": "ft/s fps ft/sec foot/second feet/second",
    "foot per minute": "ft/min fpm foot/minute feet/minute",
    "chain per hour": "ch/h ch/hr chain/hour chains/hour",
    "degree": "° deg degs degree degrees grado grados grau graus degre degres gradi",
    "minute of arc": "arcmin arcminute arcminutes minuteofarc minutesofarc",
    "second of arc": "arcsec arcsecond arcseconds secondofarc secondsofarc",
    "radian": "rad rads radian radians",
    "gon": "gon gons",
}

WORDS: Final[dict[str, str]] = {word: unit for unit, words in _WORDS_BY_UNIT.items() for word in words.split()}

AMBIGUOUS_WORDS: Final[dict[str, dict[str, str]]] = {
    # Read only where the quantity is known; elsewhere `m` may be metre, mile or minute, `c` Celsius or chain.
    "c": {"temperature": "degree Celsius"},
    "f": {"temperature": "degree Fahrenheit", "length": "foot"},
    "k": {"temperature": "kelvin", "length": "kilometre"},
    "m": {"length": "metre", "angle": "minute of arc"},
    "ch": {"length": "chain"},
    "nm": {"length": "nautical mile"},
    "d": {"angle": "degree"},
    "s": {"angle": "second of arc"},
    "min": {"angle": "minute of arc"},
    "sec": {"angle": "second of arc"},
    "'": {"length": "foot", "angle": "minute of arc"},
    '"': {"length": "inch", "angle": "second of arc"},
}
