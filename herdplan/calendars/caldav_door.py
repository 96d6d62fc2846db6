"""The door to a person's own calendar: PUT, DELETE and a look, over the caldav library.

The address comes from a person, so it may not lead into the network that this server stands in: https only, public
addresses only, no redirects, unless the installation allows its own network (HERDPLAN_CALDAV_PRIVATE).
"""

import ipaddress
import re
import socket
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings

TIMEOUT_S = 15
_CALENDAR = re.compile(r"<(\w+:)?calendar\s*/?>")
_LOOK = (
    '<?xml version="1.0" encoding="utf-8"?><propfind xmlns="DAV:"><prop><resourcetype/></prop></propfind>'  # depth 0
)


class CalendarRefused(ValueError):
    """The calendar will not be written to until its owner changes something; the text says what."""


class CalendarAway(RuntimeError):
    """The server does not answer, or not now."""


@dataclass(frozen=True, slots=True)
class Door:
    """A collection and who opens it."""

    address: str
    username: str
    password: str

    def look(self) -> None:
        """Check that the address is a calendar that lets us in."""
        answer = self._ask("PROPFIND", self.address, _LOOK, {"Depth": "0", "Content-Type": "application/xml"})
        if answer.status != 207 or not _CALENDAR.search(str(answer.raw)):
            raise CalendarRefused("There is no calendar at this address. Copy the address of the calendar itself.")

    def put(self, name: str, text: str, etag: str) -> str:
        """Write an event; returns its new tag. What was changed there by hand is overwritten: the plan counts."""
        headers = {"Content-Type": "text/calendar; charset=utf-8"}
        condition = {"If-Match": etag} if etag else {"If-None-Match": "*"}
        answer = self._ask("PUT", self._item(name), text, headers | condition)
        if answer.status == 412:
            answer = self._ask("PUT", self._item(name), text, headers)
        self._fine(answer, 200, 201, 204)
        return str(answer.headers.get("ETag", ""))

    def delete(self, name: str) -> None:
        """Take an event out; one that is not there is fine."""
        self._fine(self._ask("DELETE", self._item(name), "", {}), 200, 202, 204, 404, 410)

    def _item(self, name: str) -> str:
        return f"{self.address.rstrip('/')}/{name}"

    def _fine(self, answer: Any, *statuses: int) -> None:
        if answer.status in statuses:
            return
        if answer.status >= 500 or answer.status in (408, 423, 429):
            raise CalendarAway(f"The calendar's server answers {answer.status}.")
        raise CalendarRefused(f"The calendar's server answers {answer.status}: it does not take our events.")

    def _ask(self, method: str, address: str, body: str, headers: dict[str, str]) -> Any:
        from caldav.davclient import DAVClient  # noqa: PLC0415 (see "Heavy libraries" in DEVELOPERS.md)
        from caldav.lib.error import AuthorizationError, DAVError  # noqa: PLC0415

        require_public(self.address)
        try:
            with DAVClient(
                url=self.address,
                username=self.username,
                password=self.password,
                auth_type="basic",
                timeout=TIMEOUT_S,
                enable_rfc6764=False,
                require_tls=not settings.CALDAV_PRIVATE,
                rate_limit_handle=False,
            ) as client:
                client.session.max_redirects = 0
                client.session.trust_env = False
                return client.request(address, method, body, headers)
        except AuthorizationError as fault:
            raise CalendarRefused("The server does not accept this user name and password.") from fault
        except (DAVError, OSError) as fault:
            raise CalendarAway(f"The calendar's server does not answer: {fault}"[:200]) from fault


def require_public(address: str) -> None:
    """CalendarRefused for an address that is not https or lies inside our own network."""
    parts = urlsplit(address)
    if settings.CALDAV_PRIVATE:
        return
    if parts.scheme != "https" or not parts.hostname or parts.username:
        raise CalendarRefused("The address must begin with https:// and hold no user name.")
    try:
        found = {item[4][0] for item in socket.getaddrinfo(parts.hostname, parts.port or 443)}
    except (OSError, ValueError) as fault:
        raise CalendarAway(f"There is no server {parts.hostname}.") from fault
    if not all(ipaddress.ip_address(str(item).partition("%")[0]).is_global for item in found):
        raise CalendarRefused("The address leads into a private network. Give one that is reached from everywhere.")
