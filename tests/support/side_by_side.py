"""The same flight by the compiled kernel and by the independent reference, tick by tick and event by event."""

from __future__ import annotations

import numpy as np
from drivers import Flown
from independent_flight import CANOPY, fly_plainly

from sixdof.core import layout as la
from sixdof.core.layout import Log


def differences(model, draw, *, rtol, until="apogee", tables=None, plain_tables=None):
    """Return {what: largest difference} of kernel and reference over ticks and events, and both flights.

    tables, plain_tables : this flight's canopies and delays of rules for the kernel, and for the reference (the kernel's if
    omitted).
    """
    canopy, delays = plain_tables or tables or (None, None)
    plain = fly_plainly(model, draw, rtol=rtol, atol=rtol, until=until, canopy=canopy, delays=delays)
    flown = Flown(model, draw, tables=tables)
    n = len(plain["time"])
    # the last metre under a canopy is LANDING's
    keep = (plain["phase"] < CANOPY) | (plain["state"][:, 2] > 1.0)
    log, state = flown.log[:n][keep], plain["state"][keep]
    controls = plain["fins"].shape[1]
    turn = state[:, 6:15].reshape(-1, 3, 3)
    w, x, y, z = log[:, Log.Q_W : Log.Q_Z + 1].T
    nose = np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z), 2.0 * (x * z - w * y)], axis=1)
    upper = slice(la.LOG_COLUMNS, la.LOG_COLUMNS + controls)
    sent = slice(upper.stop, upper.stop + controls)
    found = {
        "time": np.abs(log[:, Log.TIME] - plain["time"][keep]).max(),
        "phase": np.abs(log[:, Log.PHASE] - plain["phase"][keep]).max(),
        "position": np.abs(log[:, Log.EAST : Log.HEIGHT + 1] - state[:, :3]).max(),
        "velocity": np.abs(log[:, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1] - state[:, 3:6]).max(),
        "nose": np.abs(nose - turn[:, :, 0]).max(),
        "rates": np.abs(log[:, Log.RATE_X : Log.RATE_Z + 1] - state[:, 15:18]).max(),
        "fins": np.abs(log[:, upper] - plain["fins"][keep]).max(initial=0.0),
        "command": np.abs(log[:, sent] - plain["command"][keep]).max(initial=0.0),
    }
    rows = {name: flown.events[i] for i, name in enumerate(la.EVENTS)}
    canopies = len(model.canopy)
    rows |= {f"canopy {i}": flown.events[len(la.EVENTS) + i] for i in range(canopies)}
    rows |= {f"stretch {i}": flown.events[len(la.EVENTS) + canopies + i] for i in range(canopies)}
    for name, (t, y) in plain["event"].items():
        found[f"{name} time"] = abs(rows[name][0] - t)
        found[f"{name} at"] = np.abs(rows[name][1:4] - y[:3]).max()
        found[f"{name} velocity"] = np.abs(rows[name][4:7] - y[3:6]).max()
    return found, plain, flown
