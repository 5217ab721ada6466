"""Checks of the machine: versions, sleep, clock, supply, terminal."""

from __future__ import annotations

import os
import platform
import re
import sys
import time
from collections.abc import Iterator
from importlib.metadata import version

from tawny import __version__
from tawny.cli.findings import Finding, Level, Machine
from tawny.store.database import SQLITE_LEAST, check_sqlite, sqlite_version
from tawny.words import _

_PACKAGES = ("apsw", "click", "matplotlib", "msgspec", "pint", "pyserial", "simple-pid", "textual")
_RELEASED_S = 1_767_225_600.0  # 2026-01-01: no clock that is right shows less
_COLUMNS, _ROWS = 80, 24
_SETTING = re.compile(r"^\s*(\w+)\s*=\s*(\S+)", re.MULTILINE)


def versions() -> Iterator[Finding]:
    """Look at Python, the libraries and SQLite."""
    bits = 64 if sys.maxsize > 1 << 32 else 32
    said = _("tawny {own}, Python {python}, {system} {machine}, {bits} bit").format(
        own=__version__,
        python=platform.python_version(),
        system=platform.system(),
        machine=platform.machine(),
        bits=bits,
    )
    if platform.system() == "Linux" and bits == 64:  # noqa: PLR2004 - the width of a pointer
        yield Finding("versions", Level.GOOD, said)
    else:
        yield Finding("versions", Level.LOOK, said, _("tested on 64-bit Debian only"))
    yield Finding(
        "versions", Level.GOOD, ", ".join(f"{name} {version(name)}" for name in _PACKAGES)
    )
    check_sqlite()
    yield Finding(
        "sqlite",
        Level.GOOD,
        _("SQLite {found}, at least {least}").format(
            found=sqlite_version(), least=".".join(map(str, SQLITE_LEAST))
        ),
    )


def clock() -> Iterator[Finding]:
    """Look at the wall clock: small computers without a battery start in the past."""
    now_s = time.time()
    said = time.strftime("%Y-%m-%d %H:%M:%S %Z", time.localtime(now_s))
    if now_s < _RELEASED_S:
        yield Finding("clock", Level.MEND, said, "sudo timedatectl set-ntp true")
    else:
        yield Finding("clock", Level.GOOD, said)


def sleep(machine: Machine) -> Iterator[Finding]:
    """Look for what would put the computer to sleep in the middle of a pressing.

    Source:
        logind.conf(5): HandleLidSwitch is "suspend" and IdleAction "ignore" where not set.
    """
    if not (machine.root / "run/systemd/system").is_dir():
        said = _("systemd does not run here; what could send it to sleep is not known")
        yield Finding("sleep", Level.LOOK, said, _("turn off sleep in the power settings"))
        return
    target = machine.root / "etc/systemd/system/sleep.target"
    if target.is_symlink() and str(target.readlink()) == os.devnull:
        yield Finding("sleep", Level.GOOD, _("sleep is masked"))
        return
    settings = _logind(machine)
    lids = machine.root / "proc/acpi/button/lid"
    lid = lids.is_dir() and any(lids.iterdir())
    found = False
    if lid and settings.get("HandleLidSwitch", "suspend") not in {"ignore", "lock"}:
        found = True
        said = _("closing the lid sends this computer to sleep")
        yield Finding("sleep", Level.MEND, said, _write_logind("HandleLidSwitch=ignore"))
    if settings.get("IdleAction", "ignore") not in {"ignore", "lock"}:
        found = True
        said = _("this computer goes to sleep when nobody types")
        yield Finding("sleep", Level.MEND, said, _write_logind("IdleAction=ignore"))
    if not found:
        said = _("the system does not send it to sleep; a desktop's own settings are not seen here")
        yield Finding("sleep", Level.GOOD, said, "sudo systemctl mask sleep.target suspend.target")


def _logind(machine: Machine) -> dict[str, str]:
    folder = machine.root / "etc/systemd/logind.conf.d"
    texts = [machine.text("etc/systemd/logind.conf")]
    if folder.is_dir():
        texts += [
            machine.text(str(path.relative_to(machine.root)))
            for path in sorted(folder.glob("*.conf"))
        ]
    return {name: value for text in texts for name, value in _SETTING.findall(text)}


def _write_logind(line: str) -> str:
    return (
        "sudo mkdir -p /etc/systemd/logind.conf.d && "
        f"printf '[Login]\\n{line}\\n' | sudo tee -a /etc/systemd/logind.conf.d/70-press.conf"
    )


def supply(machine: Machine) -> Iterator[Finding]:
    """Look whether a small computer's supply has sagged, which drops USB ports."""
    sensors = machine.root / "sys/class/hwmon"
    if not sensors.is_dir():
        return
    for sensor in sorted(sensors.iterdir()):
        place = sensor.relative_to(machine.root)
        if machine.text(f"{place}/name").strip() != "rpi_volt":
            continue
        if machine.text(f"{place}/in0_lcrit_alarm").strip() == "1":
            yield Finding(
                "supply",
                Level.MEND,
                _("the supply has sagged since the start: USB ports may drop out"),
                _("use the supply its maker names, and a powered hub for the board"),
            )
        else:
            yield Finding("supply", Level.GOOD, _("the supply has not sagged since the start"))


def terminal(machine: Machine) -> Iterator[Finding]:
    """Look at the terminal the dashboard would be drawn on."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        said = _("no terminal here")
        yield Finding("terminal", Level.LOOK, said, _("tawny run needs one; tawny serve does not"))
        return
    size = os.get_terminal_size()
    said = f"{machine.environ.get('TERM', '')} {size.columns}x{size.lines}"
    if size.columns < _COLUMNS or size.lines < _ROWS:
        yield Finding("terminal", Level.MEND, said, _("make the window at least 80 by 24"))
    else:
        yield Finding("terminal", Level.GOOD, said)
    yield from terminal_kind(machine, sys.stdout.encoding)


def terminal_kind(machine: Machine, encoding: str) -> Iterator[Finding]:
    """Look at what the terminal can show."""
    if encoding.lower().replace("-", "") != "utf8":
        said = _("letters are sent as {encoding}, which has no degree sign").format(
            encoding=encoding
        )
        yield Finding("terminal", Level.MEND, said, "export LANG=C.UTF-8")
    kind = machine.environ.get("TERM", "")
    deep = machine.environ.get("COLORTERM", "") in {"truecolor", "24bit"}
    if kind in {"", "dumb"}:
        said = _("TERM is {kind}: nothing can be drawn").format(kind=kind or _("not set"))
        yield Finding("terminal", Level.MEND, said, "export TERM=xterm-256color")
    elif not deep:
        said = _("few colours; shapes and words still tell everything apart")
        yield Finding("terminal", Level.LOOK, said, "export COLORTERM=truecolor")
