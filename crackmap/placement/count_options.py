"""What one key fewer and one more would do on each crack, all others staying where they are."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.chain import Chain, shortest
from crackmap.placement.problem import Problem
from crackmap.placement.relief import Woods, line_relief
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import stretches
from crackmap.records import CountOption, CountOptions


def count_options(solved: Solved, problem: Problem, woods: Woods | None) -> tuple[CountOptions, ...]:
    """One entry for each line that asks for keys, in the lines' order.

    `problem` is that of the plan's candidates, without the counts asked for.
    """
    return tuple(_options_of(chain, solved, problem, woods) for chain in problem.chains)


def _options_of(chain: Chain, solved: Solved, problem: Problem, woods: Woods | None) -> CountOptions:
    numbers = solved.numbers
    here = np.isin(numbers, chain.nodes)
    elsewhere, planned = numbers[~here], int(here.sum())
    alone = _around_the_rest(chain, solved, problem, elsewhere)
    as_planned = tuple(np.flatnonzero(np.isin(chain.nodes, numbers)).tolist())
    cost = chain.path_cost(as_planned) + float(alone.node[list(as_planned)].sum())
    options = []
    for count in (planned - 1, planned, planned + 1):
        path = as_planned if count == planned else _best_of(alone, count)
        if path is None:
            continue
        kept = np.concatenate([elsewhere, chain.nodes[list(path)]]).astype(np.int64)
        change = chain.path_cost(path) + float(alone.node[list(path)].sum()) - cost
        longest = max(s.length for s in stretches(solved, chain.line, kept))
        options.append(CountOption(count, change, longest, line_relief(solved, chain.line, kept, woods)))
    return CountOptions(solved.site.lines[chain.line].cracks, planned, tuple(options))


def _around_the_rest(chain: Chain, solved: Solved, problem: Problem, elsewhere: NDArray[np.int64]) -> Chain:
    """The line's chain at full prices, without what touches keys elsewhere or holds another line as well.

    A key that holds this line and another stays: it is the other's too.
    """
    chosen = np.isin(chain.nodes, solved.numbers)
    shared = solved.candidates.crossings.held[chain.nodes][:, list(solved.asking)].sum(axis=1) > 1
    banned = problem.touching[np.ix_(chain.nodes, elsewhere)].any(axis=1) | (shared & ~chosen)
    node = np.where(banned, np.inf, problem.price[chain.nodes])
    return dataclasses.replace(chain, node=node).through(problem.needed[chain.nodes] | (shared & chosen))


def _best_of(chain: Chain, count: int) -> tuple[int, ...] | None:
    """The best so many keys on a chain; None where they don't fit."""
    return shortest(dataclasses.replace(chain, count=count))[1] if count >= 0 else None
