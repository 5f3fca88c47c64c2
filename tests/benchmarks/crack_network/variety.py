"""What cameras and light do to a picture, at random, on the GPU: so that the network learns none of it by heart."""

from __future__ import annotations

import math

import torch
from torch import Tensor


def varied(batch: Tensor, generator: torch.Generator) -> tuple[Tensor, Tensor]:
    """Pictures and masks of a batch, each turned, lit, blurred and soiled in its own way.

    Parameters
    ----------
    batch : uint8 tensor, shape (N, 7, H, W)
        R, G, B and the four masks.

    Returns
    -------
    pictures : float tensor, shape (N, 3, H, W), 0 to 1
    masks : float tensor, shape (N, 4, H, W), 0 to 1
    """
    turned = _turned(batch, generator).float() / 255
    pictures, masks = turned[:, :3], turned[:, 3:]
    light = pictures.clamp(1e-4, 1) ** 2.2
    light = _relit(light, generator)
    light = _blurred(light, generator)
    pictures = _recoloured(light.clamp(1e-5, 1) ** (1 / 2.2), generator)
    return _noisy(pictures, generator).clamp(0, 1), masks


def _uniform(count: int, low: float, high: float, generator: torch.Generator, channels: int = 1) -> Tensor:
    return torch.rand(count, channels, 1, 1, generator=generator, device=generator.device) * (high - low) + low


def _turned(batch: Tensor, generator: torch.Generator) -> Tensor:
    """The whole batch mirrored and by quarter turns: a random half each."""
    choice = torch.rand(3, generator=generator, device=generator.device)
    if choice[0] < 0.5:
        batch = batch.flip(2)
    if choice[1] < 0.5:
        batch = batch.flip(3)
    return batch.transpose(2, 3) if choice[2] < 0.5 else batch


def _relit(light: Tensor, generator: torch.Generator) -> Tensor:
    """Exposure, white balance, a slope of light and, on some, the edge of a cast shadow."""
    count, _, height, width = light.shape
    light = light * 2 ** _uniform(count, -1.3, 0.9, generator) * 2 ** _uniform(count, -0.25, 0.25, generator, 3)
    y, x = torch.meshgrid(torch.linspace(-1, 1, height, device=light.device),
                          torch.linspace(-1, 1, width, device=light.device), indexing="ij")
    angle = _uniform(count, 0, 2 * math.pi, generator)
    across = (x * torch.cos(angle) + y * torch.sin(angle))
    light = light * 2 ** (across * _uniform(count, -0.5, 0.5, generator))
    shaded = (_uniform(count, 0, 1, generator) < 0.25).float()
    softness, offset = _uniform(count, 0.005, 0.2, generator), _uniform(count, -0.9, 0.9, generator)
    depth = _uniform(count, 0.3, 0.8, generator)
    return light * (1 - shaded * depth * torch.sigmoid((across - offset) / softness))


def _blurred(light: Tensor, generator: torch.Generator) -> Tensor:
    """A Gaussian blur of 0 to 1.1 px on half of the pictures."""
    sigma = _uniform(light.shape[0], 0.3, 1.1, generator)
    steps = torch.arange(-3, 4, device=light.device).view(1, 7, 1, 1)
    kernel = torch.exp(-0.5 * (steps / sigma) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).squeeze(-1).squeeze(-1)
    count = light.shape[0]
    weights = kernel.repeat_interleave(3, 0)
    flat = light.reshape(1, count * 3, *light.shape[2:])
    for shape in ((1, 1, 7, 1), (1, 1, 1, 7)):
        pad = (0, 0, 3, 3) if shape[2] == 7 else (3, 3, 0, 0)
        flat = torch.nn.functional.conv2d(torch.nn.functional.pad(flat, pad, mode="replicate"),
                                          weights.view(count * 3, 1, *shape[2:]), groups=count * 3)
    soft = (_uniform(count, 0, 1, generator) < 0.5).float()
    return soft * flat.reshape(light.shape) + (1 - soft) * light


def _recoloured(pictures: Tensor, generator: torch.Generator) -> Tensor:
    """Tone curve, saturation and hue of the wood as other woods and cameras have them."""
    count = pictures.shape[0]
    pictures = pictures ** (2 ** _uniform(count, -0.45, 0.45, generator))
    grey = pictures.mean(1, keepdim=True)
    pictures = grey + (pictures - grey) * _uniform(count, 0.0, 1.6, generator)
    mix = torch.eye(3, device=pictures.device) + 0.12 * torch.randn(count, 3, 3, generator=generator,
                                                                    device=pictures.device)
    mix = mix / mix.sum(2, keepdim=True).clamp(0.5, 1.5)
    return torch.einsum("nij,njhw->nihw", mix, pictures).clamp(0, 1)


def _noisy(pictures: Tensor, generator: torch.Generator) -> Tensor:
    count = pictures.shape[0]
    strength = _uniform(count, 0, 1, generator) ** 2 * 0.04
    noise = torch.randn(pictures.shape, generator=generator, device=pictures.device)
    shared = torch.randn(count, 1, *pictures.shape[2:], generator=generator, device=pictures.device)
    return pictures + strength * (0.6 * noise + 0.8 * shared)
