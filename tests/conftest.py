"""What must differ from a deployment in tests, and nothing else (the environment is set in surroundings.py)."""

from typing import Any

import pytest


@pytest.fixture(autouse=True)
def _test_settings(settings: Any) -> None:
    """Fast password hashing, plain static files, a cache and a mailbox of each test's own."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES = {
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
