"""Typical properties of common materials: density, stiffness, strength, heat.

Every number is a figure of common practice, rounded, at room temperature; none is of a certain maker's batch. Densities differ by several percent
from batch to batch, stiffness and strength by `SCATTER` and more: with lay-up, grain, fill and age. Where the mass of a part matters, weigh it
and write `mass` (beside `material`, which then tells stiffness and heat alone); where the shear modulus of a fin matters, measure it and write
`shear_modulus`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

SCATTER = 0.3  # typical scatter of stiffness and strength between batches and lay-ups, either way: common practice


@dataclass(frozen=True)
class Material:
    """Typical properties of a material, common practice all, with a scatter of 30 % either way (`SCATTER`; density and specific heat: a third of that).

    density : kg/m^3. youngs_modulus, shear_modulus : Pa, in the plane of a plate or along a tube; of woven laminates with the fibres along and
    across the root (0/90), so that shear is carried by the resin: at +-45 deg the shear modulus is several times as high. strength : Pa, at
    which it yields or breaks in bending or tension, the lower of the two. bearing_strength : Pa, of the hole under a pin or screw, on diameter
    times thickness. shear_strength : Pa. specific_heat : J/(kg K). service_temperature : K, up to which it keeps most of its stiffness.
    conductivity : W/(m K), through the thickness.
    """

    density: float
    youngs_modulus: float
    shear_modulus: float
    strength: float
    bearing_strength: float
    shear_strength: float
    specific_heat: float
    service_temperature: float
    conductivity: float


UNITS = {
    "density": "kg/m^3",
    "youngs_modulus": "Pa",
    "shear_modulus": "Pa",
    "strength": "Pa",
    "bearing_strength": "Pa",
    "shear_strength": "Pa",
    "specific_heat": "J/(kg K)",
    "service_temperature": "K",
    "conductivity": "W/(m K)",
}


def _of(density, young, shear, strength, bearing, shear_strength, heat, service, conductivity) -> Material:
    """Return a material from the numbers of a row: kg/m^3, GPa, GPa, MPa, MPa, MPa, J/(kg K), degC, W/(m K)."""
    return Material(density, young * 1e9, shear * 1e9, strength * 1e6, bearing * 1e6, shear_strength * 1e6, heat, service + 273.15, conductivity)


# typical properties by name: figures of common practice. Softwoods and ply along their grain; aluminium a heat-treated structural alloy,
# steel a mild one, titanium the usual alloy with aluminium and vanadium; laminates woven, in epoxy cured at room temperature
PROPERTIES = {
    "abs": _of(1040.0, 2.2, 0.8, 40.0, 60.0, 28.0, 1400.0, 80.0, 0.18),
    "acrylic": _of(1190.0, 3.0, 1.1, 65.0, 95.0, 45.0, 1450.0, 75.0, 0.19),
    "aluminium": _of(2700.0, 69.0, 26.0, 270.0, 390.0, 190.0, 900.0, 150.0, 165.0),
    "balsa": _of(160.0, 3.0, 0.1, 18.0, 4.0, 2.0, 1500.0, 100.0, 0.05),
    "birch": _of(670.0, 13.0, 0.9, 95.0, 30.0, 12.0, 1500.0, 100.0, 0.15),
    "brass": _of(8500.0, 100.0, 37.0, 200.0, 320.0, 120.0, 380.0, 200.0, 115.0),
    "carbon-fibre": _of(1600.0, 55.0, 4.5, 450.0, 300.0, 70.0, 900.0, 90.0, 0.8),
    "cardboard": _of(700.0, 2.0, 0.5, 12.0, 10.0, 5.0, 1400.0, 100.0, 0.1),
    "cork": _of(240.0, 0.02, 0.006, 1.0, 1.0, 0.8, 1900.0, 100.0, 0.045),
    "epoxy": _of(1150.0, 3.0, 1.1, 60.0, 90.0, 35.0, 1100.0, 60.0, 0.2),
    "fibreglass": _of(1850.0, 18.0, 3.5, 220.0, 250.0, 70.0, 1100.0, 100.0, 0.3),
    "nylon": _of(1140.0, 1.8, 0.65, 45.0, 70.0, 35.0, 1600.0, 80.0, 0.25),
    "paper-phenolic": _of(950.0, 6.0, 2.0, 60.0, 80.0, 30.0, 1400.0, 100.0, 0.2),
    "petg": _of(1270.0, 2.0, 0.7, 45.0, 60.0, 28.0, 1200.0, 70.0, 0.2),
    "pla": _of(1240.0, 3.0, 1.1, 45.0, 60.0, 28.0, 1800.0, 55.0, 0.13),
    "plywood": _of(680.0, 9.0, 0.6, 45.0, 25.0, 8.0, 1500.0, 100.0, 0.13),
    "polycarbonate": _of(1200.0, 2.3, 0.85, 60.0, 90.0, 40.0, 1200.0, 120.0, 0.2),
    "polystyrene": _of(1050.0, 3.2, 1.2, 40.0, 55.0, 25.0, 1300.0, 75.0, 0.15),
    "pvc": _of(1400.0, 2.8, 1.0, 45.0, 65.0, 30.0, 950.0, 60.0, 0.17),
    "steel": _of(7850.0, 205.0, 79.0, 250.0, 400.0, 145.0, 480.0, 300.0, 50.0),
    "titanium": _of(4430.0, 114.0, 43.0, 830.0, 1300.0, 520.0, 560.0, 350.0, 7.0),
}

# densities of common materials by name, kg/m^3
MATERIALS = {name: material.density for name, material in PROPERTIES.items()}


def property_of(part, name: str) -> float:
    """Return a property of a part: its own key of that name, else the typical one of its material.

    part : a part of a stage. name : a field of `Material`.

    Raises
    ------
    ValueError
        One sentence, where the part says neither: what is not known, and which key to give.
    """
    own = getattr(part, name, None)
    if own is not None:
        return own
    if getattr(part, "material", None) is not None:
        return getattr(PROPERTIES[part.material], name)
    called = f'{part.kind} "{part.name}"' if part.name else f"the {part.kind}"
    other = f", or {name}" if name in type(part).model_fields else ""
    raise ValueError(f'{called} says no material, so its {name.replace("_", " ")} is not known; give material (such as "fibreglass") beside its mass{other}')


def properties_text() -> str:
    """Return the table of all materials as a page of text."""
    heads = ("", "density", "Young's", "shear", "strength", "bearing", "shear", "heat", "service", "conducts")
    units = ("", "kg/m^3", "GPa", "GPa", "MPa", "MPa", "MPa", "J/(kg K)", "degC", "W/(m K)")
    sizes = (1.0, 1e9, 1e9, 1e6, 1e6, 1e6, 1.0, None, 1.0)
    width = 11
    rows = [heads, units]
    for name, material in PROPERTIES.items():
        numbers = (getattr(material, field.name) for field in fields(Material))
        rows.append((name, *(f"{number - 273.15 if size is None else number / size:g}" for number, size in zip(numbers, sizes, strict=True))))
    return "\n".join(f"{row[0]:<16}" + "".join(f"{word:>{width}}" for word in row[1:]) for row in rows)
