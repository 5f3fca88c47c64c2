"""What cameras and light do to a picture, at random, on the GPU: so that the network learns none of it by heart."""

from __future__ import annotations

import math

import torch
from torch import Tensor

_REACH_PX = 8  # of the blur, whose sigma is at most 3 px


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
    turned = _zoomed(_turned(batch, generator).float() / 255, generator)
    pictures, masks = turned[:, :3], turned[:, 3:]
    light = pictures.clamp(1e-4, 1) ** 2.2
    light = _relit(light, generator)
    light = _blurred(_veiled(light, generator), generator)
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


def _zoomed(batch: Tensor, generator: torch.Generator) -> Tensor:
    """A third of the pieces enlarged up to 1.7 times about a random point: softer, coarser pictures."""
    count = len(batch)
    chosen = (_uniform(count, 0, 1, generator) < 0.33).float().view(count)
    scale = 1 / (1 + chosen * _uniform(count, 0.0, 0.7, generator).view(count))
    shift = (1 - scale).view(count, 1) * _uniform(count, -1, 1, generator, 2).view(count, 2)
    theta = torch.zeros(count, 2, 3, device=batch.device)
    theta[:, 0, 0] = theta[:, 1, 1] = scale
    theta[:, :, 2] = shift
    grid = torch.nn.functional.affine_grid(theta, list(batch.shape), align_corners=False)
    return torch.nn.functional.grid_sample(batch, grid, mode="bilinear", padding_mode="reflection",
                                           align_corners=False)


def _veiled(light: Tensor, generator: torch.Generator) -> Tensor:
    """Stray light over everything, of any tint: dark gaps turn grey."""
    count = light.shape[0]
    veil = _uniform(count, 0, 1, generator) ** 3 * 0.12 * 2 ** _uniform(count, -0.4, 0.4, generator, 3)
    return light * (1 - veil) + veil


def _blurred(light: Tensor, generator: torch.Generator) -> Tensor:
    """Out of focus or shaken: a Gaussian blur on two thirds of the pictures, on some of one direction only."""
    count = light.shape[0]
    sigma = 0.3 * 10 ** _uniform(count, 0, 1, generator)
    shaken = (_uniform(count, 0, 1, generator) < 0.25).float()
    sigmas = torch.cat([sigma, sigma * (1 - 0.8 * shaken)], 1).clamp(min=0.15)
    steps = torch.arange(-_REACH_PX, _REACH_PX + 1, device=light.device).view(1, 1, -1, 1)
    kernels = torch.exp(-0.5 * (steps / sigmas) ** 2).squeeze(-1)
    kernels = kernels / kernels.sum(2, keepdim=True)
    flat = light.reshape(1, count * 3, *light.shape[2:])
    for axis, pad in enumerate(((0, 0, _REACH_PX, _REACH_PX), (_REACH_PX, _REACH_PX, 0, 0))):
        shape = (count * 3, 1, -1, 1) if axis == 0 else (count * 3, 1, 1, -1)
        weights = kernels[:, axis].repeat_interleave(3, 0).view(*shape)
        flat = torch.nn.functional.conv2d(torch.nn.functional.pad(flat, pad, mode="replicate"), weights,
                                          groups=count * 3)
    soft = (_uniform(count, 0, 1, generator) < 0.66).float()
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
