"""Everything that pilotlamp raises on purpose.

::

    MonitorError
    ├── LayoutError (also ValueError)     the layout file or a setting cannot be used
    ├── LinkError                         the serial side
    │   ├── LinkUnavailableError          a port that will not open
    │   └── LinkLostError                 a port that went away
    ├── CaptureError                      a capture file that cannot be read
    ├── CalibrationError (also ValueError) known readings that no calibration fits
    ├── SessionError                      the recordings side
    │   ├── SessionDamagedError           a session that cannot be understood
    │   └── SessionFullError              no room, or no right, to record
    ├── BusError                          the broker side
    ├── MissingPackageError               a package that an optional part needs
    ├── PageError                         a page server that cannot start
    └── LogError                          a log file that cannot be written

Each message says what is wrong, where, and what to do about it, in one sentence that a command can print as it is.
Damage on the wire is never an exception: the decoders return it as a value.
"""


class MonitorError(Exception):
    """The root: whatever pilotlamp raises on purpose."""


class LayoutError(MonitorError, ValueError):
    """The layout file, or a setting, cannot be used as it stands.

    Attributes:
        source: The file's name, or None for a text that has no file.
        table: The table at fault, as a person would write it (``supply "North bench"``), or None.
        key: The key at fault, or None.
    """

    def __init__(self, message: str, *, source: str | None = None, table: str | None = None, key: str | None = None) -> None:
        where = ", ".join(part for part in (source, table and f"table {table}", key and f"key {key}") if part)
        super().__init__(f"{where}: {message}" if where else message)
        self.source = source
        self.table = table
        self.key = key


class LinkError(MonitorError):
    """Something about the serial link.

    Attributes:
        port: The device or URL concerned.
    """

    def __init__(self, message: str, *, port: str) -> None:
        super().__init__(message)
        self.port = port


class LinkUnavailableError(LinkError):
    """The port will not open."""


class LinkLostError(LinkError):
    """The port was open and went away."""


class CaptureError(MonitorError):
    """A capture file that cannot be read."""


class CalibrationError(MonitorError, ValueError):
    """Known readings that no calibration fits."""


class SessionError(MonitorError):
    """Something about recorded sessions."""


class SessionDamagedError(SessionError):
    """A session folder that cannot be understood even after recovery."""


class SessionFullError(SessionError):
    """There is no room, or no right, to record."""


class BusError(MonitorError):
    """Something about the broker."""


class PageError(MonitorError):
    """The page server cannot start."""


class MissingPackageError(MonitorError):
    """An optional part needs a package that is not installed.

    Args:
        part: What needs it, as the user knows it.
        package: The package.
        extra: The extra of our own that brings it; None where nothing brings it on this kind of computer.
    """

    def __init__(self, part: str, package: str, extra: str | None = None) -> None:
        remedy = (
            f"install it with pip install 'pilotlamp[{extra}]', or '.[{extra}]' in a clone" if extra else f"pip install {package}"
        )
        super().__init__(f"{part} needs the package {package}, which is not installed here: {remedy}")


class LogError(MonitorError):
    """The log file cannot be written."""
