"""What every template may read of the caller."""

from django.http import HttpRequest

from accounts.tenancy import Member


def member(request: HttpRequest) -> dict[str, Member | None]:
    """The caller's place in the co-op whose page this is; None outside of any co-op."""
    return {"member": getattr(request, "member", None)}
