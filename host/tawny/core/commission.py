"""What commissioning is made of: steps, their stages, and how the board's telemetry is judged.

    step:   stage -> stage -> ... -> passed         one line of the form, with an outcome
               '-> wrong, or too late -> failed     the person begins it again, or leaves

No stage can be skipped: the only ways out of a step are what its judges see, a typed answer that
holds, or leaving the whole commissioning. Left, it has no record; the board is as it was, unless
`store`, `use` or `trip` had begun. `commission_steps.py` is the table; `service/commissioner.py`
walks it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import Enum, auto
from typing import Final, NamedTuple

from tawny.core import messages as m
from tawny.core.names import BoardState, FirstOut, Half
from tawny.core.snapshot import Code

Judge = Callable[["Sight"], bool]


class Plan(NamedTuple):
    """What is to be commissioned, from the settings.

    Attributes:
        setpoint_c: The highest that a recipe of this mould asks for.
        rated_c: What the weakest part of the mould may bear: the limit thermostats must open below.
        output, window_s: As the press profile has them.
        unlimited_k_per_s: Rated power over mass and specific heat of each half; None where the
            metal is not known.
    """

    mould: str
    slot: int
    setpoint_c: float
    rated_c: float
    output: str
    window_s: float
    unlimited_k_per_s: dict[Half, float | None]


class Asked(Enum):
    """What a person is asked to type; `commission_typed.py` judges it."""

    PERSON = auto()
    SECOND = auto()
    YES = auto()
    LAMP = auto()
    TONES = auto()
    ROOM = auto()
    OPENING = auto()
    TRIP = auto()


class Sent(Enum):
    """What a stage asks of the board when it begins."""

    LAMP = auto()
    SOUND = auto()
    STORE = auto()
    USE = auto()
    TRIP = auto()


class Outcome(Enum):
    """Where the whole commissioning stands."""

    WAITING = auto()  # for the board
    WORKING = auto()
    FAILED = auto()  # a step has; the person begins it again, or leaves
    DONE = auto()
    LEFT = auto()  # nothing is recorded


class Said(NamedTuple):
    """What a person should read now: `step`, `do`, `passed`, `failed` or `note`."""

    kind: str
    code: Code


class Sight(NamedTuple):
    """What can be seen at one line of telemetry.

    Attributes:
        before: The line with which the stage began.
        why: Why the board is not ready, the word of its last status.
        stage_s: Since the stage began, on the host's clock.
        drift_k: The most that either half moved in the last 20 s; NaN where not known yet.
        restarted: The board has started again since the step began, or since it was at rest.
        cause: Of its last start.
        refused: Why it refused what this stage asked; "" where it did not.
        stored: The slot as read back holds what was to be stored.
        used: The slot as read back is the one in use.
        differs: What the limits as read back do not agree in; "" where they agree, None before.
    """

    tele: m.Tele
    before: m.Tele
    why: str
    stage_s: float
    drift_k: float = math.nan
    restarted: bool = False
    cause: str = ""
    refused: str = ""
    stored: bool = False
    used: bool = False
    differs: str | None = None

    def has(self, bit: int) -> bool:
        """Say whether a bit of `tele.in` is set."""
        return bool(self.tele.inputs & bit)

    @property
    def arm(self) -> bool:
        """ARM is down."""
        return self.has(m.IN_ARM)

    @property
    def contactor(self) -> bool:
        """The mirror contact says that the contactor is in."""
        return self.has(m.IN_CONTACTOR)

    @property
    def tripped(self) -> bool:
        """A trip stands."""
        return self.tele.st == BoardState.TRIPPED.value

    def tripped_by(self, cause: FirstOut) -> bool:
        """Say whether this cause tripped it first."""
        return self.tripped and self.tele.fo == cause.value

    def reading_c(self, half: Half) -> float:
        """Return a half's temperature; NaN where it has no good one."""
        return reading_c(self.tele, half)

    def rise_k(self, half: Half) -> float:
        """Return how far a half rose since the stage began."""
        return self.reading_c(half) - reading_c(self.before, half)

    @property
    def apart_k(self) -> float:
        """How far the halves are apart."""
        return abs(self.reading_c(Half.UPPER) - self.reading_c(Half.LOWER))


class Wrong(NamedTuple):
    """What must not be seen, for how long, and the code of its sentence."""

    code: str
    judge: Judge
    after_s: float = 0.4  # two lines of telemetry: switches do not move at the same moment


class Stage(NamedTuple):
    """One thing to do, and what shows that it was done.

    Attributes:
        code: Of the sentence that says what to do.
        until: Passes the stage; without one a typed answer does.
        steady_s: `until` must hold so long without a break.
        wrong: What fails it.
        within_s: After that it failed with `late`.
        asks: What must be typed.
        heats: Duty of commissioning heat while ARM is held; 0 lets the contactor in, no more.
        sends: What is asked of the board when the stage begins.
        samples: Temperatures are kept from here on: "begin" anew, "heat" while it runs, "keep".
        trips: The board may be tripped here.
        restarts: The board may start again here.
        unplugged: It may be without a plug here.
        shows: It takes long: temperatures are said in between.
    """

    code: str
    until: Judge | None = None
    steady_s: float = 0.0
    wrong: tuple[Wrong, ...] = ()
    within_s: float = 180.0
    late: str = "nothing_seen"
    asks: Asked | None = None
    heats: float | None = None
    sends: Sent | None = None
    samples: str = ""
    trips: bool = False
    restarts: bool = False
    unplugged: bool = False
    shows: bool = False


class Step(NamedTuple):
    """One line of the form.

    Attributes:
        code: Its name in the record and of its heading.
        half: The half it is about.
        fitted: Bit of `limits.fit` without which it is not done, but noted as not fitted.
    """

    code: str
    stages: tuple[Stage, ...]
    half: Half | None = None
    fitted: int = 0

    @property
    def name(self) -> str:
        """Its name with the half's: `thermostat_upper`."""
        return self.code if self.half is None else f"{self.code}_{self.half.value}"


ROOM_WITHIN_K: Final = 4.0
MOVES_K: Final = 3.0  # the heated half, in the test of which is which
AHEAD_K: Final = 2.0  # of the other one
FALLS_K: Final = 1.5  # a reading that falls while heat is on: its wires are the wrong way round
TOO_STRONG_K_PER_S: Final = 1.0  # our own bound, from no standard
USUAL_PART: Final = (0.4, 1.2)  # of the rise that power and mass allow (own judgement)
DELIVERED_LEAST: Final = 0.9  # of full duty, or it was not full
OPENS_ABOVE_C: Final = 240.0  # a limit thermostat: above the compiled ceiling and its tolerance
OPENS_MOST_C: Final = 350.0
SPECIFIC_HEAT_J_PER_KG_K: Final = {  # rounded, from memory
    "aluminium": 900.0,
    "steel": 480.0,
    "stainless steel": 500.0,
    "cast iron": 460.0,
    "brass": 380.0,
}


def reading_c(tele: m.Tele, half: Half) -> float:
    """Return a half's temperature; NaN where it has no good one."""
    value = tele.u if half is Half.UPPER else tele.l
    return value / 10.0 if isinstance(value, int) else math.nan


def other(half: Half) -> Half:
    """Return the other half."""
    return Half.LOWER if half is Half.UPPER else Half.UPPER
