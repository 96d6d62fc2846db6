"""Python's collector of cyclic garbage, switched off while a season is searched."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

_lock = Lock()
_within = 0
_was_on = False


@contextmanager
def no_collector() -> Iterator[None]:
    """Switch the collector off, and afterwards, errors included, to what it was before.

    The search remembers hundreds of thousands of routes that no cycle holds; the collector walks through all of them again and
    again and finds nothing. It belongs to the whole process, so that of several searches in threads the last restores it.
    """
    global _within, _was_on
    with _lock:
        if not _within:
            _was_on = gc.isenabled()
            gc.disable()
        _within += 1
    try:
        yield
    finally:
        with _lock:
            _within -= 1
            if not _within and _was_on:
                gc.enable()
