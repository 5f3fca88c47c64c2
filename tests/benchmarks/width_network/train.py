"""Fit the width network on made-up strips and write it as ONNX.

    python -m tests.benchmarks.width_network.train OUT [--making 150] [--fitting 150] [--start FILE.pt --rate 5e-4]

Strips are made on all of the processor's cores for `making` seconds, then the
network is fitted for `fitting` seconds, on a GPU where PyTorch sees one. Copy
OUT/width_network.onnx to crackmap/survey. Needs PyTorch, which nothing else does.
width_network.pt, beside this file, holds the weights in use, to go on from:
46,656 strips fitted for 130 s on a GPU, then 1,536 and 1,200 fresh ones, with
rounder lips and a camera's contrast, for 360 and 660 s on two processor cores at
a low rate; the weights of the last two were averaged (`average`).
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import time
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from crackmap.survey.width_inputs import ACROSS, CHANNELS, read_answers, strip_inputs
from tests.benchmarks.width_network.lip_network import LipNetwork, loss_of
from tests.benchmarks.width_network.strips import COLUMNS, make_strip

CHUNK = 48  # strips that a worker makes at a time
HELD = 1500  # strips kept out of the fit, for its figures
Strips = tuple[NDArray[np.float16], NDArray[np.float32]]


def made_strips(seed: int) -> Strips:
    """Inputs (CHUNK, CHANNELS, M, N) and truth (CHUNK, 4, N): reach, width, middle, counts."""
    rng = np.random.default_rng(seed)
    made = [make_strip(rng) for _ in range(CHUNK)]
    inputs = [strip_inputs((strip.root / 255.0) ** 2, strip.reach) for strip in made]
    truth = [np.stack([strip.reach, strip.width, strip.middle, strip.counts]) for strip in made]
    return np.array(inputs, np.float16), np.array(truth, np.float32)


def supply(seconds: float, seed: int) -> Strips:
    """As many strips as all cores make in `seconds`."""
    end = time.monotonic() + seconds
    inputs, truth = [], []
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        for made in pool.imap_unordered(made_strips, range(seed, seed + 100000)):
            inputs.append(made[0])
            truth.append(made[1])
            if time.monotonic() > end:
                pool.terminate()
                break
    return np.concatenate(inputs), np.concatenate(truth)


def turned(inputs: Tensor, truth: Tensor) -> tuple[Tensor, Tensor]:
    """A batch mirrored across or along the crack at random."""
    if torch.rand(1).item() < 0.5:
        inputs = torch.cat([inputs[:, :3].flip(2), inputs[:, 3:]], 1)
        truth = truth * torch.tensor([1.0, 1.0, -1.0, 1.0], device=truth.device)[:, None]
    if torch.rand(1).item() < 0.5:
        inputs, truth = inputs.flip(3), truth.flip(2)
    return inputs, truth


def fit(network: LipNetwork, inputs: Tensor, truth: Tensor, seconds: float, rate: float, batch: int) -> None:
    """Adam with a rate that rises briefly to `rate` and falls to nought over `seconds`."""
    steps = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-4)
    begun = time.monotonic()
    count = 0
    network.train()
    while (share := (time.monotonic() - begun) / seconds) < 1:
        for group in steps.param_groups:
            group["lr"] = rate * min(1.0, (count + 1) / 200) * 0.5 * (1 + math.cos(math.pi * share)) + 1e-6
        chosen = torch.randint(len(inputs), (batch,), device=inputs.device)
        seen, true = turned(inputs[chosen].float(), truth[chosen])
        loss = loss_of(network(seen), *true.unbind(1))
        steps.zero_grad()
        loss.backward()
        steps.step()
        count += 1
        if count % 500 == 0:
            print(f"{time.monotonic() - begun:5.0f} s, {count} batches, loss {loss.item():.3f}", flush=True)


def report(network: LipNetwork, inputs: Tensor, truth: Tensor) -> None:
    """Errors on strips left out, by true width. [px]"""
    network.eval()
    with torch.no_grad():
        answers = torch.cat([network(part.float()) for part in inputs.split(250)])
    reach, width, middle, counts = truth.cpu().numpy().transpose(1, 0, 2).reshape(4, -1)
    found, shift, doubt, _ = read_answers(answers.cpu().numpy().transpose(1, 0, 2).reshape(4, -1), reach)
    for low, high in ((0.0, 0.3), (0.3, 0.7), (0.7, 1.5), (1.5, 3), (3, 6), (6, 15), (15, 60)):
        k = (width >= low) & (width < high) & (counts > 0.5)
        error, unsure = found[k] - width[k], doubt[k]
        print(
            f"{low:4.1f} to {high:4.1f} px: median abs {np.median(np.abs(error)):.2f}, bias {np.median(error):+.2f}, "
            f"within one doubt {np.mean(np.abs(error) < unsure):.2f}, three {np.mean(np.abs(error) < 3 * unsure):.2f}, "
            f"middle {np.median(np.abs(shift[k] - middle[k])):.2f}"
        )


def write_network(network: LipNetwork, out: Path) -> None:
    """Write width_network.pt and width_network.onnx to the folder `out`."""
    network = network.cpu().eval()
    out.mkdir(parents=True, exist_ok=True)
    torch.save(network.state_dict(), out / "width_network.pt")
    torch.onnx.export(
        network, (torch.zeros(1, CHANNELS, len(ACROSS), COLUMNS),), str(out / "width_network.onnx"),
        input_names=["strip"], output_names=["answers"], opset_version=17, dynamo=False,
        dynamic_axes={"strip": {3: "along"}, "answers": {2: "along"}},
    )


def main() -> None:
    """Make, fit, report, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--making", type=float, default=150)
    parser.add_argument("--fitting", type=float, default=150)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--start", type=Path, help="a width_network.pt to go on from")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--batch", type=int, default=160)
    arguments = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    inputs, truth = (torch.from_numpy(array) for array in supply(arguments.making, arguments.seed))
    print(f"{len(inputs)} strips", flush=True)
    held = min(HELD, len(inputs) // 5)
    inputs, truth = inputs.to(device), truth.to(device)
    network = LipNetwork().to(device)
    if arguments.start:
        network.load_state_dict(torch.load(arguments.start, map_location=device, weights_only=True))
    fit(network, inputs[held:], truth[held:], arguments.fitting, arguments.rate, arguments.batch)
    report(network, inputs[:held], truth[:held])
    write_network(network, arguments.out)


if __name__ == "__main__":
    main()
