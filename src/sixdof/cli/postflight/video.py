"""The verb about a video: pixels read off frames to angles, the flights in the same picture, the swing."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import value_of, verb, with_out, with_seed
from sixdof.cli.output import say, write_figures

FORM = "frame (or time, s since liftoff), nose_x, nose_y, tail_x, tail_y, or x, y; error (px) if it differs"


def add(commands) -> None:
    """Add the verb to the command line."""
    video = verb(commands, "video", _video, "pixels read off a video's frames: bearings, leans, path, and which frames can tell an incidence at all")
    video.add_argument("camera", type=Path, metavar="TOML", help="the camera: place, picture, field_of_view, pointing or landmarks, frame_rate, liftoff_frame")
    video.add_argument("frames", type=Path, metavar="CSV", nargs="?", help=f"what was read off the frames: {FORM}; none: the camera's own page")
    video.add_argument(
        "--mission", type=Path, metavar="TOML", help="a mission: for latitudes and the rail's landmarks, the path's direction, and with --flights a band"
    )
    video.add_argument("--flights", type=int, default=0, metavar="N", help="of the mission, drawn and laid into the picture (default: 0)")
    with_seed(video)
    video.add_argument("--length", metavar="LENGTH", help='of the body, such as "1.3 m", where no mission is given')
    video.add_argument("--pixel-error", type=float, default=1.0, metavar="PX", help="standard deviation of one reading (default: 1)")
    video.add_argument("--window", type=int, default=2, metavar="N", help="frames on each side that a path is read from (default: 2)")
    video.add_argument("--wanted", default="2 deg", metavar="ANGLE", help="the incidence that a frame should be able to show (default: 2 deg)")
    video.add_argument("--swing", nargs=2, metavar=("START", "END"), help='fit a damped swing between two times since liftoff, such as "0.4 s" "2 s"')
    video.add_argument("--quiet", action="store_true", help="no progress bar")
    video.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
    with_out(video, "netCDF-4")


def _video(chosen) -> int:
    from sixdof import load_mission, report, save
    from sixdof.postflight import camera, from_video
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    mission = None if chosen.mission is None else load_mission(chosen.mission)
    if chosen.flights and mission is None:
        raise ValueError("--flights draws flights of a mission; give --mission too")
    seen = camera(chosen.camera, mission=mission)
    if chosen.frames is None:
        say(report(seen))
        return OK
    options = {"pixel_error": chosen.pixel_error, "window": chosen.window, "wanted": chosen.wanted, "length": chosen.length, "flight": mission}
    found = from_video(seen, chosen.frames, **options)
    if chosen.flights:
        found = _banded(chosen, mission, seen, found)
    say(report(found))
    figures = {"video": found}
    if chosen.swing:
        figures["swing"] = _swung(chosen, mission, found)
    if chosen.out:
        save(found, chosen.out, overwrite=chosen.overwrite)
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_swing, plot_video

        draw = {"video": plot_video, "swing": lambda ds: plot_swing(ds).figure}
        write_figures(chosen.figures, {name: draw[name](ds) for name, ds in figures.items()})
    return OK


def _banded(chosen, mission, seen, found):
    from sixdof import disperse
    from sixdof.postflight import video_band

    flights = disperse(mission, chosen.flights, seed=chosen.seed, progress=not chosen.quiet)
    return video_band(flights, seen, found, most=chosen.flights, progress=not chosen.quiet)


def _swung(chosen, mission, found):
    from sixdof import report
    from sixdof.postflight import swing_of

    swing = swing_of(found, start=value_of(chosen.swing[0]), end=value_of(chosen.swing[1]), mission=mission)
    say()
    say(report(swing))
    return swing
