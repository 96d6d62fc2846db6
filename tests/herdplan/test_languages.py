"""Messages in the languages that are shipped: nothing untranslated, every placeholder kept, and what is compiled is what is written.

Of our own rows and tables only: whoever adds a language or a sentence is told here what is missing.
"""

import ast
import gettext
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from datetime import timezone as utc
from itertools import product
from pathlib import Path
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import icalendar
import pytest
from django.conf import settings as site
from django.test import Client
from django.utils import translation

from herdplan.calendars.invitations import sweep
from herdplan.calendars.item_words import day_words, in_language, sentences
from herdplan.calendars.models import FeedToken, Letter
from herdplan.calendars.services import digest
from herdplan.reminders import clash_texts
from herdplan.reminders import texts as words_of_messages
from herdplan.reminders.item_texts import ITEM_WRITERS
from herdplan.reminders.models import PersonSettings
from herdplan.reminders.rules import CHANNEL_WORDS, RULES
from herdplan.reminders.texts import WRITERS, About, call_text, change_line, changes_text
from scheduling.kernel.advice.after_ai import CheckMethod
from scheduling.kernel.advice.moves import Move, MoveKind, check_moves
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass
from scheduling.models import GroupCare, PlannedMove, PlannedStep
from scheduling.services import step_words
from scheduling.services.lots import LOT_WORDS
from scheduling.services.season_basis import Basis
from scheduling.services.season_items import QUIET, SeasonItem, items_of
from scheduling.services.waiting import IN_ORDER, NOT_BEFORE
from tests.factories.changes import publish_plan
from tests.factories.clock import stand_still
from tests.factories.plans import NOW, Scene, make_scene

ROOT = Path(__file__).resolve().parents[2]
OTHERS = [code for code, _ in site.LANGUAGES if code != "en"]
FOLDERS = ("herdplan/locale", "scheduling/locale")
# What is the same in another language: names of substances, units, and sentences that are nothing but places to fill.
_PLACE = re.compile(r"%(?:\(\w+\))?[sd]")
SAME = {"GnRH", "PG", "%d mi", "%d km", "%(number)d km"}
ENGLISH = re.compile(r"\b(the|and|head|this|evening|with|you|from|before|after|dose|is|are|not|by)\b", re.IGNORECASE)
languages = pytest.mark.parametrize("language", OTHERS)
AI = date(2027, 5, 10)


def written(language: str) -> dict[str, tuple[str, ...]]:
    """What the .po files say: the sentence (of a plural the singular) and its translations."""
    found: dict[str, tuple[str, ...]] = {}
    for folder in FOLDERS:
        text = (ROOT / folder / language / "LC_MESSAGES/django.po").read_text(encoding="utf-8")
        for block in re.split(r"\n\s*\n", text):
            fields: dict[str, str] = {}
            for name, first, more in re.findall(r'^(msg\w+(?:\[\d\])?) (".*")((?:\n".*")*)', block, re.MULTILINE):
                fields[name] = "".join(ast.literal_eval(part) for part in [first, *more.split("\n")] if part)
            if fields.get("msgid"):
                found[fields["msgid"]] = tuple(text for name, text in fields.items() if name.startswith("msgstr"))
    return found


def asked_for() -> Iterator[str]:
    """Every sentence that the code of messages and events gives to gettext."""
    for folder in ("herdplan/reminders", "herdplan/calendars"):
        for path in (ROOT / folder).rglob("*.py"):
            for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                match call:
                    case ast.Call(
                        func=ast.Name(id="_" | "gettext" | "ngettext"), args=[ast.Constant(value=str(text)), *_]
                    ):
                        yield text


def spoken() -> Iterator[str]:
    """Every word of the catalogue and of dated items that messages and events give to gettext, which lot is meant, and who waits."""
    yield from (LOT_WORDS, IN_ORDER, NOT_BEFORE)
    for protocol in load_catalogue().protocols.values():
        for key in (*(step.key for step in protocol.steps), "heat:1"):
            words = step_words(protocol.id, key)
            yield from filter(None, (words.label, words.doses, words.prepare, words.caution))


def of_items() -> Iterator[SeasonItem]:
    """Every dated item of every programme, whatever a group wishes."""
    bulls = [*product((False, True), (False, True), (False, True), (12, 24))]
    for protocol in load_catalogue().protocols.values():
        kind = next(kind.value for kind in AnimalClass if protocol.fits(kind))
        for (bull, apart, again, months), way, head in product(bulls, ("", *CheckMethod), (10, 60, 400)):
            care = GroupCare(
                tell_apart=apart, bulls=bull, bull_months=months, resynchronize=again, first_time_vaccine=True, needs_gain=True,
                check_way=way,
            )  # fmt: skip
            yield from items_of(
                Basis(
                    entry=None, protocol=protocol.id, animal_class=kind, head=head, group="Xx", ranch="Yy", ranch_pk=uuid4(),
                    zone="America/Denver", south=False, ai_day=AI, source="published", care=care,
                )
            )  # fmt: skip


def of_moves() -> Iterator[str]:
    """What the bands say of a move on any day around AI."""
    for days, kind, supplement in product(range(-250, 401), MoveKind, (False, True)):
        (row,) = check_moves(AI, [Move(AI + timedelta(days=days), kind, "Xx", supplement)])
        yield row.sentence.removeprefix("Xx: ")


def told_by_rules() -> Iterator[str]:
    """Every sentence of items and moves that calendars give to gettext, without its days and figures."""
    for item in {(item.title, item.text) for item in of_items() if item.key not in QUIET}:
        for text in item:
            yield from (sentence for sentence, _ in sentences(text))
    for text in set(of_moves()):
        yield from (sentence for sentence, _ in sentences(text))
    yield from (str(label) for label in PlannedMove.Kind.labels)


@pytest.mark.once
@languages
def test_no_sentence_is_missing_and_none_is_left_over(language: str) -> None:
    have = written(language)
    wanted = {*asked_for(), *spoken(), *told_by_rules()}
    assert len(wanted) > 250
    assert sorted(wanted - set(have)) == [], "add these to the .po file"
    assert sorted(set(have) - wanted) == []


@pytest.mark.once
@languages
def test_what_rules_say_keeps_its_days_and_figures_in_any_language(language: str) -> None:
    """Whatever stands in the English text of an item stands in the other one, days in the words of that language."""
    texts = {item.text for item in of_items() if item.key not in QUIET} | set(of_moves())
    for text in texts:
        said = in_language(text, language)
        assert not ENGLISH.search(said), said
        assert "%" not in said.replace(" %", "")
        figures = [figure for _, values in sentences(text) for figure in values.values()]
        days = [figure for figure in figures if len(figure) > 6]
        with translation.override(language):
            shown = [day_words(datetime.strptime(day, "%a %d %b %Y").replace(tzinfo=utc.utc).date()) for day in days]
        assert all(day in said for day in shown), (shown, said)
        assert Counter(re.findall(r"\d+", text)) == Counter(re.findall(r"\d+", said)), (text, said)
    assert in_language("Out on Mon 4 Jan 2027; who knows.", language) == "Out on 4 Ene 2027; who knows."


@pytest.mark.once
@languages
def test_every_place_to_fill_is_kept_and_every_sentence_is_translated(language: str) -> None:
    for text, said in written(language).items():
        assert all(said), text
        for one in said:
            assert sorted(_PLACE.findall(one)) == sorted(_PLACE.findall(text)), (text, one)
            assert "%%" not in one
            if text not in SAME and re.search("[A-Za-z]{2}", _PLACE.sub("", text)):
                assert one != text, text


@languages
@pytest.mark.parametrize("folder", FOLDERS)
def test_what_is_compiled_is_what_is_written(language: str, folder: str) -> None:
    with (ROOT / folder / language / "LC_MESSAGES/django.mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
    sentences: dict[str, list[str]] = {}
    for key, value in compiled.items():
        sentences.setdefault(key[0] if isinstance(key, tuple) else key, []).append(value)
    sentences.pop("")
    have = written(language)
    assert {text: tuple(said) for text, said in sentences.items()} == {text: have[text] for text in sentences}
    everything = set()
    for other in FOLDERS:
        with (ROOT / other / language / "LC_MESSAGES/django.mo").open("rb") as file:
            keys = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
            everything |= {key[0] if isinstance(key, tuple) else key for key in keys}
    assert everything - {""} == set(have), "compile it again: manage.py compilemessages"


def about(**changed: Any) -> About:
    """Something to speak of, with names that are no words of any language."""
    zone = ZoneInfo("America/Denver")
    starts = datetime(2027, 5, 3, 12, tzinfo=utc.utc)
    words = step_words("cow_7d_cosynch_insert", "out")
    values: dict[str, Any] = {
        "words": words, "group": "Xx", "ranch": "Yy", "place": "Zz", "zone": zone, "starts": starts, "head": 60, "lot": 1,
        "lots": 2, "day": date(2027, 5, 3), "by_technician": True, "leaves": starts - timedelta(hours=1), "km": 61.5,
        "tank": True, "names": (words.label,), "item": "semen", "title": "Order semen", "until": date(2027, 5, 9),
        "ai_day": date(2027, 5, 10), "bulls": "2-3",
    }  # fmt: skip
    return About(**{**values, **changed})


@languages
def test_no_english_is_left_in_any_message(language: str) -> None:
    texts: list[str] = []
    with translation.override(language):
        for writer in (*WRITERS.values(), *ITEM_WRITERS.values()):
            texts += writer(about(other=about()), "mi") + writer(about(other=about(), item="bull_exam"), "km")
        for kind in ("new", "moved", "cancelled", "head", "back"):
            texts.append(change_line(kind, "Xx", "1", "2", 60, 50))
        texts += changes_text("Cc", ["x"], ["y"] * 50, "l", "p") + changes_text("Cc", [], ["y"], "l", "p")
        texts += clash_texts.asked("Rr", "Ss", ["Xx"], "l") + clash_texts.settled("Gg", "Xx")
        texts += clash_texts.declined("Rr", "Xx", "") + clash_texts.declined("Rr", "Xx", "Yy")
        texts += call_text("Nn", "", "w", "p") + words_of_messages.test_text("s")
        texts += [str(text) for rule in RULES for text in (rule.title, rule.explains)] + [
            str(x) for x in CHANNEL_WORDS.values()
        ]
    left = [text for text in texts if ENGLISH.search(text)]
    assert left == []


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Scene:
    """A published season whose technician reads Spanish."""
    stand_still(monkeypatch, NOW)
    made = make_scene()
    publish_plan(made)
    PersonSettings.objects.create(user=made.technician.user, language="es")
    return made


@pytest.mark.django_db
def test_a_feed_speaks_its_owners_language(scene: Scene) -> None:
    technician = scene.ann if scene.ann.user_id else scene.bo
    for name, user in (("a", scene.technician.user), ("b", scene.coordinator.user)):
        FeedToken.objects.create(
            cooperative=scene.coop,
            owner=user,
            name="x",
            kind="technician",
            technician=technician,
            token_hash=digest(name),
        )
    said = {}
    for name in "ab":
        answer = Client().get(f"/feeds/{name}.ics")
        assert answer.status_code == 200
        said[name] = [
            str(event["SUMMARY"]) + str(event["DESCRIPTION"])
            for event in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
        ]
    assert len(said["a"]) == len(said["b"]) > 0
    assert not any(ENGLISH.search(text) for text in said["a"]), said["a"]
    assert all("cabezas" in text and "mayo" in text for text in said["a"])
    assert all("May 2027" in text for text in said["b"])


@pytest.mark.django_db
def test_items_moves_and_orders_speak_the_owners_language(scene: Scene) -> None:
    PersonSettings.objects.update_or_create(user=scene.rancher.user, defaults={"language": "es"})
    PersonSettings.objects.update_or_create(user=scene.coordinator.user, defaults={"language": "es"})
    day = PlannedStep.objects.get(entry=scene.willow, key="ai", lot=0).starts.date() + timedelta(days=10)
    PlannedMove.objects.create(entry=scene.willow, kind="haul", day=day, origin="Xx", goal="Yy", changed_at=NOW)
    kinds = (("herd", scene.rancher.user, scene.willow.group.herd), ("coop", scene.coordinator.user, None))
    for kind, user, herd in kinds:
        FeedToken.objects.create(
            cooperative=scene.coop, owner=user, name="x", kind=kind, herd=herd, token_hash=digest(kind)
        )
    found = {}
    for kind, _, _ in kinds:
        for event in icalendar.Calendar.from_ical(Client().get(f"/feeds/{kind}.ics").content).walk("VEVENT"):
            text = f"{event['SUMMARY']}\n{event['DESCRIPTION']}"
            assert not ENGLISH.search(text), text
            found[str(event["UID"]).partition("-")[0]] = text
    assert "! Transportar o mover el ganado" in found["move"]
    assert "Xx → Yy: día 10 después de la IA. No transporte" in found["move"]
    assert found["haul"].startswith("No transportar: ")
    assert "cabezas, a más tardar el " in found["orders"]
    assert "vacías" in found["bulls"]


@pytest.mark.django_db
def test_an_invitation_speaks_the_persons_language(scene: Scene) -> None:
    assert sweep(now=NOW) > 0
    letter = (
        Letter.objects.filter(attendance__user=scene.technician.user).select_related("message").earliest("written_at")
    )
    assert letter.message is not None
    assert "le pide que venga" in letter.message.body
    assert not ENGLISH.search(letter.message.subject + letter.message.body.replace("answer", ""))
    event = next(iter(icalendar.Calendar.from_ical(letter.text).walk("VEVENT")))
    assert "cabezas" in str(event["SUMMARY"])
