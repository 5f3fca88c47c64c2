"""Fit the crack network and write it as ONNX.

    python -m tests.benchmarks.crack_network.train OUT --pieces 60000 --seconds 500

Runs on a GPU where PyTorch sees one, else on the processor. Nothing of it is
needed to use crackmap.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from tests.benchmarks.crack_network.board_pieces import board_pictures
from tests.benchmarks.crack_network.line_network import LineNetwork
from tests.benchmarks.crack_network.patches import MASKS, SIZE_PX, training_pieces
from tests.benchmarks.crack_network.variety import varied

_GAIN = 2.5  # a pixel two fifths crack already counts as crack: hairlines never cover more
_DOUBT = 0.12  # a pixel with less crack than this can be called neither
_OTHER_WEIGHTS = (0.5, 0.2, 0.2)  # void, face, thing
RATE = 3e-3  # highest rate of learning
SETTLING_BATCHES = 60
HELD_PIECES = 640  # kept out of the fit, for its figures
FIRST_PIECES = 256  # before the fit begins
BOARD_SHARE = 0.09  # of a batch, where real boards are given


def loss_of(crack_odds: Tensor, other_odds: Tensor, masks: Tensor) -> Tensor:
    """Cross-entropy and overlap loss of the crack, cross-entropy of the other classes."""
    crack = masks[:, 0]
    target = (crack * _GAIN).clamp(0, 1)
    counts = ((crack == 0) | (crack > _DOUBT)).float()
    entropy = torch.nn.functional.binary_cross_entropy_with_logits(crack_odds[:, 0], target, reduction="none")
    total = (entropy * counts * (1 + 3 * target)).mean()
    chance = torch.sigmoid(crack_odds[:, 0]) * counts
    overlap = (chance * target).sum((1, 2)) + 20
    total = total + 0.3 * (1 - 2 * overlap / ((chance + target * counts).sum((1, 2)) + 40)).mean()
    others = torch.nn.functional.avg_pool2d(masks[:, 1:], 2)
    for index, weight in enumerate(_OTHER_WEIGHTS):
        entropy = torch.nn.functional.binary_cross_entropy_with_logits(other_odds[:, index], others[:, index])
        total = total + weight * entropy
    return total


class Supply:
    """Pieces in the memory of `device`, more of them while the fit is already running.

    Making pieces is work for the processor's cores, fitting for the GPU: neither waits for the other.
    """

    def __init__(
        self, making: Iterator[NDArray[np.uint8]], most: int, first: int, device: str,
        boards: Sequence[NDArray[np.uint8]] = (),
    ) -> None:
        self.boards = [torch.from_numpy(board).to(device) for board in boards]
        self.on_cracks = [np.argwhere(board[:, :, 3] == 255) for board in boards]
        self.draw = np.random.default_rng(7)
        self.kept = torch.empty((most, SIZE_PX, SIZE_PX, 3 + len(MASKS)), dtype=torch.uint8, device=device)
        self.count = 0
        for piece in itertools.islice(making, first):
            self._add(piece)
        threading.Thread(target=self._fill, args=(making,), daemon=True).start()

    def _fill(self, making: Iterator[NDArray[np.uint8]]) -> None:
        for piece in making:
            self._add(piece)

    def _add(self, piece: NDArray[np.uint8]) -> None:
        self.kept[self.count] = torch.from_numpy(piece)
        self.count += 1

    def batch(self, size: int, generator: torch.Generator) -> Tensor:
        """`size` of the pieces made so far, shape (size, 7, H, W)."""
        chosen = torch.randint(self.count, (size,), generator=generator, device=self.kept.device)
        pieces = self.kept[chosen]
        for place in range(round(size * BOARD_SHARE) if self.boards else 0):
            pieces[place] = self._board_piece()
        return pieces.permute(0, 3, 1, 2)

    def _board_piece(self) -> Tensor:
        """A random square of a real board at its own or half its size, round a crack where it has one."""
        number = int(self.draw.integers(len(self.boards)))
        board, cracks = self.boards[number], self.on_cracks[number]
        shrink = int(self.draw.integers(1, 3))
        side = shrink * SIZE_PX
        corner = self.draw.integers(0, np.array(board.shape[:2]) - side + 1)
        if len(cracks):
            corner = cracks[int(self.draw.integers(len(cracks)))] - self.draw.integers(0, side, 2)
            corner = np.clip(corner, 0, np.array(board.shape[:2]) - side)
        piece = board[corner[0]:corner[0] + side, corner[1]:corner[1] + side]
        if shrink == 1:
            return piece
        small = torch.nn.functional.avg_pool2d(piece.permute(2, 0, 1)[None].float(), shrink)
        return small[0].permute(1, 2, 0).round().to(torch.uint8)


def fit(
    supply: Supply, seconds: float, batch: int, device: str, seed: int, start: Path | None = None
) -> LineNetwork:
    """A network fitted for `seconds`, by Adam with a rate that falls to nothing; from the weights in `start` on."""
    torch.manual_seed(seed)
    generator = torch.Generator(device=device).manual_seed(seed)
    network = LineNetwork()
    if start is not None:
        network.load_state_dict(torch.load(start, weights_only=True))
    network = network.to(device, memory_format=torch.channels_last)
    adam = torch.optim.AdamW(network.parameters(), lr=RATE, weight_decay=1e-4, fused=device == "cuda")
    began, step, mean_loss = time.monotonic(), 0, 0.0
    while (share := (time.monotonic() - began) / seconds) < 1:
        for group in adam.param_groups:
            group["lr"] = RATE * min(1, (step + 1) / 200) * 0.5 * (1 + math.cos(math.pi * share)) + 1e-6
        pictures, masks = varied(supply.batch(batch, generator), generator)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            odds = network.log_odds(pictures.contiguous(memory_format=torch.channels_last))
        loss = loss_of(odds[0].float(), odds[1].float(), masks)
        adam.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        adam.step()
        step += 1
        if step % 10 == 0:  # reading the loss makes the GPU wait
            mean_loss += (float(loss.detach()) - mean_loss) * (0.02 if step > 10 else 1.0)
        if step % 500 == 0:
            print(f"step {step} {share:.0%} loss {mean_loss:.4f}, {supply.count} pieces", flush=True)
    print(f"{step} steps, loss {mean_loss:.4f}", flush=True)
    return settled(network, supply, batch, generator)


@torch.no_grad()
def settled(network: LineNetwork, supply: Supply, batch: int, generator: torch.Generator) -> LineNetwork:
    """The network with the means and spreads of its layers measured anew at its last state."""
    layers = [layer for layer in network.modules() if isinstance(layer, torch.nn.BatchNorm2d)]
    for layer in layers:
        layer.reset_running_stats()
        layer.momentum = None  # the plain mean of all batches
    network.train()
    for _ in range(SETTLING_BATCHES):
        pictures, _ = varied(supply.batch(batch, generator), generator)
        network(pictures.contiguous(memory_format=torch.channels_last))
    return network.eval()


@torch.no_grad()
def figures(network: LineNetwork, pieces: Tensor, device: str) -> dict[str, float]:
    """Pixel precision and recall on pieces that were not fitted on, and the share of false pixels where no crack is.

    At even odds, for orientation: lines are judged elsewhere.
    """
    hits = found = true = caught = false = sound = 0.0
    for start in range(0, len(pieces), 64):
        part = pieces[start:start + 64].to(device).permute(0, 3, 1, 2).float() / 255
        chance = network.log_odds(part[:, :3])[0][:, 0] > 0
        crack = part[:, 3] > 0.4
        near = torch.nn.functional.max_pool2d(part[:, 3:4], 3, 1, 1)[:, 0] > 0.1
        hits += float((chance & near).sum())
        found += float(chance.sum())
        true += float(crack.sum())
        caught += float((chance & crack).sum())
        clean = part[:, 3].amax((1, 2)) == 0
        false += float(chance[clean].sum())
        sound += float(clean.sum()) * SIZE_PX * SIZE_PX
    false_per_mpx = 1e6 * false / max(sound, 1)
    return {"precision": hits / max(found, 1), "recall": caught / max(true, 1), "false per Mpx": false_per_mpx}


def main() -> None:
    """Make the pieces, fit, check on pieces left out, write OUT/crack_network.onnx."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--pieces", type=int, default=40_000)
    parser.add_argument("--first-seed", type=int, default=1_000_000)
    parser.add_argument("--seconds", type=float, default=3600, help="for making and fitting, side by side")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--boards", type=Path, help="folder of real boards; half of them is fitted on too")
    parser.add_argument("--start", type=Path, help="crack_network.pt of an earlier fit to go on from")
    arguments = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cudnn.benchmark = True
    making = training_pieces(arguments.pieces, arguments.first_seed, arguments.seconds)
    held = list(itertools.islice(making, min(max(arguments.pieces // 50, 1), HELD_PIECES)))
    supply = Supply(making, arguments.pieces, min(FIRST_PIECES, arguments.pieces // 2), device,
                    board_pictures(arguments.boards) if arguments.boards else ())
    if supply.count == 0:
        parser.error(f"no piece was made within {arguments.seconds:g} s: allow more --seconds")
    network = fit(supply, arguments.seconds, arguments.batch, device, 1, arguments.start)
    checked = figures(network, torch.from_numpy(np.stack(held)), device) | {"pieces": supply.count}
    print(json.dumps(checked), flush=True)
    arguments.out.mkdir(parents=True, exist_ok=True)
    network = network.cpu().to(memory_format=torch.contiguous_format)
    torch.save(network.state_dict(), arguments.out / "crack_network.pt")
    shape = torch.zeros(1, 3, 512, 512)
    torch.onnx.export(network, (shape,), str(arguments.out / "crack_network.onnx"), input_names=["picture"],
                      output_names=["chance"], opset_version=17, dynamo=False,
                      dynamic_axes={"picture": {2: "rows", 3: "columns"}, "chance": {2: "rows", 3: "columns"}})


if __name__ == "__main__":
    main()
