"""What one key fewer and one more would do on each crack, all others staying where they are."""

from __future__ import annotations

import dataclasses

import numpy as np

from crackmap.placement.chain import Chain, shortest
from crackmap.placement.loads import loads_cost
from crackmap.placement.one_line import around_the_rest
from crackmap.placement.problem import Problem
from crackmap.placement.relief import Woods, line_relief
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import stretches
from crackmap.records import CountOption, CountOptions
from crackmap.settings import PlacementSettings


def count_options(solved: Solved, problem: Problem, woods: Woods | None,
                  settings: PlacementSettings) -> tuple[CountOptions, ...]:
    """One entry for each line that asks for keys, in the lines' order.

    `problem` is that of the plan's candidates, without the counts asked for.
    """
    return tuple(_options_of(chain, solved, problem, woods, settings) for chain in problem.chains)


def _options_of(chain: Chain, solved: Solved, problem: Problem, woods: Woods | None,
                settings: PlacementSettings) -> CountOptions:
    numbers = solved.numbers
    here = np.isin(numbers, chain.nodes)
    elsewhere, planned = numbers[~here], int(here.sum())
    alone = around_the_rest(chain, solved, problem, elsewhere)
    as_planned = tuple(np.flatnonzero(np.isin(chain.nodes, numbers)).tolist())
    cost = chain.path_cost(as_planned) + float(alone.node[list(as_planned)].sum())
    cost += loads_cost(solved, chain.line, numbers, woods, settings)
    options = []
    for count in (planned - 1, planned, planned + 1):
        path = as_planned if count == planned else _best_of(alone, count)
        if path is None:
            continue
        kept = np.concatenate([elsewhere, chain.nodes[list(path)]]).astype(np.int64)
        change = chain.path_cost(path) + float(alone.node[list(path)].sum()) - cost
        change += loads_cost(solved, chain.line, kept, woods, settings)
        longest = max(s.length for s in stretches(solved, chain.line, kept))
        options.append(CountOption(count, change, longest, line_relief(solved, chain.line, kept, woods)))
    return CountOptions(solved.site.lines[chain.line].cracks, planned, tuple(options))


def _best_of(chain: Chain, count: int) -> tuple[int, ...] | None:
    """The best so many keys on a chain; None where they don't fit."""
    return shortest(dataclasses.replace(chain, count=count))[1] if count >= 0 else None
