"""`listen`: packets that come as UDP datagrams, from this machine alone unless asked otherwise."""

from __future__ import annotations

import ipaddress
import select
import socket
import threading
import warnings
from typing import Any

from sixdof.mission.units import shown
from sixdof.postflight.recording.sources.source import Source

MOST_BYTES, MOST_RATE = 2048, 1000.0
_REFUSED = "give the address of one of this machine's own interfaces, or leave it out: 127.0.0.1"


def listen(
    port: int,
    *,
    address: str = "127.0.0.1",
    form: str = "names",
    most_bytes: int = MOST_BYTES,
    most_rate: float = MOST_RATE,
    timeout: float | None = None,
    tick: float | None = None,
    stop: threading.Event | None = None,
) -> Listener:
    """Listen for packets that come as UDP datagrams; an iterator of `Packet`, with `received`, `dropped` and `examples` of what was not taken.

    Datagrams have no sender that can be trusted: whoever reaches the port can send. So it listens on this machine's loopback alone, takes packets of bounded
    size at a bounded rate, and drops and counts what is malformed.

    Parameters
    ----------
    port : to listen on, 0 to 65535; 0: any that is free, which `port` of what is returned says
    address : of the interface to listen on; another one than loopback opens the port to a network, and is warned about
    form : "names", a JSON object of names and numbers a datagram: the timeline's names in SI, `time` the sender's clock (s), `sequence` its packet number,
        null for what was not measured; "text" or "bytes", anything, kept as it came
    most_bytes : of a datagram; longer ones are dropped
    most_rate : packets a second, on average over a second; what is above is dropped
    timeout : s without a packet after which it ends; None: never
    tick : s without a packet after which it gives None, so that a display can say how old its picture is; None: never
    stop : an event that ends it; Ctrl-C does as everywhere, and `close()` frees the port

    Raises
    ------
    ValueError
        In one sentence, for arguments that cannot be and a port that is taken.

    Examples
    --------
    >>> with sixdof.postflight.listen(0, timeout=0.01) as source:
    ...     print([packet.values for packet in source], source.dropped)
    [] {}
    """
    if isinstance(port, bool) or not isinstance(port, int) or not 0 <= port <= 65535:
        raise ValueError(f"listen: port = {shown(port)} must be a whole number from 0 to 65535")
    return Listener(port, _checked(address), form, most_bytes, most_rate, timeout, tick, stop)


def _checked(address: Any) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """Return an address, and warn of one that others can reach."""
    try:
        found = ipaddress.ip_address("127.0.0.1" if address == "localhost" else address)
    except ValueError:
        raise ValueError(f"listen: address = {shown(address)} is no IP address; {_REFUSED}") from None
    if not found.is_loopback:
        message = (
            f"listen: {found} is not this machine's loopback: whoever reaches it over the network can send packets, true or false; nothing about the sender is "
            "checked. Do so on a network of your own, and believe no position that nothing else supports"
        )
        warnings.warn(message, UserWarning, stacklevel=3)
    return found


class Listener(Source):
    """An open UDP port as a source of packets. port : that it listens on."""

    def __init__(self, port: int, address: ipaddress.IPv4Address | ipaddress.IPv6Address, form: str, most_bytes: int, *rest: Any):
        super().__init__("listen", form, most_bytes, *rest)
        self._socket = socket.socket(socket.AF_INET if address.version == 4 else socket.AF_INET6, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        try:
            self._socket.bind((str(address), port))
        except OSError as error:
            self._socket.close()
            raise ValueError(f"listen: port {port} of {address} cannot be listened on: {error.strerror or error}; {_REFUSED}, or another port") from None
        self.port: int = self._socket.getsockname()[1]

    def _take(self, wait: float) -> bytes | None:
        try:
            if select.select([self._socket], [], [], wait)[0]:
                return self._socket.recv(self.most_bytes + 1)
        except (OSError, ValueError):  # a datagram with a wrong checksum, an answer that nobody listens, a port closed meanwhile
            self._stop.wait(min(wait, 0.01))
        return None

    def close(self) -> None:
        """Free the port; a second time does nothing."""
        super().close()
        self._socket.close()
