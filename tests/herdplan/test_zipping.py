"""What leaves zipped and what does not."""

import gzip

import pytest
from django.test import Client

pytestmark = pytest.mark.django_db


def test_a_page_is_zipped_for_whoever_takes_it_and_says_the_same() -> None:
    plain = Client().get("/accounts/login/")
    zipped = Client().get("/accounts/login/", headers={"accept-encoding": "gzip"})
    assert "Content-Encoding" not in plain.headers
    assert zipped.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in zipped.headers["Vary"]
    assert len(zipped.content) < len(plain.content) * 0.7
    assert b"<h1>" in gzip.decompress(zipped.content)


def test_what_is_no_page_is_left_alone() -> None:
    answer = Client().get("/healthz", headers={"accept-encoding": "gzip"})
    assert "Content-Encoding" not in answer.headers
    assert answer.json()["healthy"] is True
