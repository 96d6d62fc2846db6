"""The test settings: a data folder of its own, fast password hashing, plain static files."""

import os
import tempfile
from pathlib import Path
from typing import Any

import pytest

os.environ["HERDPLAN_DATA"] = tempfile.mkdtemp(prefix="herdplan-tests-")
os.environ.setdefault("HERDPLAN_SECRET_KEY", "only-for-tests-" + "x" * 50)
os.environ["HERDPLAN_DATABASE_URL"] = os.environ.get("HERDPLAN_TEST_DATABASE_URL", "")
# The browser tests keep an event loop in the thread that also speaks to the database.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(autouse=True)
def _test_settings(settings: Any) -> None:
    """What must differ from a deployment, and nothing else."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES = {
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
