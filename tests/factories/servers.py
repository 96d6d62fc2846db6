"""Small real servers on loopback: one that takes mail and keeps it, one that takes web requests and keeps them."""

import asyncio
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller


@dataclass
class MailBox:
    """Takes mail. `answer` decides by recipient and number of the try: an SMTP answer, or None to take it."""

    answer: Callable[[str, int], str | None] = lambda address, tries: None
    taken: list[Message] = field(default_factory=list)
    tries: dict[str, int] = field(default_factory=dict)
    slow_s: float = 0
    late_s: float = 0

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        """Recipient by recipient, as a mail server refuses them."""
        self.tries[address] = self.tries.get(address, 0) + 1
        refused = self.answer(address, self.tries[address])
        if refused:
            return refused
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """Keep the message, slowly where asked; `late_s` lies between its coming and the word that it came."""
        await asyncio.sleep(self.slow_s)
        self.taken.append(message_from_bytes(envelope.content))
        await asyncio.sleep(self.late_s)
        return "250 taken"

    def ids(self) -> list[str]:
        """Message-IDs in the order of their coming."""
        return [str(message["Message-ID"]).strip() for message in self.taken]


def start_mail(box: MailBox, port: int = 0) -> Controller:
    """Start a mail server on loopback; stop it with `.stop()`. Port 0 takes a free one."""
    controller = Controller(box, hostname="127.0.0.1", port=port or free_port())
    controller.start()
    return controller


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Request:
    """What a web request brought."""

    path: str
    headers: dict[str, str]
    body: bytes


class WebBox:
    """Takes web requests and answers with `status`."""

    def __init__(self, status: int = 201) -> None:
        self.status, self.taken, self.location = status, list[Request](), ""
        box = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                headers = {name.lower(): value for name, value in self.headers.items()}
                box.taken.append(Request(self.path, headers, body))
                self.send_response(box.status)
                self.send_header("Content-Length", "0")
                if box.location:
                    self.send_header("Location", box.location)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Quiet."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """The port that it listens on."""
        return int(self._server.server_address[1])

    def stop(self) -> None:
        """Stop it."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
