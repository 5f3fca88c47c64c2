"""Fit the crack network and write it as ONNX.

    python -m crackmap.training.train OUT --pieces 40000 --making-seconds 240 --fitting-seconds 280

Runs on a GPU where PyTorch sees one, else on the processor. Nothing of it is
needed to use crackmap.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from crackmap.training.line_network import LineNetwork
from crackmap.training.patches import training_pieces
from crackmap.training.variety import varied

_GAIN = 2.5  # a pixel two fifths crack already counts as crack: hairlines never cover more
_DOUBT = 0.12  # a pixel with less crack than this can be called neither
_CLASS_WEIGHTS = (1.0, 0.5, 0.2, 0.2)  # crack, void, face, thing


def loss_of(log_odds: Tensor, masks: Tensor) -> Tensor:
    """Cross-entropy and overlap loss of the crack, cross-entropy of the other classes."""
    crack = masks[:, 0]
    target = (crack * _GAIN).clamp(0, 1)
    counts = ((crack == 0) | (crack > _DOUBT)).float()
    entropy = torch.nn.functional.binary_cross_entropy_with_logits(log_odds[:, 0], target, reduction="none")
    total = _CLASS_WEIGHTS[0] * (entropy * counts * (1 + 3 * target)).mean()
    chance = torch.sigmoid(log_odds[:, 0]) * counts
    overlap = (chance * target).sum((1, 2)) + 20
    total = total + 0.3 * (1 - 2 * overlap / ((chance + target * counts).sum((1, 2)) + 40)).mean()
    for index in (1, 2, 3):
        entropy = torch.nn.functional.binary_cross_entropy_with_logits(log_odds[:, index], masks[:, index])
        total = total + _CLASS_WEIGHTS[index] * entropy
    return total


def fit(pieces: Tensor, seconds: float, batch: int, device: str, seed: int) -> LineNetwork:
    """A network fitted for `seconds`, by Adam with a falling rate; the last state's moving mean is returned."""
    torch.manual_seed(seed)
    generator = torch.Generator(device=device).manual_seed(seed)
    network = LineNetwork().to(device, memory_format=torch.channels_last)
    steady = torch.optim.swa_utils.AveragedModel(network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.999),
                                                 use_buffers=True)
    adam = torch.optim.AdamW(network.parameters(), lr=3e-3, weight_decay=1e-4)
    began, step, mean_loss = time.monotonic(), 0, 0.0
    while (share := (time.monotonic() - began) / seconds) < 1:
        for group in adam.param_groups:
            group["lr"] = 3e-3 * min(1, (step + 1) / 200) * 0.5 * (1 + math.cos(math.pi * share)) + 1e-5
        chosen = torch.randint(len(pieces), (batch,))
        pictures, masks = varied(pieces[chosen].to(device, non_blocking=True).permute(0, 3, 1, 2), generator)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            log_odds = network(pictures.contiguous(memory_format=torch.channels_last))
        loss = loss_of(log_odds.float(), masks)
        adam.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        adam.step()
        steady.update_parameters(network)
        step += 1
        mean_loss += (float(loss) - mean_loss) * 0.02 if step % 10 == 0 else 0.0
        if step % 500 == 0:
            print(f"step {step} {share:.0%} loss {mean_loss:.4f}", flush=True)
    print(f"{step} steps, loss {mean_loss:.4f}", flush=True)
    fitted = steady.module
    assert isinstance(fitted, LineNetwork)
    return fitted.eval()


@torch.no_grad()
def figures(network: LineNetwork, pieces: Tensor, device: str) -> dict[str, float]:
    """Pixel precision and recall on pieces that were not fitted on, at even odds, for orientation."""
    hits = found = true = 0.0
    for start in range(0, len(pieces), 64):
        part = pieces[start:start + 64].to(device).permute(0, 3, 1, 2).float() / 255
        chance = torch.sigmoid(network(part[:, :3]))[:, 0] > 0.5
        crack = part[:, 3] > 0.4
        near = torch.nn.functional.max_pool2d(part[:, 3:4], 3, 1, 1)[:, 0] > 0.1
        hits += float((chance & near).sum())
        found += float(chance.sum())
        true += float(crack.sum())
    caught = 0.0
    for start in range(0, len(pieces), 64):
        part = pieces[start:start + 64].to(device).permute(0, 3, 1, 2).float() / 255
        chance = torch.sigmoid(network(part[:, :3]))[:, 0] > 0.5
        caught += float((chance & (part[:, 3] > 0.4)).sum())
    return {"precision": hits / max(found, 1), "recall": caught / max(true, 1)}


def main() -> None:
    """Make the pieces, fit, check on pieces left out, write OUT/crack_network.onnx."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--pieces", type=int, default=40_000)
    parser.add_argument("--first-seed", type=int, default=1_000_000)
    parser.add_argument("--making-seconds", type=float, default=3600)
    parser.add_argument("--fitting-seconds", type=float, default=3600)
    parser.add_argument("--batch", type=int, default=64)
    arguments = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.monotonic()
    made = np.stack(list(training_pieces(arguments.pieces, arguments.first_seed, arguments.making_seconds)))
    print(f"{len(made)} pieces in {time.monotonic() - began:.0f} s", flush=True)
    pieces = torch.from_numpy(made)
    held = max(len(pieces) // 20, 1)
    network = fit(pieces[held:], arguments.fitting_seconds, arguments.batch, device, 1)
    checked = figures(network, pieces[:held], device) | {"pieces": len(pieces)}
    print(json.dumps(checked), flush=True)
    arguments.out.mkdir(parents=True, exist_ok=True)
    network = network.cpu().to(memory_format=torch.contiguous_format)
    torch.save(network.state_dict(), arguments.out / "crack_network.pt")
    shape = torch.zeros(1, 3, 512, 512)
    torch.onnx.export(network, (shape,), str(arguments.out / "crack_network.onnx"), input_names=["picture"],
                      output_names=["log_odds"], opset_version=17, dynamo=False,
                      dynamic_axes={"picture": {2: "rows", 3: "columns"}, "log_odds": {2: "rows", 3: "columns"}})


if __name__ == "__main__":
    main()
