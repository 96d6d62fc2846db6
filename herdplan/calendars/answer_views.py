"""The page behind the signed link of an invitation: no login."""

from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from herdplan.calendars.answers import AnswerError, find_asked, record_answer
from scheduling.models import Booking


@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, signed: str) -> HttpResponse:
    """What is asked, and three buttons. Opening the page says nothing: mail programs open links too."""
    now = timezone.now()
    context: dict[str, Any] = {}
    status = 200
    try:
        asked = find_asked(signed=signed, now=now)
        row = asked.attendance
        if request.method == "POST":
            said = request.POST.get("answer", "")
            context["nothing_chosen"] = said not in Booking.Answer.values
            comment = request.POST.get("comment", "")
            seen = request.POST.get("sequence", "")
            sequence = int(seen) if seen.isascii() and seen.isdigit() else -1
            if context["nothing_chosen"]:
                status = 400
            else:
                context["taken"] = record_answer(
                    attendance=row, answer=said, sequence=sequence, at=now, by="link", comment=comment
                )
            row.refresh_from_db()
        zone = ZoneInfo(row.zone)
        context |= {"row": row, "starts": row.starts.astimezone(zone), "ends": row.ends.astimezone(zone)}
        context |= {"changed": asked.changed, "zone_name": row.starts.astimezone(zone).tzname()}
    except AnswerError as fault:
        context, status = {"text": str(fault)}, 410
    with timezone.override(context["starts"].tzinfo if "starts" in context else None):
        response = render(request, "calendars/answer.html", context, status=status)
    response["Referrer-Policy"] = "same-origin"
    response["X-Robots-Tag"] = "noindex"
    response["Cache-Control"] = "no-store"
    return response
