"""The network: a strided stem, a small encoder with a wide look, a decoder with added skips (U-Net form).

References
----------
.. [1] O. Ronneberger, P. Fischer, T. Brox, "U-Net: Convolutional networks for
   biomedical image segmentation," MICCAI 2015, LNCS 9351, pp. 234-241.
.. [2] W. Shi et al., "Real-time single image and video super-resolution using an
   efficient sub-pixel convolutional neural network," CVPR 2016: four outputs at
   half the resolution are one at the whole.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

WIDTHS = (16, 32, 48, 64)  # channels at 1/2, 1/4, 1/8 and 1/16 of the resolution
SUB_PIXELS = 4  # outputs for the two by two pixels under one of the half resolution
OTHERS = 3  # void, show face and thing: learned beside, not written out


def _block(inputs: int, outputs: int, stride: int = 1, spread: int = 1, size: int = 3) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride, spread * ((size - 1) // 2), spread, bias=False),
        nn.BatchNorm2d(outputs), nn.ReLU(inplace=True))


class LineNetwork(nn.Module):
    """Picture (N, 3, H, W), sRGB 0 to 1, to what its half-size pixels show; H and W multiples of 16."""

    def __init__(self, widths: tuple[int, int, int, int] = WIDTHS) -> None:
        super().__init__()
        half, quarter, eighth, last = widths
        self.enter = _block(3, half, 2, size=4)
        self.quarter = nn.Sequential(_block(half, quarter, 2), _block(quarter, quarter))
        self.eighth = nn.Sequential(_block(quarter, eighth, 2), _block(eighth, eighth))
        self.last = nn.Sequential(_block(eighth, last, 2), _block(last, last, spread=2), _block(last, last, spread=4))
        self.narrow = nn.ModuleList(
            nn.Conv2d(b, a, 1) for a, b in ((eighth, last), (quarter, eighth), (half, quarter)))
        self.mend = nn.ModuleList(_block(a, a) for a in (eighth, quarter, half))
        self.leave = nn.Conv2d(half, SUB_PIXELS, 3, padding=1)
        self.others = nn.Conv2d(half, OTHERS, 1)

    def features(self, picture: Tensor) -> Tensor:
        """What is known about each half-size pixel, (N, C, H/2, W/2)."""
        levels = [self.enter(picture - 0.5)]
        for down in (self.quarter, self.eighth):
            levels.append(down(levels[-1]))
        seen = self.last(levels[-1])
        for narrow, mend in zip(self.narrow, self.mend, strict=True):
            seen = mend(nn.functional.interpolate(narrow(seen), scale_factor=2.0, mode="nearest") + levels.pop())
        return torch.as_tensor(seen)

    def log_odds(self, picture: Tensor) -> tuple[Tensor, Tensor]:
        """Of crack, (N, 1, H, W), and of the other classes, (N, 3, H/2, W/2)."""
        seen = self.features(picture)
        return nn.functional.pixel_shuffle(self.leave(seen), 2), self.others(seen)

    def forward(self, picture: Tensor) -> Tensor:
        """Chance of crack of the two by two pixels under each half-size one, (N, 4, H/2, W/2)."""
        return torch.sigmoid(self.leave(self.features(picture)))
