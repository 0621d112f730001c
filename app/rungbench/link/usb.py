"""USB devices that look like a board and got no port, because a driver is missing (Linux only).

Read from the system's own list, `/sys/bus/usb/devices`; no device is opened.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

DEVICES: Final = Path("/sys/bus/usb/devices")

# Kernel modules for the bridges from USB to serial lines, by the vendor of the bridge (tables of
# the Linux kernel, drivers/usb/serial; from memory).  Class 02 is CDC, by the USB class codes.
_MODULES: Final = {"1a86": "ch341", "0403": "ftdi_sio", "10c4": "cp210x", "067b": "pl2303"}
_CDC: Final = "02"
_VENDOR_SPECIFIC: Final = "ff"
_CDC_MODULE: Final = "cdc_acm"


@dataclass(frozen=True, slots=True)
class DriverMissing:
    """A device that should have a port: its ids as ``vendor:product``, name, and the driver."""

    ids: str
    name: str
    module: str

    def text(self) -> str:
        """What is wrong and the remedy, to go behind a sentence's beginning."""
        named = f" ({self.name})" if self.name else ""
        return (
            f"the USB device {self.ids}{named} is plugged in and has no port, since its driver is "
            f"missing; load it with `sudo modprobe {self.module}`, or install the kernel's extra "
            "modules if there is no such driver."
        )


def without_port(devices: Path = DEVICES) -> tuple[DriverMissing, ...]:
    """Serial devices without a port; none where the system keeps no such list."""
    if not devices.is_dir():
        return ()
    return tuple(sorted(set(_missing(devices)), key=lambda missing: (missing.ids, missing.name)))


def _missing(devices: Path) -> Iterator[DriverMissing]:
    for device in sorted(devices.iterdir()):
        vendor, product = _read(device / "idVendor"), _read(device / "idProduct")
        if not vendor or not product:
            continue
        interfaces = sorted(devices.glob(f"{device.name}:*"))
        modules = [module for one in interfaces if (module := _module(one, vendor))]
        if modules and not any(_has_port(one) for one in interfaces):
            yield DriverMissing(f"{vendor}:{product}", _read(device / "product"), modules[0])


def _module(interface: Path, vendor: str) -> str:
    """The driver that an interface asks for, or nothing: then it is no serial line."""
    kind = _read(interface / "bInterfaceClass")
    if kind == _CDC and _read(interface / "bInterfaceSubClass") == "02":
        return _CDC_MODULE
    return _MODULES.get(vendor, "") if kind == _VENDOR_SPECIFIC else ""


def _has_port(interface: Path) -> bool:
    return any(interface.glob("tty*"))


def _read(file: Path) -> str:
    try:
        return file.read_text("utf-8", errors="replace").strip()
    except OSError:
        return ""
