"""Where each aerodynamic number comes from, and how far it can be trusted: shown beside it in tables and figures."""

from __future__ import annotations

from typing import NamedTuple

UNKNOWN = "not in the list of sources"


class Source(NamedTuple):
    """formula: its origin; accuracy: of the component itself, one standard deviation or so (ours)."""

    formula: str
    accuracy: str


DRAG = {
    "friction, body": Source("Prandtl-Schlichting mean friction with transition and roughness; Barrowman 1967", "10 %"),
    "friction, fins": Source("Prandtl-Schlichting mean friction; form factor of Hoerner 1965", "10 %"),
    "nose and shoulders": Source("tangent cones, Bonney 1950; modified Newton, Lees 1955; project estimate below Mach 1.3", "15 %"),
    "boattail": Source("share of the base pressure by angle (common practice)", "50 %"),
    "base": Source("Fleeman, Tactical Missile Design (unverified); boattail by Hoerner 1965", "30 %"),
    "fins, edges": Source("Hoerner 1965, ch. 3; base drag of Fleeman", "25 %"),
    "fins, wave": Source("Ackeret 1925; sweep by USAF DATCOM 4.1.5.1", "15 %, 50 % near Mach 1"),
    "fins, junctions": Source("Hoerner 1965, ch. 8", "a factor of 2"),
    "fins, slots": Source("shaft across the slot (project estimate)", "a factor of 2"),
    "guides": Source("frontal area, 0.8 of stagnation pressure (common practice)", "30 %"),
    "measured": Source("the mission's own curve", "the measurement's"),
}
AXIAL = Source("sum of the components, or the mission's measured curve", "15 % below Mach 0.8, 25 % beyond")
AXIAL_BURNING = Source("the same, nozzle exits taken off the base, or the powered curve", "20 %")
SLOPE = Source(
    "slender body (Munk 1924, Barrowman 1967) with growth fitted to linear theory; panels: Diederich, NACA TN 2335, "
    "1951, and linear supersonic theory; NACA Report 1307, 1957",
    "10 %, 20 % from Mach 0.8 to 1.2",
)
DOWNWASH = Source("one rolled-up vortex per panel with its image in the body (NACA Report 1307, 1957), on fins behind", "15 % of it (a vortex lattice)")
CENTRE = Source("moments of the kernel's own forces at small incidence, downwash included", "half a diameter, one from Mach 0.8 to 1.2")
MARGIN = Source("(x_cp - x_cg)/d", CENTRE.accuracy)
PITCH = Source("the kernel's own moment at a small rate: slope moments of the body, every panel's own incidence, downwash", "20 %; lag of downwash omitted")
ROLL_DAMPING = Source(
    "vortex lattice of the set on its body to Mach 0.8, linear supersonic theory from 1.2; or the mission's own curve", "5 % below Mach 0.8, 10 to 20 % beyond"
)
ROLL_FORCING = Source("the same theories, slot at the root; or the mission's own curve", "10 %, 20 % from Mach 0.8; 25 % with a slot")
AUTHORITY = Source("difference of the kernel's own moments at +-1 deg of demand; panel slope, k_W(B) of NACA 1307; in roll lattice and linear theory", "20 %")
TRIM = Source("zero of the kernel's own pitching moment; normal force over weight at sea-level density", "20 %, 1 deg")
COUPLING = Source(
    "sum over panels, each at its own incidence, stalling on its own (Hoerner and Borst 1975); the body's "
    "shadow on leeward "
    "panels is omitted, so opposite panels of a cruciform always balance",
    "50 %",
)
HINGE = Source(
    "panel load times distance from its centre of pressure to the hinge line: quarter-chord below Mach 0.8, "
    "linear theory "
    "above 1.2, area centroid when stalled",
    "a tenth of the chord times the load: near a balanced hinge more than the number itself",
)
SURVIVAL = Source(
    "one rolled-up vortex per panel with its image in the body (NACA Report 1307, 1957); roll by reverse flow (NACA Report 1119, 1953)",
    "0.2 of the share (a vortex lattice); the vortex's place to a tenth of the span",
)


def drag_source(component: str) -> Source:
    """Return the source of a component of the axial force."""
    return DRAG.get(component, Source(UNKNOWN, UNKNOWN))
