"""The dashboard: shows the snapshots of the owner and sends it what a person taps.

It decides nothing about the press. It may die at any moment; the owner and the board go on.
"""

from __future__ import annotations

import asyncio
import locale
import os
import signal
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import App
from textual.binding import Binding, BindingType

from tawny.core import intents
from tawny.core.names import Priority
from tawny.core.snapshot import Snapshot
from tawny.desk.messages import Bye, Points, Snap, ToViewer, Welcome
from tawny.errors import TawnyError
from tawny.ui import asking, keys, lines, rescue, themes
from tawny.ui.any_byte import take_any_byte
from tawny.ui.face import Face
from tawny.ui.lists import Alarms
from tawny.ui.look import SILENT_AFTER_S, Look
from tawny.ui.marks import marks_for
from tawny.ui.terminal_watch import watch_terminal
from tawny.ui.text import Part, Role
from tawny.ui.trend_data import Trace
from tawny.words import _, sentence_of, sentences

if TYPE_CHECKING:
    from textual.screen import Screen

    from tawny.ui.viewer import Viewer

STDIN = 0
CHECK_S = 0.25
RETRY_S = 1.0
ANSWER_S = 3.0
NOTICE_S = 6.0
BELL_S = 5.0
FRESH_S = 0.7  # the longest delay before a held key repeats: 0.66 s on common desktops


class Dashboard(App[None], inherit_bindings=False):
    """A viewer of one press.

    Bindings of the framework are not inherited: its Ctrl+Q would leave without asking.
    """

    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "space", show=False),
        Binding("p", "pause", show=False),
        Binding("f", "finish", show=False),
        Binding("k", "standby", show=False),
        *(Binding(key, f"tap('{key}')", show=False) for key in keys.AT_ONCE),
        *(Binding(key, f"ask('{name}')", show=False) for key, name in keys.ASKING.items()),
        *(Binding(key, f"view('{name}')", show=False) for key, name in keys.VIEWS.items()),
        *(Binding(str(n), f"rescue({n})", show=False) for n in range(1, 10)),
        Binding("ctrl+c,ctrl+q,ctrl+d,ctrl+z", "how_to_leave", show=False, priority=True),
    ]

    def __init__(
        self,
        viewer: Viewer,
        *,
        theme: Literal["dark", "light"] = "dark",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self._clock = clock
        for each in themes.THEMES:
            self.register_theme(each)
        self.theme = themes.LIGHT if theme == "light" else themes.DARK
        self.animation_level = "none"
        self.viewer = viewer
        self.trace = Trace()
        self.snapshot: Snapshot | None = None
        self.marks = marks_for(os.environ, locale.getpreferredencoding(do_setlocale=False))
        self.big = False
        self._viewer_name = ""
        self._goodbye = ""
        self._seen_s = self._clock()
        self._notice: tuple[list[Part], float] = ([], 0.0)
        self._taps = keys.Taps()
        self._space_s = -FRESH_S
        self._bell_s = -BELL_S
        self._face = Face(self.trace)

    def get_default_screen(self) -> Screen[None]:
        """Return the press screen."""
        return self._face

    # What the owner sends

    def on_mount(self) -> None:
        """Begin to listen, and to notice silence."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGHUP):
            loop.add_signal_handler(number, self.exit)
        self.set_interval(CHECK_S, self.check)
        self.run_worker(self._listen(), group="listen", exit_on_error=True)

    async def on_unmount(self) -> None:
        """Close the line."""
        await self.viewer.close()

    async def _listen(self) -> None:
        """Take what the owner sends; when the line ends, greet again until it answers."""
        while True:
            try:
                await self.viewer.open()
                async for message in self.viewer.messages():
                    self.take(message)
            except TawnyError as error:
                self._goodbye = sentence_of(error)
            except OSError:
                pass  # nobody listens yet: said by the silence on the screen
            await self.viewer.close()
            await asyncio.sleep(RETRY_S)

    def take(self, message: ToViewer) -> None:
        """Take one message of the owner."""
        match message:
            case Welcome():
                self._goodbye = ""
                self._viewer_name = message.viewer
                self.trace.replace(message.history)
            case Snap():
                self._drop_notice(message.snapshot)
                self.snapshot = message.snapshot
                self._seen_s = self._clock()
                self.paint()
            case Points():
                self.trace.extend(message.points)
            case Bye():
                self._goodbye = sentences.goodbye(message.reason)
                self.paint()
            case _:  # an answer belongs to whoever asked
                pass

    def _drop_notice(self, snapshot: Snapshot) -> None:
        """Let what was said about an earlier phase go; a heat off that failed stays."""
        line, _until_s = self._notice
        moved = self.snapshot is not None and snapshot.phase is not self.snapshot.phase
        if moved and line and line[0][1] != "red":
            self._notice = ([], 0.0)

    # What is shown

    @property
    def look(self) -> Look:
        """How the snapshot is shown now."""
        silent_s = self._clock() - self._seen_s
        return Look(
            columns=self.size.width,
            rows=self.size.height,
            marks=self.marks,
            silent_s=float(int(silent_s)) if silent_s > SILENT_AFTER_S else None,
            viewer=self._viewer_name,
            big=self.big,
        )

    def paint(self) -> None:
        """Show what is known now."""
        if not self._face.is_mounted:
            return
        look = self.look
        notice, until_s = self._notice
        shown = notice if self._clock() < until_s else []
        if self.snapshot is None or (self._goodbye and look.silent_s is not None):
            words = self._goodbye or _("Waiting for the program that runs the press.")
            self._face.show_waiting(words, look, shown)
            return
        self._face.show(self.snapshot, look, shown)
        if isinstance(self.screen, Alarms):
            self.screen.show(self.snapshot)

    def check(self) -> None:
        """Notice silence, let a notice go, call again for an urgent alarm."""
        now_s = self._clock()
        if self._notice[0] and now_s >= self._notice[1]:
            self._notice = ([], 0.0)
            self.paint()
        if now_s - self._seen_s > SILENT_AFTER_S:
            self.paint()
        if self.snapshot is not None and now_s - self._bell_s >= BELL_S:
            unseen = lines.unseen_alarms(self.snapshot)
            if any(alarm.priority is Priority.HIGH for alarm in unseen):
                self._bell_s = now_s
                self.bell()

    def on_resize(self) -> None:
        """Show the same in the new size, once it is laid out."""
        self.call_after_refresh(self.paint)

    def say(self, words: str, role: Role = "strong", for_s: float = NOTICE_S) -> None:
        """Show a line above the actions for a while."""
        self._notice = ([(words, role)], self._clock() + for_s)
        self.paint()

    # What a person taps

    def fresh_space(self) -> bool:
        """Return whether the space bar was let go since its last tap."""
        now_s = self._clock()
        fresh = now_s - self._space_s >= FRESH_S
        self._space_s = now_s
        return fresh

    def ask(self, intent: intents.AnyIntent) -> None:
        """Send an intent without holding up the screen."""
        self.run_worker(self.ask_and_say(intent), group="ask", exit_on_error=False)

    async def ask_and_say(self, intent: intents.AnyIntent) -> bool:
        """Send an intent; say a refusal, or that no answer came. Return whether it was taken."""
        try:
            answer = await asyncio.wait_for(self.viewer.ask(intent), ANSWER_S)
        except (OSError, TimeoutError, TawnyError):
            if isinstance(intent, intents.HeatOff | intents.Quit):
                words = _("Heat off did NOT get through. Press the heat-off button at the press.")
                self.say(f"{self.marks.high} {words}", "red", for_s=3600.0)
            else:
                self.say(_("That did not get through: the owner of the press does not answer."))
            return False
        if answer.accepted:
            self._notice = ([], 0.0)
            if isinstance(intent, intents.HeatOff):
                self.say(_("Heat off was taken."))
        elif answer.reason is not None:
            self.say(sentences.refusal(answer.reason))
        else:
            self.say(_("That was refused."))
        return answer.accepted

    def action_space(self) -> None:
        """Go on from the phase on the screen; with a simulated hand, also play the person."""
        fresh = self.fresh_space()
        if self.snapshot is None or not self._taps.allow("space", self._clock()):
            return
        wanted = keys.space(self.snapshot)
        if not isinstance(wanted, str):
            self.ask(wanted)
        elif fresh:
            self.action_ask(wanted)

    def action_tap(self, key: str) -> None:
        """Send what a key asks for, at once."""
        if self._taps.allow(key, self._clock()):
            self.ask(keys.AT_ONCE[key])

    def action_pause(self) -> None:
        """Pause, or go on."""
        if self.snapshot is not None and self._taps.allow("p", self._clock()):
            self.ask(keys.pause_or_resume(self.snapshot))

    def action_standby(self) -> None:
        """Rest warm, or go back to pressing heat."""
        if self.snapshot is not None and self._taps.allow("k", self._clock()):
            self.ask(keys.standby_or_back(self.snapshot))

    def action_rescue(self, number: int) -> None:
        """Tick a step of the rescue card."""
        card = self.snapshot.rescue if self.snapshot is not None else None
        if card is None or number > len(card.steps):
            return
        if self._taps.allow(str(number), self._clock()):
            self.ask(intents.RescueStep(card.steps[number - 1]))

    def action_finish(self) -> None:
        """Close the rescue card."""
        has_card = self.snapshot is not None and self.snapshot.rescue is not None
        if has_card and self._taps.allow("f", self._clock()):
            self.ask(intents.RescueStep(rescue.FINISH))

    def action_view(self, name: str) -> None:
        """Change how it is shown, nothing else."""
        if name == "big":
            self.big = not self.big
        else:
            self._face.next_window()
        self.paint()
        self.call_after_refresh(self.paint)

    def action_how_to_leave(self) -> None:
        """Answer the chords that end other programs: here they do nothing."""
        self.say(_("Tap q to leave. It asks first, then takes the heat off."))

    def action_ask(self, name: str) -> None:
        """Open a question or a list."""
        asking.open_panel(self, name)

    async def leave(self) -> None:
        """Take the heat off, end the owner, and go; one who only watched just goes."""
        if self.snapshot is not None and not self.look.at_desk(self.snapshot):
            self.exit()
            return
        off = await self.ask_and_say(intents.HeatOff())
        if off and await self.ask_and_say(intents.Quit()):
            self.exit(message=_("Heat is off and the press program has ended."))
        elif off:
            self.exit(message=_("Heat off was taken; the press program goes on without a screen."))
        else:
            words = _("Heat off did NOT get through. Press the heat-off button at the press.")
            self.exit(return_code=1, message=words)


def run_dashboard(
    viewer: Viewer, *, mouse: bool = True, theme: Literal["dark", "light"] = "dark"
) -> int:
    """Show the press until the person leaves.

    Args:
        viewer: The line to the owner.
        mouse: Let the terminal report the mouse; without it text can be selected.
        theme: Colours for a dark or a light terminal.

    Returns:
        0 when it was left on purpose or by the terminal, 1 when heat off did not get through
        or the screen fell over.
    """
    take_any_byte()
    app = Dashboard(viewer, theme=theme)
    # A viewer holds nothing that could be lost: without a terminal it ends at once.
    watch = watch_terminal(STDIN, lambda: os._exit(0))
    app.run(mouse=mouse)
    watch.set()
    # The framework leaves none where a thread of its own fell over.
    return 1 if app.return_code is None else app.return_code
