"""Sections 2 and 4 of the wire contract: every reason for a refusal. For any board."""

from __future__ import annotations

import pytest

from board_rig import SLOT, Bench, Rig
from tawny.core import messages as m
from tawny.core.names import ResetCause


def vars_of(message: m.Message) -> list[object]:
    """The fields of a message in the order of the wire."""
    return [getattr(message, name) for name in message.__struct_fields__]


class RefusalContract:
    """Every reason, where it begins and ends."""

    def test_board_echo_is_a_counter_of_the_last_2_s(self, rig: Rig) -> None:
        """A line of 2 s ago still counts, one older or one not yet sent does not."""
        bench = Bench(rig).greet()
        bench.run(2.0)
        newest = bench.tele.n
        assert bench.duty((0, 0), echo=newest) == ""
        assert bench.duty((0, 0), echo=newest - 9) == ""
        assert bench.duty((0, 0), echo=newest - 11) == "echo"
        assert bench.duty((0, 0), echo=newest + 1) == "echo"
        bench.run(1.9, None)
        assert bench.duty((0, 0), echo=newest) == ""
        bench.run(0.2, None)
        assert bench.duty((0, 0), echo=newest) == "echo"

    def test_board_echo_of_before_the_start_does_not_count(self, rig: Rig) -> None:
        """Right after a start, counters that were never sent are refused."""
        bench = Bench(rig)
        bench.run(0.5, None)
        bench.hello()
        assert bench.duty((0, 0), echo=65535) == "echo"
        assert bench.duty((0, 0), echo=0) == ""

    @pytest.mark.parametrize(
        ("expiry_ms", "why"), [(99, "range"), (100, ""), (1500, ""), (1501, "range")]
    )
    def test_board_expiry_is_100_to_1500_ms(self, rig: Rig, expiry_ms: int, why: str) -> None:
        """Both ends are taken, one beyond is refused."""
        bench = Bench(rig).greet()
        assert bench.duty((0, 0), expiry_ms=expiry_ms) == why

    def test_board_duty_without_setpoint_is_refused(self, rig: Rig) -> None:
        """A duty above 0 for a half that wants no heat is out of range."""
        bench = Bench(rig).greet().arm()
        for fields in ((100, 0, 0, 0), (0, 0, 100, 0), (100, 1800, 100, 0)):
            assert bench.why(bench.request(m.Duty, *fields, bench.tele.n, 1500)) == "range"
        assert rig.outputs() == (False, False)

    @pytest.mark.parametrize(
        ("trip", "setpoint", "why"),
        [(2150, 2000, ""), (2000, 1850, ""), (2000, 1851, "limit"), (1600, 1451, "limit")],
    )
    def test_board_setpoint_stays_below_the_trip(
        self, rig: Rig, trip: int, setpoint: int, why: str
    ) -> None:
        """A setpoint is at most 15 K below the trip point."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.TripSet, trip)) == ""
        for fields in ((0, setpoint, 0, 0), (0, 0, 0, setpoint)):
            assert bench.why(bench.request(m.Duty, *fields, bench.tele.n, 1500)) == why

    def test_board_limits_tell_what_it_takes(self, rig: Rig) -> None:
        """`set` is the highest setpoint taken now."""
        bench = Bench(rig).greet()
        limits = bench.ask(bench.request(m.LimitsAsk))
        assert isinstance(limits, m.Limits)
        assert (limits.ceil, limits.trip, limits.set) == (2300, 2150, 2000)
        bench.ask(bench.request(m.TripSet, 1900))
        limits = bench.ask(bench.request(m.LimitsAsk))
        assert isinstance(limits, m.Limits)
        assert (limits.trip, limits.set) == (1900, 1750)

    def test_board_refuses_what_its_state_does_not_allow(self, rig: Rig) -> None:
        """Not armed: heat, charge. Armed: arming, slots, raising the trip."""
        bench = Bench(rig).greet()
        assert bench.duty((1, 0)) == "state"
        assert bench.duty((0, 1)) == "state"
        assert bench.why(bench.request(m.Charge)) == "state"
        bench.ask(bench.request(m.TripSet, 2100))
        bench.arm()
        assert bench.why(bench.request(m.ArmAsk)) == "state"
        assert bench.why(bench.request(m.ArmAnswer, "00000000")) == "state"
        assert bench.why(bench.request(m.Use, 1)) == "state"
        rig.set_input(m.IN_ARM, on=True)
        assert bench.why(bench.request(m.StoreMould, 1, "upper", 500, 200, 600)) == "state"
        assert bench.why(bench.request(m.TripSet, 2101)) == "state"
        assert bench.why(bench.request(m.CommissioningHeat, "upper", 1, bench.tele.n, 500)) in (
            "state",
            "limit",
        )

    def test_board_locked_does_not_arm(self, rig: Rig) -> None:
        """Without mains there is no challenge."""
        bench = Bench(rig).greet()
        rig.set_input(m.IN_MAINS, on=False)
        assert bench.why(bench.request(m.ArmAsk)) == "state"

    def test_board_wants_a_hand_for_slots_and_for_raising_the_trip(self, rig: Rig) -> None:
        """`store` and a higher trip need ARM held, and only from a press that was seen."""
        bench = Bench(rig).greet()
        store = (m.StoreMould, 2, "upper", 400, 150, 700)
        assert bench.why(bench.request(*store)) == "hand"
        assert bench.why(bench.request(m.TripSet, 2000)) == ""
        assert bench.why(bench.request(m.TripSet, 2001)) == "hand"
        rig.set_input(m.IN_ARM, on=True)
        assert bench.why(bench.request(*store)) == ""
        assert bench.why(bench.request(m.TripSet, 2300)) == ""
        assert bench.why(bench.request(m.TripSet, 2301)) == "range"
        rig.set_input(m.IN_ARM, on=False)
        assert bench.why(bench.request(*store)) == "hand"

    def test_board_takes_a_stuck_button_for_no_hand(self, rig: Rig) -> None:
        """A button that is down when the board starts is not a hand."""
        rig.set_input(m.IN_ARM, on=True)
        rig.restart(ResetCause.POWER)
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.StoreMould, 2, "upper", 400, 150, 700)) == "hand"
        bench.ask(bench.request(m.TripSet, 2000))
        assert bench.why(bench.request(m.TripSet, 2001)) == "hand"

    @pytest.mark.parametrize(
        ("value", "why"),
        [(599, "range"), (600, ""), (2150, ""), (2301, "range"), ("bad", "range")],
    )
    def test_board_trip_has_its_range(self, rig: Rig, value: m.Temp, why: str) -> None:
        """The trip point goes from 60 °C to the present one, and nothing is clipped."""
        bench = Bench(rig, 40.0, 40.0).greet()
        assert bench.why(bench.request(m.TripSet, value)) == why
        limits = bench.ask(bench.request(m.LimitsAsk))
        assert isinstance(limits, m.Limits)
        assert limits.trip == (2150 if why else value)

    @pytest.mark.parametrize(
        ("fields", "why"),
        [
            ((0, "upper", 500, 200, 600), "slot"),
            ((9, "upper", 500, 200, 600), "slot"),
            ((8, "upper", 500, 200, 600), ""),
            ((1, "upper", 0, 200, 600), "range"),
            ((1, "upper", 5000, 3000, 7200), ""),
            ((1, "upper", 5001, 200, 600), "range"),
            ((1, "upper", 500, 0, 600), "range"),
            ((1, "upper", 500, 3001, 600), "range"),
            ((1, "lower", 1, 1, 60), ""),
            ((1, "lower", 500, 200, 59), "range"),
            ((1, "lower", 500, 200, 7201), "range"),
        ],
    )
    def test_board_store_has_its_ranges(
        self, rig: Rig, fields: tuple[object, ...], why: str
    ) -> None:
        """Slot, R, lag and heat-up time each have their ends."""
        bench = Bench(rig).greet()
        rig.set_input(m.IN_ARM, on=True)
        assert bench.why(bench.request(m.StoreMould, *fields)) == why

    def test_board_keeps_and_shows_its_slots(self, rig: Rig) -> None:
        """What was stored reads back, is used when selected, and survives a reset."""
        bench = Bench(rig).greet()
        for slot in (0, 9):
            assert bench.why(bench.request(m.Use, slot)) == "slot"
        assert bench.why(bench.request(m.Use, 3)) == "slot"
        assert bench.why(bench.request(m.MouldAsk, 9)) == "slot"
        rig.set_input(m.IN_ARM, on=True)
        bench.ask(bench.request(m.StoreMould, 3, "upper", 400, 150, 700))
        assert bench.why(bench.request(m.Use, 3)) == ""
        assert bench.lock_reason() == "mould"  # one half is not stored
        bench.ask(bench.request(m.StoreMould, 3, "lower", 390, 160, 710))
        assert bench.lock_reason() == "none"
        shown = m.Mould(0, 3, 3, 400, 150, 700, 390, 160, 710)
        rig.set_input(m.IN_ARM, on=False)
        rig.restart(ResetCause.BROWNOUT)
        bench = Bench(rig).greet()
        reply = bench.ask(bench.request(m.MouldAsk, 0))
        assert reply == m.Mould(bench.q, *list(vars_of(shown))[1:])
        first = bench.ask(bench.request(m.MouldAsk, 1))
        assert isinstance(first, m.Mould)
        assert (first.ur, first.ul, first.uh) == (SLOT.rise, SLOT.lag, SLOT.heat_up)
        empty = bench.ask(bench.request(m.MouldAsk, 5))
        assert isinstance(empty, m.Mould)
        assert (empty.k, empty.in_use, empty.ur, empty.lh) == (5, 3, 0, 0)

    def test_board_reasons_have_one_order(self, rig: Rig) -> None:
        """Where several reasons hold, the first of the page's table is named."""
        bench = Bench(rig).greet()
        token, stale = "0000", bench.q
        everything_wrong = (900, 2000, 900, 2000, 65535, 1)
        assert bench.why(m.Duty(token, stale, *everything_wrong)) == "token"
        assert bench.why(m.Duty(bench.token, stale, *everything_wrong)) == "old"
        assert bench.why(bench.request(m.Duty, *everything_wrong)) == "echo"
        bench.ask(bench.request(m.TripSet, 1900))
        echo = bench.tele.n
        assert bench.why(bench.request(m.Duty, 900, 2000, 900, 2000, echo, 1)) == "range"
        assert bench.why(bench.request(m.Duty, 900, 2000, 900, 2000, echo, 500)) == "limit"
        assert bench.why(bench.request(m.Duty, 900, 1750, 900, 1750, echo, 500)) == "state"
        assert bench.why(bench.request(m.StoreMould, 9, "upper", 0, 0, 0)) == "slot"
        assert bench.why(bench.request(m.StoreMould, 1, "upper", 0, 0, 0)) == "range"
