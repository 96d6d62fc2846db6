"""Ranches, herds, groups and females over HTTP."""

from typing import Any

from django.db.models import Model
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import CheckedSerializer, CoopField, MemberViewSet
from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from accounts.units import Units
from herdplan.herds import queries
from herdplan.herds.forms import date_faults
from herdplan.herds.models import BreedingGroup, Female, Herd, Ranch, Record
from herdplan.herds.plausible import MATURE_KG, Observed, judge
from herdplan.herds.services import require_edit, save_observed

# Named for the schema, where two shapes hold it.
VACCINES = Record.Vaccine.choices


class VisibleField(serializers.PrimaryKeyRelatedField[Any]):
    """A related row, chosen from what the caller may see."""

    def __init__(self, *, fetch: Any, rows: type[Model], **kwargs: Any) -> None:
        self.fetch = fetch
        self.rows: type[Model] = rows
        super().__init__(**kwargs)

    def get_queryset(self) -> Any:
        """Visible rows of the caller's co-ops."""
        view = self.context.get("view")
        return (
            view.visible(self.fetch, self.rows)
            if isinstance(view, MemberViewSet)
            else self.rows._default_manager.none()
        )


class RanchSerializer(CheckedSerializer[Ranch]):
    """A ranch. `cooperative` is the co-op's short name; hours are local."""

    cooperative = CoopField(queryset=Cooperative.objects.all())

    class Meta:
        model = Ranch
        fields = (
            "id",
            "cooperative",
            "name",
            "slug",
            "lat",
            "lon",
            "zone",
            "opens",
            "closes",
            "treat_rate",
            "ai_rate",
            "ai_stalls",
            "last_stop",
            "directions",
        )

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Hours in order; a ranch stays in its co-op."""
        opens = values.get("opens", getattr(self.instance, "opens", None))
        closes = values.get("closes", getattr(self.instance, "closes", None))
        if opens and closes and opens >= closes:
            raise serializers.ValidationError({"closes": "Choose an hour after the first one."})
        if (
            self.instance is not None
            and values.get("cooperative", self.instance.cooperative) != self.instance.cooperative
        ):
            raise serializers.ValidationError({"cooperative": "A ranch stays in its co-op."})
        return super().validate(values)


class HerdSerializer(CheckedSerializer[Herd]):
    """A herd of a ranch. `mature_kg`: weight of a mature cow; heifers' targets are shares of it."""

    ranch = VisibleField(fetch=queries.ranches_for, rows=Ranch)

    class Meta:
        model = Herd
        fields = ("id", "ranch", "name", "mature_kg", "notes")
        extra_kwargs = {"mature_kg": {"min_value": MATURE_KG[0], "max_value": MATURE_KG[1]}}


class GroupSerializer(CheckedSerializer[BreedingGroup]):
    """A breeding group of a herd."""

    herd = VisibleField(fetch=queries.herds_for, rows=Herd)

    class Meta:
        model = BreedingGroup
        fields = ("id", "herd", "name", "animal_class", "head", "notes")


class FemaleSerializer(CheckedSerializer[Female]):
    """A cow or heifer."""

    herd = VisibleField(fetch=queries.herds_for, rows=Herd)
    group = VisibleField(fetch=queries.groups_for, rows=BreedingGroup, allow_null=True, required=False)

    class Meta:
        model = Female
        fields = (
            "id",
            "herd",
            "group",
            "tag",
            "official_id",
            "animal_class",
            "breed",
            "born",
            "last_calved",
            "status",
            "notes",
        )

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Dates that can be; a group of her own herd and class."""
        pick = {name: values.get(name, getattr(self.instance, name, None)) for name in ("born", "last_calved")}
        faults = date_faults(pick["born"], pick["last_calved"], timezone.localdate())
        herd = values.get("herd", getattr(self.instance, "herd", None))
        group = values.get("group", getattr(self.instance, "group", None))
        if group is not None and herd is not None and group.herd_id != herd.pk:
            faults["group"] = "Choose a group of her own herd."
        if faults:
            raise serializers.ValidationError(faults)
        return super().validate(values)


class RecordSerializer(serializers.ModelSerializer[Record]):
    """A record of a female that stands, in kg and cm. `due`: when she should calve by a pregnancy check that told her days."""

    due = serializers.DateField(read_only=True, allow_null=True)

    class Meta:
        model = Record
        fields = (
            "id",
            "kind",
            "day",
            "weight_kg",
            "tract_score",
            "pelvic_height_cm",
            "pelvic_width_cm",
            "condition",
            "vaccine",
            "pregnancy",
            "days_pregnant",
            "due",
            "reason",
            "until",
            "at",
        )
        read_only_fields = fields


class ObservedSerializer(serializers.Serializer[Observed]):
    """What was seen of a female on a day, in kg and cm. `keep` names fields whose question is answered with yes."""

    day = serializers.DateField()
    weight = serializers.FloatField(required=False)
    tract = serializers.IntegerField(required=False)
    pelvic_height = serializers.FloatField(required=False)
    pelvic_width = serializers.FloatField(required=False)
    condition = serializers.FloatField(required=False)
    calved = serializers.DateField(required=False)
    vaccines = serializers.ListField(child=serializers.ChoiceField(choices=VACCINES), required=False)
    pregnancy = serializers.ChoiceField(choices=Record.Pregnancy.choices, required=False)
    days_pregnant = serializers.IntegerField(required=False)
    hold_reason = serializers.CharField(max_length=200, required=False)
    hold_until = serializers.DateField(required=False)
    keep = serializers.ListField(child=serializers.CharField(), required=False)

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Refuse what cannot be, question what is unlikely: the same judge as at the chute and in sheets."""
        history: queries.History = self.context["history"]
        kept = set(values.pop("keep", ()))
        seen = Observed(**{**values, "vaccines": tuple(values.get("vaccines", ()))})
        if seen.empty:
            raise serializers.ValidationError({"detail": "Nothing was said of her."})
        today = history.female.herd.ranch.day_at(timezone.now())
        said = judge(seen, history, Units(weight="kg", length="cm"), today)
        asked = {
            name: f"{text} Is this right? Name the field in keep."
            for name, text in said.questions.items()
            if name not in kept
        }
        if said.faults or asked:
            raise serializers.ValidationError({**asked, **said.faults})
        return {"seen": seen}


class SavedSerializer(serializers.Serializer[Any]):
    """How many records are new, how many replaced one of the same day, how many stood there already."""

    new = serializers.IntegerField()
    replaced = serializers.IntegerField()
    same = serializers.IntegerField()


class _Rows(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.CreateModelMixin, mixins.UpdateModelMixin, MemberViewSet
):
    """List, detail, create, change."""


class RanchViewSet(_Rows):
    """Ranches that the caller may see. Only a coordinator adds one."""

    model, serializer_class = Ranch, RanchSerializer
    fetch = staticmethod(queries.ranches_for)

    def get_queryset(self) -> Any:
        """With the co-op's short name at hand."""
        return super().get_queryset().select_related("cooperative")

    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 unless the caller coordinates that co-op."""
        self.require(serializer.validated_data["cooperative"].pk, Permission.RANCH_ADD, Reach.COOP)
        serializer.save()

    def allow_change(self, row: Any) -> None:
        """403 unless it is the caller's to change."""
        require_edit(self.member_of(row.cooperative_id), row)


class _OnRanch(_Rows):
    """Rows that hang on a ranch; changing one needs the right on that ranch, before and after."""

    permission = Permission.RANCH_EDIT

    def ranch_of(self, values: dict[str, Any], row: Any) -> Ranch:
        """The ranch of the row as it will be."""
        herd: Herd = values.get("herd") or row.herd
        return herd.ranch

    def allow_change(self, row: Any) -> None:
        """403 where the ranch is not the caller's to change."""
        ranch = self.ranch_of({}, row)
        require_edit(self.member_of(ranch.cooperative_id), ranch, self.permission)

    def _allow(self, serializer: serializers.BaseSerializer[Any]) -> None:
        ranch = self.ranch_of(serializer.validated_data, serializer.instance)
        require_edit(self.member_of(ranch.cooperative_id), ranch, self.permission)

    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 where the ranch is not the caller's to change."""
        self._allow(serializer)
        serializer.save()

    def perform_update(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 where the ranch is not the caller's to change."""
        self._allow(serializer)
        serializer.save()


class HerdViewSet(_OnRanch):
    """Herds."""

    model, serializer_class = Herd, HerdSerializer
    fetch = staticmethod(queries.herds_for)

    def ranch_of(self, values: dict[str, Any], row: Any) -> Ranch:
        """The herd's ranch."""
        ranch: Ranch = values.get("ranch") or row.ranch
        return ranch


class GroupViewSet(_OnRanch):
    """Breeding groups."""

    model, serializer_class = BreedingGroup, GroupSerializer
    fetch = staticmethod(queries.groups_for)


class FemaleViewSet(_OnRanch):
    """Females; a technician sees none."""

    model, serializer_class = Female, FemaleSerializer
    fetch = staticmethod(queries.females_for)
    permission = Permission.FEMALE_EDIT

    @extend_schema(responses=RecordSerializer(many=True), methods=["get"])
    @extend_schema(request=ObservedSerializer, responses={201: SavedSerializer}, methods=["post"])
    @action(detail=True, methods=["get", "post"])
    def records(self, request: Request, pk: str | None = None) -> Response:
        """GET: everything on record of her, newest first, withdrawn records left out. POST: what was seen of her on a day."""
        if request.method == "POST":
            return self._record(request, self.get_object())
        standing = Record.objects.filter(female=self.get_object(), withdrawn_at=None)
        page = self.paginate_queryset(standing)
        return self.get_paginated_response(RecordSerializer(page, many=True).data)

    def _record(self, request: Request, female: Female) -> Response:
        """Judge and save, all of it or nothing; saying the same again changes nothing."""
        ranch = female.herd.ranch
        member = self.member_of(ranch.cooperative_id)
        require_edit(member, ranch, self.permission)
        context = {"history": queries.history_for(member, female.pk)}
        sent = ObservedSerializer(data=request.data, context=context)
        sent.is_valid(raise_exception=True)
        items = [(female, sent.validated_data["seen"])]
        saved = save_observed(member=member, ranch=ranch, items=items, now=timezone.now())
        return Response(SavedSerializer(saved).data, status=status.HTTP_201_CREATED)


ROUTES = [("ranches", RanchViewSet), ("herds", HerdViewSet), ("groups", GroupViewSet), ("females", FemaleViewSet)]
