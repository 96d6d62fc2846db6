"""Parts of a season solved by processes of this machine: `python -m scheduling.processes` reads a part and writes its result.

Processes and not threads, because the search is Python; started apart from this one and not forked from it, so that it works
inside a Celery worker, too.
"""

import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from scheduling.kernel.search.parts import Part, PartResult, solve_part

_ROOT = Path(__file__).resolve().parents[1]


class ProcessHelpers:
    """So many processes at once. A process that dies loses its part and nothing else."""

    def __init__(self, count: int) -> None:
        self.count = count

    def start(self, parts: Sequence[Part]) -> "Processes":
        """Start a process for each part; they lower their priority, so that the site stays quick."""
        return Processes(parts)

    def wait(self, seconds: float) -> None:
        """Let a moment pass."""
        time.sleep(seconds)


class Processes:
    """Processes at work; leaving the `with` block, or asking for the results, ends those that still run."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self._running: list[tuple[subprocess.Popen[bytes], IO[bytes]]] = []
        for part in parts:
            self._start(part)

    def _start(self, part: Part) -> None:
        out: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 (closed with the results)
        command = [sys.executable, "-m", "scheduling.processes"]
        process = subprocess.Popen(command, cwd=_ROOT, stdin=subprocess.PIPE, stdout=out, env=dict(os.environ))
        assert process.stdin is not None
        try:
            pickle.dump(part, process.stdin)
            process.stdin.close()
        except BrokenPipeError:  # it died at once: its part is lost
            pass
        self._running.append((process, out))

    def done(self) -> bool:
        """Whether every process has ended."""
        return all(process.poll() is not None for process, _ in self._running)

    def results(self) -> list[PartResult | None]:
        """What the processes found, in the order of the parts; None where one was ended early or died."""
        return [_result(process, out) for process, out in self._running]

    def __enter__(self) -> "Processes":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        for process, out in self._running:
            process.kill()
            process.wait()
            out.close()


def _result(process: subprocess.Popen[bytes], out: IO[bytes]) -> PartResult | None:
    if process.poll() is None:
        process.kill()
    process.wait()
    found: Any = None
    if process.returncode == 0:
        out.seek(0)
        found = pickle.load(out)  # noqa: S301 (written by our own process)
    out.close()
    return found if isinstance(found, PartResult) else None


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def helpers_for(seconds: float | None) -> ProcessHelpers | None:
    """Helpers for a search of some seconds: none on one core, or where starting them would take longer than they help."""
    count = cores()
    return ProcessHelpers(count) if count > 1 and seconds is not None and seconds >= 4 else None


def main() -> None:
    """Solve the part on stdin, write its result on stdout."""
    os.nice(1)
    part = pickle.load(sys.stdin.buffer)  # noqa: S301 (written by our own process)
    pickle.dump(solve_part(part, time.monotonic), sys.stdout.buffer)


if __name__ == "__main__":
    main()
