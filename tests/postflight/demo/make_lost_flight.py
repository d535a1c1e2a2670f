"""Writes `configs/lost-flight/` anew, and the truth that is kept from it beside this file: `python tests/postflight/demo/make_lost_flight.py [FOLDER]`."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))
from support import lost_evidence as said  # noqa: E402
from support import lost_flights as lost  # noqa: E402
from support import lost_pictures as seen  # noqa: E402

NUMBER = 30  # of the flight among those of the seed
HYPOTHESIS = "harness"
NOISE = 77  # seed of what the sensors and the people add
FOLDER = HERE.parents[2] / "configs" / "lost-flight"
INVENTED = "# Invented, all of it: vehicle, flight, places, people. Made by tests/postflight/demo/make_lost_flight.py, for exercise."

LOG_HEAD = f"""{INVENTED}
# The radio log of Whinchat's bay, second flight, as the ground station wrote it. Which column is what: columns.toml.
"""
BOARD = "+z -y +x"  # body axes by the board's own
BOARD_TURNED = 30.0  # deg
FEET, FAHRENHEIT = 0.3048, 5.0 / 9.0
STATES = {0.0: "PROFILE", 1.0: "WAYPT", 2.0: "HOLD"}

COLUMNS = f"""{INVENTED}
# What the columns of log.csv are. The board lies on its side in the bay: its z axis points forward, and it is turned by 30 deg about the roll axis.

[clock]
column = "ms"
unit = "ms"

[counter]
column = "pkt"
wraps = 256

[ground]
temperature = "72.1 degF"

[read.pressure]
column = "p_mbar"
unit = "mbar"
error = "0.08 mbar"

[read.temperature]
column = "t_F"
unit = "degF"
error = "0.5 K"

[read.specific_force]
columns = ["ax_g", "ay_g", "az_g"]
unit = "g"
axes = "{BOARD}"
turned = "{BOARD_TURNED:g} deg"
station = "{1e3 * lost.STATION:g} mm"
limit = "32 g"
error = "0.3 m/s^2"

[read.body_rate]
columns = ["gx_dps", "gy_dps", "gz_dps"]
unit = "dps"
axes = "{BOARD}"
turned = "{BOARD_TURNED:g} deg"
limit = "2000 deg/s"
error = "0.4 deg/s"

[read.latitude]
column = "lat"
unit = "deg"

[read.longitude]
column = "lon"
unit = "deg"

[read.altitude]
column = "msl_ft"
unit = "ft"
error = "4 m"

[read.velocity]
columns = ["vn_fps", "ve_fps", "vd_fps"]
unit = "ft/s"
frame = "north east down"
error = "0.25 m/s"

[read.fin_angle]
columns = ["fin1", "fin2", "fin3", "fin4"]
unit = "deg"
error = "0.1 deg"

[read.guidance_mode]
column = "mode"
states = {{ PROFILE = "profile", WAYPT = "waypoints", HOLD = "hold" }}
"""

EVIDENCE = f"""{INVENTED}
# What is known of Whinchat's second flight besides its log, which fell silent as the drogue's charge fired.
# Times are s since liftoff; `python -m sixdof happened --keys` explains every kind.
"""
SAID = {
    "display": "the ground station's display turned to LANDED: too early for a canopy",
    "tracker, 2D": "the tracker in the nose, a transmitter of its own, was heard once: a place without a height, where only a canopy could have carried it",
    "field glass": "somebody at the camp looked for the orange main and saw none; the bay itself was a speck",
    "seen from the camp": "a speck, falling",
    "booster": "lay beside its canopy, by hand-held receiver",
}
CAMP = (-60.0, 45.0)  # m east and north of the rail
SEARCHED = ((980.0, 210.0), (1180.0, 265.0), (1145.0, 390.0), (945.0, 335.0))  # where the flight as written comes down

CAMERA = f"""{INVENTED}
# A camera on a tripod, square to where the rail leans. Pixels count right and down from the upper left corner.

place = [{", ".join(f"{x:g}" for x in seen.PLACE)}]      # east, north of the rail, height of the lens, m
place_error = 0.5
picture = [{seen.PICTURE[0]}, {seen.PICTURE[1]}]
field_of_view = "{np.degrees(seen.WIDE):g} deg"   # across the width
frame_rate = "{seen.FRAME_RATE:g} Hz"
liftoff_frame = {seen.LIFTOFF_FRAME:.0f}
pixel_error = 1.5
"""


def main(folder: Path = FOLDER, truth: Path = HERE) -> None:
    """Write the files of the lost flight, and its truth."""
    folder.mkdir(parents=True, exist_ok=True)
    flight, draws = lost.flown(HYPOTHESIS, NUMBER)
    rng = np.random.default_rng(NOISE)
    end = float(flight.event_time.sel(event="deployment drogue").values[0]) + 0.45
    (folder / "log.csv").write_text(log_text(lost.readings(flight, draws, rng, end), rng))
    (folder / "columns.toml").write_text(COLUMNS)
    (folder / "evidence.toml").write_text(evidence_text(flight, rng))
    (folder / "walked.geojson").write_text(walked_text())
    (folder / "camera.toml").write_text(camera_text(rng))
    (folder / "frames.csv").write_text(frames_text(flight, rng))
    (truth / "truth.toml").write_text(truth_text(flight, draws))


# ---------------------------------------------------------------- the log


def log_text(read: lost.Readings, rng: np.random.Generator) -> str:
    """Return the log as the ground station wrote it: milliseconds, millibar, Fahrenheit, board axes, feet; a packet came twice."""
    to_board = _to_body().T
    force, rate = read.specific_force @ to_board.T / lost.G, np.degrees(read.body_rate) @ to_board.T
    place = np.degrees(_on_map(read.place))
    speed = read.velocity[:, [1, 0, 2]] * [1.0, 1.0, -1.0] / FEET
    clock = 812_345 + np.round(1e3 * (read.time - read.time[0]))
    number = (211 + np.round((read.time - read.time[0]) * lost.RATE)) % 256
    head = ["pkt", "ms", "mode", "p_mbar", "t_F", "ax_g", "ay_g", "az_g", "gx_dps", "gy_dps", "gz_dps", "lat", "lon", "msl_ft", "vn_fps", "ve_fps", "vd_fps"]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*head, "fin1", "fin2", "fin3", "fin4"])
    for k in range(read.time.size):
        row = [f"{number[k]:.0f}", f"{clock[k]:.0f}", STATES[float(read.mode[k])], f"{read.pressure[k] / 100:.2f}"]
        row += [f"{(read.temperature[k] - 273.15) / FAHRENHEIT + 32.0:.1f}", *(f"{x:.3f}" for x in force[k]), *(f"{x:.2f}" for x in rate[k])]
        row += [*(f"{x:.7f}" for x in place[k]), f"{(_site().altitude + read.place[k, 2]) / FEET:.1f}", *(f"{x:.2f}" for x in speed[k])]
        row += [f"{x:.2f}" for x in np.degrees(read.fin_angle[k])]
        for _ in range(2 if k == 200 else 1):
            writer.writerow(row)
    return LOG_HEAD + out.getvalue()


def _to_body() -> np.ndarray:
    """Return the matrix from the board's axes to the body's: what BOARD says, then the turn about the roll axis."""
    s, c = np.sin(np.radians(BOARD_TURNED)), np.cos(np.radians(BOARD_TURNED))
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]]) @ np.array([[0.0, 0.0, 1.0], [0.0, -1.0, 0.0], [1.0, 0.0, 0.0]])


def _site():
    return lost.mission_of().site


def _on_map(place: np.ndarray) -> np.ndarray:
    """Return latitude and longitude, rad, of metres east and north of the rail, by the radii of curvature of WGS-84 at the rail."""
    site = _site()
    a, e2 = 6_378_137.0, 6.694_379_990_14e-3
    w = 1.0 - e2 * np.sin(site.latitude) ** 2
    along, across = a * (1.0 - e2) / w**1.5 + site.altitude, a / np.sqrt(w) + site.altitude
    return np.stack([site.latitude + place[:, 1] / along, site.longitude + place[:, 0] / (across * np.cos(site.latitude))], axis=-1)


# ---------------------------------------------------------------- what was said and seen


def evidence_text(flight, rng: np.random.Generator) -> str:
    """Return the file of evidence: the display's report and no other piece is wrong."""
    truth = said.Truth(flight)
    pieces = [
        said.sighting(truth, rng, 52.0, CAMP),
        said.landed(truth, rng, 84.0, wrong=True),
        said.main_seen(truth, rng, 112.0, wrong=False),
        said.fix(truth, rng, 118.0, 2600.0, wrong=False),
        said.booster_found(truth, rng),
    ]
    return said.as_toml(pieces, "Whinchat, second flight", EVIDENCE, SAID)


def walked_text() -> str:
    """Return what was walked on the first evening, about where the flight as planned comes down, as GeoJSON."""
    corners = np.degrees(_on_map(np.array([(east, north, 0.0) for east, north in (*SEARCHED, SEARCHED[0])])))
    properties = {"name": "first evening", "cover": "scrub", "spacing": 15, "searcher": "Ada and two friends", "note": INVENTED.lstrip("# ")}
    ring = [[round(float(longitude), 6), round(float(latitude), 6)] for latitude, longitude in corners]
    feature = {"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    return json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=1) + "\n"


def camera_text(rng: np.random.Generator) -> str:
    """Return the camera with its landmarks, as TOML."""
    lines = [CAMERA.rstrip("\n")]
    for name, pixel in seen.landmark_pixels(lost.mission_of(), rng).items():
        lines += ["", f'[landmarks."{name}"]', *_lines(name, pixel)]
    return "\n".join(lines) + "\n"


def _lines(name: str, pixel: np.ndarray) -> list[str]:
    known = [] if name.startswith("rail") else [f"place = [{', '.join(f'{x:g}' for x in seen.LANDMARKS[name])}]", "place_error = 0.3"]
    return [*known, f"pixel = [{pixel[0]:.1f}, {pixel[1]:.1f}]"]


def frames_text(flight, rng: np.random.Generator) -> str:
    """Return the pixels of nose and tail, a line a frame."""
    rows = [",".join(map(str, (*row, seen.READING))) for row in seen.frames_of(flight, rng)]
    return (
        "\n".join(
            [
                INVENTED,
                "# Nose and tail as read off every second frame, px; to the booster's tail until it parts.",
                "frame,nose_x,nose_y,tail_x,tail_y,error",
                *rows,
            ]
        )
        + "\n"
    )


# ---------------------------------------------------------------- the truth


def truth_text(flight, draws) -> str:
    """Return what was flown, and where everything came down, as TOML."""
    lines = [
        INVENTED,
        "# The truth of configs/lost-flight, which no analysis reads.",
        f'hypothesis = "{HYPOTHESIS}"',
        f"number = {NUMBER}",
        f"seed = {lost.SEED}",
        "",
        "[landing]",
    ]
    for name, *numbers in zip(
        flight.body.values, flight.body_landing_time.values, flight.body_landing_east.values, flight.body_landing_north.values, strict=True
    ):
        if np.isfinite(numbers[0]):
            lines.append(f'"{name}" = {{ time = {numbers[0]:.2f}, east = {numbers[1]:.1f}, north = {numbers[2]:.1f} }}')
    lines += ["", "[draws]"]
    for name in draws.data_vars:
        if name != "failure_drawn":
            lines.append(f'"{name}" = [{", ".join(f"{x:.6g}" for x in draws[name].values.ravel())}]')
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
