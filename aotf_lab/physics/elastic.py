"""Elastic constants of a tetragonal crystal, and the Christoffel equation of its acoustic plane waves.

A plane wave of direction m and displacement u obeys rho v^2 u = G u with G_ik = c_ijkl m_j m_l (Christoffel; e.g.
B. A. Auld, Acoustic Fields and Waves in Solids, ch. 7). The class 422 of paratellurite leaves six constants; axes are
x = [100], y = [010], z = [001].

The packaged constants (``data/elastic_constants.csv``: Ohmachi & Uchida, J. Appl. Phys. 41, 2307 (1970), from memory)
are rounded. The slow shear wave along [110] hangs on c11 - c12, a small difference of two large ones: half a unit
in the last digit of both moves its velocity by 7 m/s. So c11 - c12 and c44 are tied to measured velocities, and
c11 + c12, c13, c33 and c66 are left as listed.

Stiffening by the piezoelectric constant e14 is neglected. In the (1-10) plane it adds (e14 sin a cos a)^2 over the
permittivity to rho v^2 of the slow shear wave, nothing on [110] and [001]: 0.04 % of the velocity at a = 5.3 deg,
0.25 % at 30 deg (constants from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.data import read_packaged_table
from aotf_lab.errors import AotfLabError, MaterialError, Said
from aotf_lab.physics.domain import Values

__all__ = ["V001_M_S", "V110_M_S", "ElasticConstants", "elastic_constants"]

V110_M_S = 617.0
V001_M_S = 2104.0
"""Slow shear along [110] and shear along [001], as in ``acoustics.slow_shear_velocity``."""


@dataclass(frozen=True)
class ElasticConstants:
    """Stiffnesses (GPa) and density (kg/m3) of a tetragonal crystal with six constants (422, 4mm, -42m, 4/mmm).

    Raises ``AotfLabError`` when no crystal with such constants would keep its shape.
    """

    c11_gpa: float
    c12_gpa: float
    c13_gpa: float
    c33_gpa: float
    c44_gpa: float
    c66_gpa: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        both = self.c11_gpa + self.c12_gpa
        stable = min(
            self.c11_gpa - abs(self.c12_gpa), both * self.c33_gpa - 2 * self.c13_gpa**2, self.c33_gpa,
            self.c44_gpa, self.c66_gpa, self.density_kg_m3,
        )  # fmt: skip
        if not stable > 0:
            raise AotfLabError(
                "elastic constants of no stable tetragonal crystal", found=Said(str(self)),
                allowed="c11 > |c12|, (c11 + c12) c33 > 2 c13^2, and c33, c44, c66 and density above zero",
                cure="check the unit (GPa) and the order of the constants",
            )  # fmt: skip

    def christoffel(self, directions: Values) -> Values:
        """Return G (..., 3, 3), in m2/s2 (divided by the density), for unit vectors (..., 3); its eigenvalues are v^2.

        Written for any vector: G is a form of second degree in ``directions``.
        """
        x, y, z = np.moveaxis(directions, -1, 0)
        across, along = self.c12_gpa + self.c66_gpa, self.c13_gpa + self.c44_gpa
        g = np.empty((*np.shape(x), 3, 3))
        g[..., 0, 0] = self.c11_gpa * x**2 + self.c66_gpa * y**2 + self.c44_gpa * z**2
        g[..., 1, 1] = self.c66_gpa * x**2 + self.c11_gpa * y**2 + self.c44_gpa * z**2
        g[..., 2, 2] = self.c44_gpa * (x**2 + y**2) + self.c33_gpa * z**2
        g[..., 0, 1] = g[..., 1, 0] = across * x * y
        g[..., 0, 2] = g[..., 2, 0] = along * x * z
        g[..., 1, 2] = g[..., 2, 1] = along * y * z
        return g * (1e9 / self.density_kg_m3)

    def christoffel_gradient(self, directions: Values) -> Values:
        """Return dG/dm (..., 3, 3, 3), the component of m last; G being quadratic, its polar form gives it exactly."""
        parts = [self.christoffel(directions + e) - self.christoffel(directions - e) for e in np.eye(3)]
        return 0.5 * np.stack(parts, axis=-1)


def elastic_constants(
    material: str = "TeO2", *, v110_m_s: float = V110_M_S, v001_m_s: float = V001_M_S
) -> ElasticConstants:
    """Return the packaged constants, with c11 - c12 = 2 rho v110^2 and c44 = rho v001^2 tied to these velocities (m/s).

    ``v110_m_s`` is the slow shear wave along [110] polarised [1-10], ``v001_m_s`` the shear wave along [001].
    Raises ``MaterialError`` for a crystal without packaged constants, ``AotfLabError`` for impossible velocities.

    >>> tied = elastic_constants()
    >>> round(tied.c11_gpa, 3), round(tied.c12_gpa, 3)
    (55.73, 51.17)
    """
    table = read_packaged_table("elastic_constants")
    rows = {r["constant"]: float(r["value"]) for r in table if r["material"] == material}
    if not rows:
        known = dict.fromkeys(r["material"] for r in table)
        raise MaterialError(
            "no packaged elastic constants for this crystal", found=material, allowed=", ".join(known),
            cure="build ElasticConstants from published ones",
        )  # fmt: skip
    density = rows["density"]
    both, half = rows["c11"] + rows["c12"], 1e-9 * density * v110_m_s**2
    return ElasticConstants(
        both / 2 + half, both / 2 - half, rows["c13"], rows["c33"], 1e-9 * density * v001_m_s**2, rows["c66"], density
    )
