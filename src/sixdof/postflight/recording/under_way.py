"""`record`: a source into a file until it ends or is ended, with a line that says how things stand; `send_packets`: packets to a display's port."""

from __future__ import annotations

import socket
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable
from os import PathLike
from typing import Any

from sixdof.ensemble.signals import interruptible, orderly_end
from sixdof.mission.units import shown
from sixdof.postflight.recording.describing import site_of
from sixdof.postflight.recording.packet import Packet, datagram
from sixdof.postflight.recording.recorder import Recorder
from sixdof.postflight.recording.sources.source import Source
from sixdof.postflight.recording.tally import Tally

STATUS_EVERY = 0.5  # s
RECENT = 10  # packets that a column map is tried on for the line


def record(
    source: Iterable[Packet | None],
    path: str | PathLike,
    *,
    site: Any = None,
    columns: Any = None,
    names: Iterable[str] | None = None,
    title: str = "",
    progress: bool | Callable[[str], None] = True,
) -> int:
    """Record what a source gives until it ends, or Ctrl-C or a request to terminate ends it: what had come is on the disk then, and the session is closed.

    Killed, or without power, it loses nothing that was acknowledged; the same call goes on with the same file.

    Parameters
    ----------
    source : of `listen`, `follow`, `replay` or `simulated_packets`
    path, site, columns, names, title : as of `Recorder`
    progress : whether a line says twice a second how many came and were lost, where the body is and how old that is; or a function that takes the line

    Returns
    -------
    int
        Packets recorded in this session.

    Raises
    ------
    ValueError, OSError, RuntimeError
        As `Recorder`.

    Examples
    --------
    >>> packets = sixdof.postflight.simulated_packets(flight, loss=0.1, seed=1)
    >>> count = sixdof.postflight.record(packets, "bench-test.rec", site=mission, progress=False)
    >>> count == len(packets)
    True
    """
    say = progress if callable(progress) else _on_one_line if progress else None
    tally, told, recent = Tally(), -STATUS_EVERY, deque[Packet](maxlen=RECENT)
    # a request to terminate is taken up again once the recorder has closed
    with orderly_end() as end, interruptible() as stop, Recorder(path, site=site, columns=columns, names=names, title=title) as recorder:
        for note in recorder.notes if say is not None and recorder.before else ():
            say(f"{note}\n")
        if isinstance(source, Source):
            source.ends_with(stop, end)
        for packet in recorder.through(source):
            if packet is not None:
                tally.take(packet)
                recent.append(packet)
            if say is not None and time.monotonic() - told >= STATUS_EVERY:
                tally.latest.update(_mapped(recorder.about, recent))
                say(tally.line(sum(getattr(source, "dropped", {}).values())))
                told = time.monotonic()
            if stop.is_set() or end.is_set():
                break
        if say is not None and tally.packets:
            tally.latest.update(_mapped(recorder.about, recent))
            say(f"{tally.line(sum(getattr(source, 'dropped', {}).values()))}\n")
        return recorder.acknowledged


def _mapped(about: dict[str, Any], recent: deque[Packet]) -> dict[str, tuple[float, Any]]:
    """Return what the last packets measured by the recording's column map, name -> (when, value); nothing where there is none, or they do not fit it."""
    if len(recent) < 2 or not {"columns", "names"} & set(about):
        return {}
    from sixdof.postflight.recording.measured import measured

    try:
        site = site_of(about["site"]) if "site" in about else None
        found = measured(list(recent), about, site, None).variables
    except ValueError:  # the page will say why
        return {}
    named = {name: values for name, (_, values, _) in found.items() if site is not None or name not in ("east", "north") or "latitude" not in str(about)}
    return {name: (recent[-1].received, values[-1].tolist()) for name, values in named.items()}


def _on_one_line(text: str) -> None:
    """Write a line over the one before; on what is no terminal, those alone that stay."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r\x1b[K{text}")
    elif text.endswith("\n"):
        sys.stderr.write(text)
    sys.stderr.flush()


def send_packets(packets: Iterable[Packet | None], port: int, *, address: str = "127.0.0.1") -> int:
    """Send packets as UDP datagrams as they come, to a display or a `listen` on this machine; of a `replay` at its pace. Return how many were sent.

    packets : of any source. port : 1 to 65535. address : of the receiver.

    Raises ValueError in one sentence for a port or an address that cannot be.

    Examples
    --------
    >>> with sixdof.postflight.listen(0, timeout=0.05) as source:
    ...     flown = sixdof.postflight.simulated_packets(flight.isel(time=slice(100)), loss=0.5, seed=2)
    ...     sent = sixdof.postflight.send_packets(flown, source.port)
    ...     sent == len(list(source))
    True
    """
    if isinstance(port, bool) or not isinstance(port, int) or not 1 <= port <= 65535:
        raise ValueError(f"send_packets: port = {shown(port)} must be a whole number from 1 to 65535")
    try:
        to = socket.getaddrinfo(address, port, type=socket.SOCK_DGRAM)[0]
    except (OSError, UnicodeError, TypeError):
        raise ValueError(f"send_packets: address = {shown(address)} is no address; leave it out for this machine, 127.0.0.1") from None
    count = 0
    with socket.socket(to[0], socket.SOCK_DGRAM) as sender:
        for packet in packets:
            if packet is not None:
                try:
                    sender.sendto(datagram(packet), to[4])
                    count += 1
                except ConnectionRefusedError:  # nobody listens yet
                    continue
    return count
