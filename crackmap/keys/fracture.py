"""The mechanics of a crack along the grain with keys across it.

A crack of length a in a slab that is pulled by a stress s opens and drives its
tip by K = f s sqrt(pi a). Keys pull its lips together with forces P_i. Because
K is linear in the loads, every opening follows from K alone (the energy that
the crack gives off as it grows):

    opening_i = 2 / E' * integral over a' from 0 to a of K(a') k_i(a') da'

where k_i is the K that a unit load at key i makes. That gives the key forces
from the condition that each key stretches by as much as the crack opens there.

Two cases: an edge crack (end check, open at the slab's end) and an inner crack
(two tips). The stress intensities are those of an isotropic solid; the
stiffness E' is the orthotropic one. For an edge crack in wood that is an
approximation.

References
----------
.. [1] Tada, Paris, Irwin, "The Stress Analysis of Cracks Handbook", edge crack
   under stress and under a pair of point forces; centre crack under a pair of
   point forces off its middle (forms from memory; they integrate to the
   handbook's coefficients, see the tests).
.. [2] Sih, Paris, Irwin, "On cracks in rectilinearly anisotropic bodies," Int.
   J. Fracture Mechanics 1, 1965 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from crackmap.errors import KeyShapeError
from crackmap.published import EDGE_CRACK_FACTOR
from crackmap.records import FloatArray, frozen_array
from crackmap.wood.species import Species

# Poisson's ratio of a pull along the grain, near enough for all woods (from memory) [-]
_NU_ACROSS_ALONG = 0.4
_STEPS = 200  # of the integral over the crack's length; the square-root ends are taken out by substitution


@dataclass(frozen=True, slots=True)
class CrackedSlab:
    """A crack along the grain, seen as a flat problem through the slab's thickness."""

    length: float  # [mm]
    thickness: float  # [mm]
    stiffness: float  # E' [MPa]
    from_edge: bool  # True: one end open at an edge or void; False: two tips


def orthotropic_stiffness(along: float, across: float, shear: float,
                          poisson: float = _NU_ACROSS_ALONG) -> float:
    """E' of a crack that runs along direction 1 and opens along 2, plane stress. [MPa]

    1/E' = sqrt(a11 a22 / 2) sqrt( sqrt(a22/a11) + (2 a12 + a66) / (2 a11) ).

    Parameters
    ----------
    along, across : float
        Young's moduli along the crack and across it. [MPa]
    shear : float
        Shear modulus in the plane. [MPa]
    poisson : float
        Ratio of a pull along the crack. [-]
    """
    a11, a22, a12, a66 = 1.0 / along, 1.0 / across, -poisson / along, 1.0 / shear
    mixed = math.sqrt(a22 / a11) + (2.0 * a12 + a66) / (2.0 * a11)
    return 1.0 / math.sqrt(a11 * a22 / 2.0 * mixed)


def stiffness_for_crack(species: Species) -> float:
    """E' of a crack along the grain that opens along the rings (the common drying check). [MPa]

    Raises
    ------
    KeyShapeError
        If the wood's stiffness is not tabulated.
    """
    along, across, shear = species.stiffness_along, species.stiffness_tangential, species.shear_stiffness_lt
    if along is None or across is None or shear is None:
        raise KeyShapeError(f"no stiffness is tabulated for {species.name}; name a related wood to reckon "
                            "the holding.")
    return orthotropic_stiffness(along, across, shear)


def intensity_of_stress(crack: CrackedSlab, stress: float,
                        lengths: FloatArray | float | None = None) -> FloatArray:
    """K of a stress across the crack, for the whole crack or for `lengths` of it. [MPa sqrt(mm)]

    `stress` in MPa; `lengths` has shape (N,). [mm]
    """
    a = np.asarray(crack.length if lengths is None else lengths, float)
    if crack.from_edge:
        return np.asarray(EDGE_CRACK_FACTOR.value * stress * np.sqrt(np.pi * a))
    return np.asarray(stress * np.sqrt(np.pi * a / 2.0))


def opening_of_stress(crack: CrackedSlab, stress: float, at: FloatArray, width: FloatArray) -> FloatArray:
    """Opening that a stress makes at places along the crack, shape (N,). [mm]

    `at` is the distance from the open end, or from one tip of an inner crack;
    the opening is the mean over `width`, as a key feels it.
    """
    return stress * _compliance(crack, at, width)[1]


@dataclass(frozen=True, slots=True)
class KeyedCrack:
    """How keys share a pull of 1 MPa across a crack."""

    forces: FloatArray  # on each key for 1 MPa, shape (N,) [N]
    openings: FloatArray  # left at each key for 1 MPa, shape (N,) [mm]
    intensity: float  # K at the tip for 1 MPa, the worse tip of two [MPa sqrt(mm)]
    intensity_without: float  # the same with no keys [MPa sqrt(mm)]


def keyed_crack(crack: CrackedSlab, at: FloatArray, width: FloatArray, flexibility: FloatArray) -> KeyedCrack:
    """Share a pull of 1 MPa between the keys and the crack's tip.

    Parameters
    ----------
    crack : CrackedSlab
    at : ndarray, shape (N,)
        Key positions along the crack from its open end, or from one tip. [mm]
    width : ndarray, shape (N,)
        Length of the crack over which each key's force is spread: its waist. [mm]
    flexibility : ndarray, shape (N,)
        Stretch of each key and its bedding for 1 N. [mm/N]

    Raises
    ------
    KeyShapeError
        If a key lies off the crack.
    """
    if len(at) and (at.min() < 0.0 or at.max() > crack.length):
        raise KeyShapeError(f"a key at {float(at.max()):.0f} mm lies off a crack {crack.length:.0f} mm long.")
    without = float(intensity_of_stress(crack, 1.0))
    if not len(at):
        return KeyedCrack(frozen_array([]), frozen_array([]), without, without)
    compliance, free_opening, at_tip = _compliance(crack, at, width)
    forces = np.linalg.solve(compliance + np.diag(flexibility), free_opening)
    intensity = float((without - at_tip @ forces).max())
    return KeyedCrack(frozen_array(forces), frozen_array(forces * flexibility), intensity, without)


def _compliance(crack: CrackedSlab, at: FloatArray,
                width: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Opening at each key of a unit force at each; of a unit stress; and each unit force's K at the tips.

    Forces are through the whole thickness, so unit force is 1 N over it.
    """
    half = 1.0 if crack.from_edge else 0.5
    longest = crack.length * half
    # Midpoints of a' = a (1 - q^2): fine near the full length, where a load close to the tip joins in.
    q = (np.arange(_STEPS) + 0.5) / _STEPS
    lengths = longest * (1.0 - q**2)
    weights = longest * 2.0 * q / _STEPS
    unit = _intensity_of_forces(crack, at, width, lengths)  # (tips, steps, N)
    pulled = intensity_of_stress(crack, 1.0, lengths / half)
    # Per mm of thickness a unit force is 1/thickness; its work is spread over the thickness again.
    energy = 2.0 * crack.thickness / crack.stiffness
    compliance = energy * np.einsum("tsi,tsj,s->ij", unit, unit, weights)
    free_opening = energy * np.einsum("tsi,s,s->i", unit, pulled, weights)
    return compliance, free_opening, _intensity_of_forces(crack, at, width, np.array([longest]))[:, 0, :]


def _intensity_of_forces(crack: CrackedSlab, at: FloatArray, width: FloatArray,
                         lengths: FloatArray) -> FloatArray:
    """K of 1 N spread over a key's width, at each tip; shape (tips, lengths, keys). [MPa sqrt(mm)]"""
    a = lengths[:, None]
    low, high = np.maximum(at - width / 2.0, 0.0), np.minimum(at + width / 2.0, crack.length)
    if crack.from_edge:
        u1, u2 = np.minimum(low / a, 1.0), np.minimum(high / a, 1.0)
        shape = 1.3 - 0.3 * ((u1 + u2) / 2.0) ** 1.25
        # The root in the point force's K integrates to an arc sine over the key's width.
        spread = a * (np.arcsin(u2) - np.arcsin(u1)) / (high - low)
        return np.asarray(2.0 / np.sqrt(np.pi * a) * shape * spread / crack.thickness)[None]
    middle = crack.length / 2.0
    u1, u2 = np.clip((low - middle) / a, -1.0, 1.0), np.clip((high - middle) / a, -1.0, 1.0)
    # Integral of sqrt((1 + u) / (1 - u)) is arcsin u - sqrt(1 - u^2); mirrored for the other tip.
    arc = np.arcsin(u2) - np.arcsin(u1)
    root = np.sqrt(1.0 - u2**2) - np.sqrt(1.0 - u1**2)
    scale = a / np.sqrt(np.pi * a) / (high - low) / crack.thickness
    return np.stack([scale * (arc - root), scale * (arc + root)])
