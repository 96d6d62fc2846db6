"""Seasons, published visits and planning jobs over HTTP."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import CoopField, MemberViewSet
from accounts.models import Cooperative
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member
from scheduling import queries
from scheduling.api.advice import AdviceActions
from scheduling.models import Booking, PlanJob, Season
from scheduling.services import DoubleBooked, PlanBroken, SeasonFault, StalePlan, publish, request_plan, save_season


class SeasonSerializer(serializers.ModelSerializer[Season]):
    """A season; `plan` is the version in work, `published_plan` the one that everybody sees."""

    cooperative = CoopField(queryset=Cooperative.objects.all())
    plan = serializers.IntegerField(source="plan.number", read_only=True, default=None)
    published_plan = serializers.IntegerField(source="published_plan.number", read_only=True, default=None)

    class Meta:
        model = Season
        fields = (
            "id",
            "cooperative",
            "name",
            "first_day",
            "last_day",
            "zone",
            "road_factor",
            "speed_kmh",
            "state",
            "plan",
            "published_plan",
            "published_at",
        )
        read_only_fields = ("state", "published_at")


class VisitSerializer(serializers.ModelSerializer[Booking]):
    """A published visit of a technician. Times are UTC; `zone` is the ranch's.

    `lot` counts from 0; `lots` says into how many the group is cut.
    """

    technician_name = serializers.CharField(source="technician.name")
    group_name = serializers.CharField(source="entry.group.name")
    ranch = serializers.UUIDField(source="entry.group.herd.ranch_id")
    ranch_name = serializers.CharField(source="entry.group.herd.ranch.name")
    zone = serializers.CharField(source="entry.group.herd.ranch.zone")
    season = serializers.UUIDField(source="entry.season_id")
    group = serializers.UUIDField(source="entry.group_id")
    lots = serializers.IntegerField(read_only=True)

    class Meta:
        model = Booking
        fields = (
            "id",
            "season",
            "technician",
            "technician_name",
            "group",
            "group_name",
            "ranch",
            "ranch_name",
            "zone",
            "lot",
            "lots",
            "step",
            "starts",
            "ends",
            "busy_starts",
            "busy_ends",
            "km_before",
            "head",
            "barn",
            "status",
            "sequence",
        )


class JobSerializer(serializers.ModelSerializer[PlanJob]):
    """A planning job: state, progress in per cent, cost of the best plan so far; `plan` is the result's number."""

    plan = serializers.IntegerField(source="result.number", read_only=True, default=None)
    status = serializers.CharField(source="result.status", read_only=True, default=None)

    class Meta:
        model = PlanJob
        fields = (
            "id",
            "season",
            "state",
            "progress",
            "best_cost",
            "message",
            "plan",
            "status",
            "created_at",
            "finished_at",
        )


class OptimizeSerializer(serializers.Serializer[Any]):
    """How to plan: seconds or rounds, a seed, and whether to change the plan in work as little as possible."""

    seconds = serializers.FloatField(min_value=0.1, max_value=600, required=False)
    rounds = serializers.IntegerField(min_value=0, max_value=1_000_000, required=False)
    seed = serializers.IntegerField(min_value=0, max_value=2_000_000_000, default=1)
    keep = serializers.BooleanField(default=False)


class SeasonViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.CreateModelMixin, mixins.UpdateModelMixin, AdviceActions
):
    """Seasons of the caller's co-ops."""

    model, serializer_class = Season, SeasonSerializer
    fetch = staticmethod(queries.seasons_for)

    def get_queryset(self) -> Any:
        """With what the serializer shows."""
        return super().get_queryset().select_related("cooperative", "plan", "published_plan")

    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 unless the caller coordinates that co-op."""
        values = dict(serializer.validated_data)
        member = self.require(values.pop("cooperative").pk, Permission.SEASON_EDIT, Reach.COOP)
        serializer.instance = self._save(member, Season(cooperative=member.cooperative), values)

    def perform_update(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """403 unless the caller coordinates that co-op; a season stays in its co-op."""
        row = serializer.instance
        assert isinstance(row, Season)
        values = {name: value for name, value in serializer.validated_data.items() if name != "cooperative"}
        self._save(self.require(row.cooperative_id, Permission.SEASON_EDIT, Reach.COOP), row, values)

    def allow_change(self, row: Any) -> None:
        """403 unless the caller coordinates that co-op."""
        self.require(row.cooperative_id, Permission.SEASON_EDIT, Reach.COOP)

    def _save(self, member: Member, row: Season, values: dict[str, Any]) -> Season:
        try:
            return save_season(member=member, season=row, values=values)
        except SeasonFault as fault:
            raise serializers.ValidationError(fault.faults) from None

    @extend_schema(request=OptimizeSerializer, responses={202: JobSerializer})
    @action(detail=True, methods=["post"])
    def optimize(self, request: Request, pk: str | None = None) -> Response:
        """Ask for a plan; 202 with the job, whose progress is at /api/v1/jobs/{id}/."""
        season = self.get_object()
        member = self.require(season.cooperative_id, Permission.SEASON_EDIT, Reach.COOP)
        wish = OptimizeSerializer(data=request.data)
        wish.is_valid(raise_exception=True)
        if not season.entered.exists() and season.published_plan_id is None:
            raise serializers.ValidationError({"season": "No group is entered yet. Enter the groups first."})
        job = request_plan(member=member, season=season, now=timezone.now(), **wish.validated_data)
        return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED)

    @extend_schema(request=None, responses={200: dict, 409: dict})
    @action(detail=True, methods=["post"], url_path="publish")
    def publish_plan(self, request: Request, pk: str | None = None) -> Response:
        """Publish the plan in work; 409 with the reason and the clashes where it cannot be."""
        season = self.get_object()
        member = self.require(season.cooperative_id, Permission.SEASON_EDIT, Reach.COOP)
        if season.plan is None:
            return Response({"detail": "There is no plan yet. Plan the season first."}, status=status.HTTP_409_CONFLICT)
        try:
            changes = publish(member=member, season=season, plan=season.plan, now=timezone.now())
        except PlanBroken as fault:
            return Response({"detail": str(fault), "broken": fault.broken}, status=status.HTTP_409_CONFLICT)
        except (StalePlan, DoubleBooked) as fault:
            return Response({"detail": str(fault)}, status=status.HTTP_409_CONFLICT)
        return Response(
            {
                "plan": season.plan.number,
                "changes": [{"what": item.what, "kind": item.kind, "id": str(item.row.pk)} for item in changes],
            }
        )


class VisitViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, MemberViewSet):
    """Published visits that the caller may see."""

    model, serializer_class = Booking, VisitSerializer
    fetch = staticmethod(queries.bookings_for)

    def get_queryset(self) -> Any:
        """With what the serializer shows."""
        visits = super().get_queryset().select_related("technician", "entry__group__herd__ranch")
        return visits.annotate(lots=queries.lots_there())


def _jobs_for(member: Member) -> Any:
    if not member.may(Permission.SEASON_VIEW, Reach.COOP):
        return PlanJob.objects.none()
    return PlanJob.objects.filter(season__cooperative=member.cooperative)


class JobViewSet(mixins.RetrieveModelMixin, MemberViewSet):
    """Planning jobs."""

    model, serializer_class = PlanJob, JobSerializer
    fetch = staticmethod(_jobs_for)


ROUTES = [("seasons", SeasonViewSet), ("visits", VisitViewSet), ("jobs", JobViewSet)]
