"""Which question a key opens, and which intent its answer becomes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core import intents
from tawny.ui import announce, dialogs, upkeep
from tawny.ui.lists import Alarms, Help
from tawny.words import _

if TYPE_CHECKING:
    from tawny.core.snapshot import Snapshot
    from tawny.ui.app import Dashboard


def open_panel(app: Dashboard, name: str) -> None:
    """Open the question of a key; without a snapshot only help and leaving have one."""
    if name == "help":
        app.push_screen(Help(app.marks))
    elif name == "quit":
        _ask_quit(app)
    elif app.snapshot is not None:
        _OPENERS[name](app, app.snapshot)


def _ask_quit(app: Dashboard) -> None:
    snapshot = app.snapshot
    if snapshot is not None and not app.look.at_desk(snapshot):
        question = _("Leave this screen? The press goes on; somebody else is at the desk.")
        yes = _("leave")
    else:
        question = _("Leave? Heat goes off and the pressing in hand ends as aborted.")
        yes = _("heat off and leave")
    panel = dialogs.Confirm(app.marks, question, yes, _("stay"))

    def answered(leave: bool | None) -> None:  # noqa: FBT001 - a callback's argument
        if leave:
            app.run_worker(app.leave(), group="ask", exit_on_error=False)

    app.push_screen(panel, answered)


def _start(app: Dashboard, snapshot: Snapshot) -> None:
    fresh = app.fresh_space if snapshot.simulated_hand else None
    _push(app, dialogs.StartDay(app.marks, fresh))


def _scrap(app: Dashboard, _snapshot: Snapshot) -> None:
    def answered(reason: str | None) -> None:
        if reason is not None:
            app.ask(intents.Scrap(reason))

    app.push_screen(dialogs.Scrap(app.marks), answered)


def _recipe(app: Dashboard, snapshot: Snapshot) -> None:
    def answered(name: str | None) -> None:
        if name is not None:
            app.ask(intents.ChooseRecipe(name))

    question = _("Which recipe, from the next pressing on?")
    panel = dialogs.ChooseOne(app.marks, question, snapshot.recipes, snapshot.recipe)
    app.push_screen(panel, answered)


def _operator(app: Dashboard, snapshot: Snapshot) -> None:
    def answered(name: str | None) -> None:
        if name is not None:
            app.ask(intents.SetOperator(name))

    panel = dialogs.AskName(app.marks, _("Who is at the press?"), snapshot.operator)
    app.push_screen(panel, answered)


def _lot(app: Dashboard, snapshot: Snapshot) -> None:
    def answered(name: str | None) -> None:
        if name is not None:
            app.ask(intents.SetLot(name))

    panel = dialogs.AskName(app.marks, _("Which lot is in use?"), snapshot.lot)
    app.push_screen(panel, answered)


def _alarms(app: Dashboard, snapshot: Snapshot) -> None:
    _push(app, Alarms(app.marks, snapshot))


def _take(app: Dashboard, snapshot: Snapshot) -> None:
    def answered(take: bool | None) -> None:  # noqa: FBT001 - a callback's argument
        if take:
            app.ask(intents.TakeDesk())

    question = _("{viewer} is at the desk and loses it. Take it?").format(
        viewer=snapshot.desk_viewer
    )
    panel = dialogs.Confirm(app.marks, question, _("take the desk"), _("only watch"))
    app.push_screen(panel, answered)


def _upkeep(app: Dashboard, snapshot: Snapshot) -> None:
    _push(app, upkeep.Upkeep(app.marks, snapshot))


def _later(app: Dashboard, snapshot: Snapshot) -> None:
    _push(app, announce.Later(app.marks, snapshot))


def _push(
    app: Dashboard, panel: dialogs.Panel[intents.Prepare] | dialogs.Panel[intents.AnyIntent]
) -> None:
    """Open a question whose answer is the intent itself."""

    def answered(intent: intents.AnyIntent | None) -> None:
        if intent is not None:
            app.ask(intent)

    app.push_screen(panel, answered)


_OPENERS = {
    "start": _start,
    "scrap": _scrap,
    "recipe": _recipe,
    "operator": _operator,
    "lot": _lot,
    "alarms": _alarms,
    "take": _take,
    "upkeep": _upkeep,
    "later": _later,
}
