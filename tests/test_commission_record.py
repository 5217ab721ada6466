"""What is kept of a commissioning, who reads it, and when it is due again."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from commission_person import NOW_MS, run
from invented import seal
from tawny.cli import check_home
from tawny.cli.commission_show import remind, reminders
from tawny.cli.findings import Level
from tawny.core.commission_due import DAYS, due
from tawny.core.messages import Here
from tawny.core.names import Half
from tawny.core.record import COMMISSIONED, Commissioned, CommissionedHalf, CommissionedStep
from tawny.errors import InputError
from tawny.settings.demo import lay_demo
from tawny.settings.equipment import read_mould
from tawny.settings.home import Home
from tawny.settings.passport import write_measured
from tawny.store.reader import Reader
from tawny.store.store import Store
from tawny.words.sentences import commission_due

DAY_MS = 86_400_000
HALF = CommissionedHalf(rise_k_per_s=0.261, lag_s=15.4, heat_up_s=711.0, loss_per_s=4e-4)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """The demo workshop."""
    place = Home(tmp_path / "home")
    lay_demo(place)
    return place


def made(**other: object) -> Commissioned:
    """Return a commissioning of the Millbrook workshop."""
    fields: dict[str, object] = {
        "mould": "saucer-160",
        "slot": 1,
        "person": "Ada Reed",
        "second": "Tom Hale",
        "board_id": "7a3e000000000001",
        "board_build": "9d2f0c11",
        "trip_c": 200.0,
        "halves": {Half.UPPER: HALF, Half.LOWER: HALF},
        "steps": (
            CommissionedStep(
                step="thermostat_upper",
                outcome="done",
                utc_ms=NOW_MS,
                failed=("opening_range",),
                values={"opens_c": 251.0},
            ),
            CommissionedStep(step="call_lamp", outcome="not_fitted", utc_ms=NOW_MS),
        ),
        "started_utc_ms": NOW_MS - 3_600_000,
        "ended_utc_ms": NOW_MS,
    }
    return Commissioned(**(fields | other))  # type: ignore[arg-type]


def keep(home: Home, *done: Commissioned, simulated: bool = True) -> None:
    """Write commissionings into a record."""
    with Store.open(home.root, simulated=simulated) as store:
        for one in done:
            store.append(COMMISSIONED, one, who=one.person, utc_ms=one.ended_utc_ms, mono_ms=1)


def real(home: Home) -> Home:
    """Make the workshop that of a real press."""
    text = home.press.read_text(encoding="utf-8")
    home.press.write_text(text.replace("simulated = true", "simulated = false"), encoding="utf-8")
    return home


def test_commission_show_tells_of_each_step(home: Home) -> None:
    """Newest first, people, figures, failures; as JSON the whole entry."""
    keep(home, made(), made(ended_utc_ms=NOW_MS + DAY_MS, person="Bea Lund"))
    shown = run("--show", "--home", str(home.root)).stdout

    assert shown.index("Bea Lund") < shown.index("Ada Reed")
    assert "upper: rise 261 mK/s, lag 15 s, heats up in 11:51 min (computed)" in shown
    assert "Limit thermostat of the upper half" in shown
    assert "(251.0 °C); failed before: opening_range" in shown
    assert "Call lamp (2.5): not fitted" in shown
    told = run("--show", "--json", "--home", str(home.root)).stdout.splitlines()
    assert [json.loads(line)["person"] for line in told] == ["Bea Lund", "Ada Reed"]
    assert run("--show", "--mould", "bowl", "--home", str(home.root)).stdout.startswith("Nothing")


def test_commission_record_is_read_for_ever(home: Home) -> None:
    """The entry's payload by name, so that a later version that drops a field is found out."""
    keep(home, made())
    with Reader.open(home.root) as reader:
        entry = reader.entries(kinds=(COMMISSIONED,))[0]

    assert entry.kind == "commissioned"
    assert entry.schema == 1
    assert entry.read(Commissioned) == made()
    assert set(json.loads(entry.payload)) >= {"mould", "person", "board_build", "halves", "steps"}


@pytest.mark.parametrize(
    ("days", "board_id", "build", "code"),
    [
        (0, "", "", None),
        (DAYS - 1, "7a3e000000000001", "9d2f0c11", None),
        (DAYS, "", "", "commissioned_long_ago"),
        (-1, "", "", "commissioned_ahead"),
        (-40, "7a3e000000000001", "9d2f0c11", "commissioned_ahead"),
        (1, "7a3e000000000002", "9d2f0c11", "commissioned_other_board"),
        (1, "7a3e000000000001", "00000000", "commissioned_other_build"),
    ],
)
def test_commission_is_due(days: int, board_id: str, build: str, code: str | None) -> None:
    """A year old, another board, another build; a clock that went back proves nothing."""
    now_ms = NOW_MS + days * DAY_MS
    found = due([made()], "saucer-160", now_ms, board=board_id, build=build)

    assert (None if found is None else found.code) == code
    if found is not None:
        assert "saucer-160" in commission_due(found)
        assert "–" not in commission_due(found)
    never = due([made()], "bowl", now_ms)
    assert never is not None
    assert never.code == "never_commissioned"


def test_commission_due_goes_by_the_newest_of_the_mould() -> None:
    """An old one is forgotten once there is a newer one in the record, whatever the clock said."""
    old = made(ended_utc_ms=NOW_MS - 400 * DAY_MS, board_build="00000000")
    astray = made(ended_utc_ms=NOW_MS + 400 * DAY_MS, board_build="00000000")

    assert due([old, made()], "saucer-160", NOW_MS, build="9d2f0c11") is None
    assert due([astray, made()], "saucer-160", NOW_MS, build="9d2f0c11") is None
    assert due([astray, made(), made(mould="bowl")], "saucer-160", NOW_MS) is None


def test_commission_dated_ahead_is_told_as_what_it_is() -> None:
    """A clock that went back: no age is made up; less than a day of it is a clock set right."""
    found = due([made()], "saucer-160", NOW_MS - 3 * DAY_MS)
    assert found is not None
    assert commission_due(found) == (
        "the commissioning of mould saucer-160 is dated ahead of this computer's clock, by 3 d:"
        " set the clock; if it is right, nobody knows how old the proof test is"
    )
    assert due([made()], "saucer-160", NOW_MS - DAY_MS + 1) is None


def test_commission_reminds_by_the_board_that_was_there_last(home: Home) -> None:
    """Pressed, then commissioned anew with another build: what pressed before is forgotten."""
    real(home)
    now_ms = time.time_ns() // 1_000_000
    board = {"board_id": "7a3e000000000001", "ended_utc_ms": now_ms - DAY_MS}
    old, new = {**board, "board_build": "01d01d01"}, {**board, "board_build": "9e39e39e"}
    keep(home, made(**old), simulated=False)
    with Store.open(home.root, simulated=False) as store:
        pressed = {"board_id": board["board_id"], "simulated": False}
        seal(store, 1, board_build="01d01d01", **pressed)
    assert reminders(home) == []

    keep(home, made(**new), simulated=False)
    assert reminders(home) == []

    with Store.open(home.root, simulated=False) as store:
        seal(store, 2, board_build="01d01d01", **pressed)
    assert reminders(home) == [
        "mould saucer-160 was commissioned with build 9e39e39e; the board now has 01d01d01"
    ]


def test_commission_reminds_of_the_other_mould_by_the_newest_commissioning(home: Home) -> None:
    """A new build is known from the mould commissioned with it, before anything was pressed."""
    real(home)
    now_ms = time.time_ns() // 1_000_000
    first = (home.moulds / "saucer-160.toml").read_text(encoding="utf-8")
    other = first.replace('name = "saucer-160"', 'name = "bowl"').replace("slot = 1", "slot = 2")
    (home.moulds / "bowl.toml").write_text(other, encoding="utf-8")
    done = [
        made(mould=mould, board_build=build, ended_utc_ms=now_ms - DAY_MS)
        for mould, build in (("bowl", "01d01d01"), ("saucer-160", "9e39e39e"))
    ]
    keep(home, *done, simulated=False)

    assert reminders(home) == [
        "mould bowl was commissioned with build 01d01d01; the board now has 9e39e39e"
    ]


def test_commission_reminds_at_the_start_and_in_check(
    home: Home, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line for each mould of a real press; none for a simulated one, none when all is done."""
    assert reminders(home) == []
    assert [one.said for one in check_home.commissioning(home)] == ["simulated: nothing is due"]
    real(home)
    remind(home)
    assert capsys.readouterr().out == (
        "Due: mould saucer-160 was never commissioned with this record. Run: tawny commission\n"
    )
    assert [one.level for one in check_home.commissioning(home)] == [Level.LOOK]

    now_ms = time.time_ns() // 1_000_000
    keep(home, made(ended_utc_ms=now_ms - DAY_MS), simulated=False)
    remind(home)
    assert capsys.readouterr().out == ""
    assert [one.level for one in check_home.commissioning(home)] == [Level.GOOD]
    met = Here(1, 1, 0, "deadbeef", "7a3e000000000001", 1, "power", "none", "1234")
    other = list(check_home.commissioning(home, [met]))
    assert [one.level for one in other] == [Level.LOOK]
    assert "build 9d2f0c11; the board now has deadbeef" in other[0].said


def test_commission_writes_the_passport_and_keeps_its_comments(home: Home) -> None:
    """Four figures a half change; everything else of the file stays as it was."""
    path = home.moulds / "saucer-160.toml"
    before = path.read_text(encoding="utf-8").splitlines()
    assert write_measured(home, "saucer-160", {Half.UPPER: HALF, Half.LOWER: HALF}) == path
    after = path.read_text(encoding="utf-8").splitlines()

    assert len(after) == len(before)
    changed = {
        line.split("=")[0].strip() for line, was in zip(after, before, strict=True) if line != was
    }
    assert changed == {"rise", "lag", "heat_up", "cooling_time"}
    assert read_mould(path).lower.loss_per_s == pytest.approx(4e-4)
    with pytest.raises(InputError, match="describes mould bowl"):
        write_measured(home, "bowl", {})
