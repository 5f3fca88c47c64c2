"""The network: a small encoder and decoder with added skips (U-Net form), at full resolution.

References
----------
.. [1] O. Ronneberger, P. Fischer, T. Brox, "U-Net: Convolutional networks for
   biomedical image segmentation," MICCAI 2015, LNCS 9351, pp. 234-241.
"""

from __future__ import annotations

from torch import Tensor, nn

WIDTHS = (12, 24, 40, 64, 64)  # channels at 1, 1/2, 1/4, 1/8 and 1/16 of the resolution


def _block(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False), nn.BatchNorm2d(outputs),
                         nn.ReLU(inplace=True))


class LineNetwork(nn.Module):
    """Picture (N, 3, H, W), sRGB 0 to 1, to log-odds (N, 4, H, W) of crack, void, show face and thing.

    H and W must be multiples of 16.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS, classes: int = 4) -> None:
        super().__init__()
        self.enter = nn.Sequential(_block(3, widths[0]), _block(widths[0], widths[0]))
        self.down = nn.ModuleList(
            nn.Sequential(_block(a, b, 2), _block(b, b)) for a, b in zip(widths, widths[1:], strict=False))
        self.narrow = nn.ModuleList(
            nn.Conv2d(b, a, 1) for a, b in zip(widths, widths[1:], strict=False))
        self.mend = nn.ModuleList(_block(a, a) for a in widths[:-1])
        self.leave = nn.Conv2d(widths[0], classes, 1)

    def forward(self, picture: Tensor) -> Tensor:
        """Log-odds of each pixel."""
        levels = [self.enter(picture - 0.5)]
        for down in self.down:
            levels.append(down(levels[-1]))
        seen = levels.pop()
        for narrow, mend in zip(reversed(self.narrow), reversed(self.mend), strict=True):
            seen = nn.functional.interpolate(narrow(seen), scale_factor=2.0, mode="nearest")
            seen = mend(seen + levels.pop())
        out: Tensor = self.leave(seen)
        return out
