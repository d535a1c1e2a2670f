"""`sightings_of`: what a video saw, as pieces of evidence."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import xarray as xr

from sixdof.postflight.video.asking import amount, whole
from sixdof.postflight.video.from_video import need_video

LEAST_ERROR = 1e-4  # rad and s: an error that is given as none


def sightings_of(video: xr.Dataset, count: int = 5, *, body: str = "", gross: float = 0.02) -> list[dict[str, Any]]:
    """Return a few frames of a video as sightings: from where, when, at what bearing and elevation, with errors, as `what_happened` weighs them.

    What the camera and the moment of liftoff may be wrong by is common to all frames, and each piece of evidence is weighed as if it erred by itself: so of n
    sightings each gets
    the common variance n times over, that together they weigh what the camera is worth and no more.

    video : what `from_video` or `video_band` returned
    count : of sightings, evenly spread over the frames that were read
    body : that was seen, by its name in the results; "" any
    gross : share of such readings that are of something else

    Raises ValueError for anything else.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> video = sixdof.postflight.from_video(seen, {"frame": [90, 92], "x": [960.0, 960.5], "y": [700.0, 620.0]})
    >>> [one["kind"] for one in sixdof.postflight.sightings_of(video)]
    ['sighting', 'sighting']
    """
    need_video(video, "sightings_of")
    most = whole(count, "sightings_of: count", 1)
    wrong = amount(gross, "1", "sightings_of: gross", least=0.0, most=1.0)
    read = np.flatnonzero(np.isfinite(video["bearing"].values) & np.isfinite(video["bearing_error"].values))
    rows = read[np.unique(np.round(np.linspace(0, read.size - 1, min(most, read.size))).astype(int))]
    return [_sighting(video.isel(frame=int(k)), rows.size, body, wrong) for k in rows]


def _sighting(one: xr.Dataset, count: int, body: str, gross: float) -> dict[str, Any]:
    found: dict[str, Any] = {"kind": "sighting", "name": f"video, frame {float(one['frame']):g}"}
    if body:
        found["body"] = body
    found |= {"time": float(one["time"]), "time_error": max(count**0.5 * float(one.attrs["liftoff_error"]), LEAST_ERROR)}
    far = float(one["distance"]) if "distance" in one else math.nan
    aside = float(one.attrs["camera_place_error"]) / far if far > 0.0 else 0.0  # what the camera's place does to an angle, where the distance is known
    for name in ("bearing", "elevation"):
        own, common = float(one[f"{name}_error_reading"]), float(one[f"{name}_error_camera"])
        found |= {name: float(one[name]), f"{name}_error": max((own**2 + count * (common**2 + aside**2)) ** 0.5, LEAST_ERROR)}
    place = {f"from_{side}": float(one.attrs[f"camera_{side}"]) for side in ("east", "north")}
    return found | place | {"eye_height": float(one.attrs["camera_height"]), "gross": gross}
