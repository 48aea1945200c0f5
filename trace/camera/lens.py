"""The lens: focal length, principal point and radial distortion, with its prior."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

Kind = Literal["learned", "whole", "crop", "free"]

RADIAL_TERMS = 4
LENS_SIZE = 3 + RADIAL_TERMS

# Prior spread of the distortion that each further odd power adds, as a share of the half diagonal:
# powers 3, 5, 7, 9, each orthogonal to the lower ones. A phone corrects most of its
# barrel, yet keeps ripples of a few pixels (common practice, no source).
_RIPPLE_PRIOR = np.array([0.02, 0.008, 0.003, 0.0015])
# The same where only the four sides of a rectangle are seen: they show one bow, and nothing at the
# picture's border.
_RIPPLE_OF_FEW_EDGES = np.array([0.01, 0.002, 0.0005, 0.0001])


@dataclass(frozen=True)
class Lens:
    """Pinhole with radial terms; pixel centres at whole numbers.

    A direction (x, y) = (X / Z, Y / Z) appears at `u = focal * x * s + cx`, `v` likewise, with
    `s = 1 + k1 r^2 + k2 r^4 + k3 r^6 + k4 r^8` and r^2 = x^2 + y^2.

    Attributes
    ----------
    focal : px.
    centre : (2,) px, the principal point.
    radial : (4,) k1 to k4.
    size : (width, height) of the picture, px.
    """

    focal: float
    centre: tuple[float, float]
    radial: tuple[float, float, float, float]
    size: tuple[int, int]

    def vector(self) -> Floats:
        """(7,) focal, cx, cy, k1..k4."""
        return np.array([self.focal, *self.centre, *self.radial])

    def with_vector(self, vector: Floats) -> "Lens":
        """The lens with other numbers in the order of `vector`."""
        f, cx, cy, k1, k2, k3, k4 = (float(v) for v in vector)
        return Lens(f, (cx, cy), (k1, k2, k3, k4), self.size)

    def pixels(self, directions: Floats) -> Floats:
        """(N, 2) pixels of (N, 2) directions."""
        r2 = np.sum(directions**2, axis=-1, keepdims=True)
        seen: Floats = self.focal * directions * _stretch(r2, self.radial) + np.array(self.centre)
        return seen

    def directions(self, pixels: Floats) -> Floats:
        """(N, 2) directions of (N, 2) pixels: the inverse of `pixels`, by Newton on the radius."""
        seen = (pixels - np.array(self.centre)) / self.focal
        seen_r = np.sqrt(np.sum(seen**2, axis=-1))
        r = seen_r.copy()
        k = np.array(self.radial)
        for _ in range(12):
            r2 = r * r
            value = r * (1 + r2 * (k[0] + r2 * (k[1] + r2 * (k[2] + r2 * k[3])))) - seen_r
            slope = 1 + r2 * (3 * k[0] + r2 * (5 * k[1] + r2 * (7 * k[2] + r2 * 9 * k[3])))
            move = value / np.where(np.abs(slope) < 0.2, 0.2, slope)
            r = r - move
            if np.max(np.abs(move), initial=0.0) < 1e-13:
                break
        ratio = np.divide(r, seen_r, out=np.ones_like(r), where=seen_r > 1e-12)
        undistorted: Floats = seen * ratio[..., None]
        return undistorted


def _stretch(r2: Floats, radial: tuple[float, ...]) -> Floats:
    k1, k2, k3, k4 = radial
    return 1 + r2 * (k1 + r2 * (k2 + r2 * (k3 + r2 * k4)))


def project(lens: Lens, points: Floats, derivatives: bool = True) -> tuple[Floats, Floats, Floats]:
    """Pixels of points in the camera's axes, and the derivatives of the pixels.

    Returns
    -------
    pixels : (N, 2).
    by_lens : (N, 2, 7), with respect to `Lens.vector`.
    by_point : (N, 2, 3), with respect to the point.
    """
    z_inverse = 1 / points[:, 2]
    direction = points[:, :2] * z_inverse[:, None]
    r2 = np.sum(direction**2, axis=1)
    k1, k2, k3, k4 = lens.radial
    stretch = 1 + r2 * (k1 + r2 * (k2 + r2 * (k3 + r2 * k4)))
    pixels = lens.focal * direction * stretch[:, None] + np.array(lens.centre)
    if not derivatives:
        return pixels, np.empty(0), np.empty(0)
    stretch_by_r2 = k1 + r2 * (2 * k2 + r2 * (3 * k3 + r2 * 4 * k4))
    n = len(points)
    by_lens = np.zeros((n, 2, LENS_SIZE))
    by_lens[:, :, 0] = direction * stretch[:, None]
    by_lens[:, 0, 1] = 1
    by_lens[:, 1, 2] = 1
    powers = r2[:, None] ** np.arange(1, RADIAL_TERMS + 1)
    by_lens[:, :, 3:] = lens.focal * direction[:, :, None] * powers[:, None, :]
    by_direction = lens.focal * (
        stretch[:, None, None] * np.eye(2)
        + 2 * stretch_by_r2[:, None, None] * direction[:, :, None] * direction[:, None, :]
    )
    direction_by_point = np.zeros((n, 2, 3))
    direction_by_point[:, 0, 0] = z_inverse
    direction_by_point[:, 1, 1] = z_inverse
    direction_by_point[:, :, 2] = -direction * z_inverse[:, None]
    return pixels, by_lens, by_direction @ direction_by_point


@dataclass(frozen=True)
class LensPrior:
    """What is known about a lens before the markers are used: a mean and a precision matrix.

    Attributes
    ----------
    lens : the expected lens.
    precision : (7, 7) inverse covariance of `Lens.vector`.
    source : where it comes from, in plain words.
    weight : prior probability relative to the other hypotheses of a photo.
    kind : of a calibrated camera; a whole picture; a crop; free, where the markers alone decide.
    """

    lens: Lens
    precision: Floats
    source: str
    weight: float = 1.0
    kind: Kind = "whole"

    def with_weight(self, weight: float) -> "LensPrior":
        """The same prior, as likely as that."""
        return replace(self, weight=weight)

    def scaled(self, ratio: float) -> "LensPrior":
        """The same picture taken with a focal length longer by a ratio, as well known."""
        unit = np.ones(LENS_SIZE)
        unit[0] = 1 / ratio
        lens = replace(self.lens, focal=self.lens.focal * ratio)
        return replace(self, lens=lens, precision=self.precision * np.outer(unit, unit))


def exif_focal(diagonal: float, focal_35mm: float) -> float:
    """Px, the focal length of a picture with that diagonal by its 35 mm equivalent; 0 for none.

    The equivalent compares diagonals with that of 36 mm x 24 mm (CIPA DCG-001, from memory).
    """
    # No camera's lens is shorter than that: the field is filled with nonsense.
    return diagonal * focal_35mm / float(np.hypot(36, 24)) if focal_35mm > 5 else 0.0


def prior_from_exif(
    size: tuple[int, int], focal_35mm: float | None, few_edges: bool = False
) -> LensPrior:
    """The prior of an unknown phone.

    The 35 mm equivalent compares diagonals (CIPA DCG-001, from memory) and is rounded to whole
    millimetres; focusing near adds a percent or so. Without it, half to double of a normal lens,
    and any ripple that many markers may show.

    Parameters
    ----------
    size : (width, height) px.
    few_edges : only a rectangle's sides will inform the lens, which is then assumed to be that of
        an ordinary phone.
    """
    width, height = size
    half_diagonal = 0.5 * float(np.hypot(width, height))
    focal = exif_focal(2 * half_diagonal, focal_35mm or 0.0)
    known = focal > 0
    focal = focal if known else 1.6 * half_diagonal
    # Rounded to whole millimetres, and breathing with the distance by about a percent.
    rounding = 0.5 / np.sqrt(3) / float(focal_35mm or 1)
    focal_u = float(np.hypot(rounding, 0.01)) * focal if known else 0.3 * focal
    lens = Lens(focal, ((width - 1) / 2, (height - 1) / 2), (0.0, 0.0, 0.0, 0.0), size)
    precision = np.zeros((LENS_SIZE, LENS_SIZE))
    precision[0, 0] = focal_u**-2
    precision[1, 1] = precision[2, 2] = (0.005 * half_diagonal) ** -2
    ripple = _RIPPLE_OF_FEW_EDGES if few_edges else _RIPPLE_PRIOR * (1 if known else 5)
    precision[3:, 3:] = radial_precision(focal, half_diagonal, ripple * half_diagonal)
    source = f"the photo's EXIF focal length ({focal_35mm:g} mm)" if known else "no knowledge"
    return LensPrior(lens, precision, source)


def radial_precision(focal: float, half_diagonal: float, spread: Floats) -> Floats:
    """(4, 4) precision of k1..k4 from the spread (px) of orthogonal ripples over the picture.

    The ripple of power 2 j + 1 is the part of rho^(2 j + 1) that is orthogonal, over the picture's
    area, to rho (which is focal length) and to the lower powers; `spread` is its rms in px.
    """
    rho = np.sqrt((np.arange(400) + 0.5) / 400)  # equal areas
    powers = rho[:, None] ** (2 * np.arange(RADIAL_TERMS + 1) + 1)
    # powers = ripples @ upper: the upper triangle gives how much of each ripple a power holds.
    _, upper = np.linalg.qr(powers / np.sqrt(len(rho)))
    r_reference = half_diagonal / focal
    # Displacement in px of k_j = 1 is half_diagonal * r_reference^(2 j) * rho^(2 j + 1).
    unit = half_diagonal * r_reference ** (2 * np.arange(1, RADIAL_TERMS + 1))
    ripples_by_k = upper[1:, 1:] * unit[None, :]
    scaled = ripples_by_k / spread[:, None]
    precision: Floats = scaled.T @ scaled
    return precision
