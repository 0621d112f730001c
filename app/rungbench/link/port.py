"""Ports: listing them, opening one, and saying in one sentence why one does not open.

Of the link only this module knows pyserial.
"""

import errno
import importlib
import os
import shlex
import stat
import sys
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Final, TextIO
from urllib.parse import urlsplit

import serial
from serial.tools import list_ports as serial_list_ports

from rungbench.errors import (
    BenchError,
    BootLoaderOnly,
    LinkLost,
    NothingHeard,
    PortBusy,
    PortError,
    PortForbidden,
    PortMissing,
    RungbenchError,
    WrongUse,
)
from rungbench.link import boot_loader
from rungbench.link.greeting import greet
from rungbench.link.line import READ_S, Line, Port
from rungbench.link.record import RecordingLine
from rungbench.link.usb import without_port

__all__ = ["BAUD", "Port", "PortInfo", "SerialLine", "list_ports", "open_line", "open_port"]

BAUD: Final = 1_000_000
_SIMULATED: Final = "rungbench.simulated"
_NETWORK: Final = ("socket://", "rfc2217://")
# More than the line can bring in one read; what a read returns is bounded by its time.
_READ_BYTES: Final = 8192
_WRITE_S: Final = 0.5

if _SIMULATED not in serial.protocol_handler_packages:
    serial.protocol_handler_packages.append(_SIMULATED)


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A port of this computer: what to open, and what the system calls it."""

    url: str
    description: str
    hardware: str


class SerialLine:
    """A `Line` over pyserial."""

    def __init__(self, url: str, device: serial.SerialBase) -> None:
        self._url = url
        self._serial = device

    @property
    def url(self) -> str:
        return self._url

    @property
    def lock_step(self) -> bool:
        return bool(getattr(self._serial, "lock_step", False))

    @property
    def device(self) -> serial.SerialBase:
        """The pyserial object, which a simulated bench is reached through."""
        return self._serial

    def read(self) -> bytes:
        try:
            return bytes(self._serial.read(_READ_BYTES))
        except OSError as problem:
            raise self._lost(problem) from problem

    def write(self, data: bytes) -> None:
        try:
            self._serial.write(data)
        except OSError as problem:
            raise self._lost(problem) from problem

    def close(self) -> None:
        try:
            self._serial.close()
        except OSError as problem:
            raise self._lost(problem) from problem

    def _lost(self, problem: OSError) -> LinkLost:
        cause = str(problem).rstrip(".")
        return LinkLost(
            f"The link on {self._url} broke ({cause}); check the USB cable and the board, then "
            "start again."
        )


def list_ports() -> tuple[PortInfo, ...]:
    """The serial ports of this computer, by name; none is opened or written to."""
    return tuple(
        PortInfo(port.device, port.description or "", port.hwid or "")
        for port in sorted(serial_list_ports.comports(), key=lambda port: port.device)
    )


def open_port(url: str, *, baud: int = BAUD, record: TextIO | None = None) -> Port:
    """Open a port for this program alone and say hello to the board.

    Parameters
    ----------
    url : a device such as ``/dev/ttyUSB0`` or ``COM3``, or any pyserial URL, ``sim://`` included.
    record : a text stream that everything on the line is written to, see `record`.

    Raises
    ------
    PortMissing, PortForbidden, PortBusy, PortSilent, BootLoaderOnly, NotABoard, OtherProtocol,
    PortError, WrongUse
    """
    line: Line = open_line(url, baud)
    if record is not None:
        line = RecordingLine(line, record)
    try:
        with ExitStack() as cleanup:
            cleanup.callback(line.close)
            port = greet(line)
            cleanup.pop_all()
    except NothingHeard:
        if "://" not in url and _has_boot_loader(url):
            raise BootLoaderOnly(
                f"The board on {url} answers as its boot loader and runs no firmware of Rungbench; "
                f"flash it with `make flash PORT={shlex.quote(url)}` in hardware_notes/firmware."
            ) from None
        raise
    return port


def _has_boot_loader(url: str) -> bool:
    """Whether a boot loader answers on a port that was silent so far."""
    try:
        line = open_line(url, boot_loader.BAUD)
    except PortError:
        return False
    try:
        return boot_loader.answers(line)
    finally:
        line.close()


def open_line(url: str, baud: int = BAUD) -> SerialLine:
    """Open a port without saying anything; raises as `open_port` does."""
    try:
        device = serial.serial_for_url(
            url,
            do_not_open=True,
            baudrate=baud,
            timeout=READ_S,
            write_timeout=_WRITE_S,
            exclusive=True,
        )
        device.open()
    except ValueError as problem:
        raise _bad_url(url, problem) from problem
    except OSError as problem:
        raise _cannot_open(url, problem) from problem
    return SerialLine(url, device)


def _bad_url(url: str, problem: ValueError) -> RungbenchError:
    scheme, separator, _ = url.partition("://")
    hidden = _hidden_import_error(scheme.lower()) if separator else None
    if hidden is not None:
        return BenchError(
            f"The handler of {scheme}:// cannot be loaded ({hidden}); install Rungbench again with "
            "all that it needs."
        )
    return WrongUse(
        f"{url} is no usable port ({problem}); give a device such as /dev/ttyUSB0, or a URL such "
        "as sim://sound."
    )


def _hidden_import_error(scheme: str) -> ImportError | None:
    """The import error that pyserial swallowed while it looked for a handler, if there was one."""
    for package in serial.protocol_handler_packages:
        module = f"{package}.protocol_{scheme}"
        try:
            importlib.import_module(module)
        except ModuleNotFoundError as absent:
            if absent.name not in (module, package):
                return absent
        except ImportError as broken:
            return broken
    return None


def _cannot_open(url: str, problem: OSError) -> PortError:
    number = problem.errno or _number_in_text(str(problem))
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return PortMissing(_no_port(url))
    if number in (errno.EACCES, errno.EPERM):
        return PortForbidden(_no_right(url))
    if number in (errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY):
        return PortBusy(
            f"Another program holds {url}; close it and try again"
            + (f" (`fuser {shlex.quote(url)}` names it)." if sys.platform == "linux" else ".")
        )
    if _is_something_else(url):
        return PortError(
            f"{url} is a file and no serial port; list the ports with `rungbench bench ports`."
        )
    if number == errno.ENOTTY:
        return PortError(f"{url} is no serial port; list the ports with `rungbench bench ports`.")
    if url.lower().startswith(_NETWORK) and not _has_port_number(url):
        return PortError(
            f"{url} names no host and port; give both, such as socket://bench.example:4000."
        )
    return PortError(
        f"{url} cannot be opened ({problem}); check the address and the device, and try again."
    )


def _no_port(url: str) -> str:
    portless = without_port()
    if portless:
        return f"There is no port {url}, and {portless[0].text()}"
    return (
        f"There is no port {url}; plug the board in and list the ports with "
        "`rungbench bench ports`."
    )


def _has_port_number(url: str) -> bool:
    try:
        parts = urlsplit(url)
        return bool(parts.hostname and parts.port)
    except ValueError:
        return False


def _number_in_text(text: str) -> int | None:
    """On Windows, and where a port is no terminal, pyserial puts the error into the text only."""
    if f"({errno.ENOTTY}," in text:
        return errno.ENOTTY
    if "FileNotFoundError" in text:
        return errno.ENOENT
    # Windows says "access denied" for a port that another program has open.
    return errno.EBUSY if "PermissionError" in text else None


def _no_right(url: str) -> str:
    group = _group_of(url)
    if group in (None, "root"):
        return (
            f"You may not open {url}, and no group of users may; ask the administrator of this "
            "computer for the right to it."
        )
    return (
        f"You may not open {url}; run `sudo usermod -aG {group} $USER`, log out and in again, and "
        "try again."
    )


def _group_of(device: str) -> str | None:
    if sys.platform == "win32":
        return None
    import grp

    try:
        return grp.getgrgid(os.stat(device).st_gid).gr_name
    except (OSError, KeyError):
        # The usual owner of serial ports on Debian and its kin.
        return "dialout"


def _is_something_else(device: str) -> bool:
    try:
        return not stat.S_ISCHR(os.stat(device).st_mode)
    except OSError:
        return False
