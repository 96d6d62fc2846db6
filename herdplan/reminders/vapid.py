"""The key with which this installation signs web pushes (RFC 8292, 2017): given in the settings, or made once and kept."""

import base64
import os
from functools import cache
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from django.conf import settings


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def private_key() -> str:
    """32 bytes of a P-256 key, base64url."""
    return _private_key(settings.VAPID_PRIVATE_KEY, Path(settings.VAPID_KEY_FILE))


@cache
def _private_key(given: str, path: Path) -> str:
    if given:
        return given
    if not path.exists():
        number = ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value
        try:
            handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        except FileExistsError:  # another process was quicker
            return path.read_text(encoding="ascii").strip()
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(_text(number.to_bytes(32, "big")))
    return path.read_text(encoding="ascii").strip()


def public_key() -> str:
    """The uncompressed point that a browser asks for when it subscribes, base64url."""
    padded = private_key() + "=" * (-len(private_key()) % 4)
    number = int.from_bytes(base64.urlsafe_b64decode(padded), "big")
    point = ec.derive_private_key(number, ec.SECP256R1()).public_key()
    return _text(point.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))
