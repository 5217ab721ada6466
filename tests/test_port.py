"""The serial port through ptys, and the sentences for every way it fails."""

from __future__ import annotations

import grp
import os
import pty
import socket
import termios
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from needs import lacking
from tawny.errors import BusyError, PortError
from tawny.link.port import Port, denied, open_port, reason_of
from tawny.link.ports import SerialPort, grabbers, holders, list_ports

NOBODY = 65534


class Pty:
    """A pty: the board's end, and the path that a host opens."""

    def __init__(self) -> None:
        self.board, self.keep = pty.openpty()
        tty.setraw(self.keep)
        self.path = os.ttyname(self.keep)

    def cflag(self) -> int:
        """The control flags of the line as they stand."""
        return int(termios.tcgetattr(self.keep)[2])

    def set_hupcl(self) -> None:
        """Let the line drop DTR at its last closing, as a fresh one does."""
        attributes = termios.tcgetattr(self.keep)
        attributes[2] |= termios.HUPCL
        termios.tcsetattr(self.keep, termios.TCSANOW, attributes)

    def unplug(self) -> None:
        """End it as a pulled plug does."""
        for end in (self.board, self.keep):
            if end >= 0:
                os.close(end)
        self.board = self.keep = -1


@pytest.fixture
def line() -> Iterator[Pty]:
    """A pty that is closed afterwards."""
    made = Pty()
    yield made
    made.unplug()


def read_all(port: Port, size: int) -> bytes:
    """Read until so many bytes have come; give up after some silent reads."""
    data = b""
    for _ in range(20):
        data += port.read()
        if len(data) >= size:
            break
    return data


def test_port_carries_bytes_both_ways_unchanged(line: Pty) -> None:
    """Raw: no byte is translated, in either direction."""
    every = bytes(range(256))
    port = open_port(line.path)
    os.write(line.board, every)
    port.write(every)

    assert read_all(port, 256) == every
    assert os.read(line.board, 1000) == every
    port.close()


def test_port_read_returns_nothing_when_nothing_comes(line: Pty) -> None:
    """Silence is no error."""
    port = open_port(line.path)

    assert port.read() == b""
    port.close()


def test_port_drops_what_waited_before_it_was_opened(line: Pty) -> None:
    """Bytes of an earlier boot are not read as this one's."""
    os.write(line.board, b"old\n")
    port = open_port(line.path)
    os.write(line.board, b"new\n")

    assert read_all(port, 4) == b"new\n"
    port.close()


def test_port_leaves_dtr_up_after_closing(line: Pty) -> None:
    """HUPCL is cleared: a dropped DTR would reset the board at the next opening."""
    line.set_hupcl()
    assert line.cflag() & termios.HUPCL
    port = open_port(line.path)
    assert line.cflag() & termios.HUPCL == 0
    port.close()

    assert line.cflag() & termios.HUPCL == 0


def test_port_is_open_for_one_only_and_says_who_holds_it(line: Pty) -> None:
    """The second opening is refused, with the name and number of the process."""
    port = open_port(line.path)
    with pytest.raises(BusyError, match=rf"{line.path} is in use by .*pid {os.getpid()}") as caught:
        open_port(line.path)
    port.close()

    assert reason_of(caught.value).code == "port_busy"
    open_port(line.path).close()


def test_port_that_is_not_there_names_those_that_are(tmp_path: Path) -> None:
    """A sentence for a missing port, whatever ports this computer has."""
    with pytest.raises(PortError, match=r"There is no port .*ttyUSB9") as caught:
        open_port(str(tmp_path / "ttyUSB9"))

    assert reason_of(caught.value).code == "port_absent"


def test_port_never_opens_the_terminal_that_took_the_number_of_one_that_has_gone(
    tmp_path: Path,
) -> None:
    """A killed board leaves its link; whose terminal it points to now is somebody else's."""
    board = Pty()
    link = tmp_path / "board"
    link.symlink_to(board.path)
    open_port(str(link)).close()
    board.unplug()
    # File times come from a clock that ticks every few milliseconds: let it move on once.
    tick = tmp_path / "tick"
    tick.touch()
    while tick.stat().st_mtime_ns <= link.lstat().st_mtime_ns:
        tick.touch()

    others = [Pty() for _ in range(64)]
    try:
        stranger = next(other for other in others if other.path == board.path)
        os.write(stranger.board, b"a key\n")
        with pytest.raises(PortError) as caught:
            open_port(str(link))
        assert caught.value.fields["code"] == "port_absent"
        assert os.read(stranger.keep, 100) == b"a key\n"
    finally:
        for other in others:
            other.unplug()


def test_port_that_is_a_file_is_refused(tmp_path: Path) -> None:
    """A regular file is no serial port, and stays as it was."""
    file = tmp_path / "notes.txt"
    file.write_text("hello", encoding="ascii")
    with pytest.raises(PortError, match="is not a serial port that can be used") as caught:
        open_port(str(file))

    assert reason_of(caught.value).code == "port_wrong"
    assert file.read_text(encoding="ascii") == "hello"


@pytest.mark.parametrize("url", ["socket://127.0.0.1:1", "nonsense://x"])
def test_port_at_an_address_that_does_not_answer_is_refused(url: str) -> None:
    """Network ports have a sentence of their own."""
    with pytest.raises(PortError, match="cannot be reached") as caught:
        open_port(url)

    assert reason_of(caught.value).code == "port_unreachable"


def test_port_opens_a_board_behind_a_bridge() -> None:
    """A `socket://` address carries the same bytes."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = open_port(f"socket://127.0.0.1:{server.getsockname()[1]}")
        with server.accept()[0] as board:
            board.sendall(b"tele\n")
            port.write(b"duty\n")
            assert read_all(port, 5) == b"tele\n"
            assert board.recv(100) == b"duty\n"
        with pytest.raises(PortError, match="has gone"):
            read_all(port, 1)
        port.close()


def _open_as_nobody(path: str) -> str:
    """Try to open a port as a user without rights, in a process of its own."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
            open_port(path)
            os.write(writing, b"opened")
        except PortError as error:
            os.write(writing, f"{error.fields['code']}: {error}".encode())
        finally:
            os._exit(0)
    os.close(writing)
    os.waitpid(child, 0)
    with os.fdopen(reading, encoding="utf-8") as answer:
        return answer.read()


def test_port_without_rights_names_the_group_and_the_command(line: Pty) -> None:
    """The node's real group, the usermod line, and to log out and in; never chmod."""
    if os.geteuid() != 0:
        lacking("only root can become another user")
    group = grp.getgrgid(Path(line.path).stat().st_gid).gr_name
    Path(line.path).chmod(0o660)
    answer = _open_as_nobody(line.path)

    assert answer.startswith("port_denied: ")
    assert f"usermod -aG {group} " in answer
    assert "log out and in" in answer
    assert "chmod" not in answer


def test_port_closed_to_its_own_group_says_so(tmp_path: Path) -> None:
    """Joining the group would not help, so it is not advised."""
    node = tmp_path / "ttyUSB0"
    node.touch(mode=0o600)

    assert "is closed to its own group" in str(denied(str(node)))
    assert "usermod" not in str(denied(str(node)))


def test_port_of_a_group_joined_since_login_says_to_log_in_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the group by the file, but not in this login."""
    node = tmp_path / "ttyUSB0"
    node.touch()
    node.chmod(0o660)
    gid = 54321
    monkeypatch.setenv("LOGNAME", "ana")
    monkeypatch.setattr(grp, "getgrgid", lambda _: grp.struct_group(("dialout", "x", gid, ["ana"])))
    monkeypatch.setattr(os, "getgroups", lambda: [100])

    assert "ana was added to the group dialout" in str(denied(str(node)))


def test_port_that_vanishes_says_so_at_a_read_and_at_a_write(line: Pty) -> None:
    """Both ends of a pulled plug are one and the same failure."""
    port = open_port(line.path)
    line.unplug()
    with pytest.raises(PortError, match="has gone") as caught:
        read_all(port, 1)
    assert reason_of(caught.value).code == "port_gone"
    with pytest.raises(PortError, match="has gone"):
        port.write(b"duty\n")
    assert port.trouble is not None
    port.close()


@pytest.mark.parametrize("error", [TypeError("fd is None"), OSError(5, "EIO"), ValueError("-1")])
def test_port_takes_every_oddity_of_a_vanished_device_as_gone(error: Exception) -> None:
    """What the serial library lets through under a close is one kind of failure."""

    class Broken:
        """A line whose every call fails."""

        in_waiting = 0

        def read(self, _: int) -> bytes:
            """Fail."""
            raise error

        def write(self, _: bytes) -> None:
            """Fail."""
            raise error

        def close(self) -> None:
            """Fail."""
            raise error

    port = Port(Broken(), "/dev/ttyUSB0")  # type: ignore[arg-type]
    with pytest.raises(PortError, match="has gone"):
        port.read()
    with pytest.raises(PortError, match="has gone"):
        port.write(b"x")
    port.close()


def test_port_write_gives_up_after_a_second_when_nothing_is_taken(line: Pty) -> None:
    """A device that takes no bytes cannot hold the program up."""
    port = open_port(line.path)
    with pytest.raises(PortError, match="has gone"):
        port.write(b"x" * 400_000)
    port.close()


def test_port_write_after_closing_touches_no_other_file(line: Pty, tmp_path: Path) -> None:
    """The number of a closed file may be another file's by then."""
    port = open_port(line.path)
    port.close()
    other = tmp_path / "other"
    with other.open("wb") as file, pytest.raises(PortError, match="has gone"):
        port.write(b"duty\n")

    assert file.closed
    assert other.read_bytes() == b""


def test_ports_lists_stable_names_and_usb_numbers(tmp_path: Path) -> None:
    """by-id first, by-path where there is no other, then the kernel's name."""
    dev, system = tmp_path / "dev", tmp_path / "sys"
    for name in ("ttyUSB0", "ttyUSB1", "ttyACM0"):
        (dev / name).parent.mkdir(parents=True, exist_ok=True)
        (dev / name).touch()
    for folder, link, target in (
        ("by-id", "usb-1a86_Serial-if00", "ttyUSB0"),
        ("by-path", "pci-0000:00-usb-0:1.1", "ttyUSB0"),
        ("by-path", "pci-0000:00-usb-0:1.2", "ttyUSB1"),
    ):
        (dev / "serial" / folder).mkdir(parents=True, exist_ok=True)
        (dev / "serial" / folder / link).symlink_to(dev / target)
    usb = system / "devices" / "usb1" / "1-1"
    (usb / "1-1:1.0" / "ttyUSB0").mkdir(parents=True)
    (usb / "idVendor").write_text("1a86\n", encoding="ascii")
    (usb / "idProduct").write_text("7523\n", encoding="ascii")
    (usb / "serial").write_text("A1B2\n", encoding="ascii")
    (system / "class" / "tty" / "ttyUSB0").mkdir(parents=True)
    (system / "class" / "tty" / "ttyUSB0" / "device").symlink_to(usb / "1-1:1.0" / "ttyUSB0")
    found = list_ports(dev, system)

    assert [Path(port.best).name for port in found] == [
        "ttyACM0",
        "usb-1a86_Serial-if00",
        "pci-0000:00-usb-0:1.2",
    ]
    assert [(port.vendor, port.product) for port in found][1] == ("1a86", "7523")
    (usb / "serial").unlink()
    assert Path(list_ports(dev, system)[1].best).name == "pci-0000:00-usb-0:1.1"


def test_ports_lists_nothing_where_there_is_nothing(tmp_path: Path) -> None:
    """No folder is no error."""
    assert list_ports(tmp_path / "dev", tmp_path / "sys") == []
    assert grabbers(proc=tmp_path / "proc") == []


def test_ports_finds_who_holds_one(line: Pty) -> None:
    """This process holds the board's end's other side."""
    assert os.getpid() in [holder.pid for holder in holders(line.path)]
    assert holders("/dev/ttyUSB99") == []


def test_ports_names_services_that_grab_ports_with_the_line_that_mends_it(tmp_path: Path) -> None:
    """The udev line carries the numbers of the chip in question; nobody is told to uninstall."""
    for pid, name in ((12, "ModemManager"), (34, "brltty"), (56, "bash")):
        (tmp_path / str(pid)).mkdir()
        (tmp_path / str(pid) / "comm").write_text(f"{name}\n", encoding="ascii")
    found = grabbers(SerialPort("/dev/ttyUSB0", vendor="1a86", product="7523"), tmp_path)

    assert [(grabber.pid, grabber.name) for grabber in found] == [
        (12, "ModemManager"),
        (34, "brltty"),
    ]
    for grabber in found:
        assert 'ATTRS{idVendor}=="1a86", ATTRS{idProduct}=="7523"' in grabber.rule
        assert grabber.rule in grabber.advice.format(rule=grabber.rule)
