"""Read words that people write about a spot: which status they say, and which they only may mean.

Words are read clause by clause. A longer phrase counts before a shorter one. A negated word says nothing; ``out`` and
``no heat`` count only where their clause says nothing else, since a spot wrongly called out can hurt someone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from exchange.formats.columns.words import fold
from exchange.model.status import NO_HEAT, OUT, STATUS_WORDS
from exchange.status.words.load import NOT_AROUND, NOT_BEFORE, NOTHING

NEGATED_AHEAD, NEGATED_BEHIND = 3, 2
"""Over how many words a negation reaches forward, and one that may follow its word, back."""

# Folding has made the full-width marks of East Asian text plain ones.
_CLAUSE_END = re.compile(r"(?:[;!…\n\r/|()\[\]。、]|[.,:](?!\d))+|(?<=\?)")
# Words, times of day, pictures, and marks that may change what stands beside them (50%, out = no, ~out).
_TOKEN = re.compile(r"\d{1,2}:\d{2}|[^\W_]+(?:['\u2019][^\W_]+)*|[\u2600-\u27bf\U0001f300-\U0001faff]|[?%=~<>]")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}|\d{3,4}")
_DOUBT = "?"
_DENIAL = 3
_UNSPACED = 0x3000


class Meaning(NamedTuple):
    """Hold what a text says.

    Attributes
    ----------
    says
        The status words it says.
    may_mean
        Those it holds, but negated, doubted or among words that may change them.
    is_known
        Whether every clause of it is known, if only to say nothing.
    has_known
        Whether any word of it is.
    """

    says: frozenset[str]
    may_mean: frozenset[str]
    is_known: bool
    has_known: bool = False


class _Hit(NamedTuple):
    start: int
    end: int
    meaning: str


@dataclass(frozen=True)
class PhraseReader:
    """Read texts by the phrases of one table, folded, each with its meaning."""

    phrases: Mapping[str, str]

    def read(self, text: str) -> Meaning:
        """Return what a text says.

        >>> from exchange.status.words import StatusWords
        >>> reader = PhraseReader(StatusWords.shipped().text)
        >>> sorted(reader.read("Not out, still smoking").says), sorted(reader.read("out?").may_mean)
        (['hot', 'recheck'], ['out'])
        """
        says: set[str] = set()
        may_mean: set[str] = set()
        is_known, has_known = True, False
        clauses = self._split(text)
        for place, (tokens, hits) in enumerate(clauses):
            is_taken_back = place + 1 < len(clauses) and _is_denial(*clauses[place + 1])
            said, meant = _weigh(tokens, hits, is_taken_back=is_taken_back)
            says |= said
            may_mean |= meant
            is_said = any(hit.meaning in STATUS_WORDS or hit.meaning == NOTHING for hit in hits)
            is_known, has_known = is_known and is_said, has_known or is_said
        return Meaning(frozenset(says), frozenset(may_mean - says), is_known, has_known)

    def _split(self, text: str) -> list[tuple[list[str], list[_Hit]]]:
        """Return the words of each clause, and the phrases in them."""
        clauses = []
        for clause in _CLAUSE_END.split(fold(text).replace("\u2019", "'")):
            tokens = [piece for token in _TOKEN.findall(clause) for piece in self._split_unspaced(token)]
            if tokens:
                clauses.append((tokens, self._find(tokens)))
        return clauses

    @cached_property
    def _longest(self) -> int:
        return max((phrase.count(" ") + 1 for phrase in self._by_tokens), default=0)

    @cached_property
    def _by_tokens(self) -> Mapping[str, str]:
        return {" ".join(_TOKEN.findall(phrase)): meaning for phrase, meaning in self.phrases.items()}

    @cached_property
    def _unspaced(self) -> re.Pattern[str] | None:
        """Match the phrases of scripts that put no blanks between words, the longer ones first."""
        found = sorted((p for p in self._by_tokens if " " not in p and ord(p[0]) >= _UNSPACED), key=len, reverse=True)
        return re.compile("(" + "|".join(map(re.escape, found)) + ")") if found else None

    def _split_unspaced(self, token: str) -> list[str]:
        if token.isascii() or self._unspaced is None or max(map(ord, token)) < _UNSPACED:
            return [token]
        return [piece for piece in self._unspaced.split(token) if piece]

    def _find(self, tokens: list[str]) -> list[_Hit]:
        """Return the phrases in a clause from left to right, at each place the longest."""
        hits, start = [], 0
        while start < len(tokens):
            hit = self._longest_at(tokens, start)
            if hit:
                hits.append(hit)
            start = hit.end if hit else start + 1
        return hits

    def _longest_at(self, tokens: list[str], start: int) -> _Hit | None:
        for length in range(min(self._longest, len(tokens) - start), 0, -1):
            meaning = self._by_tokens.get(" ".join(tokens[start : start + length]))
            if meaning:
                return _Hit(start, start + length, meaning)
        return None


def _weigh(tokens: list[str], hits: list[_Hit], *, is_taken_back: bool) -> tuple[set[str], set[str]]:
    """Return what one clause says, and what it only may mean."""
    said: set[str] = set()
    meant: set[str] = set()
    is_doubted = _DOUBT in tokens
    is_whole = _is_whole(tokens, hits) and not is_taken_back
    starts, phrase_starts, ends = _find_negated(hits)
    for hit in hits:
        if hit.meaning not in STATUS_WORDS:
            continue
        needs_whole = hit.meaning in (OUT, NO_HEAT)
        is_word = hit.end - hit.start == 1
        is_negated = hit.start in (starts if is_word else phrase_starts) or hit.end in ends
        is_plain = not is_doubted and not is_negated and (is_whole or not needs_whole)
        (said if is_plain else meant).add(hit.meaning)
    return said, meant


def _is_whole(tokens: list[str], hits: list[_Hit]) -> bool:
    """Tell whether a clause holds nothing but known words, none of them a negation, and times of day."""
    if any(hit.meaning in (NOT_BEFORE, NOT_AROUND) for hit in hits):
        return False
    covered = {place for hit in hits for place in range(hit.start, hit.end)}
    return all(place in covered or _TIME_OF_DAY.fullmatch(token) for place, token in enumerate(tokens))


def _is_denial(tokens: list[str], hits: list[_Hit]) -> bool:
    """Tell whether a clause is little more than a negation that takes the one before it back: "out: not yet"."""
    return bool(hits) and hits[0].start == 0 and hits[0].meaning in (NOT_BEFORE, NOT_AROUND) and len(tokens) <= _DENIAL


def _find_negated(hits: list[_Hit]) -> tuple[set[int], set[int], set[int]]:
    """Return where a word must begin to be negated, where a phrase must, and where either must end."""
    starts: set[int] = set()
    phrase_starts: set[int] = set()
    ends: set[int] = set()
    for hit in hits:
        if hit.meaning in (NOT_BEFORE, NOT_AROUND):
            starts.update(range(hit.end, hit.end + NEGATED_AHEAD))
            # A phrase of several words was chosen with its own negation in mind; only one right before turns it.
            phrase_starts.add(hit.end)
        if hit.meaning == NOT_AROUND:
            ends.update(range(hit.start - NEGATED_BEHIND + 1, hit.start + 1))
    return starts, phrase_starts, ends
