"""A mailbox on a real socket that speaks as much IMAP (RFC 3501) as reading unseen mail needs."""

import re
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Box:
    """Messages by UID, and which of them are seen."""

    messages: dict[int, bytes] = field(default_factory=dict)
    seen: set[int] = field(default_factory=set)
    password: str = "let-me-in"

    def add(self, raw: bytes) -> None:
        """A new message comes in."""
        self.messages[len(self.messages) + 1] = raw


class _Talk(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        box: Box = self.server.box  # type: ignore[attr-defined]
        self._say("* OK ready")
        for raw in self.rfile:
            tag, command, rest = [*raw.decode().rstrip("\r\n").split(" ", 2), ""][:3]
            if command == "LOGIN":
                fine = box.password in rest
                self._say(f"{tag} {'OK' if fine else 'NO'} login")
            elif command == "LOGOUT":
                self._say("* BYE", f"{tag} OK bye")
                return
            elif command == "SELECT":
                self._say(
                    f"* {len(box.messages)} EXISTS", f"{tag} {'OK' if 'INBOX' in rest else 'NO'} [READ-WRITE] select"
                )
            elif command == "UID":
                self._uid(box, tag, rest)
            else:
                self._say("* CAPABILITY IMAP4rev1", f"{tag} OK done")

    def _uid(self, box: Box, tag: str, rest: str) -> None:
        if rest.startswith("SEARCH"):
            unseen = " ".join(str(uid) for uid in box.messages if uid not in box.seen)
            self._say(f"* SEARCH {unseen}".rstrip(), f"{tag} OK done")
            return
        number = re.search(r"\d+", rest)
        assert number is not None
        uid = int(number[0])
        if rest.startswith("FETCH"):
            raw = box.messages[uid]
            self.wfile.write(f"* {uid} FETCH (UID {uid} BODY[] {{{len(raw)}}}\r\n".encode() + raw + b")\r\n")
        elif "Seen" in rest:
            box.seen.add(uid)
        self._say(f"{tag} OK done")

    def _say(self, *lines: str) -> None:
        self.wfile.write("".join(line + "\r\n" for line in lines).encode())


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True


@contextmanager
def mailbox_at(box: Box) -> Iterator[int]:
    """The mailbox on a port of this machine."""
    with _Server(("127.0.0.1", 0), _Talk) as server:
        server.box = box  # type: ignore[attr-defined]
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield int(server.server_address[1])
        finally:
            server.shutdown()


@contextmanager
def imap_server(box: Box, settings: Any) -> Iterator[Box]:
    """The same, with the site's settings pointing there."""
    with mailbox_at(box) as port:
        settings.IMAP_HOST, settings.IMAP_PORT = "127.0.0.1", port
        settings.IMAP_TLS, settings.IMAP_USER, settings.IMAP_PASSWORD = False, "herdplan", box.password
        yield box
