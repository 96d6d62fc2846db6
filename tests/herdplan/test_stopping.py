"""An orderly end of a loop."""

import os
import signal
import threading

import pytest

from herdplan.stopping import asked_to_stop


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_sets_the_event_and_ends_its_wait(number: signal.Signals) -> None:
    with asked_to_stop() as stop:
        assert not stop.is_set()
        threading.Timer(0.05, os.kill, (os.getpid(), number)).start()
        assert stop.wait(20)


def test_afterwards_and_at_the_second_signal_everything_is_as_before() -> None:
    before = signal.getsignal(signal.SIGINT)
    with asked_to_stop() as stop:
        os.kill(os.getpid(), signal.SIGINT)
        assert stop.is_set()
        assert signal.getsignal(signal.SIGINT) is before
        assert signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_outside_the_main_thread_nothing_is_installed() -> None:
    seen: list[object] = []

    def look() -> None:
        with asked_to_stop() as stop:
            seen.extend([signal.getsignal(signal.SIGTERM), stop.is_set()])

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert seen == [signal.SIG_DFL, False]
