"""Average the weights of networks fitted one from another, which evens out what each learned by chance.

    python -m tests.benchmarks.width_network.average OUT A.pt B.pt [...]

References
----------
.. [1] P. Izmailov and others, "Averaging weights leads to wider optima and better
   generalization," UAI 2018: the method. From memory.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from tests.benchmarks.width_network.lip_network import LipNetwork
from tests.benchmarks.width_network.train import write_network


def main() -> None:
    """Read, average, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("weights", type=Path, nargs="+")
    arguments = parser.parse_args()
    states = [torch.load(file, map_location="cpu", weights_only=True) for file in arguments.weights]
    mean = {
        name: (sum(state[name].float() for state in states) / len(states)).to(value.dtype)
        for name, value in states[0].items()
    }
    network = LipNetwork()
    network.load_state_dict(mean)
    write_network(network, arguments.out)


if __name__ == "__main__":
    main()
