"""One press: link events in, steps of the core, effects out. No thread and no clock of its own.

Live and on a virtual clock the same object runs; only who calls it differs. It alone steps
the core, and it decides nothing: what is to be done stands in the effects.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from tawny.core import effects as fx
from tawny.core import events as ev
from tawny.core.alarm_list import ALARMS
from tawny.core.intents import Confirm
from tawny.core.names import AlarmState, Result
from tawny.core.record import ALARM, THERMAL, AlarmChange
from tawny.core.snapshot import Code, PartView
from tawny.core.step import step
from tawny.core.view import snapshot as view_of
from tawny.link import events as link
from tawny.service.fitting import AtOnce
from tawny.service.foresight import Foresight
from tawny.service.hearing import core_event
from tawny.service.learning import Learning
from tawny.service.tape import Tape
from tawny.service.trend import Trend
from tawny.store.codes import pressing_code

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.core.intents import AnyIntent
    from tawny.core.snapshot import Snapshot
    from tawny.core.state import State
    from tawny.link.session import Session
    from tawny.service.fitting import Fitter
    from tawny.store.recorder import Recorder
    from tawny.store.requests import Sealed

PARTS_SHOWN = 5
STALLED_S = 2.0
CLOCK_STEP_MS = 1000
RECORDER = "recorder"
BOARD = "board"


class Press:
    """The owner's heart with its shell.

    Args:
        state: Where to begin; carries settings, recipes and a rescue card if one is due.
        session: The session with the board.
        recorder: Where the record goes.
        utc_ms: Wall time now, from the host clock in milliseconds.
        write: Sends bytes to the board; losing the port is not its caller's problem.
        fitter: Fits what heat-ups teach; None: at once, for a virtual clock.
    """

    def __init__(
        self,
        state: State,
        session: Session,
        recorder: Recorder,
        *,
        utc_ms: Callable[[int], int],
        write: Callable[[bytes], object],
        simulated: bool,
        simulated_hand: bool = False,
        port: str = "",
        fitter: Fitter | None = None,
    ) -> None:
        """Take over; nothing is sent before the port is opened."""
        self.state = state
        self.trend = Trend()
        self.ended = False
        self.bells = 0
        self.pressings_ended = 0
        self.on_confirm: Callable[[], None] | None = None
        self._session = session
        self._recorder = recorder
        self._tape = Tape(recorder, simulated=simulated)
        self._learning = Learning(AtOnce() if fitter is None else fitter)
        self._utc_ms = utc_ms
        self._write = write
        self._simulated = simulated
        self._simulated_hand = simulated_hand
        self._port = port
        self._seq = 0
        self._offset_ms: int | None = None
        self._foresight = Foresight()
        self._recording: Code | None = None
        self._parts: tuple[PartView, ...] = ()
        self._parts_today = 0
        self._sealing: dict[str, PartView] = {}

    def opened(self, host_ms: int) -> None:
        """The port is open: greet the board."""
        self._session.opened(host_ms / 1000.0)
        self._flush()

    def lost(self, host_ms: int, reason: Code) -> None:
        """The port has gone."""
        for event in self._session.lost(host_ms / 1000.0, reason):
            self._link_event(event, host_ms)

    def line(self, line: bytes, host_ms: int) -> None:
        """Take in one line from the board."""
        for event in self._session.receive(line, host_ms / 1000.0):
            self._link_event(event, host_ms)
        self._poll(host_ms)

    def dropped(self, count: int, host_ms: int) -> None:
        """Count lines that never became whole."""
        self._session.dropped(count, host_ms / 1000.0)

    def tick(self, host_ms: int) -> None:
        """Take in a quarter of a second of the host's clock."""
        self._apply(ev.Tick(host_ms=host_ms))
        self._poll(host_ms)
        self._watch_wall_clock(host_ms)
        self._recorder.tick()
        self._learn(host_ms)
        self._watch_recorder(host_ms)

    def poll(self, host_ms: int) -> None:
        """Let the session look at its time-outs between ticks."""
        self._poll(host_ms)

    def ask(self, intent: AnyIntent, who: str, host_ms: int) -> fx.Answered:
        """Put an intent to the core and return what became of it."""
        effects = self._apply(ev.Asked(host_ms=host_ms, who=who, intent=intent))
        self._flush()
        if isinstance(intent, Confirm) and self.on_confirm is not None:
            self.on_confirm()
        answers = [one for one in effects if isinstance(one, fx.Answered)]
        return answers[-1] if answers else fx.Answered(accepted=False)

    def desk(self, viewer: str, empty_s: float, viewers: int, host_ms: int) -> None:
        """Tell the core who sits at the desk, when that matters."""
        state = self.state
        same = viewer == state.desk_viewer and viewers == state.viewers
        if same and empty_s == state.desk_empty_s:
            return
        self._apply(
            ev.DeskChanged(host_ms=host_ms, viewer=viewer, empty_s=empty_s, viewers=viewers)
        )
        self._flush()

    def snapshot(self, host_ms: int) -> Snapshot:
        """Return one picture of the press."""
        state = self.state
        self._seq += 1
        pressing = state.cycle.pressing
        code = pressing_code(pressing.number) if pressing is not None else ""
        state, utc_ms = replace(state, host_ms=max(host_ms, state.host_ms)), self._utc_ms(host_ms)
        shown = view_of(
            state,
            seq=self._seq,
            utc_ms=utc_ms,
            simulated=self._simulated,
            simulated_hand=self._simulated_hand,
            pressing_id=code,
            foreseen=self._foresight.look(state, utc_ms - state.host_ms),
        )
        rescue = shown.rescue
        if rescue is not None:
            rescue = replace(rescue, pressing=_code_of(rescue.pressing))
        alarms = tuple(
            replace(alarm, fields={**alarm.fields, "pressing": _code_of(alarm.fields["pressing"])})
            if "pressing" in alarm.fields
            else alarm
            for alarm in shown.alarms
        )
        return replace(
            shown,
            last_parts=self._parts,
            parts_today=self._parts_today,
            rescue=rescue,
            alarms=alarms,
        )

    def part(self, host_ms: int) -> None:
        """Part from the board: heat off and disarmed, whatever the core thinks of it.

        The core is not stepped any more; what the board says goes to `heard_parting`, until
        `parted` or the caller's patience ends.
        """
        self._session.bye()
        self.heard_parting(b"", host_ms)

    def heard_parting(self, line: bytes, host_ms: int) -> None:
        """Take in a line, or only the time, while parting from the board."""
        now_s = host_ms / 1000.0
        if line:
            self._session.receive(line, now_s)
        self._session.poll(now_s)
        self._flush()

    @property
    def parted(self) -> bool:
        """Whether the board has confirmed that its heat is off, or is out of reach."""
        return not self._session.up

    def close(self, host_ms: int) -> None:
        """Keep what is open of the record."""
        self._learning.close()
        self._tape.close(self._utc_ms(host_ms), host_ms)

    def show_parts(self, parts: tuple[PartView, ...], today: int) -> None:
        """Begin with the last parts of an earlier run on screen."""
        self._parts, self._parts_today = parts[:PARTS_SHOWN], today

    def _poll(self, host_ms: int) -> None:
        for event in self._session.poll(host_ms / 1000.0):
            self._link_event(event, host_ms)
        self._flush()

    def _flush(self) -> None:
        data = self._session.take()
        if data:
            self._write(data)

    def _link_event(self, event: link.LinkEvent, host_ms: int) -> None:
        seen = core_event(event, host_ms, self._port)
        if seen is not None:
            self._apply(seen)
        if isinstance(event, link.Up) and event.mould.in_use != self.state.mould.slot:
            self._session.use_mould(self.state.mould.slot)

    def _apply(self, event: ev.AnyEvent) -> tuple[fx.AnyEffect, ...]:
        before = self.state
        after, effects = step(before, event)
        self.state = after
        utc_ms = self._utc_ms(event.host_ms)
        self._tape.take(before, event, after, effects, utc_ms)
        self._learning.take(before, event, after)
        phase = after.cycle.phase
        self.trend.add(after, utc_ms, "" if phase is before.cycle.phase else phase.value)
        for effect in effects:
            self._carry_out(effect, event, utc_ms)
        return effects

    def _carry_out(self, effect: fx.AnyEffect, event: ev.AnyEvent, utc_ms: int) -> None:
        session, now_s = self._session, event.host_ms / 1000.0
        match effect:
            case fx.SendDuty():
                session.send_duty(
                    effect.upper,
                    effect.upper_setpoint_c,
                    effect.lower,
                    effect.lower_setpoint_c,
                    now_s,
                )
            case fx.SendArm():
                session.arm()
            case fx.SendDisarm():
                session.disarm()
            case fx.SendCharge():
                session.charge()
            case fx.SendSignal(lamp=lamp, sound=sound):
                session.signal(lamp, sound)
            case fx.Journal():
                self._journal(effect, event, utc_ms)
            case fx.PressingEnded():
                self.pressings_ended += 1
                self._note_parts(effect, utc_ms)
            case fx.Bell():
                self.bells += 1
            case fx.End():
                self.ended = True
            case _:
                pass

    def _journal(self, effect: fx.Journal, event: ev.AnyEvent, utc_ms: int) -> None:
        if self._tape.at_full_rate and _routine(effect):
            return
        who = event.who if isinstance(event, ev.Asked) else BOARD
        kind: str = effect.kind
        payload: object = effect.payload
        if kind == "alarm_event" and effect.payload["to"] is not None:
            kind, payload = ALARM, self._alarm_change(effect.payload)
        self._recorder.append(kind, payload, who=who, utc_ms=utc_ms, mono_ms=event.host_ms)

    def _alarm_change(self, said: dict[str, object]) -> AlarmChange:
        alarm = str(said["alarm"])
        pressing = self.state.cycle.pressing
        standing = next((one for one in self.state.alarms if one.alarm == alarm), None)
        return AlarmChange(
            alarm=alarm,
            state=AlarmState(str(said["to"])),
            priority=ALARMS[alarm].priority,
            pressing_id="" if pressing is None else pressing_code(pressing.number),
            first_out=standing is not None and standing.first_out,
            fields=standing.fields if standing is not None else {},
            event=str(said["event"]),
            before=AlarmState(str(said["from"])),
        )

    def _note_parts(self, end: fx.PressingEnded, utc_ms: int) -> None:
        figures = end.figures
        peaks = [figures["upper_peak_c"], figures["lower_peak_c"]]
        highest = [peak for peak in peaks if isinstance(peak, float)]
        equivalent = figures["equivalent_s"]
        recipe = figures["recipe"]
        hold_s = figures["hold_s"]
        self._sealing[pressing_code(end.number)] = PartView(
            part_id="",
            pressing_id=pressing_code(end.number),
            recipe=getattr(recipe, "name", ""),
            result=figures["result"],  # type: ignore[arg-type]  # set by core.pressing.ended
            hold_s=hold_s if isinstance(hold_s, float) else 0.0,
            equivalent_s=equivalent if isinstance(equivalent, float) else None,
            peak_c=max(highest) if highest else None,
            ended_utc_ms=utc_ms,
            first_off=figures["first_off"] is True,
        )

    def _learn(self, host_ms: int) -> None:
        """Record and use a model that was fitted."""
        learned = self._learning.learned(host_ms)
        if learned is None:
            return
        record, event = learned
        utc_ms = self._utc_ms(host_ms)
        self._recorder.append(THERMAL, record, who=RECORDER, utc_ms=utc_ms, mono_ms=host_ms)
        self._apply(event)

    def _watch_recorder(self, host_ms: int) -> None:
        for sealed in self._recorder.take_sealed():
            self._show(sealed)
        status = self._recorder.status()
        reason = status.reason
        if reason is None and self._recorder.stalled_s() > STALLED_S:
            reason = Code("store_stalled", {"waiting": status.waiting})
        before = self._recording
        if (reason and reason.code) != (before and before.code):
            self._apply(ev.StoreChanged(host_ms=host_ms, ok=reason is None, reason=reason))
        self._recording = reason

    def _watch_wall_clock(self, host_ms: int) -> None:
        """Note a step of the wall clock: times before and after it must not be compared."""
        utc_ms = self._utc_ms(host_ms)
        before_ms, self._offset_ms = self._offset_ms, utc_ms - host_ms
        if before_ms is None or abs(self._offset_ms - before_ms) < CLOCK_STEP_MS:
            return
        self._recorder.append(
            "clock_step",
            {"by_ms": self._offset_ms - before_ms},
            who=RECORDER,
            utc_ms=utc_ms,
            mono_ms=host_ms,
        )

    def _show(self, sealed: Sealed) -> None:
        part = self._sealing.pop(sealed.pressing_id, None)
        if part is None:
            return
        shown = tuple(replace(part, part_id=code) for code in sealed.part_ids)
        self._parts = (*shown, *self._parts)[:PARTS_SHOWN]
        if part.result is Result.COMPLETE:
            self._parts_today += len(shown)


def _routine(said: fx.Journal) -> bool:
    """Say whether a tape at full rate tells this already: the event behind it, to the ms."""
    charge = said.kind == "board_event" and said.payload["code"] == "charge"
    return charge or said.kind in {"phase", "breath"}


def _code_of(number: object) -> str:
    """Return the short code that people see for a pressing's number."""
    text = str(number)
    return pressing_code(int(text)) if text.isdigit() else text
