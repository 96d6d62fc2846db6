"""Other people's secrets at rest, encrypted under keys made from the installation's own, a different one for each purpose.

The first key encrypts, every key decrypts: put a new HERDPLAN_SECRET_KEY in place, keep the old one in
HERDPLAN_SECRET_KEY_FALLBACKS, run `manage.py rotate_secrets`, then drop the old one.
"""

import base64
import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings


class SealBroken(ValueError):
    """No key of the installation opens it; the person has to give it again."""


@dataclass(frozen=True, slots=True)
class Box:
    """Secrets of one purpose. `earlier` makes the keys that this purpose was sealed with before; they open, and no more."""

    purpose: bytes
    lost: str
    earlier: Callable[[bytes, str], bytes] | None = None

    def _keys(self) -> MultiFernet:
        given = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
        made = [_derived(self.purpose, key) for key in given]
        if self.earlier is not None:
            made += [self.earlier(self.purpose, key) for key in given]
        return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in made])

    def seal(self, text: str) -> str:
        """Encrypt."""
        return self._keys().encrypt(text.encode()).decode()

    def unseal(self, sealed: str) -> str:
        """Decrypt; SealBroken where the key is gone."""
        try:
            return self._keys().decrypt(sealed.encode()).decode()
        except InvalidToken as fault:
            raise SealBroken(self.lost) from fault

    def reseal(self, sealed: str) -> str:
        """The same secret under the first key; SealBroken where the key is gone."""
        try:
            return self._keys().rotate(sealed.encode()).decode()
        except InvalidToken as fault:
            raise SealBroken(self.lost) from fault


def _derived(purpose: bytes, key: str) -> bytes:
    """The key of a purpose: HKDF with SHA-256 (RFC 5869), the purpose as its info."""
    return HKDF(hashes.SHA256(), 32, salt=None, info=purpose).derive(key.encode())


def _hashed(purpose: bytes, key: str) -> bytes:
    """How passwords of calendars were sealed before both kinds shared this module."""
    return hashlib.blake2b(purpose, key=hashlib.sha512(key.encode()).digest(), digest_size=32).digest()


# The purposes are in the keys of what is stored: they never change.
CALENDAR_PASSWORDS = Box(
    b"herdplan.calendars.secrets", "The password cannot be read any more; give it again.", earlier=_hashed
)
INVITED = Box(b"herdplan.calendars.memory", "Who was invited cannot be read any more.")
SERVICE_ADDRESSES = Box(b"herdplan.reminders.sealing", "The saved address cannot be opened any more; enter it again.")
