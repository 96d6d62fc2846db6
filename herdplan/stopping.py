"""An orderly end: whoever stops the site lets a loop finish what it has in hand."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_SIGNALS = (signal.SIGTERM, signal.SIGINT)


@contextmanager
def asked_to_stop() -> Iterator[threading.Event]:
    """An event that is set when the process is asked to end; whoever asks twice is obeyed at once.

    Signals reach only the main thread of a process; elsewhere the event is never set.
    """
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = {number: signal.getsignal(number) or signal.SIG_DFL for number in _SIGNALS}

    def note(number: int, frame: FrameType | None) -> None:
        stop.set()
        signal.signal(number, before[signal.Signals(number)])

    for number in _SIGNALS:
        signal.signal(number, note)
    try:
        yield stop
    finally:
        for number in _SIGNALS:
            signal.signal(number, before[number])
