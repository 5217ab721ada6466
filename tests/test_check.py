"""`tawny check`: each thing that could go wrong is found, with the line that mends it."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path

import apsw
import pytest

from made_record import made_home
from tawny.cli import check_home, check_machine, check_port
from tawny.cli.findings import Finding, Level, Machine, guarded
from tawny.settings.home import Home, find_home

MOUNT = "36 35 0:30 / {mount} rw,relatime shared:1 - {kind} server:/x rw{options}\n"


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """Return a made-up machine with nothing on it."""
    root = tmp_path / "root"
    for folder in ("dev", "sys/class/hwmon", "proc", "run/systemd/system"):
        (root / folder).mkdir(parents=True)
    return Machine(root, {"TERM": "xterm-256color", "COLORTERM": "truecolor"})


def put(machine: Machine, place: str, text: str) -> Path:
    """Put a file on the made-up machine."""
    path = machine.root / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def to_mend(found: Iterable[Finding]) -> list[tuple[str, str]]:
    """Return what was found to be mended."""
    return [(one.said, one.mend) for one in found if one.level is Level.MEND]


def test_check_of_this_machine_is_one_object_a_line(tmp_path: Path) -> None:
    """For a program: about, level, said and what mends it; nothing is made by looking."""
    ran = subprocess.run(
        [sys.executable, "-m", "tawny", "check", "--json", "--home", str(tmp_path / "none")],
        capture_output=True,
        text=True,
        check=False,
    )
    found = [json.loads(line) for line in ran.stdout.splitlines()]

    assert ran.stderr == ""
    assert {
        "versions",
        "sqlite",
        "settings",
        "record",
        "file system",
        "port",
        "board",
        "sleep",
    } <= {one["about"] for one in found}
    assert ran.returncode == (1 if any(one["level"] == "mend" for one in found) else 0)
    assert all(one["mend"] for one in found if one["level"] != "good")
    assert list(tmp_path.iterdir()) == []


def test_check_for_a_person_shows_what_mends_it(tmp_path: Path) -> None:
    """A line for each fact, and an arrow before what to do."""
    ran = subprocess.run(
        [sys.executable, "-m", "tawny", "check", "--home", str(tmp_path / "none")],
        capture_output=True,
        text=True,
        check=False,
    )

    assert f"look  settings       {tmp_path / 'none'} holds no settings yet\n" in ran.stdout
    assert "-> tawny demo tries everything" in ran.stdout


def test_check_reads_settings_and_record(tmp_path: Path) -> None:
    """The demo workshop is whole, its record's last part is named, and SIMULATED is said."""
    home = made_home(tmp_path / "home")
    (settings,) = check_home.settings(home)
    (record,) = check_home.record(home)

    assert settings.level is record.level is Level.GOOD
    assert settings.said == "press-1 of Millbrook workshop: 1 mould, 3 recipes; SIMULATED"
    assert "last part P0002-" in record.said


def test_check_names_a_mistake_in_the_settings(tmp_path: Path) -> None:
    """A wrong recipe is a finding with its own sentence, not the end of the check."""
    home = made_home(tmp_path / "home", pressings=1)
    path = home.recipes / "grain-apple.toml"
    path.write_text(path.read_text().replace('"180 degC"', '"1800 degC"'))
    found = guarded("settings", lambda: check_home.settings(home))

    assert [one.level for one in found] == [Level.MEND]
    assert "setpoint 1800 degC is not between" in found[0].said


def test_check_says_how_a_recipe_in_fahrenheit_was_read(tmp_path: Path) -> None:
    """356 degF is accepted as 180.0 degC, and shown."""
    home = made_home(tmp_path / "home", pressings=1)
    path = home.recipes / "grain-apple.toml"
    path.write_text(path.read_text().replace('"180 degC"', '"356 degF"'))

    assert any("is read as 180.0 degC" in one.said for one in check_home.settings(home))


def test_check_finds_a_damaged_record(tmp_path: Path) -> None:
    """A record that is no record is a finding."""
    home = made_home(tmp_path / "home", pressings=1)
    home.store.write_bytes(b"not a database" * 100)
    found = guarded("record", lambda: check_home.record(home))

    assert [one.level for one in found] == [Level.MEND]
    assert str(home.store) in found[0].said


@pytest.mark.parametrize(
    ("kind", "options", "level", "sentence"),
    [
        ("ext4", "", Level.GOOD, "ext4"),
        ("ext4", ",data=writeback", Level.LOOK, "data=writeback"),
        ("nfs4", "", Level.MEND, "on another machine, where a record can be lost"),
        ("cifs", "", Level.MEND, "on another machine"),
    ],
)
def test_check_looks_at_the_file_system(
    tmp_path: Path, machine: Machine, kind: str, options: str, level: Level, sentence: str
) -> None:
    """A network folder is refused, a reckless mount is named."""
    mounts = MOUNT.format(mount=tmp_path, kind=kind, options=options)
    put(machine, "proc/self/mountinfo", mounts)
    found = list(check_home.disk(find_home(tmp_path / "home" / "deep"), machine))

    assert found[0].level is level
    assert sentence in found[0].said
    assert {one.about for one in found} == {"file system", "room", "rights"}


def test_check_without_a_port_asks_for_the_plug(machine: Machine) -> None:
    """No serial port is no fault yet."""
    (found,) = check_port.ports(machine)

    assert (found.level, found.said) == (Level.LOOK, "there is no serial port")


def test_check_finds_what_else_takes_serial_ports(machine: Machine) -> None:
    """ModemManager and brltty are named with the rule that keeps them off this port."""
    put(machine, "dev/ttyUSB0", "")
    device = machine.root / "sys/devices/usb1/1-1"
    put(machine, "sys/devices/usb1/1-1/idVendor", "1a86\n")
    put(machine, "sys/devices/usb1/1-1/idProduct", "7523\n")
    tty = machine.root / "sys/class/tty/ttyUSB0"
    tty.mkdir(parents=True)
    (tty / "device").symlink_to(device)
    put(machine, "proc/411/comm", "ModemManager\n")
    put(machine, "proc/512/comm", "brltty\n")
    put(machine, "proc/600/comm", "bash\n")
    found = list(check_port.ports(machine))
    mended = to_mend(found)

    assert found[0].said.endswith("ttyUSB0 is free")
    assert [said for said, _ in mended] == [
        "ModemManager is running (pid 411)",
        "brltty is running (pid 512)",
    ]
    assert 'ATTRS{idVendor}=="1a86", ATTRS{idProduct}=="7523"' in mended[0][1]
    assert "ID_MM_DEVICE_IGNORE" in mended[0][1]


def test_check_of_a_port_that_is_not_allowed_names_its_group(machine: Machine) -> None:
    """The sentence names the user, the port's own group and the usermod line."""
    put(machine, "dev/ttyACM0", "").chmod(0o060)  # its group may, its owner may not
    script = (
        "import sys\n"
        "from pathlib import Path\n"
        "from tawny.cli.check_port import ports\n"
        "from tawny.cli.findings import Machine\n"
        "for found in ports(Machine(Path(sys.argv[1]), {})):\n"
        "    print(found.level.value, found.said)\n"
    )
    command = [sys.executable, "-c", script, str(machine.root)]
    if os.geteuid() == 0:  # root passes over permissions unless it gives that right up
        command = ["setpriv", "--bounding-set=-dac_override", "--inh-caps=-all", *command]
    answer = subprocess.run(command, capture_output=True, text=True, check=True).stdout

    assert answer.startswith("mend ")
    assert "usermod -aG" in answer


def test_check_never_opens_a_port_unasked(tmp_path: Path) -> None:
    """Opening can reset the board, so it is greeted only on a port that was named."""
    (found,) = check_port.board(find_home(tmp_path), None)

    assert found.level is Level.LOOK
    assert "tawny check --port" in found.mend


@pytest.fixture
def stranger() -> Iterator[str]:
    """Return a port behind which something else talks."""
    controller, port = pty.openpty()
    stop = threading.Event()

    def talk() -> None:
        while not stop.wait(0.1):
            os.write(controller, b"weather 21.5 C, wind 3 m/s\r\n")

    thread = threading.Thread(target=talk)
    thread.start()
    yield os.ttyname(port)
    stop.set()
    thread.join()
    os.close(port)
    os.close(controller)


@pytest.mark.slow
def test_check_of_a_wrong_device_says_so(tmp_path: Path, stranger: str) -> None:
    """Something else on the port is named as such, and nothing is sent to heat."""
    found = guarded("board", lambda: check_port.board(find_home(tmp_path), stranger))

    assert [one.level for one in found] == [Level.MEND]
    assert "board" in found[0].said


def test_check_greets_on_the_port_of_the_settings(tmp_path: Path) -> None:
    """The press profile may name the board's port; without --port it is that one."""
    home = made_home(tmp_path / "home", pressings=1)
    text = home.press.read_text().replace("simulated = true", 'port = "/dev/none"')
    home.press.write_text(text)
    found = guarded("board", lambda: check_port.board(home, None))

    assert "There is no port /dev/none" in found[0].said


def test_check_of_an_absent_port_names_what_is_there(tmp_path: Path) -> None:
    """A port that is not there is one sentence."""
    found = guarded("board", lambda: check_port.board(find_home(tmp_path), "/dev/none"))

    assert [one.level for one in found] == [Level.MEND]
    assert "There is no port /dev/none" in found[0].said


def test_check_finds_what_would_put_the_computer_to_sleep(machine: Machine) -> None:
    """A lid that suspends and an idle action are named with the line that stops them."""
    put(machine, "proc/acpi/button/lid/LID0/state", "state: open\n")
    put(machine, "etc/systemd/logind.conf", "[Login]\n#HandleLidSwitch=ignore\n")
    put(machine, "etc/systemd/logind.conf.d/10.conf", "[Login]\nIdleAction=suspend\n")
    mended = to_mend(check_machine.sleep(machine))

    assert [said for said, _ in mended] == [
        "closing the lid sends this computer to sleep",
        "this computer goes to sleep when nobody types",
    ]
    assert "HandleLidSwitch=ignore" in mended[0][1]
    assert "IdleAction=ignore" in mended[1][1]


def test_check_believes_a_masked_sleep(machine: Machine) -> None:
    """Once sleep is masked, or the lid is ignored, nothing is left to mend."""
    put(machine, "proc/acpi/button/lid/LID0/state", "state: open\n")
    put(machine, "etc/systemd/logind.conf.d/70-press.conf", "[Login]\nHandleLidSwitch=ignore\n")
    assert to_mend(check_machine.sleep(machine)) == []
    target = machine.root / "etc/systemd/system/sleep.target"
    target.parent.mkdir(parents=True)
    target.symlink_to("/dev/null")

    assert [one.said for one in check_machine.sleep(machine)] == ["sleep is masked"]


def test_check_finds_a_supply_that_sagged(machine: Machine) -> None:
    """A small computer's own sensor says that its supply was too low."""
    put(machine, "sys/class/hwmon/hwmon0/name", "cpu_thermal\n")
    put(machine, "sys/class/hwmon/hwmon1/name", "rpi_volt\n")
    alarm = put(machine, "sys/class/hwmon/hwmon1/in0_lcrit_alarm", "1\n")
    assert len(to_mend(check_machine.supply(machine))) == 1
    alarm.write_text("0\n")

    assert [one.level for one in check_machine.supply(machine)] == [Level.GOOD]


@pytest.mark.parametrize(
    ("environ", "encoding", "sentence"),
    [
        ({"TERM": "dumb"}, "utf-8", "nothing can be drawn"),
        ({}, "utf-8", "TERM is not set"),
        ({"TERM": "xterm", "COLORTERM": "truecolor"}, "ANSI_X3.4-1968", "has no degree sign"),
        ({"TERM": "linux"}, "utf-8", "few colours"),
    ],
)
def test_check_looks_at_the_terminal(environ: dict[str, str], encoding: str, sentence: str) -> None:
    """A terminal that cannot draw, or cannot write a degree sign, is named."""
    found = list(check_machine.terminal_kind(Machine(Path("/"), environ), encoding))

    assert len(found) == 1
    assert sentence in found[0].said
    assert found[0].mend


def test_check_of_a_good_terminal_is_silent() -> None:
    """Nothing is said where nothing is wrong."""
    machine = Machine(Path("/"), {"TERM": "xterm-256color", "COLORTERM": "truecolor"})

    assert list(check_machine.terminal_kind(machine, "utf-8")) == []


def test_check_finds_a_small_terminal(tmp_path: Path) -> None:
    """Below 80 by 24 the window must grow."""
    import fcntl
    import struct
    import termios

    controller, terminal = pty.openpty()
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 20, 70, 0, 0))
    script = (
        "from tawny.cli.check_machine import terminal\n"
        "from tawny.cli.findings import Machine\n"
        "import sys\n"
        "open(sys.argv[1], 'w').write('\\n'.join(found.said + '|' + found.mend"
        " for found in terminal(Machine())))\n"
    )
    said = tmp_path / "said"
    subprocess.run(
        [sys.executable, "-c", script, said], stdin=terminal, stdout=terminal, check=True
    )
    os.close(controller)
    os.close(terminal)

    assert "70x20|make the window at least 80 by 24" in said.read_text()


def test_check_of_a_home_that_a_press_uses_leaves_the_port_alone(tmp_path: Path) -> None:
    """Where an owner answers at the desk, the board is its own."""
    import socket

    home = Home(tmp_path)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as desk:
        desk.bind(str(home.socket))
        desk.listen()
        (found,) = check_port.board(home, "/dev/ttyUSB9")

    assert found.level is Level.GOOD
    assert "is running and has the board" in found.said


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ("UPDATE journal SET who = 'nobody' WHERE seq = 2", "entry 2 was changed"),
        ("DELETE FROM part", "its lists do not agree with its journal"),
    ],
)
def test_check_walks_the_whole_record(tmp_path: Path, changed: str, why: str) -> None:
    """A record that still opens but was changed is found, with what to do about it."""
    home = made_home(tmp_path / "home", pressings=2)
    db = apsw.Connection(str(home.store))
    for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    db.execute(changed)
    db.close()
    (found,) = check_home.record(home)

    assert found.level is Level.MEND
    assert why in found.said
    assert "go on in another one" in found.mend


def test_check_finds_pages_that_do_not_fit(tmp_path: Path) -> None:
    """Damage in a part of the file that no list reads is found all the same."""
    home = made_home(tmp_path / "home", pressings=2)
    db = apsw.Connection(str(home.store))
    (page,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE type = 'index'").fetchone()
    size = db.pragma("page_size")
    db.close()
    data = bytearray(home.store.read_bytes())
    data[(page - 1) * size : page * size] = bytes(range(256)) * (size // 256)
    home.store.write_bytes(data)
    found = guarded("record", lambda: check_home.record(home))

    assert [one.level for one in found] == [Level.MEND]


def test_check_names_a_file_in_the_folders_place(tmp_path: Path) -> None:
    """A home folder that is a file is named as one."""
    (tmp_path / "home").write_text("")
    (found,) = check_home.settings(Home(tmp_path / "home"))

    assert (found.level, "is a file, not a folder" in found.said) == (Level.MEND, True)
