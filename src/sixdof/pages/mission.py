"""How a mission shows itself in a notebook: its title, its outline to scale, and the numbers one looks for first."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.plot.vehicle.drawing import EDGE, FIN, MASS_LOADED, MOTOR, PRESSURE, SKIN
from sixdof.vehicle.describe import Balance, balance, margin_word
from sixdof.vehicle.geometry import Shape, outward, shape_of
from sixdof.vehicle.motor import motor_facts
from sixdof.vehicle.mounting import placed_motors

WIDE = 900  # pixels of the drawing
POINTS = 40  # of the outline of a nose
_CELL = "padding:1px 12px 1px 0;text-align:left"


def mission_html(mission: Mission) -> str:
    """Return a mission as HTML: drawing, a row for each configuration that flies, motors, rail, wind and what happens."""
    stacks = [range(count) for count in range(len(mission.stage), 0, -1)]
    found = [balance(mission, stages) for stages in stacks]
    rows: list[tuple[str, ...]] = [("configuration", "length", "mass, loaded", "mass, burnt", "cg, loaded", "cp at Mach 0.3", "static margin, loaded")]
    rows += [_row(mission, stages, state) for stages, state in zip(stacks, found)]
    lines = [f"<b>{escape(mission.title or 'Mission')}</b>", outline(mission, found[0]), _table(rows)]
    return "<div>" + "".join(lines) + "".join(f"<div>{escape(text)}</div>" for text in _sentences(mission)) + "</div>"


def _row(mission: Mission, stages, state: Balance) -> tuple[str, ...]:
    cp = f"{state.cp:.3f} m" if math.isfinite(state.cp) else "nowhere"
    margin = f"{state.margin_loaded:.2f} calibres ({margin_word(state.margin_loaded)})" if math.isfinite(state.margin_loaded) else "none"
    names = " + ".join(mission.stage[i].name for i in stages)
    length = shape_of([mission.stage[i] for i in stages]).length
    return (names, f"{length:.3f} m", f"{state.loaded.mass:.3f} kg", f"{state.burnt.mass:.3f} kg", f"{state.loaded.centre[0]:.3f} m", cp, margin)


def _table(rows: list[tuple[str, ...]]) -> str:
    cells = [[f'<{tag} style="{_CELL}">{escape(text)}</{tag}>' for text in row] for tag, row in zip(["th", *["td"] * len(rows)], rows)]
    return "<table>" + "".join(f"<tr>{''.join(row)}</tr>" for row in cells) + "</table>"


def _sentences(mission: Mission):
    """Yield what else is worth knowing at a glance: motors, rail and wind, rules, and where all of it is told."""
    for name, motor in mission.motor.items():
        fact = motor_facts(motor)
        yield f'motor "{name}": {fact.total_impulse:.0f} N s (class {fact.class_letter}) in {fact.burn_time:.2f} s, {fact.average_thrust:.0f} N on average'
    rail, wind = mission.rail, mission.air.wind
    calm = "no mean wind" if wind is None else f"wind {wind.speed:.3g} m/s from {math.degrees(wind.blows_from) % 360.0:.0f} deg"
    yield f"rail {rail.length:.3g} m at {math.degrees(rail.elevation):.3g} deg; {calm}; {len(mission.rule)} rules, {len(mission.disperse)} dispersed quantities"
    yield "sixdof.report(mission) tells all of it, with cautions."


# ---------------------------------------------------------------- the drawing


def outline(mission: Mission, state: Balance) -> str:
    """Return the vehicle to scale as SVG, nose to the left: body, fins, motors, centre of mass (loaded) and of pressure."""
    shape = shape_of(mission.stage)
    half = max([0.5 * shape.diameter, *(fins.body_radius + fins.span for fins in shape.fins)])
    motors = [motor for stage in placed_motors(mission, range(len(mission.stage))) for motor in stage]
    drawn = [_polygon(shape, *_fin(fins, angle), FIN) for fins in shape.fins for angle in fins.angles()]
    drawn += [_polygon(shape, *_body(segment), SKIN) for segment in shape.segments]
    drawn += [_polygon(shape, *_box(each), MOTOR, 'fill-opacity="0.5"') for each in motors]
    drawn += [_tick(shape, half, x, colour, name) for name, x, colour in _centres(state) if math.isfinite(x)]
    scale = WIDE / shape.length
    high, room = 2.0 * half * scale, 0.5 * half * scale + 14.0
    box = f"-4 {-0.5 * high - room:.0f} {1.03 * WIDE:.0f} {high + 2.0 * room:.0f}"
    return f'<svg viewBox="{box}" width="{WIDE}" style="max-width:100%" role="img">{"".join(drawn)}</svg>'


def _centres(state: Balance):
    return (("cg", state.loaded.centre[0], MASS_LOADED), ("cp", state.cp, PRESSURE))


def _body(segment) -> tuple[np.ndarray, np.ndarray]:
    x = segment.x0 + segment.length * np.linspace(0.0, 1.0, POINTS) ** 2  # closer where a blunt tip turns
    radius = segment.radius(x)
    return np.append(x, x[::-1]), np.append(radius, -radius[::-1])


def _fin(fins, angle) -> tuple[np.ndarray, np.ndarray]:
    return fins.x0 + fins.points[:, 0], (fins.body_radius + fins.points[:, 1]) * outward(angle)[1]


def _box(motor) -> tuple[np.ndarray, np.ndarray]:
    low, high = motor.z - 0.5 * motor.motor.diameter, motor.z + 0.5 * motor.motor.diameter
    return np.array([motor.fore, motor.aft, motor.aft, motor.fore]), np.array([low, low, high, high])


def _polygon(shape: Shape, x: np.ndarray, z: np.ndarray, colour: str, more: str = "") -> str:
    scale = WIDE / shape.length
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(scale * x, -scale * z))
    return f'<polygon points="{points}" fill="{colour}" stroke="{EDGE}" {more}/>'


def _tick(shape: Shape, half: float, x: float, colour: str, name: str) -> str:
    scale = WIDE / shape.length
    reach = scale * 1.2 * half
    line = f'<line x1="{scale * x:.1f}" x2="{scale * x:.1f}" y1="{-reach:.1f}" y2="{reach:.1f}" stroke="{colour}" stroke-width="2"/>'
    return line + f'<text x="{scale * x + 4:.1f}" y="{reach + 8:.1f}" fill="{colour}" font-size="12">{name}</text>'
