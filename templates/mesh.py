"""Mesh numbers of woven screens in micrometres.

ASTM E11 openings, as the library `fluids` carries them (`particle_size_distribution.
ASTM_E11_sieves`). Older tables print 420, 149 and 74 µm where E11 has 425, 150 and 75. The
irrigation trade pairs 120 mesh with 130 µm (Agriculture Victoria), which is not wrong either.
"""

from __future__ import annotations

from dataclasses import dataclass

# Sieve number -> nominal opening [µm].
E11_OPENINGS = {
    4: 4750.0, 5: 4000.0, 6: 3350.0, 7: 2800.0, 8: 2360.0, 10: 2000.0, 12: 1700.0, 14: 1400.0,
    16: 1180.0, 18: 1000.0, 20: 850.0, 25: 710.0, 30: 600.0, 35: 500.0, 40: 425.0, 45: 355.0,
    50: 300.0, 60: 250.0, 70: 212.0, 80: 180.0, 100: 150.0, 120: 125.0, 140: 106.0, 170: 90.0,
    200: 75.0, 230: 63.0, 270: 53.0, 325: 45.0, 400: 38.0, 450: 32.0, 500: 25.0, 635: 20.0,
}  # fmt: skip
RULE_OF_THUMB = 14_900.0  # [µm x mesh]; a general calculator page: within 5 % from 50 to 400 mesh
TRADE_120 = 130.0  # [µm]; what irrigation use calls 120 mesh
_FINEST, _COARSEST = 635, 4


@dataclass(frozen=True)
class Opening:
    """The opening of a mesh [µm]; `approximate` where the table has no such number."""

    micrometres: float
    approximate: bool

    def words(self, mesh: float) -> str:
        """For a sentence: '120 mesh is 125 µm (ASTM E11; 130 µm in irrigation use)'."""
        if self.approximate:
            return (
                f"{mesh:g} mesh is about {self.micrometres:.0f} µm (14900 / mesh: not a number"
                " of ASTM E11)"
            )
        trade = f"; {TRADE_120:g} µm in irrigation use" if mesh == 120 else ""
        return f"{mesh:g} mesh is {self.micrometres:g} µm (ASTM E11{trade})"


def opening(mesh: float) -> Opening | None:
    """The opening of a screen with `mesh` wires per linear inch.

    From the table where it has the number, else 14900 / mesh, marked approximate. None beyond
    the table's ends (4 to 635), where the rule of thumb says nothing.
    """
    if not _COARSEST <= mesh <= _FINEST:
        return None
    exact = E11_OPENINGS.get(round(mesh)) if mesh == round(mesh) else None
    if exact is not None:
        return Opening(exact, False)
    return Opening(RULE_OF_THUMB / mesh, True)
