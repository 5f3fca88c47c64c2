"""The width network: a small convolutional network on straightened strips."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from crackmap.survey.width_inputs import ACROSS, CHANNELS, LEAST_DOUBT_PX, UNIT


def _layer(before: int, after: int, size: tuple[int, int], stride: int = 1, apart: int = 1) -> nn.Sequential:
    """Convolution (across, along), normalisation and rectifier; `apart` widens its step along the crack."""
    padding = (size[0] // 2, apart * (size[1] // 2))
    convolution = nn.Conv2d(before, after, size, (stride, 1), padding, (1, apart), bias=False)
    return nn.Sequential(convolution, nn.BatchNorm2d(after), nn.ReLU())


class LipNetwork(nn.Module):
    """Answers (B, 4, N) for strips (B, CHANNELS, M, N): see `width_inputs.read_answers`."""

    def __init__(self) -> None:
        super().__init__()
        rows = len(ACROSS) // 4
        self.look = nn.Sequential(
            _layer(CHANNELS, 20, (5, 3), stride=2),
            _layer(20, 24, (3, 3)),
            _layer(24, 32, (3, 3), stride=2, apart=2),
            _layer(32, 40, (3, 3), apart=3),
        )
        self.gather = nn.Sequential(nn.Conv2d(40, 80, (rows, 1), bias=False), nn.BatchNorm2d(80), nn.ReLU())
        self.along = _layer(80, 64, (1, 3), apart=4)
        self.last = nn.Sequential(nn.Conv2d(64, 48, 1), nn.ReLU(), nn.Conv2d(48, 4, 1))

    def forward(self, strips: Tensor) -> Tensor:
        return self.last(self.along(self.gather(self.look(strips)))).squeeze(2)


def loss_of(answers: Tensor, reach: Tensor, width: Tensor, middle: Tensor, counts: Tensor) -> Tensor:
    """Laplace log loss of width and middle where the crack is seen; all (B, N) but the answers (B, 4, N). [px]"""
    doubt = LEAST_DOUBT_PX + UNIT * reach[:, None] * torch.exp(answers[:, 2:].clamp(-8, 4))
    error_width = (reach * nn.functional.softplus(answers[:, 0]) - width).abs()
    error_middle = (reach * answers[:, 1] - middle).abs()
    matters = counts * width.clamp(0, 1)  # nought wide has no middle
    total = (counts * (error_width / doubt[:, 0] + doubt[:, 0].log())).sum()
    total = total + (matters * (error_middle / doubt[:, 1] + doubt[:, 1].log())).sum()
    return total / counts.sum().clamp(min=1)
