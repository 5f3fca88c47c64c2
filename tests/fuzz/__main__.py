"""`python -m tests.fuzz READER [--runs N] [--seconds S]`: damaged input for a reader until runs or time are up."""

from __future__ import annotations

import argparse
import faulthandler
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.fuzz.readers import Reader
    from tests.fuzz.watch import Tally

NAMES = ("photo", "survey", "edits", "plan", "job", "shop", "lengths", "lens", "align", "review")
_SHARE_OF_NEXT_STAGES = 0.5  # of the time
_MOST_CORPUS = 2_000  # inputs that read well are kept to be changed further
_LAST = "last-input"


class Run:
    """One run of one reader."""

    def __init__(self, reader: Reader, runs: int, seconds: float, keep: Path) -> None:
        from tests.fuzz.watch import Tally

        self.tally: Tally = Tally()
        self._reader, self._runs, self._keep = reader, runs, keep
        self._start = time.monotonic()
        self._end = self._start + seconds
        self._next_stages = 0.0
        keep.mkdir(parents=True, exist_ok=True)

    @property
    def is_over(self) -> bool:
        """True once there were enough inputs or enough time."""
        return self.tally.inputs >= self._runs or time.monotonic() >= self._end

    def one(self, content: bytes) -> bool:
        """An input through the reader and, now and then, the next stages; True if it read well."""
        from tests.fuzz.watch import watched

        (self._keep / _LAST).write_bytes(content)  # for the case that a library ends the process
        self.tally.inputs += 1
        faulthandler.dump_traceback_later(180, exit=True)  # waiting for ever takes no processor time
        before = len(self.tally.findings)
        if not watched(self._reader.read, content, self.tally):
            self._save(before)
            return False
        self.tally.read_well += 1
        if self._reader.go_on and self._next_stages <= _SHARE_OF_NEXT_STAGES * (time.monotonic() - self._start):
            start = time.monotonic()
            watched(self._reader.go_on, content, self.tally)
            self.tally.went_on += 1
            self._next_stages += time.monotonic() - start
        self._save(before)
        return True

    def _save(self, before: int) -> None:
        for finding in list(self.tally.findings.values())[before:]:
            (self._keep / finding.name).write_bytes(finding.content)
            print(f"  {finding.kind} {finding.where} [{finding.name}]\n    " + finding.detail.replace("\n", "\n    "),
                  flush=True)

    def report(self, name: str) -> str:
        """The line of the table."""
        t, minutes = self.tally, (time.monotonic() - self._start) / 60
        return (f"{name:8} {t.inputs:8,d} inputs, {t.read_well:7,d} read well, {t.went_on:6,d} went on, "
                f"{minutes:5.1f} min, slowest {t.slowest:5.2f} s, peak {t.peak / 1e6:5.0f} MB, "
                f"findings {len(t.findings)}")


def by_structure(reader: Reader, run: Run, seed: int) -> None:
    """Inputs made by changing valid ones, and those that read well further."""
    random = Random(seed)
    corpus = list(reader.seeds)
    for content in reader.seeds:
        if not run.one(content):
            print("  (a seed is refused)")
    while not run.is_over:
        start = random.choice(reader.seeds) if random.random() < 0.7 else random.choice(corpus)
        content = reader.mutate(start, corpus, random)
        if run.one(content) and len(content) < 200_000:
            if len(corpus) < _MOST_CORPUS:
                corpus.append(content)
            else:
                corpus[random.randrange(len(reader.seeds), len(corpus))] = content


def by_coverage(reader: Reader, run: Run, name: str, keep: Path, end: Callable[[], None]) -> None:
    """Inputs that libFuzzer chooses by the code they reach, changed by the same mutations."""
    import atheris  # type: ignore[import-untyped]

    def one(content: bytes) -> None:
        run.one(content)
        if run.is_over:
            end()

    def mutate(content: bytes, most: int, seed: int) -> bytes:
        random = Random(seed)
        changed = reader.mutate(content or random.choice(reader.seeds), reader.seeds, random)
        return changed if len(changed) <= most else reader.seeds[seed % len(reader.seeds)]

    corpus = keep / "corpus"
    corpus.mkdir(exist_ok=True)
    for number, content in enumerate(reader.seeds):
        (corpus / f"seed-{number}").write_bytes(content)
    atheris.Setup([name, str(corpus), "-timeout=0", "-rss_limit_mb=0", "-max_len=400000", "-verbosity=0",
                   "-len_control=0"], one, custom_mutator=mutate)
    atheris.Fuzz()


def main() -> None:
    """Parse the command line, run, print the table's line; ends with status 1 if anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("reader", choices=NAMES)
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=1200.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--engine", choices=("structure", "coverage"), default="structure",
                        help="coverage needs the package atheris")
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "crackmap-fuzz",
                        help="folder for the inputs that were found")
    parser.add_argument("--replay", type=Path, help="put this one file through the reader and its next stages")
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_DATA, (4_000_000_000, resource.RLIM_INFINITY))
    if asked.engine == "coverage":
        import atheris

        with atheris.instrument_imports(include=["crackmap"]):
            from tests.fuzz.readers import READERS
    else:
        from tests.fuzz.readers import READERS
    from tests.fuzz.bench import Bench

    with tempfile.TemporaryDirectory() as scratch:
        reader = READERS[asked.reader](Bench(Path(scratch)))
        if asked.replay is not None:
            content = asked.replay.read_bytes()
            reader.read(content)
            if reader.go_on:
                reader.go_on(content)
            return
        keep = asked.keep / asked.reader
        run = Run(reader, asked.runs, asked.seconds, keep)

        def end() -> None:
            print(run.report(asked.reader), flush=True)
            if asked.engine == "coverage":
                os._exit(1 if run.tally.findings else 0)  # libFuzzer does not give control back

        if asked.engine == "coverage":
            by_coverage(reader, run, asked.reader, keep, end)
        by_structure(reader, run, asked.seed)
        end()
    sys.exit(1 if run.tally.findings else 0)


if __name__ == "__main__":
    main()
