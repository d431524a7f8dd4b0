"""What one branch does: volts against amps.

Every law is brought to one row `cv * v - ci * i = rhs`, with v the volts from the branch's first
node to its second and i the amps that flow through it in that direction. The larger of cv and ci
is 1, so that 0 ohm and 100 Mohm stand side by side without losing digits.

Junction: the law of SPICE's diode with no series resistance, i = Is (exp(v / nVt) - 1) + Gmin v,
and below -3 nVt the cubic tail -Is (1 + (3 nVt / (e v))^3), which joins with the same slope.
Vt = kT/q at 27 degC with the exact SI values of k and q; Gmin = 1e-12 S.
Filament: what a tungsten wire radiates, P ~ T^4 - T0^4, against its resistance R ~ T^1.2 (from
memory: handbook tables of tungsten between 300 and 3000 K).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

VT: Final = 1.380649e-23 * 300.15 / 1.602176634e-19
GMIN: Final = 1e-12
_STEEPEST: Final = 200.0
_POWER: Final = 4 / 1.2  # of R / Rcold in the radiated power


@dataclass(frozen=True, slots=True)
class Ohm:
    """v = ohms * i + volts; 0 ohm is an ideal link."""

    ohms: float
    volts: float = 0.0


@dataclass(frozen=True, slots=True)
class Open:
    """No connection at all. `farads` above 0 makes it a capacitor at rest."""

    farads: float = 0.0


@dataclass(frozen=True, slots=True)
class Draw:
    """A fixed current."""

    amps: float


@dataclass(frozen=True, slots=True)
class Junction:
    """A diode from anode to cathode: saturation amps, and n Vt in volts."""

    saturation: float
    nvt: float


@dataclass(frozen=True, slots=True)
class Filament:
    """A lamp: ohms cold and hot, and the volts at which it is hot."""

    cold: float
    hot: float
    volts: float


Law = Ohm | Open | Draw | Junction | Filament


def junction(drop: float, at: float, ideality: float) -> Junction:
    """The diode that shows `drop` volts at `at` amps."""
    nvt = ideality * VT
    return Junction((at - GMIN * drop) / math.expm1(min(drop / nvt, 600.0)), nvt)


def row(law: Law) -> tuple[float, float, float]:
    """(cv, ci, rhs) of a law; for a curved one a straight stand-in of 1 mS."""
    if isinstance(law, Ohm):
        scale = 1.0 if law.ohms <= 1 else 1 / law.ohms
        return scale, (law.ohms if law.ohms <= 1 else 1.0), scale * law.volts
    if isinstance(law, Draw):
        return 0.0, 1.0, -law.amps
    if isinstance(law, Open):
        return 0.0, 1.0, 0.0
    return 1e-3, 1.0, 0.0


@dataclass(frozen=True, slots=True)
class Curves:
    """The curved branches of a circuit, as columns; shape (d,) each.

    `a`, `b`, `c`: saturation, nVt and the critical volts of a junction; cold ohms, the scale of
    v^2 and 0 for a filament.
    """

    branch: NDArray[np.intp]
    is_junction: NDArray[np.bool_]
    a: Floats
    b: Floats
    c: Floats

    def amps(self, v: Floats) -> tuple[Floats, Floats]:
        """Amps and slope in siemens at the volts `v`, shape (..., d)."""
        i, g = np.empty_like(v), np.empty_like(v)
        j = self.is_junction
        if j.any():
            i[..., j], g[..., j] = _junction(v[..., j], self.a[j], self.b[j])
        if not j.all():
            i[..., ~j], g[..., ~j] = _filament(v[..., ~j], self.a[~j], self.b[~j])
        return i, g

    def rows(self, v: Floats) -> tuple[Floats, Floats, Floats]:
        """The tangent at `v` as (cv, ci, rhs), each of shape (..., d)."""
        i, g = self.amps(v)
        scale = np.maximum(g, 1.0)
        return g / scale, 1 / scale, (g * v - i) / scale

    def limited(self, new: Floats, old: Floats) -> Floats:
        """The step of Newton's method, shortened where a junction would run up its exponential
        (the rule of SPICE2: Nagel, Memo ERL-M520, 1975, from memory)."""
        nvt, critical = np.where(self.is_junction, self.b, 1.0), self.c
        steep = self.is_junction & (new > critical) & (np.abs(new - old) > 2 * nvt)
        if not steep.any():
            return new
        with np.errstate(invalid="ignore", divide="ignore"):
            rise = 1 + (new - old) / nvt
            up = np.where(rise > 0, old + nvt * np.log(rise), critical)
            first = nvt * np.log(new / nvt)
        return np.where(steep, np.where(old > 0, up, first), new)


def curves(laws: dict[int, Junction | Filament]) -> Curves:
    """Columns for the curved branches, by branch number."""
    a, b, c = [], [], []
    for law in laws.values():
        if isinstance(law, Junction):
            a.append(law.saturation)
            b.append(law.nvt)
            c.append(law.nvt * math.log(law.nvt / (math.sqrt(2) * law.saturation)))
        else:
            ratio = law.hot / law.cold
            a.append(law.cold)
            b.append(ratio * (ratio**_POWER - 1) / law.volts**2)
            c.append(0.0)
    return Curves(
        np.array(list(laws), dtype=np.intp),
        np.array([isinstance(law, Junction) for law in laws.values()], dtype=bool),
        np.array(a),
        np.array(b),
        np.array(c),
    )


def _junction(v: Floats, saturation: Floats, nvt: Floats) -> tuple[Floats, Floats]:
    u = v / nvt
    steep = np.clip(u, -3.0, _STEEPEST)
    e = np.exp(steep)
    forward = saturation * (np.expm1(steep) + e * np.maximum(u - _STEEPEST, 0.0))
    with np.errstate(divide="ignore"):
        tail = np.where(u < -3, (3 / (math.e * np.where(u < -3, u, -3.0))) ** 3, 0.0)
    i = np.where(u < -3, -saturation * (1 + tail), forward)
    slope = np.where(u < -3, saturation * 3 * tail / np.where(u < -3, v, 1.0), saturation * e / nvt)
    return i + GMIN * v, slope + GMIN


def _filament(v: Floats, cold: Floats, scale: Floats) -> tuple[Floats, Floats]:
    """Solve r (r^p - 1) = scale v^2 for r = R / cold >= 1; Newton from above, monotone."""
    y = scale * v**2
    r = 1 + np.minimum(y / _POWER, y ** (1 / (_POWER + 1)))
    for _ in range(60):
        step = (r * (r**_POWER - 1) - y) / ((_POWER + 1) * r**_POWER - 1)
        r = np.maximum(r - step, 1.0)
        if np.all(np.abs(step) <= 1e-15 * r):
            break
    bend = 2 * y / ((_POWER + 1) * r**_POWER - 1) / r  # v r' / r
    return v / (cold * r), (1 - bend) / (cold * r)
