"""Readiness, choice of programme and money of a season over HTTP: read only, with the permissions of the pages."""

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import MemberViewSet
from accounts.permissions import Permission
from accounts.tenancy import Member
from scheduling import queries
from scheduling.api.advice_shapes import (
    BudgetSerializer,
    FemaleReadySerializer,
    GroupReadySerializer,
    ProgrammesSerializer,
    ReadySerializer,
    StatementSerializer,
)
from scheduling.forms.choice import ChooseForm
from scheduling.forms.money import BudgetForm, budget_wishes
from scheduling.models import Season, SeasonEntry
from scheduling.services.budget import BudgetError, programmes_with_ai, work_out
from scheduling.services.catalogue import is_for_sexed
from scheduling.services.choice_room import subject_of
from scheduling.services.choosing import is_heifers, options_for
from scheduling.services.prices import prices_row
from scheduling.services.readiness import group_readiness, season_readiness
from scheduling.services.readiness_pages import animal_page
from scheduling.services.statements import season_costs

_ID = "[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"
_GROUP = f"groups/(?P<entry>{_ID})"


def _place(name: str, what: str) -> OpenApiParameter:
    """A part of the address."""
    return OpenApiParameter(name, uuid.UUID, OpenApiParameter.PATH, description=what)


_ENTRY = _place("entry", "The group's entry in the season (`entry` in the list of readiness).")
_FEMALE = _place("female", "The female.")
_RANCH = _place("ranch", "The ranch.")
# Questions of the forms, by the kind of their fields; all may be left out.
_ASKED_CHOICE = [
    OpenApiParameter(name, kind, description=text)
    for name, kind, text in (
        ("first", str, "What matters most: COST, PREGNANCY, LABOUR, TRIPS or LENGTH."),
        ("second", str, "What matters next, one of the same."),
        ("semen", str, "conventional or sexed"),
        ("crew", int, "People at the chute."),
        ("watch_days", int, "Days on which somebody can watch for heat."),
        ("most_trips", int, "Trips through the chute that can be stood; AI counts."),
        ("longest_days", int, "Days before AI that the programme may begin."),
        ("one_day", str, "yes: all inseminated in one day"),
        ("inserts", str, "no: without progesterone inserts"),
        ("feeds_mga", str, "no: without MGA (heifers)"),
        ("only_listed", str, "yes (the default) or no: rank older programmes and trials too"),
        ("own_rate", float, "The ranch's own AI pregnancy rate with today's programme, per cent."),
    )
]
_ASKED_BUDGET = [
    OpenApiParameter("protocol", str, description="The programme; today's where it is left out."),
    OpenApiParameter("semen", str, description="conventional or sexed"),
    OpenApiParameter("own_rate", float, description="Share pregnant to AI that is expected, per cent."),
]


def _filled(form: forms.Form, request: Request) -> dict[str, Any]:
    """What was asked, with the form's own starting values where nothing was."""
    start = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()}
    given = {name: request.query_params[name] for name in form.fields if name in request.query_params}
    return {**{name: value for name, value in start.items() if value is not None}, **given}


def _checked(form: forms.Form) -> None:
    """400 with texts by field."""
    if not form.is_valid():
        raise serializers.ValidationError({name: [str(text) for text in texts] for name, texts in form.errors.items()})


class AdviceActions(MemberViewSet):
    """What a season's viewset can tell besides the season."""

    def _subject(
        self, permission: Permission, entry: str, fetch: Callable[[Member, Season, uuid.UUID], SeasonEntry]
    ) -> tuple[Member, SeasonEntry]:
        """The caller and a group of the season: 404 beyond what may be seen, 403 for a weak role."""
        season: Season = self.get_object()
        member = self.require(season.cooperative_id, permission)
        found = fetch(member, season, uuid.UUID(entry))
        found.season = season
        return member, found

    @extend_schema(responses=ReadySerializer(many=True))
    @action(detail=True, methods=["get"])
    def readiness(self, request: Request, pk: str | None = None) -> Response:
        """Every group of the season whose females the caller may see: how many are ready for its AI day."""
        season: Season = self.get_object()
        member = self.require(season.cooperative_id, Permission.FEMALE_VIEW)
        page = self.paginate_queryset(queries.readiness_entries_for(member, season)) or []
        for entry in page:
            entry.season = season
        found = season_readiness(member=member, season=season, entries=page, now=timezone.now())
        return self.get_paginated_response(ReadySerializer(found, many=True).data)

    @extend_schema(operation_id="seasons_groups_readiness", parameters=[_ENTRY], responses=GroupReadySerializer)
    @action(detail=True, methods=["get"], url_path=f"{_GROUP}/readiness", pagination_class=None)
    def readiness_of_group(self, request: Request, pk: str, entry: str) -> Response:
        """One group: verdicts with what weighs most, rules about the whole group, what to do by when, late calvers."""
        member, subject = self._subject(Permission.FEMALE_VIEW, entry, queries.readiness_entry_for)
        found = group_readiness(member=member, entry=subject, now=timezone.now())
        return Response(GroupReadySerializer(found).data)

    @extend_schema(
        operation_id="seasons_groups_readiness_female", parameters=[_ENTRY, _FEMALE], responses=FemaleReadySerializer
    )
    @action(detail=True, methods=["get"], url_path=f"{_GROUP}/readiness/(?P<female>{_ID})", pagination_class=None)
    def readiness_of_female(self, request: Request, pk: str, entry: str, female: str) -> Response:
        """One female of a group: every check with the record that decided it."""
        member, subject = self._subject(Permission.FEMALE_VIEW, entry, queries.readiness_entry_for)
        page = animal_page(member=member, entry=subject, female=uuid.UUID(female), now=timezone.now())
        if page is None:
            raise NotFound("No such female in this group.")
        return Response(FemaleReadySerializer(page).data)

    @extend_schema(parameters=[_ENTRY, *_ASKED_CHOICE], responses=ProgrammesSerializer)
    @action(detail=True, methods=["get"], url_path=f"{_GROUP}/programmes", pagination_class=None)
    def programmes(self, request: Request, pk: str, entry: str) -> Response:
        """Every programme of the class compared for a group: ranked ones with their reasons, left out ones with theirs."""
        member, row = self._subject(Permission.SEASON_VIEW, entry, queries.entry_for)
        subject = subject_of(row)
        heifers = is_heifers(subject)
        form = ChooseForm(_filled(ChooseForm(heifers=heifers, entered=True), request), heifers=heifers, entered=True)
        _checked(form)
        choice, prices = options_for(member=member, subject=subject, wishes=form.wishes)
        shown = {
            "currency": prices.currency,
            "head": subject.head,
            "ranked": choice.ranked,
            "left_out": choice.left_out,
        }
        return Response(ProgrammesSerializer(shown).data)

    @extend_schema(parameters=[_ENTRY, *_ASKED_BUDGET], responses=BudgetSerializer)
    @action(detail=True, methods=["get"], url_path=f"{_GROUP}/budget", pagination_class=None)
    def budget(self, request: Request, pk: str, entry: str) -> Response:
        """AI against bulls alone for a group, what decides it, and other programmes. Figures besides those below are asked for
        by the names and in the units of the page's form; left out, printed defaults count."""
        member, row = self._subject(Permission.SEASON_VIEW, entry, queries.entry_for)
        subject = subject_of(row)
        wishes = budget_wishes(request.query_params.get("semen"), is_for_sexed(row.protocol))
        options, prices = programmes_with_ai(member=member, subject=subject, wishes=wishes)
        parts: dict[str, Any] = {
            "options": options, "subject": subject, "user": member.user, "semen": wishes.semen
        }  # fmt: skip
        form = BudgetForm(_filled(BudgetForm(None, **parts), request), **parts)
        _checked(form)
        try:
            found = work_out(options, prices, subject, form.chosen, form.typed, form.own_share)
        except BudgetError as fault:
            raise serializers.ValidationError({fault.field: [fault.text]}) from None
        return Response(BudgetSerializer(found).data)

    def _statements(self) -> list[Any]:
        season: Season = self.get_object()
        member = self.require(season.cooperative_id, Permission.STATEMENT_VIEW)
        if season.published_plan is None:
            return []
        mine = {str(key) for key in queries.statement_ranches_for(member).values_list("pk", flat=True)}
        row = prices_row(member.cooperative)
        costs = season_costs(season.published_plan, row, member.user.distance_unit)
        return [{"currency": row.currency, "statement": item} for item in costs.statements if item.id in mine]

    @extend_schema(responses=StatementSerializer(many=True))
    @action(detail=True, methods=["get"], pagination_class=None)
    def costs(self, request: Request, pk: str | None = None) -> Response:
        """What ranches pay of the costs that the co-op shares, by the published plan: those that the caller may see."""
        return Response(StatementSerializer(self._statements(), many=True).data)

    @extend_schema(parameters=[_RANCH], responses=StatementSerializer)
    @action(detail=True, methods=["get"], url_path=f"costs/(?P<ranch>{_ID})", pagination_class=None)
    def costs_of_ranch(self, request: Request, pk: str, ranch: str) -> Response:
        """One ranch's statement; 404 where it is not in the published plan or not the caller's to see."""
        found = next((item for item in self._statements() if item["statement"].id == ranch), None)
        if found is None:
            raise NotFound("No such statement.")
        return Response(StatementSerializer(found).data)
