"""A pytest plugin for mutation runs: forget every answer kept by a cache before each test.

A mutation tool notes which test runs which function, and forks each mutant from a process in which the tests have run
once. What `lru_cache` kept would spare a test the function, or answer for the mutant, which then seems to survive
without having run.
"""

from __future__ import annotations

import gc
from functools import _lru_cache_wrapper


def pytest_runtest_setup() -> None:
    for each in gc.get_objects():
        if isinstance(each, _lru_cache_wrapper):
            each.cache_clear()
