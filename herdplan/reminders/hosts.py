"""Which machines our server may be asked to talk to by an address that a person typed: public ones, and those allowed."""

import ipaddress
import socket

from django.conf import settings


class HostRefused(ValueError):
    """The address leads to a machine that we do not talk to."""


def require_public(host: str) -> None:
    """Raise HostRefused unless every address of the host is public, or the host stands in HERDPLAN_SERVICE_HOSTS."""
    name = host.strip("[]").lower()
    if name in settings.SERVICE_HOSTS:
        return
    try:
        found = socket.getaddrinfo(name, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as fault:
        raise HostRefused(f"The host {name} is not known.") from fault
    if any(not ipaddress.ip_address(str(row[4][0]).split("%")[0]).is_global for row in found):
        raise HostRefused(
            f"The host {name} is inside a private network. Whoever runs this site can allow it (HERDPLAN_SERVICE_HOSTS)."
        )
