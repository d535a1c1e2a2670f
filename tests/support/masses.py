"""Mass properties of a model with one draw, at one moment."""

from __future__ import annotations

from sixdof._jit import kernel
from sixdof.core.body import body_at, burn_segment, gather_grains, segment_at
from sixdof.core.draw import Draw
from sixdof.core.types import Model


@kernel
def mass_now(model: Model, draw: Draw, t: float, ignited: float) -> tuple[float, float, float, float, float, float, float, float, float, float]:
    """Return mass, centre of mass (station, y, z) and inverse inertia (xx, yy, zz, xy, xz, yz) of a body at t, ignited at `ignited`."""
    grains = gather_grains(model.mass, draw.mass, draw.inertia, draw.cg_x, draw.cg_y, draw.cg_z)
    segment = segment_at(t, ignited, model.thrust, draw.burn_time)
    body = body_at(t, burn_segment(model.thrust, segment, ignited, draw.impulse, draw.burn_time), grains)
    j = body.inverse
    return body.mass, body.cg.x, body.cg.y, body.cg.z, j.xx, j.yy, j.zz, j.xy, j.xz, j.yz
