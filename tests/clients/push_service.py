"""A push service and the browser behind it, as the standards have them: what does not keep to them is refused.

RFC 8030 (TTL, Topic, Urgency; 201, 404, 410, 429), RFC 8291 and 8188 (the sealed body), RFC 8292 (who sends it). Written from
the primitives of a general cryptography library, because what we send with does its own sealing and signing.
"""

import base64
import json
import os
import re
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any
from urllib.parse import urlsplit

from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

# RFC 8030, 5.4 (at most 32 characters of base64url), 5.3, and 7.2 (a service must take 4,096 bytes).
_TOPIC, _URGENCIES, _LARGEST = re.compile(r"[A-Za-z0-9_-]{1,32}"), ("very-low", "low", "normal", "high"), 4096
_LONGEST_TOKEN_S = 24 * 3600  # RFC 8292, 2


def coded(raw: bytes) -> str:
    """base64url without padding."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def decoded(text: str) -> bytes:
    """Back; ValueError where it has padding or foreign characters."""
    if not re.fullmatch(r"[A-Za-z0-9_-]*", text):
        raise ValueError("not base64url without padding")
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def _derived(salt: bytes, secret: bytes, info: bytes, length: int) -> bytes:
    return HKDF(hashes.SHA256(), length, salt=salt, info=info).derive(secret)


def point_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    """The public key, uncompressed."""
    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def opened(body: bytes, key: ec.EllipticCurvePrivateKey, secret: bytes) -> bytes:
    """The message in a sealed body (RFC 8291, 3.4; one record, RFC 8188, 2). ValueError where it is not as it must be."""
    salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
    sender, record = body[21 : 21 + length], body[21 + length :]
    if length != 65 or len(record) > size:
        raise ValueError("not one record after the sender's key")
    shared = key.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender))
    together = _derived(secret, shared, b"WebPush: info\0" + point_of(key) + sender, 32)
    sealing = _derived(salt, together, b"Content-Encoding: aes128gcm\0", 16)
    nonce = _derived(salt, together, b"Content-Encoding: nonce\0", 12)
    try:
        plain = AESGCM(sealing).decrypt(nonce, record, None).rstrip(b"\0")
    except InvalidTag as fault:
        raise ValueError("sealed for somebody else") from fault
    if plain[-1:] != b"\2":
        raise ValueError("no delimiter of the last record")
    return plain[:-1]


def sender_of(header: str, origin: str, now: float) -> tuple[str, dict[str, Any]]:
    """The sender's key and claims out of Authorization (RFC 8292, 2 and 3). ValueError where it is not to be trusted."""
    scheme, _, rest = header.partition(" ")
    parts = {name.strip(): text for name, _, text in (item.partition("=") for item in rest.split(","))}
    if scheme.lower() != "vapid" or set(parts) != {"t", "k"}:
        raise ValueError("Authorization: vapid t=..., k=...")
    head, claims, signature = parts["t"].split(".")
    if json.loads(decoded(head)).get("alg") != "ES256":
        raise ValueError("ES256 only")
    raw = decoded(signature)
    both = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), decoded(parts["k"]))
    try:
        public.verify(both, f"{head}.{claims}".encode(), ec.ECDSA(hashes.SHA256()))
    except InvalidSignature as fault:
        raise ValueError("the signature is not the key's") from fault
    said: dict[str, Any] = json.loads(decoded(claims))
    if said.get("aud") != origin:
        raise ValueError(f"aud is not {origin}")
    if not now < said.get("exp", 0) <= now + _LONGEST_TOKEN_S:
        raise ValueError("exp: in the future, and at most a day")
    if not re.match(r"mailto:\S+@\S+|https:", said.get("sub", "")):
        raise ValueError("sub: mailto: or https:")
    return parts["k"], said


@dataclass
class Browser:
    """A browser's subscription: its keys, and the messages that wait for it, the latest of each topic."""

    endpoint: str = ""
    sender: str = ""
    key: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))
    secret: bytes = field(default_factory=lambda: os.urandom(16))
    waiting: dict[str, dict[str, Any]] = field(default_factory=dict)
    headers: list[dict[str, str]] = field(default_factory=list)

    def document(self) -> dict[str, Any]:
        """The subscription as the page posts it."""
        return {"endpoint": self.endpoint, "keys": {"p256dh": coded(point_of(self.key)), "auth": coded(self.secret)}}


class PushService:
    """On loopback. `answer` is what it says instead of taking the push (429 and the like); `faults`: what broke a standard."""

    def __init__(self) -> None:
        self.browsers: dict[str, Browser] = {}
        self.gone: set[str] = set()
        self.answer, self.asked = 0, 0
        self.faults: list[str] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                status = service.take(self.path, {name.lower(): text for name, text in self.headers.items()}, body)
                self.send_response(status)
                if status == 201:
                    self.send_header("Location", f"/message/{service.asked}")
                if status == 429:
                    self.send_header("Retry-After", "120")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Quiet."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.origin = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def subscribe(self, sender: str) -> Browser:
        """A new subscription that only the holder of that key may send to (RFC 8292, 4)."""
        path = f"/push/{coded(os.urandom(12))}"
        browser = self.browsers[path] = Browser(self.origin + path, sender)
        return browser

    def forget(self, browser: Browser) -> None:
        """The person has taken the permission back."""
        self.gone.add(urlsplit(browser.endpoint).path)

    def take(self, path: str, headers: dict[str, str], body: bytes) -> int:
        """What the service answers to a push."""
        self.asked += 1
        if path in self.gone:
            return 410
        browser = self.browsers.get(path)
        if browser is None:
            return 404
        if self.answer:
            return self.answer
        try:
            return self._checked(browser, headers, body)
        except (ValueError, KeyError) as fault:
            self.faults.append(repr(fault))
            return 400

    def _checked(self, browser: Browser, headers: dict[str, str], body: bytes) -> int:
        sender, _ = sender_of(headers["authorization"], self.origin, time.time())
        if sender != browser.sender:
            self.faults.append("another sender than the one subscribed to")
            return 403
        if not headers["ttl"].isdigit():
            raise ValueError("TTL: whole seconds")
        if headers["content-encoding"] != "aes128gcm" or len(body) > _LARGEST:
            raise ValueError("Content-Encoding: aes128gcm, at most 4,096 bytes")
        if not _TOPIC.fullmatch(headers["topic"]) or headers["urgency"] not in _URGENCIES:
            raise ValueError("Topic or Urgency")
        browser.headers.append(headers)
        browser.waiting[headers["topic"]] = json.loads(opened(body, browser.key, browser.secret))
        return 201

    def stop(self) -> None:
        """Stop it."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
