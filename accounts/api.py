"""What every part of the API shares: rows of all of the caller's co-ops, 404 beyond them, 403 for weak roles."""

from collections.abc import Callable
from copy import copy
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet
from rest_framework import serializers, viewsets
from rest_framework.exceptions import PermissionDenied as ApiPermissionDenied

from accounts.models import User
from accounts.permissions import Permission, Reach
from accounts.tenancy import Member, members_of

M = TypeVar("M", bound=Model)


class CoopField(serializers.SlugRelatedField[Any]):
    """A co-op by its short name, one of the caller's."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(slug_field="slug", **kwargs)


class CheckedSerializer(serializers.ModelSerializer[M]):
    """A serializer that asks the model's own constraints (also those over expressions), so that a clash is a 400."""

    def new_row(self) -> Model:
        """An empty row of the serializer's model."""
        model: type[Model] = self.Meta.model
        return model()

    def validate(self, values: dict[str, Any]) -> dict[str, Any]:
        """Texts by field, where the constraint says which."""
        row = copy(self.instance) if isinstance(self.instance, Model) else self.new_row()
        for name, value in values.items():
            setattr(row, name, value)
        try:
            row.validate_constraints()
        except ValidationError as fault:
            texts = fault.message_dict
            raise serializers.ValidationError(
                {name.replace("__all__", "detail"): texts[name] for name in texts}
            ) from None
        return values


class MemberViewSet(viewsets.GenericViewSet[Any]):
    """A viewset whose rows are those that `fetch` gives for the caller in each co-op."""

    model: type[Model]
    fetch: Callable[[Member], QuerySet[Any]]

    def members(self) -> list[Member]:
        """The caller in every co-op; asked for once a request."""
        if not hasattr(self, "_members"):
            user = self.request.user
            self._members = members_of(user) if isinstance(user, User) else []
        return self._members

    def get_queryset(self) -> QuerySet[Any]:
        """Rows of all of the caller's co-ops."""
        if getattr(self, "swagger_fake_view", False):
            return self.model._default_manager.none()
        return self.visible(type(self).fetch, self.model)

    def visible(self, fetch: Callable[[Member], QuerySet[Any]], model: type[Model]) -> QuerySet[Any]:
        """Rows of a model that the caller may see."""
        wanted = Q(pk__in=[])
        for member in self.members():
            wanted |= Q(pk__in=fetch(member).order_by().values("pk"))
        return model._default_manager.filter(wanted)

    def get_object(self) -> Any:
        """One visible row (404 beyond them); whoever may not change it is refused before the change is read."""
        row = super().get_object()
        if self.request.method in ("PUT", "PATCH"):
            self.allow_change(row)
        return row

    def allow_change(self, row: Any) -> None:
        """Raise 403 where the caller may see the row but not change it."""

    def member_of(self, cooperative_id: Any) -> Member:
        """The caller in the co-op of a row; 403 where there is no membership (a row that is visible has one)."""
        found = next((member for member in self.members() if member.cooperative.pk == cooperative_id), None)
        if found is None:
            raise ApiPermissionDenied("You do not belong to this co-op.")
        return found

    def require(self, cooperative_id: Any, permission: Permission, at_least: Reach = Reach.OWN) -> Member:
        """The caller in that co-op, with the permission."""
        member = self.member_of(cooperative_id)
        member.require(permission, at_least)
        return member

    def get_serializer_context(self) -> dict[str, Any]:
        """Serializers choose related rows from what the caller may see."""
        return {**super().get_serializer_context(), "view": self}
