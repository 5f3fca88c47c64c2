"""Progress on the terminal: a line a stage, on standard error."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

import click


class Progress:
    """Prints "[2/7] Finding the markers ... 0.4 s" as the stages go by."""

    def __init__(self, stages: int, quiet: bool = False) -> None:
        self._stages = stages
        self._done = 0
        self._quiet = quiet

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        """Announce a stage, and say how long it took when it ends."""
        self._done += 1
        began = time.perf_counter()
        self._print(f"[{self._done}/{self._stages}] {words} ...", newline=False)
        try:
            yield
        except BaseException:
            self._print("")
            raise
        self._print(f" {time.perf_counter() - began:.1f} s")

    def _print(self, text: str, newline: bool = True) -> None:
        if not self._quiet:
            click.echo(text, nl=newline, err=True)
