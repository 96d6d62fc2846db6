"""What must differ from a deployment in tests, and nothing else (the environment is set in surroundings.py)."""

import os
from typing import Any

import pytest
from hypothesis import settings as examples

# A busy machine is no fault. The check that guards main tries the same examples every time; at the desk they are new each time.
examples.register_profile("desk", deadline=None)
examples.register_profile("guard", deadline=None, derandomize=True)
examples.load_profile("guard" if os.environ.get("CI") else "desk")


@pytest.fixture(autouse=True)
def _test_settings(settings: Any, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Fast password hashing, plain static files, a cache and a mailbox of each test's own."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES = {
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.OUTBOX_JOURNAL = tmp_path_factory.mktemp("outbox")
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
