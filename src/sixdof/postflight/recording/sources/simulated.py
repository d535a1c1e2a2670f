"""`simulated_packets`: the telemetry that a simulated flight would send, as it would come over a link that loses, delays, repeats and damages packets."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.recording.packet import SENT, SEQUENCE, Packet, datagram
from sixdof.postflight.recording.sources.link import link_of, lost

NAMES = ("height", "east", "north", "velocity", "tilt", "phase")
STEPPED = ("phase", "guidance_mode", "waypoint")  # hold their value from row to row
TURNING = ("roll", "tilt_yaw", "commanded_roll")  # jump by a whole turn
DIGITS = 4  # decimals that a packet gives: a tenth of a millimetre
START = 1.8e9  # s since 1970, of liftoff by the receiver's clock, where none is given: a flight of some day, invented


def simulated_packets(
    flight: xr.Dataset,
    *,
    names: Any = NAMES,
    rate: float | str = 10.0,
    before: float | str = 5.0,
    after: float | str = 5.0,
    loss: float | str = 0.0,
    burst: float | str | None = None,
    good_loss: float | str = 0.0,
    bad_loss: float | str = 1.0,
    latency: float | str = 0.05,
    jitter: float | str = 0.01,
    clock_offset: float | str = -20.0,
    clock_drift: float | str = 0.0,
    repeated: float | str = 0.0,
    damaged: float | str = 0.0,
    start: float | str = START,
    seed: int = 0,
) -> list[Packet]:
    """Make the packets of a simulated flight as a receiver would get them, for a bench test of a display, a recorder, or what reads a recording.

    Parameters
    ----------
    flight : a flight (`sixdof.fly`); numbers below may be text with a unit ("20 %", "50 ms", "20 Hz")
    names : of its timeline, that are sent
    rate : packets a second, by the sender's clock
    before, after : s on the rail before liftoff and on the ground after the landing
    loss : share of packets lost
    burst : packets that a spell of loss lasts on average (Gilbert 1960, Elliott 1963: a chain of a good and a bad state); None: each lost for itself
    good_loss, bad_loss : shares lost within good and bad spells
    latency : least time from sending to receiving, s
    jitter : mean of what comes on top of it, s (exponential); packets may overtake each other
    clock_offset : what the sender's clock says at liftoff, less 0, s: its clock began -clock_offset s before or after. It is `time` in a packet
    clock_drift : by how much the sender's clock runs fast against the receiver's, a share (20e-6 is a usual crystal)
    repeated : share of packets that come twice
    damaged : share of packets with a byte changed: raw bytes, which a source drops as malformed
    start : receiver's clock at liftoff, s since 1970-01-01 UTC; an invented day
    seed : of all that is drawn

    Returns
    -------
    list of Packet
        In the order in which they come. `sequence` counts from 0, what is lost included.

    Raises
    ------
    ValueError
        In one sentence, for arguments that cannot be, and a Dataset that is no flight.

    Examples
    --------
    >>> packets = sixdof.postflight.simulated_packets(flight, rate=5.0, loss=0.2, burst=4.0, seed=1)
    >>> sorted(packets[0].values), packets[0].sequence
    (['east', 'height', 'north', 'phase', 'tilt', 'velocity'], 0.0)
    """
    chosen = _chosen(flight, names)
    given = {
        name: _number(name, value, *_LIMITS[name])
        for name, value in {
            "rate": rate,
            "before": before,
            "after": after,
            "loss": loss,
            "good_loss": good_loss,
            "bad_loss": bad_loss,
            "latency": latency,
            "jitter": jitter,
            "clock_offset": clock_offset,
            "clock_drift": clock_drift,
            "repeated": repeated,
            "damaged": damaged,
            "start": start,
        }.items()
    }
    rate, before, after, loss, good_loss, bad_loss, latency, jitter, clock_offset, clock_drift, repeated, damaged, start = given.values()
    spell = None if burst is None else _number("burst", burst, "1", 1.0, 1e6)
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        raise ValueError(f"simulated_packets: seed = {shown(seed)} must be a whole number, 0 or more")
    try:
        link = link_of(loss, spell, good_loss, bad_loss)
    except ValueError as error:
        raise ValueError(f"simulated_packets: {error}") from None
    random = np.random.default_rng(seed)
    end = float(flight["time"][-1]) + after
    time = np.arange(-before, end, (1.0 + clock_drift) ** -1 / rate)
    sent = clock_offset + (1.0 + clock_drift) * time
    gone = lost(link, time.size, random)
    rows = _rows(flight, chosen, time, sent)
    come = start + time + latency + random.exponential(jitter, time.size)
    twice, broken = random.random(time.size) < repeated, random.random(time.size) < damaged
    found = [_through(Packet(float(come[k]), rows[k]), broken[k], random) for k in np.flatnonzero(~gone)]
    again = [found[k]._replace(received=found[k].received + float(random.exponential(jitter) + 0.25 / rate)) for k in np.flatnonzero(twice[~gone])]
    return sorted([*found, *again], key=lambda packet: packet.received)


_LIMITS = {  # unit, least, most
    "rate": ("Hz", 1e-3, 1e4),
    "loss": ("1", 0.0, 1.0),
    "good_loss": ("1", 0.0, 1.0),
    "bad_loss": ("1", 0.0, 1.0),
    "repeated": ("1", 0.0, 1.0),
    "damaged": ("1", 0.0, 1.0),
    "before": ("s", 0.0, 1e5),
    "after": ("s", 0.0, 1e5),
    "latency": ("s", 0.0, 1e3),
    "jitter": ("s", 0.0, 1e3),
    "clock_offset": ("s", -1e10, 1e10),
    "clock_drift": ("1", -0.1, 0.1),
    "start": ("s", 0.0, 1e10),
}


def _number(name: str, value: Any, unit: str, least: float, most: float) -> float:
    """Return a number or text with a unit in SI, within its limits. Raises ValueError in one sentence."""
    try:
        found = parse(float(value) if isinstance(value, np.generic) else value, unit)
    except QuantityError as error:
        raise ValueError(f"simulated_packets: {name}: {error}") from None
    if not least <= found <= most:
        raise ValueError(f"simulated_packets: {name} = {shown(value)} must be from {least:g} to {most:g}{'' if unit == '1' else f' {unit}'}")
    return found


def _chosen(flight: Any, names: Any) -> tuple[str, ...]:
    """Return the names of the timeline that are sent. Raises ValueError for one that there is not, and for what is no flight."""
    if not isinstance(flight, xr.Dataset) or "time" not in flight.dims or "height" not in flight or "flight" in flight.dims:
        raise ValueError("simulated_packets needs a flight with its timeline, such as sixdof.fly(mission)")
    names = (names,) if isinstance(names, str) else tuple(names)
    known = [name for name in flight.data_vars if flight[name].dims and flight[name].dims[0] == "time"]
    for name in names:
        if name not in known:
            raise ValueError(f"simulated_packets: names: there is no {shown(name)} in the flight's timeline; it has {', '.join(map(str, known[:8]))} ...")
    if not names:
        raise ValueError("simulated_packets: names must name one variable of the timeline or more")
    return names


def _rows(flight: xr.Dataset, names: tuple[str, ...], time: np.ndarray, sent: np.ndarray) -> list[dict[str, Any]]:
    """Return the payload of every packet."""
    columns = {name: _sampled(flight, name, time) for name in names}
    rows = []
    for k in range(time.size):
        row: dict[str, Any] = {SENT: round(float(sent[k]), 6), SEQUENCE: k}
        rows.append(row | {name: values[k].tolist() for name, values in columns.items()})
    return rows


def _sampled(flight: xr.Dataset, name: str, time: np.ndarray) -> np.ndarray:
    """Return a variable of the timeline at instants; before liftoff and after the landing it is that of the first and the last row."""
    known, values = flight["time"].values, flight[name].values
    if name in STEPPED:
        row = np.clip(np.searchsorted(known, time, side="right") - 1, 0, known.size - 1)
        return values[row].astype(int)
    columns = values.reshape(known.size, -1)
    if name in TURNING:
        columns = np.unwrap(columns, axis=0)
    found = np.stack([np.interp(time, known, column) for column in columns.T], axis=-1)
    if name in TURNING:
        found = (found + math.pi) % (2.0 * math.pi) - math.pi
    if name == "velocity":
        found[time < known[0]] = 0.0
        found[time > known[-1]] = 0.0
    found[~np.isfinite(found)] = math.nan  # what has no value at that time
    return found.round(DIGITS).reshape(time.size, *values.shape[1:])


def _through(packet: Packet, broken: bool, random: np.random.Generator) -> Packet:
    """Return a packet as it comes: itself, or its bytes with one of them changed."""
    if not broken:
        return packet
    data = bytearray(datagram(packet))
    data[int(random.integers(len(data)))] ^= 0x80  # never ASCII any more, so never JSON in UTF-8 that reads as something else
    return Packet(packet.received, bytes(data))
