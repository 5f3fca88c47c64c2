"""Keys against the load that they should bear, where the shop names the wood.

How the pull is shared among a crack's keys depends on all of them together, so
it cannot be a price of single keys. For each line, plans are therefore offered
that the loads of the last one call for (every key priced by how far it falls
short of the force at its place; as many keys as planned, one or two more), and
whichever of them is best with its true loads is taken. None of them may be the
best of all; none is worse than the plan before.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.keys.capacity import key_capacity
from crackmap.placement.chain import Chain, shortest
from crackmap.placement.one_line import around_the_rest
from crackmap.placement.problem import SLACK, Problem
from crackmap.placement.relief import Woods, line_holding
from crackmap.placement.solved import Solved
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings

_ROUNDS = 2  # prices by the loads of the plan, and of the best one found so
_MOST_MORE = 2  # keys more than planned


def loads_cost(solved: Solved, n: int, numbers: NDArray[np.int64], woods: Woods | None,
               settings: PlacementSettings) -> float:
    """What candidates `numbers` cost on line `n` by bearing more than they may; 0 where it isn't known. [keys]

    `numbers` has shape (K,); the cost counts in keys. [-]
    """
    holding = line_holding(solved, n, numbers, woods)
    if holding is None:
        return 0.0
    over = [load.capacity.wanted_factor / max(load.factor, 1e-9) - 1.0 for load in holding.loads]
    return settings.holding_weight * float(np.clip(over, 0.0, settings.most_overload).sum())


def all_loads_cost(solved: Solved, woods: Woods | None, settings: PlacementSettings) -> float:
    """`loads_cost` of a plan's asking lines together. [keys] It counts in keys. [-]"""
    return sum(loads_cost(solved, n, solved.numbers, woods, settings) for n in solved.asking)


@dataclass(frozen=True, slots=True)
class Strengthened:
    """A plan whose keys were chosen by their loads as well, and the lines on which that changed it."""

    solved: Solved
    changed: dict[int, int]  # keys on each of them, by line


def strengthen(solved: Solved, problem: Problem, woods: Woods | None, settings: PlacementSettings) -> Strengthened:
    """The plan with other keys on lines where that saves more load than it costs.

    `problem` is that of the plan's candidates, without the counts asked for.
    Lines with a count of the user's may get other sizes and places, not another
    number.
    """
    changed: dict[int, int] = {}
    if woods is None or settings.holding_weight <= 0.0:
        return Strengthened(solved, changed)
    for chain in problem.chains:
        before = loads_cost(solved, chain.line, solved.numbers, woods, settings)
        if before <= SLACK:
            continue
        better = _better(chain, solved, problem, before, woods, settings)
        if better is None:
            continue
        path, cost = better
        elsewhere = [k for k in solved.chosen if k not in set(chain.nodes.tolist())]
        changed[chain.line] = len(path)
        solved = dataclasses.replace(solved, chosen=tuple(sorted([*elsewhere, *chain.nodes[list(path)].tolist()])),
                                     objective=solved.objective + cost)
    return Strengthened(solved, changed)


def _better(chain: Chain, solved: Solved, problem: Problem, before: float, woods: Woods,
            settings: PlacementSettings) -> tuple[tuple[int, ...], float] | None:
    """Nodes of a plan of the line that is worth its extra cost, and that cost without the loads."""
    n, numbers = chain.line, solved.numbers
    alone = around_the_rest(chain, solved, problem, numbers[~np.isin(numbers, chain.nodes)])
    path = tuple(np.flatnonzero(np.isin(chain.nodes, numbers)).tolist())
    planned, base = len(path), chain.path_cost(path) + float(alone.node[list(path)].sum())
    least, found = before, None
    counts = [planned] if n in solved.counts else range(planned, planned + _MOST_MORE + 1)
    for times in range(1 + _ROUNDS):
        # First what more keys do by being more.
        surcharge = (_surcharge(chain, solved, path, woods, settings) if times else np.zeros(len(chain.nodes)))
        for count in counts:
            trial = shortest(dataclasses.replace(alone, node=alone.node + surcharge, count=count))[1]
            if trial is None:
                continue
            extra = chain.path_cost(trial) + float(alone.node[list(trial)].sum()) - base
            total = extra + loads_cost(solved, n, chain.nodes[list(trial)], woods, settings)
            if total < least - SLACK:
                least, found = total, (trial, extra)
        if times and (found is None or found[0] == path):
            break
        path = path if found is None else found[0]
    return found


def _surcharge(chain: Chain, solved: Solved, path: tuple[int, ...], woods: Woods,
               settings: PlacementSettings) -> FloatArray:
    """What each node would cost by its load if the force at its place were that of the plan `path`. [keys]"""
    candidates, line = solved.candidates, solved.site.lines[chain.line]
    holding = line_holding(solved, chain.line, chain.nodes[list(path)], woods)
    if holding is None:
        return np.zeros(len(chain.nodes))
    force = np.interp(chain.arc, chain.arc[list(path)], [load.force_n for load in holding.loads])
    widths = line.width_at(chain.arc)
    may = np.empty(len(chain.nodes))
    for kind in np.unique(candidates.pockets.kind[chain.nodes]).tolist():
        rows = np.flatnonzero(candidates.pockets.kind[chain.nodes] == kind)
        shape = candidates.pockets.cuttings[kind].shape
        # What a key bears changes little with the crack's width: the middle of its places stands for all.
        may[rows] = key_capacity(shape, woods.keys, woods.slab, float(np.median(widths[rows]))).weakest.design_n
    return settings.holding_weight * np.clip(force / np.maximum(may, 1e-9) - 1.0, 0.0, settings.most_overload)
