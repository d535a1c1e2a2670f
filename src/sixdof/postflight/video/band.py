"""`video_band`: an ensemble projected into the picture of a video, and where the video lies in it."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount, whole
from sixdof.postflight.video.camera import need_camera, view_of
from sixdof.postflight.video.flown import flown_at
from sixdof.postflight.video.from_video import from_video
from sixdof.postflight.video.readings import NAMES, Reading, angles, read, window_of
from sixdof.postflight.video.view import View, in_picture, project
from sixdof.study.reading.result import is_ensemble, need_result
from sixdof.study.sweep.timelines import each_flight
from sixdof.study.uncertainty.statistics import check_share

MOST = 400  # flights that are flown again, some 30 ms each
BEYOND = 2.0  # standard deviations by which a reading must leave the band to be told as outside it
COMPARED = NAMES[:5]
_RANK = "share of the flights, read with the same errors, that stray further from the middle than the video"


class _Seen(NamedTuple):
    """A flight in the picture: angles (quantities, frames), pixels (frames, points, 2), distance (frames,) m."""

    values: np.ndarray
    pixel: np.ndarray
    distance: np.ndarray


def video_band(
    flights: xr.Dataset,
    camera: xr.Dataset,
    frames: Any,
    *,
    share: float = 0.9,
    most: int = MOST,
    threads: int | None = None,
    progress: bool = True,
    **options: Any,
) -> xr.Dataset:
    """Project flights into the picture of a video and say where the video lies among them: bearing, elevation, apparent lean, path and incidence.

    Each flight is flown again with its whole timeline and seen by the camera as the video was: its nose and tail where they would be read, behind the
    camera nothing. Liftoff is laid on liftoff. What one camera makes of a lean it makes of the flights' leans too, so this comparison holds even
    in frames that tell no true incidence.

    Parameters
    ----------
    flights : an ensemble as `disperse` returns it, any flights of it, with `weight` (flight) if they do not count alike; or one flight of `sixdof.fly`
    camera : what `camera` returned
    frames : what `from_video` returned, or a table as it takes
    share : of the flights that the band holds at each frame
    most : flights that are projected, the first ones
    threads, progress : of flying them again
    options : further arguments of `from_video`, where `frames` is a table

    Returns
    -------
    Dataset
        All of `from_video`, and `band` (quantity, quantile, frame) rad, `rank` (quantity, frame): the reading as a quantile of the flights, `outside`
        (quantity, frame): whether it leaves the band by more than two standard deviations, `video_rank` (quantity): share of the flights, read with
        the same errors, that stray further from the middle than the video, `flown` (quantity, flight, frame) rad, `flown_pixel` (flight, frame, point, side)
        px, `in_picture` (frame):
        share of the flights; `misfit` (flight): root mean square of what a flight is off in bearing and elevation over its errors, and
        `log_likelihood` (flight), in which errors of camera and liftoff count as common to all frames (NaN and
        -inf of a flight that was over, or never began, at a frame that was read).

    Raises
    ------
    TypeError, ValueError
        In one sentence, for what are no flights, no camera or no video.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> table = sixdof.postflight.frames_of(flight, seen, range(30, 200, 10), pixel_error=1.0)
    >>> banded = sixdof.postflight.video_band(flights.isel(flight=slice(8)), seen, table, progress=False)
    >>> banded.band.dims
    ('quantity', 'quantile', 'frame')
    """
    need_camera(camera, "video_band")
    need_result(flights, "video_band", "status")
    held = amount(share, "1", "video_band: share", least=0.0, above=True)
    check_share(held, "video_band: share")
    count = whole(most, "video_band: most", 1)
    video = frames if isinstance(frames, xr.Dataset) and frames.attrs.get("kind") == "video" else from_video(camera, frames, **options)
    if video is frames and options:
        raise TypeError(f"video_band: {next(iter(options))} belongs to from_video, and the frames were read already; give it there")
    view = view_of(camera)
    reading = _again(view, video)
    some = flights.isel(flight=slice(count)) if is_ensemble(flights) else flights
    weight = _weights(some)
    seen = _seen(some, video, view, threads, progress)
    values = np.stack([one.values for one in seen], axis=1)  # (quantity, flight, frame)
    read_off = np.array([reading.value[name] for name in COMPARED])
    centre = _middle(values, weight)
    values = centre[:, None] + _wrapped(values - centre[:, None])
    read_off = centre + _wrapped(read_off - centre)
    shares = np.array([0.5 * (1.0 - held), 0.5, 0.5 * (1.0 + held)])
    entries = _places(values, read_off, _errors(video, ""), weight, shares)
    entries["video_rank"] = ("quantity", _strays(_as_read(values, video), read_off, weight, shares), {"units": "1", "long_name": _RANK})
    far = weighted_quantiles(np.array([one.distance for one in seen]), np.maximum(weight, 1e-12), np.array([0.5]))[0]
    if not np.isfinite(far).any():
        raise ValueError("video_band: none of these flights is still going on at any of the frames; check the frame of liftoff and the times")
    entries |= _agreement(values, reading, view, video, far)
    pixel = np.array([one.pixel for one in seen])
    inside = in_picture(view, pixel).all(axis=2)
    entries["flown_pixel"] = (("flight", "frame", "point", "side"), pixel, {"units": "px", "long_name": "pixel of the flight, NaN behind the camera"})
    entries["in_picture"] = ("frame", weight @ inside, {"units": "1", "long_name": "share of the flights that are in the picture"})
    entries["weight"] = ("flight", weight, {"units": "1", "long_name": "weight of the flight"})
    if "branch" in some:
        entries["branch"] = ("flight", np.atleast_1d(some["branch"].values).astype(str), {"long_name": "what failed in the flight"})
    number = np.atleast_1d(some["flight"].values) if "flight" in some.coords else np.arange(weight.size)
    band = xr.Dataset(entries, {"quantity": list(COMPARED), "quantile": shares, "flight": number})
    return video.merge(band).assign_attrs(video.attrs | {"kind": "video band", "share": held, "of_one_flight": int(not is_ensemble(flights))})


def _again(view: View, video: xr.Dataset) -> Reading:
    """Return what the frames say, with the slopes that the Dataset does not keep."""
    pixel, time = video["pixel"].values, video["time"].values
    seen = np.isfinite(pixel).all(axis=(1, 2))
    return read(view, pixel, video["pixel_error"].values, window_of(time, seen, int(video.attrs["window"])), float(video.attrs["balance"]))


def _weights(flights: xr.Dataset) -> np.ndarray:
    """Return the weights of the flights, adding to 1."""
    if not is_ensemble(flights):
        return np.ones(1)
    weight = flights["weight"].values.astype(float) if "weight" in flights else np.ones(flights.sizes["flight"])
    if not (np.isfinite(weight).all() and (weight >= 0.0).all() and weight.sum() > 0.0):
        raise ValueError("video_band: weight must hold numbers of 0 and more, not all of them 0")
    return weight / weight.sum()


def _seen(flights: xr.Dataset, video: xr.Dataset, view: View, threads: int | None, progress: bool) -> list[_Seen]:
    """Return every flight as the camera sees it."""
    time, both, balance = video["time"].values, video.sizes["point"] == 2, float(video.attrs["balance"])
    reach = int(video.attrs["window"])

    def one(flight: xr.Dataset) -> _Seen:
        try:
            flown = flown_at(flight, time, "video_band")
        except ValueError as error:
            if "never lifts off" not in str(error):
                raise
            nothing = np.full((time.size, 3), np.nan)
            return _Seen(np.full((len(COMPARED), time.size), np.nan), np.full((time.size, video.sizes["point"], 2), np.nan), nothing[:, 0])
        ends = np.stack([flown.nose, flown.tail], axis=1)
        hung = ~np.isfinite(ends).all(axis=(1, 2))
        ends[hung] = flown.centre[hung, None]
        middle = (1.0 - balance) * ends[:, 0] + balance * ends[:, 1]
        ways = ends - view.place
        ways = ways / np.linalg.norm(ways, axis=-1, keepdims=True)
        there = np.isfinite(ways).all(axis=(1, 2))
        found, _ = angles(ways, window_of(time, there, reach), balance)
        values = np.array([found[name] for name in COMPARED])
        values[2], values[4] = (np.where(hung, np.nan, values[k]) for k in (2, 4))
        return _Seen(values, project(view, ends if both else middle[:, None]), np.linalg.norm(middle - view.place, axis=1))

    return each_flight(flights, one, threads=threads, progress=progress) if is_ensemble(flights) else [one(flights)]


def _middle(values: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return the mean direction over the flights, (quantity, frame), without jumps from frame to frame."""
    known = np.isfinite(values)
    turn = np.where(known, np.exp(1j * np.where(known, values, 0.0)), 0.0)
    mean = np.where(known.any(axis=1), np.angle(np.einsum("f,qft->qt", weight, turn)), np.nan)
    for one in mean:
        there = np.isfinite(one)
        one[there] = np.unwrap(one[there])
    return mean


def _errors(video: xr.Dataset, which: str) -> np.ndarray:
    """Return the standard deviations (quantity, frame) of what was read: "" of all, "_reading", "_camera"."""
    nothing = np.full(video.sizes["frame"], np.nan)
    return np.array([video[f"{name}_error{which}"].values if f"{name}_error" in video else nothing for name in COMPARED])


def _as_read(values: np.ndarray, video: xr.Dataset) -> np.ndarray:
    """Return the flights' angles with errors laid on as the video's have them: what a video of each would have read. The same errors at every call."""
    random = np.random.default_rng(values.shape[1])
    own = _errors(video, "_reading")[:, None] * random.standard_normal(values.shape)
    common = _errors(video, "_camera")[:, None] * random.standard_normal((values.shape[0], values.shape[1], 1))
    return values + own + common


def _wrapped(angle: np.ndarray) -> np.ndarray:
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


def weighted_quantiles(values: np.ndarray, weight: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Return quantiles (shares, n) of values (flights, n) that do not count alike; NaN among them is left out, straight between two flights."""
    out = np.full((len(shares), values.shape[1]), np.nan)
    for k, column in enumerate(values.T):
        known = np.isfinite(column) & (weight > 0.0)
        if known.any():
            order = np.argsort(column[known])
            own = weight[known][order]
            out[:, k] = np.interp(shares, (np.cumsum(own) - 0.5 * own) / own.sum(), column[known][order])
    return out


def _places(values: np.ndarray, read_off: np.ndarray, error: np.ndarray, weight: np.ndarray, shares: np.ndarray) -> dict[str, Any]:
    """Return band, rank and what leaves the band."""
    band = np.stack([weighted_quantiles(one, weight, shares) for one in values])
    known = np.isfinite(values) & np.isfinite(read_off)[:, None]
    total = np.einsum("f,qft->qt", weight, known)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.einsum("f,qft->qt", weight, known & (values < read_off[:, None])) / np.where(total > 0.0, total, np.nan)
        outside = (read_off < band[:, 0] - BEYOND * error) | (read_off > band[:, -1] + BEYOND * error)
    return {
        "band": (("quantity", "quantile", "frame"), band, {"units": "rad", "long_name": "quantile of the flights"}),
        "flown": (("quantity", "flight", "frame"), values, {"units": "rad", "long_name": "what the camera would see of the flight"}),
        "rank": (("quantity", "frame"), below, {"units": "1", "long_name": "the reading as a quantile of the flights"}),
        "outside": (("quantity", "frame"), outside, {"units": "1", "long_name": "whether the reading leaves the band by more than two standard deviations"}),
    }


def _strays(values: np.ndarray, read_off: np.ndarray, weight: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Return the share of flights (quantity, flight, frame), as read, that are further from their middle than the video, (quantity,).

    By the root mean square over the frames of what each is off over half the band's width. The video counts as one more: were it one of them, each place
    in the row would be as likely. NaN where there is one flight.
    """
    out = np.full(values.shape[0], np.nan)
    for k, (one, own) in enumerate(zip(values, read_off, strict=True)):
        low, middle, high = weighted_quantiles(one, weight, shares)
        use = np.isfinite(own) & (high > low)
        if one.shape[0] < 2 or not use.any():
            continue
        half = 0.5 * (high - low)[use]
        away = (_wrapped(one[:, use] - middle[use]) / half) ** 2
        known = np.isfinite(away)
        of_flights = np.where(known, away, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
        there = known.any(axis=1)
        of_video = float(np.mean((_wrapped(own[use] - middle[use]) / half) ** 2))
        own_weight = weight[there] / weight[there].sum()
        count = 1.0 / float(np.sum(own_weight**2))
        out[k] = (count * float(own_weight @ (of_flights[there] >= of_video)) + 1.0) / (count + 1.0)
    return out


# ---------------------------------------------------------------- how well each flight agrees


def _agreement(values: np.ndarray, reading: Reading, view: View, video: xr.Dataset, distance: np.ndarray) -> dict[str, Any]:
    """Return misfit and log-likelihood of every flight, by bearing and elevation: errors of reading frame by frame, those of camera and time in common.

    The covariance is D + U U', D of the readings, U a column for each common error, so its inverse and determinant are Woodbury's.
    """
    level = np.cos(reading.value["elevation"])
    use = np.isfinite(level) & np.isfinite(reading.error["bearing"]) & np.isfinite(distance)
    own = np.concatenate([(reading.error["bearing"] * level)[use], reading.error["elevation"][use]])
    common = _common(reading, view, video, distance, level)[:, use].reshape(own.size, -1) / own[:, None]
    inner = np.eye(common.shape[1]) + common.T @ common
    log_det = 2.0 * np.log(own).sum() + np.linalg.slogdet(inner)[1]
    miss = np.concatenate([_wrapped(reading.value["bearing"] - values[0]) * level, reading.value["elevation"] - values[1]], axis=1)
    miss = miss[:, np.concatenate([use, use])] / own
    along = miss @ common
    total = np.sum(miss**2, axis=1) - np.einsum("fi,ij,fj->f", along, np.linalg.inv(inner), along)
    likelihood = -0.5 * (total + log_det + own.size * math.log(2.0 * math.pi))
    text = "root mean square of what the flight is off in bearing and elevation, over its errors"
    return {
        "misfit": ("flight", np.sqrt(np.maximum(total, 0.0) / own.size), {"units": "1", "long_name": text}),
        "log_likelihood": (
            "flight",
            np.where(np.isnan(likelihood), -np.inf, likelihood),
            {"units": "1", "long_name": "log-likelihood of bearings and elevations"},
        ),
    }


def _common(reading: Reading, view: View, video: xr.Dataset, distance: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Return what one standard deviation of each common error does to bearing (times cos elevation) and elevation, (2, n, errors): camera, place, time."""
    values, vectors = np.linalg.eigh(view.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    slopes = np.stack([reading.camera["bearing"] * level[:, None], reading.camera["elevation"]])
    slopes[:, :, 3:6] = np.stack([reading.right, reading.plumb]) / distance[:, None]  # a camera further right sees the flights further left
    path = reading.value["apparent_path"]
    moves = np.nan_to_num(np.stack([reading.rate * np.sin(path), reading.rate * np.cos(path)])) * float(video.attrs["liftoff_error"])
    return np.concatenate([slopes @ root, moves[..., None]], axis=-1)


def need_band(ds: Any, who: str) -> None:
    """Raise ValueError for what `video_band` did not return."""
    if not isinstance(ds, xr.Dataset) or ds.attrs.get("kind") != "video band":
        raise ValueError(f"{who} needs what sixdof.postflight.video_band returned, not {'another Dataset' if isinstance(ds, xr.Dataset) else shown(ds)}")
