"""`tawny commission` as a person runs it: prompts, refusals, the record, and what is due."""

from __future__ import annotations

import os
import signal
import socket
from contextlib import ExitStack
from pathlib import Path

import pytest

from commission_person import NOW_MS, PACE, Near, Person, Plugging, Virtual, board, run
from tawny.cli.commission_walk import Terminal, keep_done, keep_model, plan_of
from tawny.core.commission import Outcome
from tawny.core.commission_due import due
from tawny.core.commission_steps import STEPS
from tawny.core.limits import SILENCE_RELEASE_MS
from tawny.core.names import Half
from tawny.core.record import COMMISSIONED, THERMAL, Commissioned, ThermalRecord
from tawny.errors import InputError
from tawny.link.port import open_port
from tawny.link.session import Session
from tawny.service.clock import HostClock
from tawny.service.commissioner import Commissioner
from tawny.service.learned import with_learned
from tawny.settings.demo import lay_demo
from tawny.settings.equipment import read_mould
from tawny.settings.home import Home
from tawny.settings.workshop import load_workshop
from tawny.store.reader import Reader
from tawny.store.store import Store


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """The demo workshop."""
    place = Home(tmp_path / "home")
    lay_demo(place)
    return place


@pytest.mark.slow
def test_commission_terminal_from_beginning_to_end(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every step by what stands on the screen; then record, passport and board agree."""
    board = Virtual()
    reading, writing = os.pipe()
    person = Near(board, writing)
    monkeypatch.setattr("sys.stdin", person_reads := os.fdopen(reading))
    monkeypatch.setattr("click.echo", person.read)
    commissioner = Commissioner(
        Session("7a3c90de"),
        plan_of(load_workshop(home), load_workshop(home).mould("saucer-160")),
        utc_ms=lambda: board.utc_ms(board.ms),
        pick=lambda count: board.ms // 50 % count,
        simulated=True,
    )
    Terminal(commissioner, board, "virtual", board).run()  # type: ignore[arg-type]
    os.close(writing)
    person_reads.close()
    with Store.open(home.root, simulated=True) as store:
        keep_done(home, store, commissioner.record(), board.ms)
        keep_model(store, commissioner, board)  # type: ignore[arg-type]

    with Reader.open(home.root) as reader:
        entry = reader.entries(kinds=(COMMISSIONED,))[-1]
        assert reader.verify().sound
    done = entry.read(Commissioned)
    passport = read_mould(home.moulds / "saucer-160.toml")
    slot = board.world.memory.contents.slots[1]
    assert entry.who == done.person == "Ada Reed"
    assert {step.outcome for step in done.steps} == {"done"}
    for half, kept, there in (
        (Half.UPPER, passport.upper, slot.upper),
        (Half.LOWER, passport.lower, slot.lower),
    ):
        assert there is not None
        assert kept.rise_k_per_s == done.halves[half].rise_k_per_s == there.rise / 1000
        assert kept.lag_s == done.halves[half].lag_s == there.lag / 10
        assert kept.heat_up_s == done.halves[half].heat_up_s == there.heat_up
    assert "[24/24] Set the trip point and read the limits back" in person.lines
    assert due([done], "saucer-160", NOW_MS + board.ms, build=done.board_build) is None

    with Reader.open(home.root) as reader:
        learned = reader.entries(kinds=(THERMAL,))[-1].read(ThermalRecord)
        mould = with_learned(load_workshop(home).mould("saucer-160"), reader)
    assert learned.origin == "commissioning"
    assert learned.thermal == mould.thermal
    assert mould.thermal is not None
    assert mould.thermal.trusted
    # 900 W in 3.6 kg and 3.8 kg of aluminium (900 J/kg K) and 110 J/K of heater.
    for half, mass_kg in ((mould.thermal.upper, 3.6), (mould.thermal.lower, 3.8)):
        assert half.rise_k_per_s == pytest.approx(900.0 / (900.0 * mass_kg + 110.0), rel=0.03)
    assert "The loop knows this mould:" in person.lines
    shown = run("--show", "--home", str(home.root))
    assert shown.returncode == 0, shown.stderr
    assert "fitted at commissioning" in shown.stdout


def test_commission_terminal_goes_on_with_a_board_that_was_unplugged(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The port goes away with the board and comes back with it: the permission's step passes."""
    reading, writing = os.pipe()
    clock = HostClock(PACE)
    commissioner = Commissioner(
        Session("7a3c90de"),
        plan_of(load_workshop(home), load_workshop(home).mould("saucer-160")),
        utc_ms=lambda: clock.utc_ms(clock.now_ms()),
        pick=lambda _: 0,
        simulated=True,
    )
    names = [step.name for step in STEPS]
    commissioner._step = names.index("permission")  # noqa: SLF001
    with ExitStack() as plugs, os.fdopen(reading) as person_reads:
        person = Plugging(home, writing, plugs)
        monkeypatch.setattr("sys.stdin", person_reads)
        monkeypatch.setattr("click.echo", lambda line: line and person.read(line))
        url = str(home.root / "board")
        Terminal(commissioner, open_port(url), url, clock).run()
    os.close(writing)

    assert "  done" in person.lines
    assert commissioner.outcome is Outcome.LEFT
    assert commissioner.step == "mirror"


def test_commission_command_left_changes_nothing(home: Home) -> None:
    """Left by a word in the middle: the exit code says so, the record stays empty."""
    before = (home.moulds / "saucer-160.toml").read_bytes()
    with board(home) as hand, Person(home, hand) as person:
        person.until("Open the mould")
        person.type("skip")
        person.until('No step can be skipped. Type "leave"')
        person.type("leave")
        person.until("as they were before")
        assert person.end() == 1

    assert "SIMULATED board: this commissions no real press." in person.lines
    assert (home.moulds / "saucer-160.toml").read_bytes() == before
    with Reader.open(home.root) as reader:
        assert reader.entries(kinds=(COMMISSIONED,)) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_commission_command_interrupted_ends_the_heat(home: Home, number: signal.Signals) -> None:
    """Ctrl-C, an order to end, a closed terminal: the contactor lets go and nothing is kept."""
    with board(home) as hand, Person(home, hand) as person:
        person.until("Press the heat-off button")
        assert person.scene().contactor
        person.process.send_signal(number)
        person.until("as they were before")
        assert person.end() == 1
        ended_ms = person.scene().now_ms
        while (scene := person.scene()).contactor:
            assert scene.now_ms - ended_ms < SILENCE_RELEASE_MS / 2  # not by silence alone


def test_commission_command_waits_for_no_owner(home: Home) -> None:
    """While the press runs, or something else has the port, it says so and touches nothing."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as desk:
        desk.bind(str(home.socket))
        desk.listen()
        ran = run("--home", str(home.root))
    assert ran.returncode == 2
    assert "is running and has the board" in ran.stderr
    home.socket.unlink()

    with board(home, pace=1.0):
        line = open_port(str(home.root / "board"))
        ran = run("--home", str(home.root))
        line.close()
    assert ran.returncode == 2
    assert "is in use by" in ran.stderr
    with Store.open(home.root, simulated=True):
        ran = run("--home", str(home.root))
    assert ran.returncode == 2


def test_commission_command_says_what_is_missing(home: Home) -> None:
    """No board, no such mould, two moulds and none named, a mould without a recipe."""
    ran = run("--home", str(home.root))
    assert ran.returncode != 0
    assert "There is no port" in ran.stderr
    assert "there is no mould bowl" in run("--mould", "bowl", "--home", str(home.root)).stderr
    first = (home.moulds / "saucer-160.toml").read_text(encoding="utf-8")
    other = first.replace('name = "saucer-160"', 'name = "bowl"').replace("slot = 1", "slot = 2")
    (home.moulds / "bowl.toml").write_text(other, encoding="utf-8")
    assert "bowl, saucer-160" in run("--home", str(home.root)).stderr
    workshop = load_workshop(home)
    with pytest.raises(InputError, match="no recipe uses mould bowl"):
        plan_of(workshop, workshop.mould("bowl"))


@pytest.mark.parametrize(("rated", "refused"), [("240", True), ("240.1", False)])
def test_commission_refuses_a_mould_that_no_limit_thermostat_can_protect(
    home: Home, rated: str, *, refused: bool
) -> None:
    """They open above 240 degC (hardware/parts.csv), and its weakest part must bear that."""
    path = home.moulds / "saucer-160.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"270 degC"', f'"{rated} degC"'), encoding="utf-8")
    workshop = load_workshop(home)
    if refused:
        with pytest.raises(InputError, match="bears 240 degC; its limit thermostats must open"):
            plan_of(workshop, workshop.mould("saucer-160"))
    else:
        assert plan_of(workshop, workshop.mould("saucer-160")).rated_c == 240.1
