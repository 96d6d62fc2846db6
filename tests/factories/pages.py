"""Pages as people and programs get them: signed in, and read without their marks."""

import re
from html import unescape
from typing import Any

from django.test import Client

from accounts.models import User


def signed_in(user: User) -> Client:
    """A browser of that person."""
    made = Client()
    made.force_login(user)
    return made


def text(answer: Any) -> str:
    """What a page says, without its marks."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))
