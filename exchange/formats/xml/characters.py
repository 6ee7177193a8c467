r"""Characters that XML 1.0 cannot hold, carried as visible escapes and brought back.

A control character, U+FFFE, U+FFFF or half of a surrogate pair becomes ``\uXXXX`` (four hexadecimal digits). Where
a text holds such a spelling of its own, its backslash becomes ``\u005c``, so that nothing is mistaken on the way back.
"""

from __future__ import annotations

import re

# XML 1.0, production 2 (Char): all that is not #x9 | #xA | #xD | [#x20-#xD7FF] | [#xE000-#xFFFD] | [#x10000-#x10FFFF].
FORBIDDEN = "[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]"
_SPELLED = r"\\u(?=00[01][0-9a-f]|005c|d[89a-f][0-9a-f]{2}|fff[ef])"
_TO_ESCAPE = re.compile(f"{FORBIDDEN}|{_SPELLED}")
_ESCAPED = re.compile(r"\\u(00[01][0-9a-f]|005c|d[89a-f][0-9a-f]{2}|fff[ef])")


def clean_text(text: str) -> str:
    r"""Return a text that XML 1.0 can hold; ``restore_text`` gives back the original.

    >>> clean_text("a\x01b"), clean_text(r"C:\users"), clean_text(r"\u0001")
    ('a\\u0001b', 'C:\\users', '\\u005cu0001')
    """
    return _TO_ESCAPE.sub(_escape, text)


def restore_text(text: str) -> str:
    r"""Return the text that ``clean_text`` was given.

    >>> restore_text(clean_text("a\x01b")) == "a\x01b"
    True
    """
    return _ESCAPED.sub(lambda match: chr(int(match[1], 16)), text)


def _escape(match: re.Match[str]) -> str:
    return r"\u005cu" if match[0] == r"\u" else f"\\u{ord(match[0]):04x}"
