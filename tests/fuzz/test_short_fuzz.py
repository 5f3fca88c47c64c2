"""A few hundred damaged inputs for every reader, the same ones every time; the long runs are `python -m tests.fuzz`."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.bench import Bench
from tests.fuzz.readers import READERS, Reader
from tests.fuzz.watch import Finding, Slow, Tally, watched

INPUTS = 200  # for each reader
FEWER = {"photo": 80, "review": 40}  # these take milliseconds each


@pytest.fixture(scope="module")
def reader_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Reader]:
    """Each reader once, all on one bench."""
    bench = Bench(tmp_path_factory.mktemp("fuzz"))
    made: dict[str, Reader] = {}

    def reader(name: str) -> Reader:
        if name not in made:
            made[name] = READERS[name](bench)
        return made[name]

    return reader


@pytest.mark.parametrize("name", [name for name in READERS if name != "job"])
def test_damaged_input_is_read_or_refused_in_a_sentence(name: str, reader_of: Callable[[str], Reader]) -> None:
    reader, tally = reader_of(name), Tally()

    @settings(max_examples=FEWER.get(name, INPUTS), deadline=None, database=None, derandomize=True,
              suppress_health_check=list(HealthCheck))
    @given(st.integers(0, len(reader.seeds) - 1), st.randoms(use_true_random=True))
    def one(which: int, random: Random) -> None:
        content = reader.mutate(reader.seeds[which], reader.seeds, random)
        watched(reader.read, content, tally)
        assert not tally.findings, next(iter(tally.findings.values())).detail

    one()
    assert tally.slowest < 10


@pytest.mark.parametrize("name", [name for name in READERS if name not in ("review", "job")])
def test_valid_input_is_read(name: str, reader_of: Callable[[str], Reader]) -> None:
    """Else the damaged input would be refused for another reason than its damage."""
    reader = reader_of(name)
    refused = []
    for seed in reader.seeds:
        if not watched(reader.read, seed, Tally()):
            refused.append(seed[:20])
    # of photos, floating point and GIF are refused by design; of texts, each is none to some of those who read it
    assert len(refused) <= {"photo": 2}.get(name, 0), refused


def found_in(ask: Callable[[bytes], None]) -> Finding | None:
    """What the watch finds in one call."""
    tally = Tally()
    watched(ask, b"", tally)
    return next(iter(tally.findings.values()), None)


def test_the_watch_finds_what_it_watches_for() -> None:
    from crackmap.errors import JobError

    def raising(problem: BaseException) -> Callable[[bytes], None]:
        def ask(_: bytes) -> None:
            raise problem

        return ask

    kinds = {"traceback": ValueError("x"), "memory": MemoryError(), "slow": Slow("x")}
    for kind, problem in kinds.items():
        found = found_in(raising(problem))
        assert found is not None and found.kind == kind
    for said in ("", "two\nlines", "w" * 2000, "half \ud800", "\x1b[31m"):
        found = found_in(raising(JobError(said)))
        assert found is not None and found.kind == "sentence", said
    assert found_in(raising(JobError("The file is missing; make the job again."))) is None
