"""What the record keeps of a pressing, an alarm and a stretch of trace.

These structs are the payloads of journal entries. A field may be added, with a default; none
is ever renamed, removed or given another meaning. `SCHEMAS` holds the version of each kind: it
goes up when an older program would misread the new payload.
"""

from __future__ import annotations

import msgspec

from tawny.core.loop.thermal import Thermal
from tawny.core.names import AlarmState, Half, Phase, Priority, Result
from tawny.core.snapshot import Code, Field

PRESSING, ALARM, SEGMENT, BEGIN, GAP, REFUSED, COMMISSIONED, THERMAL = (
    "pressing",
    "alarm",
    "segment",
    "begin",
    "gap",
    "refused",
    "commissioned",
    "thermal",
)
SCHEMAS = {
    PRESSING: 1,
    ALARM: 1,
    SEGMENT: 1,
    BEGIN: 1,
    GAP: 1,
    REFUSED: 1,
    COMMISSIONED: 1,
    THERMAL: 1,
}


class RecipeCopy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The recipe as it was used, whole.

    Attributes:
        sha256: Of the recipe file's bytes, hex.
        copy: Plain values with units in their text.
    """

    name: str
    version: int
    sha256: str
    copy: dict[str, object] = {}


class AlarmNote(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An alarm that was active during a pressing."""

    alarm: str
    utc_ms: int
    priority: Priority = Priority.HIGH
    fields: dict[str, Field] = {}


class GapNote(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A stretch of a pressing without good samples."""

    start_s: float  # since the start of the pressing
    end_s: float
    cause: str = ""


class PressingRecord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One closing of the mould, summed up.

    Attributes:
        pressing_id: Its short code, `store.codes.pressing_code(number)`.
        number: Counts the closings of this record, from 1.
        boot_id: The board's boot in which it began.
        peak_c: The highest corrected temperature of each half; None without a good sample.
        equivalent_s: None when a gap makes the dose unknown; `dose_gap` says so.
        severity_min: log10 of it is the severity factor; None as above.
        energy_kwh: From on-time and rated power, unless `energy_metered`.
        breaths_s: Offsets since closing.
        cavities: Parts this pressing yields, one for each.
        first_off: Among the first pressings of a heat-up: its parts are checked apart.
    """

    pressing_id: str
    number: int
    recipe: RecipeCopy
    started_utc_ms: int
    ended_utc_ms: int
    started_mono_ms: int
    ended_mono_ms: int
    result: Result
    phase_at_end: Phase
    boot_id: str = ""
    peak_c: dict[Half, float | None] = {}
    mean_hold_c: float | None = None
    hold_s: float = 0.0
    equivalent_s: float | None = None
    dose_gap: bool = False
    severity_min: float | None = None
    energy_kwh: float = 0.0
    energy_metered: bool = False
    alarms: tuple[AlarmNote, ...] = ()
    operator: str = ""
    lot: str = ""
    mould: str = ""
    press: str = ""
    charge_g: float | None = None
    water_g: float | None = None
    cavities: int = 1
    breaths_s: tuple[float, ...] = ()
    gaps: tuple[GapNote, ...] = ()
    software_version: str = ""
    board_id: str = ""
    board_build: str = ""
    protocol_version: int = 0
    simulated: bool = False
    extra: dict[str, object] = {}
    first_off: bool = False

    @property
    def highest_c(self) -> float | None:
        """The hotter half's peak, in °C."""
        return max((peak for peak in self.peak_c.values() if peak is not None), default=None)


class Begin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The first entry of every record: whose it is and of which kind."""

    simulated: bool
    software_version: str = ""
    sqlite_version: str = ""


class Pressing(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A sealed pressing: its summary, its trace by SHA-256 (hex), its parts by number."""

    record: PressingRecord
    trace: str
    parts: tuple[int, ...]


class AlarmChange(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One change of state of one alarm.

    Attributes:
        event: What changed it, and `before` its state until then.
    """

    alarm: str
    state: AlarmState
    priority: Priority
    pressing_id: str = ""
    first_out: bool = False
    fields: dict[str, Field] = {}
    event: str = ""
    before: AlarmState | None = None


class Segment(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A stretch of trace outside pressings: "rest" 1 Hz least/mean/most, "full" every sample."""

    rate: str
    start_utc_ms: int
    end_utc_ms: int
    trace: str  # SHA-256 of the blob, hex


class Gap(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the recorder could not keep while the disk refused it."""

    lost: int
    first_utc_ms: int
    last_utc_ms: int
    reason: str


class Refused(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An entry that could not be recorded as it was given; its text is kept as it came."""

    kind: str
    reason: str
    text: str = ""


class CommissionedHalf(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was measured of one half, as it was stored at the board.

    Attributes:
        heat_up_s: Computed from the others, to the mould's highest setpoint.
        loss_per_s: Share of the excess over the room lost each second.
    """

    rise_k_per_s: float
    lag_s: float
    heat_up_s: float
    loss_per_s: float


class CommissionedStep(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step that passed, or was noted as not fitted.

    Attributes:
        failed: Codes of the times it failed before.
        values: What was typed, read or measured.
    """

    step: str
    outcome: str
    utc_ms: int
    failed: tuple[str, ...] = ()
    values: dict[str, Field] = {}


class Commissioned(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One commissioning of a mould on a board, from beginning to end."""

    mould: str
    slot: int
    person: str
    second: str
    board_id: str
    board_build: str
    trip_c: float
    halves: dict[Half, CommissionedHalf]
    steps: tuple[CommissionedStep, ...]
    started_utc_ms: int
    ended_utc_ms: int
    software_version: str = ""
    simulated: bool = False


class ThermalRecord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One fit of a mould's thermal model; the last that was taken is the one in use.

    Attributes:
        origin: "commissioning" or "heat_up".
        thermal: The model; None: not taken, and the one before stays.
        why: Why it was not taken.
        upper_residual_k, lower_residual_k: Measured less modelled, standard deviation.
        rise_k, coast_s: The rise and the coast that it was fitted to.
        room_c: What was taken for the room.
    """

    mould: str
    origin: str
    thermal: Thermal | None = None
    why: Code | None = None
    upper_residual_k: float = 0.0
    lower_residual_k: float = 0.0
    rise_k: float = 0.0
    coast_s: float = 0.0
    room_c: float = 22.0


class HeatGone(msgspec.Struct, frozen=True, kw_only=True):
    """What is read again of an end of heat.

    Attributes:
        operations: How often each half's output has switched on since the heat-up began.
    """

    operations: dict[str, int] = {}
