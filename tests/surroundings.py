"""Set before anything else is imported (pytest loads this file with -p): a data folder of its own and the database to use."""

import os
import tempfile

os.environ["HERDPLAN_DATA"] = tempfile.mkdtemp(prefix="herdplan-tests-")
os.environ["HERDPLAN_SECRET_KEY"] = "only-for-tests-" + "x" * 50
os.environ["HERDPLAN_BASE_URL"] = "http://localhost:8000"
os.environ["HERDPLAN_DATABASE_URL"] = os.environ.get("HERDPLAN_TEST_DATABASE_URL", "")
# The browser tests keep an event loop in the thread that also speaks to the database.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
os.makedirs(os.path.join(os.environ["HERDPLAN_DATA"], "static"), exist_ok=True)
