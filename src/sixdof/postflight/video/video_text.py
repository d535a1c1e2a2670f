"""Pages about a video: what it can tell and what it cannot first, then numbers; the camera's own page."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.video.camera import SHARP, need_camera
from sixdof.postflight.video.from_video import need_video
from sixdof.postflight.video.incidence import FACTOR_KNOWN, NOTHING, SIGN, USABLE
from sixdof.study.reading.page import LAST_LINE

ROWS = 14  # frames of the table
STRANGE = 0.01  # rank of a video among the flights below which it is told as not one of them: five angles, 5 % together
MISFIT = 0.01  # chance of landmarks missing by as much, below which they are doubted
WEAK = (
    "An incidence here is the angle between the body and its path over the ground; the air adds the wind's own angle, about 57 deg times wind over speed: "
    "5 m/s of wind at 100 m/s are 2.9 deg.",
    "One camera cannot tell in which plane a body stands off its path: what lies in the plane of the sight is not seen at all.",
    "Taken as given: a camera that stood still, a lens of that focal length all the time (no zoom, no stabiliser that shifts the picture), pixels read in "
    "the full frame, nose and tail at the ends of the body (not the flame's).",
)


def video_text(ds: xr.Dataset) -> str:
    """Return the page of what `from_video` or `video_band` returned. Raises ValueError for anything else."""
    need_video(ds, "video_text")
    lines = [ds.attrs.get("title") or "A video", *wrapped(_heading(ds)), "", *indented(list(_answer(ds))), ""]
    lines += [*table(list(_rows(ds)), words=1), ""]
    if "rank" in ds:
        lines += ["Among the flights", *table(list(_band(ds)), words=1), *indented(list(_said_of_band(ds))), ""]
    notes = [f"- {text}" for text in ds["finding"].values.astype(str)] if "finding" in ds else []
    if notes:
        lines += ["What was found in the frames", *indented(notes), ""]
    return "\n".join([*lines, "What to make of it", *indented(list(WEAK)), "", LAST_LINE])


def _heading(ds: xr.Dataset) -> str:
    said, time = ds.attrs, ds["time"].values
    far = math.hypot(said["camera_east"], said["camera_north"])
    what = "nose and tail" if "apparent_lean" in ds else "one point"
    path = "the path's direction from a flight" if said["path_from"] == "flight" else "the path taken as steep as it may be"
    return (
        f"{what} read in {ds.sizes['frame']} frames from {time[0]:.2f} to {time[-1]:.2f} s after liftoff, from {far:.0f} m off the rail, camera pointed by "
        f"{'landmarks' if said['pointed_by'] == 'landmarks' else 'a given direction'}; {path}"
    )


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> Iterator[str]:
    if "verdict" not in ds:
        yield "ANSWER: bearings, elevations and the path as seen. One point tells no lean and no incidence: read nose and tail for these."
        return
    verdict = ds["verdict"].values.astype(str)
    count = {word: int(np.count_nonzero(verdict == word)) for word in (USABLE, SIGN, NOTHING)}
    wanted, total = math.degrees(ds.attrs["wanted"]), ds.sizes["frame"]
    if count[USABLE]:
        best = np.degrees(ds["incidence_detectable"].values[verdict == USABLE])
        yield (
            f"ANSWER: {count[USABLE]} of {total} frames can tell an incidence of {wanted:g} deg ({_when(ds, verdict == USABLE)}); there one of "
            f"{best.min():.1f} to "
            f"{best.max():.1f} deg, square to the sight, would be seen."
        )
    else:
        least = np.degrees(ds["incidence_detectable"].values)
        known = np.isfinite(least).any()
        smallest = f"the best of them would show {np.nanmin(least):.1f} deg" if known else "body and path are never both seen"
        yield f"ANSWER: NO frame can tell an incidence of {wanted:g} deg: {smallest}. Say nothing about the incidence from a frame of this video."
        many = math.ceil((np.nanmin(least) / wanted) ** 2) if known else total
        if known and many < total and np.nanmin(ds["amplification_error"].values / ds["amplification"].values) < FACTOR_KNOWN:
            yield f"The mean of {many} such frames could tell it, if body and path stay as they are meanwhile: a swing is averaged away with the noise."
    if count[SIGN]:
        yield f"{count[SIGN]} frames tell only to which side the body stood off ({_when(ds, verdict == SIGN)}), not by how much."
    if count[NOTHING] and count[NOTHING] < total:
        yield f"{count[NOTHING]} frames tell nothing of it ({_when(ds, verdict == NOTHING)})."
    yield from _magnified(ds)
    yield from _seen(ds, verdict)
    yield from _lean(ds)


def _when(ds: xr.Dataset, which: np.ndarray) -> str:
    """Return the times of frames: "0.40 to 1.20 s", "from 0.40 to 3.10 s, not all of them"."""
    rows = np.flatnonzero(which)
    time = ds["time"].values
    if rows.size == 1:
        return f"at {time[rows[0]]:.2f} s"
    gaps = "" if rows[-1] - rows[0] + 1 == rows.size else ", not all between"
    return f"{time[rows[0]]:.2f} to {time[rows[-1]]:.2f} s{gaps}"


def _magnified(ds: xr.Dataset) -> Iterator[str]:
    grows = ds["amplification"].values
    if np.isfinite(grows).any() and np.nanmax(grows) > 3.0:
        k = int(np.nanargmax(grows))
        sight = math.degrees(min(float(ds["angle_to_path"][k]), math.pi - float(ds["angle_to_path"][k])))
        looks = math.degrees(math.asin(min(1.0, math.sin(math.radians(0.6)) * grows[k])))
        yield (
            f"BEWARE: at {float(ds['time'][k]):.2f} s the camera looks within {sight:.1f} deg along the path, and the picture shows an angle "
            f"{grows[k]:.0f} times "
            f"as large: a true 0.6 deg looks like {looks:.0f} deg. A rocket that seems to lie across its path there may fly straight."
        )


def _seen(ds: xr.Dataset, verdict: np.ndarray) -> Iterator[str]:
    """Say what the usable frames showed of an incidence."""
    use = verdict == USABLE
    if not use.any():
        return
    part = ds.isel(frame=use)
    least, most = np.degrees(part["incidence_least"].values), np.degrees(part["incidence_most"].values)
    k = int(np.argmax(least))
    if least[k] > 0.0:
        side = "right" if float(part["apparent_incidence"][k]) > 0.0 else "left"
        yield (
            f"SEEN: an incidence of at least {least[k]:.1f} deg at {float(part['time'][k]):.2f} s (sure for all frames together, 95 %), the nose to the "
            f"{side} of the path as "
            f"seen; in {100.0 * ds.attrs['planes']:.0f} % of the planes it may lie in it is below {most[k]:.0f} deg."
        )
    else:
        yield "In none of them does the body stand off its path by more than the errors of so many frames make: what they show is what a straight flight shows."


def _lean(ds: xr.Dataset) -> Iterator[str]:
    """Say how far the body must have leaned."""
    sure = np.degrees(ds["lean_least"].values)
    if not np.isfinite(sure).any():
        return
    k = int(np.nanargmax(sure))
    if sure[k] > 0.0:
        side = "right" if float(ds["lean_across"][k]) > 0.0 else "left"
        yield (
            f"The body leaned from the vertical by {sure[k]:.1f} deg or more at {float(ds['time'][k]):.2f} s, to the {side} as seen; towards the camera "
            "or away it is not told."
        )
    else:
        yield "No frame shows a lean from the vertical that is more than its error."


# ---------------------------------------------------------------- numbers


def _rows(ds: xr.Dataset) -> Iterator[list[str]]:
    both = "apparent_lean" in ds
    yield ["time s", "bearing deg", "+- sd", "elev. deg", "+- sd", *(["lean", "+- sd"] if both else []), "path", "+- sd", *(_HEAD if both else [])]
    for k in np.unique(np.round(np.linspace(0, ds.sizes["frame"] - 1, min(ROWS, ds.sizes["frame"]))).astype(int)):
        one = ds.isel(frame=int(k))
        names = ["bearing", "elevation", *(["apparent_lean"] if both else []), "apparent_path"]
        cells = [f"{float(one['time']):.2f}"]
        for name in names:
            digits = 2 if name in ("bearing", "elevation") else 1
            cells += [_degrees(one[name], digits), _degrees(one[f"{name}_error"], digits)]
        yield [*cells, *(_told(one) if both else [])]


_HEAD = ["seen off path", "times", "true if square", "+- sd", "verdict"]


def _told(one: xr.Dataset) -> list[str]:
    cells = [_degrees(one["apparent_incidence"], 1), _number(float(one["amplification"]), 1), _degrees(one["incidence_seen"], 1)]
    return [*cells, _degrees(one["incidence_seen_error"], 1), str(one["verdict"].values)]


def _degrees(value: xr.DataArray, digits: int) -> str:
    return _number(math.degrees(float(value)), digits)


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "-"


# ---------------------------------------------------------------- among flights


def _band(ds: xr.Dataset) -> Iterator[list[str]]:
    low, high = (f"{100.0 * float(one):g} %" for one in ds["quantile"].values[[0, -1]])
    yield ["as seen", "frames", f"outside {low} to {high}", "mean quantile", "flights that stray further"]
    for name in ds["quantity"].values.astype(str):
        one = ds.sel(quantity=name)
        known = np.isfinite(one["rank"].values)
        if known.any():
            outside, stray = int(one["outside"].values[known].sum()), float(one["video_rank"])
            rest = [f"{100.0 * float(np.nanmean(one['rank'].values)):.0f} %", f"{100.0 * stray:.0f} %" if math.isfinite(stray) else "-"]
            yield [name.replace("_", " "), str(int(known.sum())), f"{outside}", *rest]


def _said_of_band(ds: xr.Dataset) -> Iterator[str]:
    if ds.attrs["of_one_flight"]:
        off = float(ds["misfit"][0])
        how = (
            f"it is off by {off:.1f} times the errors (root mean square over bearing and elevation; 1 is what errors make)"
            if math.isfinite(off)
            else "it is over before the video"
        )
        yield f"One flight was laid beside it: {how}."
        return
    names = [str(name) for name, rank in zip(ds["quantity"].values, ds["video_rank"].values, strict=True) if rank < STRANGE]
    if names:
        words = ", ".join(name.replace("_", " ") for name in names)
        yield (
            f"NOT ONE OF THESE FLIGHTS by its {words}: fewer than {100.0 * STRANGE:g} % of the flights stray so far from the middle. What was flown was "
            "another, or the camera is."
        )
    elif (count := 1.0 / float(np.sum(np.square(ds["weight"].values)))) < 1.0 / STRANGE:
        lost = int(ds["outside"].values.any(axis=0).sum())
        yield (
            f"{count:.0f} flights are too few to say that the video is none of them ({1.0 / STRANGE:.0f} are needed); in {lost} of {ds.sizes['frame']} "
            "frames one of its "
            "angles lies outside their band by more than its errors."
        )
    else:
        yield "The video is one of these flights as far as it can tell: none of its angles strays further from the middle than flights of the ensemble do."
    best = float(ds["log_likelihood"].max())
    likely = ds["weight"].values * np.exp(ds["log_likelihood"].values - best) if math.isfinite(best) else np.zeros(1)
    if likely.sum() > 0.0:
        best = int(np.nanargmin(ds["misfit"].values))
        many = float(likely.sum() ** 2 / np.sum(likely**2))
        yield (
            f"Nearest is flight {int(ds['flight'][best])}, off by {float(ds['misfit'][best]):.1f} times the errors of bearing and elevation; weighed by "
            "them the flights "
            f"count as {many:.1f} ({'too few to say more: a camera is far sharper than the spread of flights' if many < 10.0 else 'enough to weigh by'})."
        )
    share = float(ds["in_picture"].mean())
    if share < 0.5:
        yield f"Only {100.0 * share:.0f} % of the flights are in the picture on average: what left it does not show in the figure, but counts in the angles."


# ---------------------------------------------------------------- the camera


def camera_text(ds: xr.Dataset) -> str:
    """Return the page of what `camera` returned. Raises ValueError for anything else."""
    need_camera(ds, "camera_text")
    lines = [ds.attrs.get("title") or "A camera", *wrapped(_sharpness(ds)), ""]
    lines += ["Where it stood and looked", *table(list(_pointing(ds)), words=1), ""]
    if "landmark" in ds.dims:
        lines += ["Landmarks, px, read less seen", *table(list(_landmarks(ds)), words=1), *indented([_landmark_verdict(ds)]), ""]
    return "\n".join([*lines, "What to make of it", *indented(list(_camera_notes(ds))), "", LAST_LINE])


def _sharpness(ds: xr.Dataset) -> str:
    turn = np.sqrt(np.diag(ds["error_covariance"].values))
    pixel = math.degrees(1.0 / float(ds["focal_length"]))
    worst = math.degrees(max(turn[:2]))
    return (
        f"ANSWER: bearings and elevations near the middle are known to {worst:.2f} deg by the camera (one standard deviation, common to all frames), "
        "and a pixel "
        f"is {pixel:.3f} deg: 1 m at {_reach(pixel):.0f} m. A lean as seen is known to {math.degrees(turn[2]):.2f} deg by the camera."
    )


def _reach(pixel: float) -> float:
    return 1.0 / math.tan(math.radians(pixel))


def _pointing(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["", "", "+- sd", "unit"]
    for axis, name in zip("xyz", ("east of the rail", "north of the rail", "above the launch point"), strict=True):
        yield [name, f"{float(ds['place'].sel(axis=axis)):.1f}", f"{float(ds['place_error'].sel(axis=axis)):.1f}", "m"]
    for name in ds["angle"].values.astype(str):
        yield [name, _degrees(ds["pointing"].sel(angle=name), 2), _degrees(ds["pointing_error"].sel(angle=name), 2), "deg"]
    yield ["focal length", f"{float(ds['focal_length']):.0f}", f"{float(ds['focal_length_error']):.0f}", "px"]
    wide, high = np.degrees(ds["field_of_view"].values)
    yield ["field of view, wide and high", f"{wide:.1f}", f"{high:.1f}", "deg"]


def _landmarks(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["landmark", "right", "down", "distance m"]
    far = np.linalg.norm(ds["landmark_place"].values - ds["place"].values, axis=1)
    for k, name in enumerate(ds["landmark"].values.astype(str)):
        x, y = ds["landmark_residual"].values[k]
        yield [name, f"{x:+.1f}", f"{y:+.1f}", f"{far[k]:.0f}"]


def _landmark_verdict(ds: xr.Dataset) -> str:
    chance = float(ds.attrs["landmark_chance"])
    if chance < MISFIT:
        worst = int(np.argmax(np.linalg.norm(ds["landmark_residual"].values, axis=1)))
        return (
            f"THE LANDMARKS DO NOT FIT: with their errors they would miss by so much in {100.0 * chance:.2g} % of cases. Look at "
            f"{ds['landmark'].values[worst]} first: "
            "its place, its pixel, a zoom, a cropped picture. The errors above were made larger by what is left over."
        )
    return f"They fit as their errors allow (they would miss by more in {100.0 * chance:.0f} % of cases)."


def _camera_notes(ds: xr.Dataset) -> Iterator[str]:
    if abs(math.degrees(float(ds["pointing"].sel(angle="elevation")))) > SHARP:
        yield "It looks steeply up: bearings near the zenith change fast and mean little there; what is seen under the zenith is exaggerated."
    if ds.attrs.get("focal_solved"):
        yield "The focal length was solved from the landmarks too; a crop or a stabiliser that takes a part of the sensor is in it."
    if not math.isfinite(ds.attrs["frame_rate"]):
        yield "It has no frame rate: give frame_rate and liftoff_frame, or tables of frames with a column of time."
    else:
        late = 1e3 * float(ds.attrs["liftoff_error"])
        yield (
            f"Frames: {ds.attrs['frame_rate']:g} a second, liftoff known to {late:.0f} ms"
            + (f", rows read out over {1e3 * ds.attrs['readout']:.0f} ms" if ds.attrs["readout"] else "")
            + "."
        )
    yield "A camera that moved or zoomed is another camera at every frame: this page is of one that stood still."
