"""The parser of the whole command line, and `main`."""

from __future__ import annotations

import argparse
import warnings
from contextlib import nullcontext

from sixdof.cli import comparing, explaining, flying, looking, loops, postflight, preflight, verifying, workshop
from sixdof.cli.codes import BAD_INPUT, INTERRUPTED, NOT_LANDED
from sixdof.cli.options import CAUTION
from sixdof.cli.output import check_folder, complain

_ABOUT = """\
Flights of a small, actively controlled rocket in six degrees of freedom, one or a Monte Carlo ensemble.

A mission of your own:
  python -m sixdof new single                                  a commented mission file that flies as written, to start from
  python -m sixdof keys fins                                   what the keys of a table mean, with units, ranges and defaults

A usual session:
  python -m sixdof check configs/sampler.toml                  is the mission file right, and is the vehicle stable?
  python -m sixdof aero configs/sampler.toml --figures out     drag, stability, what the control fins can do, against Mach
  python -m sixdof fly configs/sampler.toml --figures out      one flight as written, with its figures
  python -m sixdof fly configs/sampler.toml --set rail.length="4 m"    the same with another rail; --set, --fail and --only go with every verb on a mission
  python -m sixdof rehearse configs/sampler.toml               event rules and laws without physics: what fires when, what misfires
  python -m sixdof margins configs/sampler.toml --flights 50 --figures out    gain and phase margins of the attitude loops, on drawn flights too
  python -m sixdof tune configs/sampler.toml --gain-margin 6 --phase-margin 45 --out gains.toml    gains that have these margins
  python -m sixdof disperse configs/sampler.toml --flights 2000 --seed 1 --out flights.nc --figures out    Monte Carlo
  python -m sixdof fly configs/sampler.toml --seed 1 --flight 17   flight 17 of that ensemble again, in full detail
  python -m sixdof compare configs/two-stage.toml --motors configs/motors/mesa-*.csv --flights 200 --criterion "apogee_height < 1800 m in 95 % of flights"
  python -m sixdof compare configs/sampler.toml --vary site.earth flat wgs84      one flight over the flat Earth, one over WGS-84, side by side

Before a flight:
  python -m sixdof weathercock configs/two-stage.toml --figures out      does it turn into the wind, what causes it, what cures it
  python -m sixdof motors configs/two-stage.toml configs/motors --criterion "rail_departure_speed > 25 m/s in 95 % of flights" --prefer "most apogee_height"
  python -m sixdof wind configs/two-stage.toml --field "1500 m" --rail --figures out    the largest wind by direction, and the rail that allows most
  python -m sixdof landing configs/two-stage.toml --field configs/lake-orrin-field.geojson --flights 400 --failing 50 --figures out    where it lands
  python -m sixdof card configs/two-stage.toml --wind "5 m/s from 250 deg" --sheet card.pdf    one sheet for the launch day: go or no-go, and why

In the workshop:
  python -m sixdof firing configs/firings/mesa-i-*.csv --calibration configs/firings/cell.csv --stand "nozzle up" --out mesa-i.csv    a motor's thrust curve

After a flight:
  python -m sixdof log log.csv --columns map.toml --mission configs/sampler.toml --figures out    a flight log: what is in it, what was wrong with it
  python -m sixdof replay --simulate configs/sampler.toml --loss 20% --burst 5 --to-udp 4567 --speed 10    telemetry of a simulated flight, to try a display
  python -m sixdof record --udp 4567 --out flight.rec --site configs/sampler.toml    telemetry as it comes, safe against a kill; where it was last
  python -m sixdof against configs/two-stage.toml log.csv --columns map.toml    does the model hold, to which Mach number and incidence
  python -m sixdof estimate configs/two-stage.toml log.csv --columns map.toml --of aero.drag    what the log says of drag, thrust ..., and how surely
  python -m sixdof video configs/lost-flight/camera.toml configs/lost-flight/frames.csv --mission configs/two-stage.toml    pixels off a video: which tell what
  python -m sixdof happened configs/lost-flight/evidence.toml configs/two-stage.toml --out happened.nc    hypotheses against what is known
  python -m sixdof search happened.nc --hours 3 --cover scrub --out-gpx strips.gpx    where to search, and which strip to walk next

The library itself:
  python -m sixdof verify                                      the kernel on this machine against published check cases and closed forms
"""


def parser() -> argparse.ArgumentParser:
    """Return the command line's parser."""
    top = argparse.ArgumentParser(prog="python -m sixdof", description=_ABOUT, epilog=CAUTION, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = top.add_subparsers(dest="command", required=True)
    for group in (explaining, looking, flying, loops, comparing, preflight, workshop, postflight, verifying):
        group.add(commands)
    commands.metavar = f"{{{','.join(commands.choices)}}}"
    return top


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    chosen = parser().parse_args(arguments)
    try:
        if getattr(chosen, "figures", None) is not None:
            check_folder(chosen.figures)
        with warnings.catch_warnings():
            warnings.simplefilter("default")
            warnings.showwarning = lambda message, *_, **__: complain(message)
            with _keeping(chosen):
                return chosen.run(chosen)
    except KeyboardInterrupt:
        complain("interrupted")
        return INTERRUPTED
    except (OSError, ValueError, RuntimeError) as error:
        # MissionError, FlightError and what the calls raise for wrong arguments: sentences already, one per line
        complain(error)
        return BAD_INPUT if not _is_flight_error(error) else NOT_LANDED


def _keeping(chosen):
    """Return the context that keeps what a verb flies, where it was given a folder for it."""
    if getattr(chosen, "flown", None) is None:
        return nullcontext()
    from sixdof.preflight import keeping

    return keeping(chosen.flown)


def _is_flight_error(error: Exception) -> bool:
    from sixdof import FlightError

    return isinstance(error, FlightError)
