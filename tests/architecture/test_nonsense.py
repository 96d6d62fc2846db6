"""Nonsense in every field of every form: an answer for people, never a fault of the program."""

import re
from html import unescape

import pytest
from django.db import transaction

from scheduling.models import Season
from tests.architecture.test_fence import client, ours, path_of, season, subjects

pytestmark = pytest.mark.django_db
__all__ = ["season"]
NONSENSE = ["x" * 6000, "0\x00", "99999999999999999999"]
_ASKED = (
    "from",
    "plan",
    "page",
    "verdict",
    "tag",
    "ranch",
    "semen",
    "change",
    "group",
    "days",
    "first",
    "second",
    "crew",
    "all",
)
_ODD = ("²", "9999-12-31", "0001-01-01", "99999999999999999999", "0\x00")
_FIELD = re.compile(r'<(?:input|select|textarea)[^>]*\bname="([^"]+)"')
# Fields of pages that answer to POST alone.
_MORE = (
    "number",
    "group",
    "entry",
    "ai_day",
    "keep",
    "publish",
    "go",
    "answer",
    "at",
    "head",
    "reason",
    "verdict",
    "day",
)


class _Undo(Exception):
    """Nothing of the walk is kept."""


@pytest.mark.parametrize("value", NONSENSE)
def test_no_form_falls_over(season: Season, value: str) -> None:
    person = client("coordinator")
    found = subjects(season)
    fallen = []
    for name, pattern in ours().items():
        path = path_of(name, pattern, found)
        shown = person.get(path)
        fields = (
            {unescape(field) for field in _FIELD.findall(shown.content.decode(errors="replace"))}
            if shown.status_code == 200
            else set()
        )
        values = dict.fromkeys({*fields, *_MORE} - {"csrfmiddlewaretoken"}, value)
        try:
            with transaction.atomic():
                status = person.post(path, values).status_code
                if status >= 500:
                    fallen.append(f"{name}: {status}")
                raise _Undo
        except _Undo:
            continue
        except Exception as fault:
            fallen.append(f"{name}: {type(fault).__name__} {fault}"[:200])
    assert fallen == []


def test_no_page_falls_over_what_stands_in_its_address(season: Season) -> None:
    person = client("coordinator")
    found = subjects(season)
    fallen = []
    for name, pattern in ours().items():
        for value in _ODD:
            try:
                person.get(path_of(name, pattern, found), dict.fromkeys(_ASKED, value))
            except Exception as fault:
                fallen.append(f"{name} {value!r}: {type(fault).__name__} {fault}"[:200])
    assert fallen == []
