"""Typical properties of materials: that they hang together, and what a part says of its own."""

from __future__ import annotations

import pytest

from sixdof.mission.tables import vehicle
from sixdof.mission.tables.materials import MATERIALS, PROPERTIES, property_of
from sixdof.parts import Fins, Tube, keys

ISOTROPIC = ("abs", "acrylic", "aluminium", "brass", "epoxy", "nylon", "petg", "pla", "polycarbonate", "polystyrene", "pvc", "steel", "titanium")
PANEL = {"count": 4, "station": 1.0, "root_chord": 0.1, "tip_chord": 0.05, "semispan": 0.05, "thickness": 0.003}


def test_properties__stiffness_of_isotropic_materials_fits_poisson():
    # E = 2 G (1 + nu) with nu from 0.2 to 0.5 (rubber); of what has fibres or grain, G is less than that
    for name, material in PROPERTIES.items():
        ratio = material.youngs_modulus / (2.0 * material.shear_modulus) - 1.0
        assert 0.2 <= ratio <= 0.5 if name in ISOTROPIC else ratio > 0.3, name


def test_properties__strengths_and_heat_are_of_the_right_size():
    for name, material in PROPERTIES.items():
        assert 1e-4 < material.strength / material.youngs_modulus < 0.06, name
        assert 0.1 <= material.shear_strength / material.strength <= 0.8, name
        assert 0.2 <= material.bearing_strength / material.strength < 2.0, name
        assert 325.0 < material.service_temperature < 700.0 and 350.0 <= material.specific_heat <= 2000.0, name
    assert PROPERTIES["petg"].service_temperature == pytest.approx(343.15)
    assert {name: material.density for name, material in PROPERTIES.items()} == MATERIALS


def test_properties__shear_moduli_within_the_band_of_common_practice():
    # about 3-4 GPa of woven glass in epoxy, 26 of aluminium, 0.6 of birch ply, 0.1 of balsa, 30 % either way
    for name, known in {"fibreglass": 3.5e9, "aluminium": 26e9, "plywood": 0.6e9, "balsa": 0.1e9}.items():
        assert PROPERTIES[name].shear_modulus == pytest.approx(known, rel=0.3)


def test_property_of__own_key_then_material_then_a_sentence():
    assert property_of(Fins(**PANEL, mass="90 g", material="fibreglass"), "shear_modulus") == 3.5e9
    assert property_of(Fins(**PANEL, density=1900.0, material="fibreglass", shear_modulus="4.1 GPa"), "shear_modulus") == pytest.approx(4.1e9)
    with pytest.raises(ValueError, match=r'^fins "tail" says no material, so its shear modulus is not known; give material .* or shear_modulus$'):
        property_of(Fins(**PANEL, mass="90 g", name="tail"), "shear_modulus")
    tube = Tube(length="0.3 m", diameter="66 mm", density=1500.0)
    with pytest.raises(ValueError, match=r"^the tube says no material, so its service temperature is not known; give material .* beside its mass$"):
        property_of(tube, "service_temperature")


def test_material__beside_a_mass_leaves_the_mass():
    from sixdof.vehicle.mass import _mass_of

    both = Fins(**PANEL, mass="90 g", material="steel")
    assert _mass_of(both, 1.0) == 0.09
    assert _mass_of(Tube(length=0.3, diameter=0.066, density=1500.0, material="petg"), 2.0) == 3000.0


def test_keys__materials_are_a_page():
    text = str(keys("materials"))
    assert all(name in text for name in PROPERTIES) and "common practice" in text and max(map(len, text.splitlines())) <= 120
    row = next(line for line in text.splitlines() if line.startswith("petg"))
    assert row.split() == ["petg", "1270", "2", "0.7", "45", "60", "28", "1200", "70", "0.2"]
    assert "<pre>" in keys("materials")._repr_html_() and "shear_modulus" in str(keys("fins"))
    assert set(vehicle.Fins.model_fields) >= {"shear_modulus", "hinge_stiffness", "hinge_play"}
