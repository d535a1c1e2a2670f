"""Densities of common materials, kg/m^3.

These are figures of common practice, rounded: batches differ by several percent. Where the mass of a part matters,
weigh it and write `mass`; where only its density is known better, write `density`.
"""

from __future__ import annotations

# densities of common materials by name, kg/m^3: figures of common practice
MATERIALS = {
    "abs": 1040.0,
    "acrylic": 1190.0,
    "aluminium": 2700.0,
    "balsa": 160.0,
    "birch": 670.0,
    "brass": 8500.0,
    "carbon-fibre": 1600.0,
    "cardboard": 700.0,
    "cork": 240.0,
    "epoxy": 1150.0,
    "fibreglass": 1850.0,
    "nylon": 1140.0,
    "paper-phenolic": 950.0,
    "petg": 1270.0,
    "pla": 1240.0,
    "plywood": 680.0,
    "polycarbonate": 1200.0,
    "polystyrene": 1050.0,
    "pvc": 1400.0,
    "steel": 7850.0,
    "titanium": 4430.0,
}
