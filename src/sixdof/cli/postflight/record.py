"""The verbs of telemetry: record packets as they come, play a recording back, send simulated packets to a display."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import verb, with_seed
from sixdof.cli.output import say, write_figures

LINK = {
    "loss": 'share of packets lost, such as "20%%"',
    "burst": "packets that a spell of loss lasts on average (default: each lost for itself)",
    "latency": 'least time on the way, such as "80 ms"',
    "jitter": "mean of what comes on top of it",
    "clock-drift": 'by how much the sender\'s clock runs fast, such as "40 ppm"',
    "repeated": "share of packets that come twice",
    "damaged": "share of packets that come damaged",
    "rate": 'packets a second, such as "10 Hz"',
}


def add(commands) -> None:
    """Add the verbs to the command line."""
    _add_record(commands)
    _add_replay(commands)


def _add_record(commands) -> None:
    record = verb(commands, "record", _record, "record telemetry as it comes, safe against a kill at any moment; the same command goes on with the same file")
    source = record.add_mutually_exclusive_group(required=True)
    source.add_argument("--udp", type=int, metavar="PORT", help="listen for UDP datagrams on this machine's loopback")
    source.add_argument("--follow", type=Path, metavar="FILE", help="follow a file that grows, a packet a line")
    record.add_argument("--out", type=Path, required=True, metavar="FILE", help="the recording, such as flight.rec; gone on with if it exists")
    record.add_argument("--address", default="127.0.0.1", metavar="IP", help="of the interface to listen on; any but loopback opens the port to a network")
    record.add_argument(
        "--form", default="names", choices=("names", "text", "bytes"), help="of a packet: a JSON object of names and numbers, or anything, kept raw"
    )
    record.add_argument("--site", type=Path, metavar="TOML", help="mission file: where the rail stands, and the title")
    record.add_argument("--columns", type=Path, metavar="TOML", help="column map, for packets of other names or units, or of raw text")
    record.add_argument("--names", metavar="A,B,...", help="of the columns of raw text, in their order")
    record.add_argument("--timeout", type=float, metavar="S", help="end after so many seconds without a packet (default: never)")
    record.add_argument("--quiet", action="store_true", help="no line of status")
    record.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder at the end")


def _add_replay(commands) -> None:
    replay = verb(commands, "replay", _replay, "play a recording, or a simulated flight's telemetry, at any speed, to a port or as lines; or show its page")
    replay.add_argument("recording", type=Path, nargs="?", metavar="FILE", help="a recording; or --simulate")
    replay.add_argument("--simulate", type=Path, metavar="TOML", help="fly this mission, and play what its telemetry would send")
    replay.add_argument("--speed", type=float, default=1.0, metavar="X", help="1 as it came, 10 ten times as fast, 0 as fast as can be (default: 1)")
    replay.add_argument("--longest-wait", type=float, default=float("inf"), metavar="S", help="play a silence for so many seconds at most")
    replay.add_argument("--to-udp", type=int, metavar="PORT", help="send each packet as a UDP datagram to this port, of this machine; else print it as a line")
    replay.add_argument("--page", action="store_true", help="show what came, what was lost and where the body was last, and play nothing")
    replay.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) of a recording into this folder, and play nothing")
    for name, text in LINK.items():
        replay.add_argument(f"--{name}", metavar="X", help=f"of --simulate: {text}")
    with_seed(replay)


def _record(chosen) -> int:
    from sixdof import load_mission, report
    from sixdof.postflight import follow, listen, read_recording, record

    ticking = {"form": chosen.form, "timeout": chosen.timeout, "tick": 0.1}
    site = None if chosen.site is None else load_mission(chosen.site)
    names = None if chosen.names is None else [name.strip() for name in chosen.names.split(",")]
    source = follow(chosen.follow, **ticking) if chosen.follow else listen(chosen.udp, address=chosen.address, **ticking)
    with source:
        record(source, chosen.out, site=site, columns=chosen.columns, names=names, progress=not chosen.quiet)
    try:
        recording = read_recording(chosen.out)
    except ValueError as error:  # nothing came
        say(error)
        return OK
    say(report(recording))
    say(f"recorded: {chosen.out}")
    _draw(chosen, recording)
    return OK


def _replay(chosen) -> int:
    from sixdof import report
    from sixdof.postflight import read_recording, replay, send_packets

    if (chosen.recording is None) == (chosen.simulate is None):
        raise ValueError("replay: give a recording, or --simulate with a mission file")
    if chosen.page or chosen.figures:
        if chosen.recording is None:
            raise ValueError("replay: --page and --figures are of a recording; record what --simulate sends, with --to-udp and the verb record")
        recording = read_recording(chosen.recording)
        if chosen.page:
            say(report(recording))
        _draw(chosen, recording)
        return OK
    packets = replay(chosen.recording if chosen.simulate is None else _simulated(chosen), chosen.speed, longest_wait=chosen.longest_wait)
    if chosen.to_udp is not None:
        say(f"sent: {send_packets(packets, chosen.to_udp)} packets to port {chosen.to_udp}")
        return OK
    for packet in packets:
        say(_line(packet))
    return OK


def _simulated(chosen) -> list:
    from sixdof import fly, load_mission
    from sixdof.postflight import simulated_packets

    given = {name.replace("-", "_"): getattr(chosen, name.replace("-", "_")) for name in LINK}
    return simulated_packets(fly(load_mission(chosen.simulate)), seed=chosen.seed, **{name: _number(text) for name, text in given.items() if text is not None})


def _number(text: str) -> float | str:
    """Return a bare number as one, and text with a unit as it is."""
    try:
        return float(text)
    except ValueError:
        return text


def _line(packet) -> str:
    from sixdof.postflight import datagram

    return datagram(packet).decode("utf-8", "backslashreplace")


def _draw(chosen, recording) -> None:
    if chosen.figures:
        from sixdof.plot import plot_recording

        write_figures(chosen.figures, {"recording": plot_recording(recording)})
