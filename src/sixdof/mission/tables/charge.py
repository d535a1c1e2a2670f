"""The table of an ejection charge: powder, bay, pins, coupler."""

from __future__ import annotations

from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import (
    Mass,
    NonNegativeArea,
    NonNegativeForce,
    PositiveForce,
    PositiveLength,
    PositiveShare,
    Pressure,
    SpecificEnergy,
    Volume,
    quantity,
)

BLACK_POWDER_GAS = 0.43  # of its mass, the rest is residue: A. Noble and F. A. Abel, "Researches on explosives", Phil. Trans. R. Soc. 165 (1875)
# R T of that gas, J/kg: their 280 cm^3 of gas (0 degC, 1 atm) a gram are 242 J/(kg K) of gas; 2110 K is the flame less what it loses to residue and
# walls. The product of both, 219 J a gram of powder, is the figure of common practice
BLACK_POWDER_IMPETUS = 510e3
NYLON = 50e6, 75e6  # Pa, shear strength of moulded nylon screws: common practice, batches differ


class Charge(Table):
    """The charge that ejects a canopy: powder becomes hot gas in a bay that pins and friction hold shut, and pushes the pieces apart over the coupler's length.

    The impulse of the ejection follows from it, so the harness then has no `impulse`. The gas is ideal. Numbers not given are typical of black
    powder and of nylon pins. A charge mass from a calculation is never to be relied on without a ground test with nobody near, by licensed
    practice and local law.
    """

    mass: Mass = key("mass of the powder", "1.2 g")
    stroke: PositiveLength = key("length of the coupler over which the gas pushes, from shut to open", "60 mm")
    free_volume: Volume | None = key("volume of the shut bay that the gas fills; from bay_length if omitted", "0.6 L", default=None)
    bay_length: PositiveLength | None = key(
        "length of the shut bay, on the canopy's side of separation_station; less the packed_length of the canopies in it it makes the free volume",
        "250 mm",
        default=None,
    )
    bay_diameter: PositiveLength | None = key("inner diameter of the bay; from the tube at separation_station if omitted", "72 mm", default=None)
    vent_area: NonNegativeArea = key("area of the holes by which the bay breathes, as it flows; gas leaks through them; sealed if 0", "7 mm^2", default=0.0)
    pins: int = key("number of shear pins", 3, default=0, ge=0, le=24, strict=True)
    pin_strength_low: PositiveForce | None = key("shear strength of the weakest pin of its kind", "110 N", default=None)
    pin_strength_high: PositiveForce | None = key("shear strength of the strongest pin of its kind", "160 N", default=None)
    pin_diameter: PositiveLength | None = key("diameter of a pin where it shears (of a screw its core), in place of its strengths", "1.7 mm", default=None)
    pin_shear_strength_low: Pressure = key("least shear strength of the pins' material, for pin_diameter; typical of nylon", "50 MPa", default=NYLON[0])
    pin_shear_strength_high: Pressure = key("largest shear strength of the pins' material, for pin_diameter; typical of nylon", "75 MPa", default=NYLON[1])
    friction: NonNegativeForce = key("force at which the coupler slides, pins out", "25 N", default=0.0)
    gas_share: PositiveShare = key(
        "mass share of the powder that becomes gas; typical of black powder (Noble and Abel, 1875)", "43 %", default=BLACK_POWDER_GAS
    )
    impetus: SpecificEnergy = key(
        "gas constant times flame temperature of that gas, losses to the walls taken off; typical of black powder", "510 kJ/kg", default=BLACK_POWDER_IMPETUS
    )
    expansion_exponent: quantity("1", least=1.0, most=1.4) = key(
        "exponent n of p V^n as the gas expands: 1 kept hot by residue and walls (isothermal), 1.2 without loss or gain of heat", 1.1, default=1.1
    )
