"""Pages leave zipped: with one bar of signal 70 kB are a minute, 10 kB are not."""

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware


class PagesZipped(GZipMiddleware):
    """Django's own middleware (with its random padding against BREACH) for HTML alone: feeds and CalDAV carry validators
    that it would weaken, and the feeds zip themselves."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Zip a page, hand on everything else."""
        kind = response.headers.get("Content-Type", "")  # an answer without a body, such as 304, has none
        if not isinstance(response, HttpResponse) or not kind.startswith("text/html"):
            return response
        zipped: HttpResponseBase = super().process_response(request, response)
        return zipped
