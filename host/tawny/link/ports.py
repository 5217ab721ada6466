"""Which serial ports there are, by names that survive a replug, and what else grabs them."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Final

import msgspec

from tawny.errors import N_

_DEVICES: Final = ("ttyUSB*", "ttyACM*", "ttyAMA*")


class SerialPort(msgspec.Struct, frozen=True):
    """One serial port.

    Attributes:
        device: The kernel's name; it changes when plugs change places.
        by_id: The name by the chip's own number, empty where there is none.
        by_path: The name by the socket it is plugged into, empty where there is none.
        vendor: USB vendor number, four hexadecimal digits, or empty.
        product: USB product number, likewise.
        numbered: The chip has a number of its own; one without shares its by-id name with all
            of its kind, and which of them has it may change.
    """

    device: str
    by_id: str = ""
    by_path: str = ""
    vendor: str = ""
    product: str = ""
    numbered: bool = True

    @property
    def best(self) -> str:
        """The most stable name: by the chip's own number, by its socket, or the kernel's."""
        names = (self.by_id, self.by_path) if self.numbered else (self.by_path, self.by_id)
        return names[0] or names[1] or self.device


class Holder(msgspec.Struct, frozen=True):
    """A process that has a port open."""

    pid: int
    name: str


class Grabber(msgspec.Struct, frozen=True):
    """A running service that is known to open serial ports by itself.

    Attributes:
        advice: A sentence template, with the place `{rule}` for the line that mends it.
        rule: That line.
    """

    pid: int
    name: str
    advice: str
    rule: str


def list_ports(dev: Path = Path("/dev"), sys: Path = Path("/sys")) -> list[SerialPort]:
    """Return the serial ports that can have a board on them; a pty is never listed."""
    by_id = _links(dev / "serial" / "by-id")
    by_path = _links(dev / "serial" / "by-path")
    devices = {str(path) for pattern in _DEVICES for path in dev.glob(pattern)}
    found = []
    for device in sorted(devices | set(by_id) | set(by_path)):
        usb = _usb_numbers(sys / "class" / "tty" / Path(device).name / "device")
        found.append(SerialPort(device, by_id.get(device, ""), by_path.get(device, ""), *usb))
    return found


def holders(port: str, proc: Path = Path("/proc")) -> list[Holder]:
    """Return the processes that have this port open, as far as this user may see them."""
    wanted = os.path.realpath(port)
    return [
        Holder(int(folder.name), _name_of(folder))
        for folder in _processes(proc)
        if wanted in _open_files(folder)
    ]


def grabbers(port: SerialPort | None = None, proc: Path = Path("/proc")) -> list[Grabber]:
    """Return running services that open serial ports unasked, each with what mends it."""
    vendor = port.vendor if port and port.vendor else "VENDOR"
    product = port.product if port and port.product else "PRODUCT"
    match = f'ATTRS{{idVendor}}=="{vendor}", ATTRS{{idProduct}}=="{product}"'
    known = {
        "ModemManager": (
            N_(
                "ModemManager tries new serial ports for modems and holds them for some seconds. "
                "Put this line into /etc/udev/rules.d/70-press.rules: {rule}"
            ),
            f'SUBSYSTEM=="tty", {match}, ENV{{ID_MM_DEVICE_IGNORE}}="1"',
        ),
        "brltty": (
            N_(
                "brltty takes some USB serial chips for braille displays. Somebody may need it: "
                "keep it, and exclude this chip in /etc/udev/rules.d/70-press.rules: {rule}"
            ),
            f'SUBSYSTEM=="usb", {match}, ENV{{BRLTTY_BRAILLE_DRIVER}}=""',
        ),
    }
    return [
        Grabber(int(folder.name), name, *known[name])
        for folder in _processes(proc)
        if (name := _name_of(folder)) in known
    ]


def _links(folder: Path) -> dict[str, str]:
    try:
        return {os.path.realpath(link): str(link) for link in sorted(folder.iterdir())}
    except OSError:
        return {}


def _usb_numbers(device: Path) -> tuple[str, str, bool]:
    """The numbers of the USB device above a tty, some folders up, and whether it has its own."""
    real = device.resolve()
    for folder in (real, *real.parents)[:6]:
        try:
            return (
                (folder / "idVendor").read_text(encoding="ascii").strip(),
                (folder / "idProduct").read_text(encoding="ascii").strip(),
                (folder / "serial").exists(),
            )
        except OSError:
            continue
    return "", "", True


def _processes(proc: Path) -> list[Path]:
    try:
        return sorted(
            (folder for folder in proc.iterdir() if folder.name.isdigit()),
            key=lambda folder: int(folder.name),
        )
    except OSError:
        return []


def _open_files(process: Path) -> set[str]:
    """The files a process has open; none where this user may not see them."""
    found = set()
    with suppress(OSError):
        for link in (process / "fd").iterdir():
            with suppress(OSError):  # closed meanwhile
                found.add(str(link.readlink()))
    return found


def _name_of(folder: Path) -> str:
    try:
        return (folder / "comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return "?"
