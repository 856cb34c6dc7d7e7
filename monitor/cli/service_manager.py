"""Talks to a service manager that started the program, where there is one: it is up, and it is still at work.

The protocol is that of systemd's sd_notify(3): one datagram to the socket that the environment names.
"""

import contextlib
import os
import socket


def tell_service_manager(state: str) -> None:
    """Tell it; without one, and on systems without such sockets, nothing happens.

    Args:
        state: As in sd_notify(3): ``READY=1``, ``WATCHDOG=1``, ``STOPPING=1``.
    """
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.settimeout(0)  # a manager that does not listen must not hold the watch up
        line.sendto(state.encode(), address)
