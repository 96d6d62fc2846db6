"""Calendar feeds over HTTP."""

from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from rest_framework import mixins, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import CoopField, MemberViewSet
from accounts.models import Cooperative
from accounts.permissions import Permission
from herdplan.calendars import queries
from herdplan.calendars.models import FeedToken
from herdplan.calendars.services import ChannelClash, make_feed, revoke


class FeedSerializer(serializers.ModelSerializer[FeedToken]):
    """A feed. `address` is given once, by the answer that makes it."""

    cooperative = CoopField(queryset=Cooperative.objects.all())

    class Meta:
        model = FeedToken
        fields = (
            "id",
            "cooperative",
            "name",
            "kind",
            "herd",
            "technician",
            "alarm",
            "created_at",
            "revoked_at",
            "last_fetch_at",
            "last_client",
        )
        read_only_fields = ("created_at", "revoked_at", "last_fetch_at", "last_client")

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """The subject that the kind needs, in that co-op."""
        kind, coop = values["kind"], values["cooperative"]
        herd, technician = values.get("herd"), values.get("technician")
        if kind == "herd" and (herd is None or herd.ranch.cooperative_id != coop.pk):
            raise serializers.ValidationError({"herd": "Give the id of a herd of this co-op."})
        if kind == "technician" and (technician is None or technician.cooperative_id != coop.pk):
            raise serializers.ValidationError({"technician": "Give the id of a technician of this co-op."})
        return values


class FeedViewSet(
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    mixins.CreateModelMixin,
    mixins.DestroyModelMixin,
    MemberViewSet,
):
    """The caller's own feeds. Deleting one closes it."""

    model, serializer_class = FeedToken, FeedSerializer
    fetch = staticmethod(queries.feeds_for)

    def get_queryset(self) -> Any:
        """With the co-op's short name at hand."""
        return super().get_queryset().select_related("cooperative")

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """201 with the address, which is not shown again."""
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        values = dict(serializer.validated_data)
        member = self.require(values.pop("cooperative").pk, Permission.FEED_MAKE)
        wanted = {"herd": None, "technician": None, **values}
        try:
            feed, token = make_feed(member=member, now=timezone.now(), **wanted)
        except ChannelClash as fault:
            raise serializers.ValidationError({"kind": str(fault)}) from fault
        address = f"{settings.BASE_URL}{reverse('feed', args=[token])}"
        return Response({**self.get_serializer(feed).data, "address": address}, status=201)

    def perform_destroy(self, instance: FeedToken) -> None:
        """Close it."""
        revoke(member=self.member_of(instance.cooperative_id), feed=instance, now=timezone.now())


ROUTES = [("feeds", FeedViewSet)]
