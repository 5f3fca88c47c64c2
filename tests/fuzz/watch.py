"""One input through a reader, watched: traceback, sentence, time and memory."""

from __future__ import annotations

import hashlib
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from crackmap.errors import CrackmapError

MOST_SECONDS = 10.0  # of processor time for one input: others may be at work on the machine
MOST_BYTES = 2_000_000_000  # of memory, with the interpreter and all libraries
MOST_LETTERS = 1_000  # of a sentence: more fills a terminal


class Slow(BaseException):
    """An input took longer than it may; no handler of the reader's catches this."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Input that a reader does not stand, and what became of it."""

    kind: str  # traceback, sentence, slow or memory
    where: str  # the same for findings of one cause
    detail: str
    content: bytes

    @property
    def name(self) -> str:
        """A short name for its file."""
        return f"{self.kind}-{hashlib.sha256(self.where.encode()).hexdigest()[:8]}"


@dataclass
class Tally:
    """What came of a run."""

    inputs: int = 0
    read_well: int = 0
    went_on: int = 0  # of those, how many went through the next stages as well
    slowest: float = 0.0  # [s]
    peak: int = 0  # [bytes]
    findings: dict[str, Finding] = field(default_factory=dict)  # the first of each cause
    times_found: dict[str, int] = field(default_factory=dict)

    def note(self, finding: Finding | None) -> None:
        """Keep the first finding of each cause and count the rest."""
        if finding is None:
            return
        self.findings.setdefault(finding.where, finding)
        self.times_found[finding.where] = self.times_found.get(finding.where, 0) + 1


def watched(ask: Callable[[bytes], None], content: bytes, tally: Tally) -> bool:
    """True if `ask` took the content; a refusal in one sentence is no finding, anything else is."""
    start = time.process_time()
    took_it = False
    try:
        with _alarm(MOST_SECONDS):
            ask(content)
        took_it = True
    except CrackmapError as refusal:
        tally.note(_bad_sentence(refusal, content))
    except Slow as problem:
        tally.note(Finding("slow", _place(problem), _shown(problem), content))
    except MemoryError as problem:
        tally.note(Finding("memory", _place(problem), _shown(problem), content))
    except Exception as problem:
        tally.note(Finding("traceback", f"{type(problem).__name__} {_place(problem)}", _shown(problem), content))
    tally.slowest = max(tally.slowest, time.process_time() - start)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    if peak > MOST_BYTES >= tally.peak:
        tally.note(Finding("memory", "peak", f"{peak / 1e6:.0f} MB", content))
    tally.peak = max(tally.peak, peak)
    return took_it


def _bad_sentence(refusal: CrackmapError, content: bytes) -> Finding | None:
    said = str(refusal)
    wrong = ("is empty" if not said.strip() else "has more than one line" if len(said.splitlines()) > 1
             else f"has {len(said)} letters" if len(said) > MOST_LETTERS
             else "cannot be shown" if not _can_be_shown(said) else "")
    return Finding("sentence", f"{wrong.split()[0]} {_place(refusal)}", f"{wrong}: {said[:300]!r}",
                   content) if wrong else None


def _can_be_shown(said: str) -> bool:
    """No half characters, which no file can hold, and no orders to the terminal."""
    try:
        said.encode()
    except UnicodeEncodeError:
        return False
    return not any(ord(letter) < 32 or 127 <= ord(letter) < 160 for letter in said)


def _place(problem: BaseException) -> str:
    """The innermost place in crackmap, and in any library it was in."""
    frames = traceback.extract_tb(problem.__traceback__)
    own = [f for f in frames if "/crackmap/" in f.filename]
    ours = f"{Path(own[-1].filename).name}:{own[-1].lineno}" if own else "?"
    last = f"{Path(frames[-1].filename).name}:{frames[-1].name}" if frames else "?"
    return f"{ours} in {last}"


def _shown(problem: BaseException) -> str:
    frames = traceback.extract_tb(problem.__traceback__)
    way = [f"  {Path(f.filename).name}:{f.lineno} {f.name}" for f in frames if "/tests/fuzz/" not in f.filename]
    return "\n".join([f"{type(problem).__name__}: {str(problem)[:300]}", *way[-8:]])


@contextmanager
def _alarm(seconds: float) -> Iterator[None]:
    """Raise Slow in the block once it has taken `seconds`; as soon as Python code runs again."""

    def ring(_: int, __: FrameType | None) -> None:
        raise Slow(f"more than {seconds:g} s")

    former = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, former)
