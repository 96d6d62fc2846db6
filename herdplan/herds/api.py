"""Ranches, herds, groups and females over HTTP."""

from typing import Any

from django.db.models import Model
from django.utils import timezone
from rest_framework import mixins, serializers

from accounts.api import CheckedSerializer, CoopField, MemberViewSet
from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from herdplan.herds import queries
from herdplan.herds.forms import date_faults
from herdplan.herds.models import BreedingGroup, Female, Herd, Ranch
from herdplan.herds.services import require_edit


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
    """A herd of a ranch."""

    ranch = VisibleField(fetch=queries.ranches_for, rows=Ranch)

    class Meta:
        model = Herd
        fields = ("id", "ranch", "name", "notes")


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


ROUTES = [("ranches", RanchViewSet), ("herds", HerdViewSet), ("groups", GroupViewSet), ("females", FemaleViewSet)]
