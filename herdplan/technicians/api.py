"""Technicians over HTTP."""

from typing import Any

from rest_framework import mixins, serializers

from accounts.api import CheckedSerializer, CoopField, MemberViewSet
from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from herdplan.technicians import queries
from herdplan.technicians.models import Technician


class TechnicianSerializer(CheckedSerializer[Technician]):
    """A technician: base, hours in the co-op's zone, rates, limits, skills."""

    cooperative = CoopField(queryset=Cooperative.objects.all())
    skills = serializers.ListField(child=serializers.CharField(max_length=100), required=False)

    class Meta:
        model = Technician
        fields = (
            "id",
            "cooperative",
            "name",
            "phone",
            "lat",
            "lon",
            "starts",
            "ends",
            "ai_rate",
            "max_head_per_day",
            "skills",
        )

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Hours in order."""
        starts = values.get("starts", getattr(self.instance, "starts", None))
        ends = values.get("ends", getattr(self.instance, "ends", None))
        if starts and ends and starts >= ends:
            raise serializers.ValidationError({"ends": "Choose an hour after the first one."})
        return super().validate(values)


class TechnicianViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.CreateModelMixin, mixins.UpdateModelMixin, MemberViewSet
):
    """Technicians of the caller's co-ops. A coordinator adds and changes them; a technician changes himself or herself."""

    model, serializer_class = Technician, TechnicianSerializer
    fetch = staticmethod(queries.technicians_for)

    def get_queryset(self) -> Any:
        """With the co-op's short name at hand."""
        return super().get_queryset().select_related("cooperative")

    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 unless the caller coordinates that co-op."""
        self.require(serializer.validated_data["cooperative"].pk, Permission.TECHNICIAN_ADD, Reach.COOP)
        serializer.save()

    def perform_update(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """A technician stays in the co-op."""
        row = serializer.instance
        assert isinstance(row, Technician)
        serializer.save(cooperative=row.cooperative)

    def allow_change(self, row: Any) -> None:
        """403 unless it is the caller's to change."""
        member = self.require(row.cooperative_id, Permission.TECHNICIAN_EDIT)
        if not queries.may_edit(member, row):
            member.require(Permission.TECHNICIAN_EDIT, Reach.COOP)


ROUTES = [("technicians", TechnicianViewSet)]
