"""Whether the site of this container answers: asked with the domain's name, as the proxy does. Exit 0 when it does."""

import os
import urllib.request

request = urllib.request.Request("http://127.0.0.1:8000/robots.txt")  # a fixed address
request.add_header("Host", os.environ.get("HERDPLAN_DOMAIN", "localhost"))
request.add_header("X-Forwarded-Proto", "https")
with urllib.request.urlopen(request, timeout=5) as answer:  # noqa: S310
    raise SystemExit(answer.status != 200)
