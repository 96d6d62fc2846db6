"""What an adviser, veterinarian or coordinator says of readiness: a group signed off, a female's verdict overridden."""

import uuid
from datetime import datetime

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import QuerySet

from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling.models import ReadinessWord, SeasonEntry
from scheduling.services.readiness import Animal, dated_for, group_readiness


class WordError(ValueError):
    """A word that cannot be said: the field and the way out."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(f"{field}: {text}")
        self.field, self.text = field, text


def sign_group(*, member: Member, entry: SeasonEntry, verdict: str, reason: str, now: datetime) -> ReadinessWord:
    """Say of a whole group that it is ready or not; replaces what was said before, which stays on record."""
    _require(member, entry)
    return _say(member, entry, None, verdict, reason, now)


def override(
    *, member: Member, entry: SeasonEntry, female: uuid.UUID, verdict: str, reason: str, now: datetime
) -> ReadinessWord:
    """Say of one female of the group what counts in place of the rules; raises WordError, saving nothing.

    A pregnancy and the limits of labels are not overridden: the record is put right instead.
    """
    _require(member, entry)
    animal = animal_of(member, entry, female, now)
    if animal is None:
        raise WordError("female", "She is not in this group any more. Nothing was saved.")
    if verdict == ReadinessWord.Verdict.READY and animal.firm:
        said = " ".join(reason.sentence for reason in animal.weighs_most)
        text = (
            f"{said} Nobody overrides a pregnancy or a label; put the record right if it is wrong. Nothing was saved."
        )
        raise WordError("verdict", text)
    return _say(member, entry, female, verdict, reason, now)


def animal_of(member: Member, entry: SeasonEntry, female: uuid.UUID, now: datetime) -> Animal | None:
    """One female of the group as she is judged now."""
    animals = group_readiness(member=member, entry=entry, now=now).animals
    return next((animal for animal in animals if animal.female.pk == female), None)


def withdraw_word(*, member: Member, word: ReadinessWord, now: datetime) -> None:
    """Take a word back: the rules count again. It stays on record with who withdrew it."""
    _require(member, word.entry)
    standing = ReadinessWord.objects.filter(pk=word.pk, withdrawn_at=None)
    standing.update(withdrawn_at=now, withdrawn_by=member.user)


def _require(member: Member, entry: SeasonEntry) -> None:
    member.require(Permission.READINESS_SIGN, Reach.COOP)
    if entry.season.cooperative_id != member.cooperative.pk:
        raise PermissionDenied(f"{entry} is not of {member.cooperative}.")


def _say(
    member: Member, entry: SeasonEntry, female: uuid.UUID | None, verdict: str, reason: str, now: datetime
) -> ReadinessWord:
    if verdict not in ReadinessWord.Verdict.values:
        raise WordError("verdict", "Choose ready or not this time. Nothing was saved.")
    if not reason.strip():
        raise WordError("reason", "Say why. Nothing was saved.")
    dated = dated_for(member, entry, now)
    word = ReadinessWord(
        entry=entry,
        female_id=female,
        verdict=verdict,
        reason=reason.strip(),
        ai_day=dated.plan.ai if dated else None,
        by=member.user,
        made_at=now,
    )
    with transaction.atomic():
        _standing(entry, female).update(withdrawn_at=now, withdrawn_by=member.user)
        word.save()
    return word


def _standing(entry: SeasonEntry, female: uuid.UUID | None) -> QuerySet[ReadinessWord]:
    return ReadinessWord.objects.filter(entry=entry, female=female, withdrawn_at=None)
