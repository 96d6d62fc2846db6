"""Sentences of the rules in the reader's language. They come in English with days and figures in them: those are taken out,
the sentence that is left is looked up, and they are put back. A sentence that nobody has translated stays in English.
"""

import re
from datetime import date
from functools import lru_cache

from django.utils import translation
from django.utils.dateformat import format as shown
from django.utils.translation import gettext

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY = re.compile(rf"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{{1,2}} (?:{'|'.join(_MONTHS)}) \d{{4}}\b")
_FILLED = re.compile(rf"{_DAY.pattern}|\d+(?:\.\d+)?(?: %)?")
_SENTENCES = re.compile(r"(?<=\.) (?=[A-Z])")
_NAMES = "abcdefghijklmnop"


def sentences(text: str) -> list[tuple[str, dict[str, str]]]:
    """Every sentence with %(a)s, %(b)s and so on in place of its days and figures, and what stood there."""
    return [_emptied(sentence) for sentence in _SENTENCES.split(text)]


def _emptied(sentence: str) -> tuple[str, dict[str, str]]:
    found = _FILLED.findall(sentence)
    first, *others = [part.replace("%", "%%") for part in _FILLED.split(sentence)]
    values = dict(zip(_NAMES[: len(found)], found, strict=True))
    return first + "".join(f"%({name})s{part}" for name, part in zip(values, others, strict=True)), values


@lru_cache(maxsize=4096)
def in_language(text: str, language: str) -> str:
    """A text of the rules as the reader has it."""
    if language == "en" or not text:
        return text
    with translation.override(language):
        told = [
            gettext(empty) % {name: _filling(was) for name, was in values.items()} for empty, values in sentences(text)
        ]
    return " ".join(told)


def _filling(was: str) -> str:
    """A day in the words of the language in force; a figure as it is."""
    if not _DAY.fullmatch(was):
        return was
    _, day, month, year = was.split()
    return day_words(date(int(year), _MONTHS.index(month) + 1, int(day)))


def day_words(day: date) -> str:
    """A day with its year, in the language in force."""
    return shown(day, "j M Y")
