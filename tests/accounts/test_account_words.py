"""The account pages of the library speak in this site's words: sentence case, e-mail with its hyphen, no pleading."""

import ast
import gettext
import re
from importlib.resources import files
from pathlib import Path

import pytest
from allauth.account.models import EmailAddress
from django.core.cache import cache
from django.test import Client

from accounts.permissions import Role
from tests.factories.people import PASSWORD, make_coop, make_person

ROOT = Path(__file__).resolve().parents[2] / "herdplan/locale/en/LC_MESSAGES"
PLACE = re.compile(r"%\(\w+\)s")
TITLE_CASE = re.compile(r"\b[A-Z][a-z]+ (?:\w+ )?[A-Z][a-z]+\b")
# Heads and what is pressed, filled in or read over a column; our own names have no second capital either.
HEADS = re.compile(r"<(title|h1|h2|button|label|th|legend|summary)\b[^>]*>(.*?)</\1>", re.DOTALL)
OURS = {"North Breeders"}


def sentences(text: str) -> dict[str, str]:
    """Sentence to its words, of a .po file."""
    found = {}
    for block in re.split(r"\n\s*\n", text):
        fields = {
            name: "".join(ast.literal_eval(part) for part in [first, *more.split("\n")] if part)
            for name, first, more in re.findall(r'^(msgid|msgstr) (".*")((?:\n".*")*)', block, re.MULTILINE)
        }
        if fields.get("msgid"):
            found[fields["msgid"]] = fields.get("msgstr", "")
    return found


def test_every_sentence_is_one_of_the_library_and_keeps_its_places_and_is_compiled() -> None:
    """A sentence that the library no longer has, or words that would turn up nowhere, are noticed when it is brought up to date."""
    mine = sentences((ROOT / "django.po").read_text(encoding="utf-8"))
    theirs = sentences((files("allauth") / "locale/en/LC_MESSAGES/django.po").read_text(encoding="utf-8"))
    assert set(mine) - set(theirs) == set()
    for sentence, words in mine.items():
        assert words, sentence
        assert words != sentence
        assert sorted(PLACE.findall(words)) == sorted(PLACE.findall(sentence))
        assert not TITLE_CASE.search(words), words
        assert not re.search(r"\bemail|\bplease\b|!", PLACE.sub("", words), re.IGNORECASE), words
    with (ROOT / "django.mo").open("rb") as file:
        catalog = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
    assert {key: value for key, value in catalog.items() if key} == mine, "compile it again: manage.py compilemessages"


@pytest.mark.django_db
@pytest.mark.parametrize("path", [
    "login/", "logout/", "password/reset/", "password/reset/done/", "password/reset/key/x-y/", "password/change/", "email/",
    "reauthenticate/", "inactive/", "confirm-email/", "2fa/", "2fa/totp/activate/", "2fa/webauthn/",
    "2fa/webauthn/add/", "2fa/recovery-codes/generate/", "sessions/",
])  # fmt: skip
def test_no_page_of_an_account_shouts_in_title_case(path: str) -> None:
    cache.clear()
    person, client = make_person(make_coop(), Role.RANCHER), Client()
    EmailAddress.objects.create(user=person, email=person.email, verified=True, primary=True)
    if not path.startswith(("login", "password/reset", "inactive", "confirm")):
        assert client.post("/accounts/login/", {"login": person.email, "password": PASSWORD}).status_code == 302
    answer = client.get(f"/accounts/{path}", follow=True)
    assert answer.status_code == 200, path
    texts = [" ".join(re.sub("<[^>]+>", " | ", text).split()) for _, text in HEADS.findall(answer.content.decode())]
    assert texts
    assert [text for text in texts if TITLE_CASE.search(text) and not OURS & {text}] == []
