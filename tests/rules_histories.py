"""Histories of readings that keep to the limits of section 6.5, one unit to either side."""

from __future__ import annotations

from collections import Counter

import msgspec
from hypothesis import strategies as st

from rules_twin import Twin, around, half
from tawny.sim.memory import HalfSlot

_NEXT_TO = (-1, 0, 1)


class Course(msgspec.Struct, frozen=True):
    """How one half goes on: a jump, then so many tenths in so many reads."""

    jump: int
    rise: int
    reads: int
    duty: int
    taken: int
    setpoint: int
    above: int | None  # instead, the setpoint lies so far above the first reading
    raw: int  # 0: another register at each read
    bad_each: int  # each so manieth reading is bad; 0: none


class Stretch(msgspec.Struct, frozen=True):
    """Some reads in a row under the same conditions."""

    reads: int
    armed: bool
    arms: bool
    charges: bool
    closed: bool
    contactor: bool
    window: bool
    courses: tuple[Course, Course]


class History(msgspec.Struct, frozen=True):
    """What happens to a board from its start on."""

    halves: int
    trip: int
    slots: tuple[HalfSlot | None, HalfSlot | None]
    first: tuple[int, int]
    stretches: tuple[Stretch, ...]


def _near(*values: int) -> st.SearchStrategy[int]:
    """Return values, and those next to them."""
    return st.sampled_from([value + by for value in values for by in _NEXT_TO])


_SLOTS = st.none() | st.builds(
    HalfSlot,
    st.sampled_from([1, 2, 199, 201, 401, 500, 1499, 1500, 1510, 4999, 5000])
    | st.integers(1, 5000),
    st.sampled_from([1, 2, 3, 199, 200, 201, 400, 2999, 3000]) | st.integers(1, 3000),
    st.sampled_from([60, 399, 400, 401, 2400, 2401, 7200]),
)
_DUTIES = st.sampled_from([0, 0, 1, 200, 201, 500, 799, 800, 949, 950, 1000])
_SETPOINTS = st.sampled_from([0, 1, 400, 1200, 1800, 2000])
_READS = st.integers(1, 30) | _near(2, 25, 50, 100, 300, 450) | st.integers(1, 500)


@st.composite
def _courses(draw: st.DrawFn, slot: HalfSlot | None, trip: int) -> Course:
    """Draw how one half goes on, mostly next to one of its limits."""
    setpoint = draw(_SETPOINTS)
    taken = draw(_DUTIES)
    rise = slot.rise if slot else 0
    way = max(trip - setpoint, 0)
    slopes = [(0, 1), (draw(_near(0, 50, -50, 150, rise // 10)), 25), (draw(_near(0, 50)), 300)]
    if slot:
        window_ms = max(20_000, way * 50_000 // slot.rise)
        due = -(-slot.rise * window_ms // 400_000)
        slopes.append((due + draw(st.sampled_from(_NEXT_TO)), max(1, -(-window_ms // 200))))
    rise_tenths, reads = draw(st.sampled_from(slopes))
    return Course(
        jump=draw(
            st.sampled_from([0, 0, 0])
            | _near(50, -50, 150, -250, 300, -300, 400)
            | st.integers(-600, 600)
        ),
        rise=rise_tenths,
        reads=reads,
        duty=draw(st.sampled_from([taken, taken, taken, taken // 2, 0])),
        taken=taken,
        setpoint=setpoint,
        above=None,
        raw=draw(st.sampled_from([0, 0x01541900])),
        bad_each=draw(st.sampled_from([0, 0, 0, 2, 3])),
    )


@st.composite
def _stretches(
    draw: st.DrawFn, slots: tuple[HalfSlot | None, HalfSlot | None], trip: int
) -> Stretch:
    """Draw some reads; their number likes the time-outs that these courses can meet."""
    courses = tuple(draw(_courses(slot, trip)) for slot in slots)
    reads = [draw(_READS)]
    for slot, course in zip(slots, courses, strict=True):
        if slot:
            reads += [slot.lag // 2 + 1, max(300, slot.lag * 3 // 2) + 1]
            window = -(-max(20_000, (trip - course.setpoint) * 50_000 // slot.rise) // 200)
            reads.append(min(window, 3000))
    return Stretch(
        reads=max(1, draw(st.sampled_from(reads)) + draw(st.sampled_from(_NEXT_TO))),
        armed=draw(st.sampled_from([True, True, True, False])),
        arms=draw(st.sampled_from([False, False, True])),
        charges=draw(st.booleans()),
        closed=draw(st.sampled_from([True, True, True, False])),
        contactor=draw(st.sampled_from([True, True, False])),
        window=draw(st.sampled_from([False, False, True])),
        courses=courses,  # type: ignore[arg-type]
    )


_STILL = Course(jump=0, rise=0, reads=1, duty=0, taken=0, setpoint=0, above=None, raw=0, bad_each=0)
_PLACE = Stretch(
    reads=1,
    armed=True,
    arms=False,
    charges=False,
    closed=True,
    contactor=True,
    window=False,
    courses=(_STILL, _STILL),
)


def _both(draw: st.DrawFn, lasting: int = 1, **course: int) -> Stretch:
    """Draw whether one half or both go on like this."""
    moved = msgspec.structs.replace(_STILL, **course)
    pair = draw(st.sampled_from([(moved, moved), (moved, _STILL), (_STILL, moved)]))
    return msgspec.structs.replace(_PLACE, courses=pair, reads=max(1, lasting))


def _falls(draw: st.DrawFn, _slot: HalfSlot, _trip: int) -> list[Stretch]:
    fall = _both(draw, jump=draw(_near(-50)))
    reads = 25 + draw(st.sampled_from(_NEXT_TO))
    again = _both(draw, jump=-51)
    return [_both(draw, reads), fall, _both(draw, draw(_near(25, 3000)) - 1), again]


def _rises(draw: st.DrawFn, slot: HalfSlot, _trip: int) -> list[Stretch]:
    most = max(150, slot.rise // 10)
    return [_both(draw, draw(_near(25))), _both(draw, jump=draw(_near(most)))]


def _sticks(draw: st.DrawFn, _slot: HalfSlot, _trip: int) -> list[Stretch]:
    duty = draw(st.sampled_from([200, 201]))
    return [_both(draw, draw(_near(450)), raw=5, duty=duty, taken=duty, setpoint=1)]


def _stays_full(draw: st.DrawFn, slot: HalfSlot, _trip: int) -> list[Stretch]:
    most = min(max(slot.heat_up, 400), 2400) * 1500 // 200
    return [_both(draw, draw(_near(min(most, 4000) + 1)), duty=950, taken=950, setpoint=1)]


def _climbs(draw: st.DrawFn, slot: HalfSlot, trip: int) -> list[Stretch]:
    setpoint = max(0, trip - draw(st.sampled_from([150, 350, 1150])))
    way = trip - setpoint
    window = -(-max(20_000, way * 50_000 // slot.rise) // 200)
    due = max(-(-slot.rise // 20), -(-way // 8))
    rising = {"duty": 800, "taken": 800, "setpoint": setpoint}
    if draw(st.booleans()):
        rising["above"] = due + draw(_near(200))
    rise = draw(_near(due))
    return [
        _both(draw, slot.lag // 2 + 2, **rising),
        _both(draw, min(window, 3000), rise=rise, reads=window, **rising),
    ]


def _parts(draw: st.DrawFn, _slot: HalfSlot, _trip: int) -> list[Stretch]:
    near = draw(_near(0, 400, -400))
    together = msgspec.structs.replace(_STILL, above=near)
    moved = msgspec.structs.replace(together, above=near + draw(_near(300, -300)))
    apart = draw(st.sampled_from([(moved, together), (together, moved)]))
    return [
        msgspec.structs.replace(_PLACE, courses=(together, together)),
        msgspec.structs.replace(_PLACE, courses=apart, reads=draw(_near(51))),
    ]


def _coasts(draw: st.DrawFn, slot: HalfSlot, _trip: int) -> list[Stretch]:
    coast = max(300, slot.lag * 3 // 2) + 2
    return [
        _both(draw, duty=100, taken=100, setpoint=1),
        _both(draw, draw(_near(coast))),
        _both(draw, draw(_near(2, 299)), jump=draw(_near(50))),
    ]


# Blind chance seldom brings a rule to its limit.
_RULES = (_falls, _rises, _sticks, _stays_full, _climbs, _climbs, _parts, _coasts)


@st.composite
def histories(draw: st.DrawFn) -> History:
    """Draw a history."""
    slots = (draw(_SLOTS), draw(_SLOTS))
    if draw(st.booleans()):
        slots = (slots[0], slots[0])
    trip = draw(st.sampled_from([600, 2150, 2150, 2300]))
    stretches: list[Stretch] = []
    for _ in range(draw(st.integers(2, 5))):
        if draw(st.booleans()):
            rule = draw(st.sampled_from(_RULES))
            stretches += rule(draw, slots[0] or HalfSlot(500, 200, 600), trip)
        else:
            stretches.append(draw(_stretches(slots, trip)))
    anywhere = st.integers(-100, 4000) if draw(st.booleans()) else st.integers(200, trip - 100)
    upper = draw(anywhere | _near(trip, 1400, 1600, 1800))
    lower = draw(st.just(upper) | anywhere)
    return History(
        halves=draw(st.sampled_from([1, 2, 2])),
        trip=trip,
        slots=slots,
        first=(upper, lower),
        stretches=tuple(stretches),
    )


def play(history: History) -> Counter[str]:
    """Let both makes judge a history; return the verdicts."""
    twin = Twin(history.halves)
    twin.set_mould(history.slots)
    twin.arm()
    tenths = list(history.first)
    count = 0
    for stretch in history.stretches:
        if stretch.arms:
            twin.arm()
        for index, course in enumerate(stretch.courses):
            tenths[index] += course.jump
        if stretch.charges:
            twin.charge((tenths[0] - stretch.courses[0].jump, tenths[1] - stretch.courses[1].jump))
        board = around(
            trip=history.trip,
            armed=stretch.armed,
            closed=stretch.closed,
            contactor=stretch.contactor,
            window=stretch.window,
        )
        started = list(tenths)
        for at in range(1, stretch.reads + 1):
            count += 1
            halves = []
            for index, course in enumerate(stretch.courses):
                tenths[index] = _held(started[index] + at * course.rise // course.reads)
                halves.append(
                    half(
                        tenths[index],
                        duty=course.duty,
                        taken=course.taken,
                        setpoint=_setpoint(course, started[index]),
                        raw=course.raw or 16 * count,
                        good=not course.bad_each or at % course.bad_each != 0,
                    )
                )
            if twin.read(tuple(halves), board) not in {"", "fall", "full"}:
                # Reset asks for 20 K below the trip point; then it is armed anew.
                tenths = [min(value, history.trip - 200) for value in tenths]
                twin.arm()
                break
    return twin.seen


def _setpoint(course: Course, tenths: int) -> int:
    """Return the setpoint, within its type."""
    if course.above is None:
        return course.setpoint
    return min(max(tenths + course.above, 0), 2000)


def _held(tenths: int) -> int:
    """Keep a temperature where sensors can be."""
    return min(max(tenths, -100), 4000)
