"""The lines of words on the screen: title, state, sentence, and what is missing."""

from __future__ import annotations

from tawny.core.names import AlarmState, BoardState, LinkStatus
from tawny.core.snapshot import AlarmView, Snapshot
from tawny.ui.look import Look
from tawny.ui.text import Part, Role, cut, spread, wrap
from tawny.words import _, numbers, sentences

STANDING_UNSEEN = frozenset({AlarmState.ACTIVE, AlarmState.RETURNED, AlarmState.LATCHED})
_SEEN = frozenset({AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_SEEN})
_SENTENCE_ROWS = 2
_CLOSE_NO_MORE = frozenset({"closing_none", "closing_in_hand_late"})


def title(snapshot: Snapshot, look: Look) -> list[Part]:
    """Return the first row: SIMULATED, what is pressed with which recipe, day and time."""
    left: list[Part] = []
    if snapshot.simulated:
        left += [(" " + _("SIMULATED") + " ", "tag"), ("  ", "plain")]
    names = [
        snapshot.press if look.wide else "",
        snapshot.mould,
        _("recipe {name} v{version}").format(name=snapshot.recipe, version=snapshot.recipe_version)
        if snapshot.recipe
        else _("no recipe chosen"),
    ]
    if snapshot.pressing_id:
        names.append(_("pressing {pressing}").format(pressing=snapshot.pressing_id))
    left.append((" · ".join(name for name in names if name), "plain"))
    now = numbers.local_time(snapshot.utc_ms)
    time = f"{sentences.weekday(now)} {numbers.clock(snapshot.utc_ms)}"
    return spread(
        left,
        [(time, "old" if look.silent_s is not None else "quiet")],
        look.columns - 2,
        look.marks,
    )


def status(snapshot: Snapshot, look: Look) -> list[Part]:
    """Return the quiet row of states; what is abnormal leads it, with its shape."""
    old = look.silent_s is not None
    calls = [f"{look.marks.medium} {words}" for words in _abnormal_states(snapshot, old=old)]
    states: list[Part] = [(words, "amber") for words in calls]
    states += [(words, "old" if old else "quiet") for words in _states(snapshot, look)]
    parts: list[Part] = []
    for state in states:
        parts += [(" · ", "quiet"), state] if parts else [state]
    return cut(parts, look.columns - 4, look.marks)


def _abnormal_states(snapshot: Snapshot, *, old: bool) -> list[str]:
    if old:
        return [_("no answer")]
    calls = []
    standing = standing_alarms(snapshot)
    if standing:
        first = standing[0]
        calls.append(f"{sentences.alarm(first).what} ({sentences.alarm_state(first)})")
    if not snapshot.recording:
        calls.append(_("NOT RECORDING"))
    if snapshot.link.status is not LinkStatus.UP:
        calls.append(sentences.link_status(snapshot.link.status))
    return calls


def _states(snapshot: Snapshot, look: Look) -> list[str]:
    states = []
    if not look.at_desk(snapshot):
        states.append(
            _("only watching: {viewer} is at the desk").format(viewer=snapshot.desk_viewer)
        )
    if snapshot.link.status is LinkStatus.UP:
        states.append(_board(snapshot))
    if snapshot.recording:
        states.append(_("recording"))
    if snapshot.operator:
        states.append(snapshot.operator)
    if snapshot.lot:
        states.append(_("lot {lot}").format(lot=snapshot.lot))
    states.append(_("parts today: {count}").format(count=snapshot.parts_today))
    return states


def _board(snapshot: Snapshot) -> str:
    board = snapshot.board
    state = sentences.board_state(board.state)
    if board.state is BoardState.LOCKED and board.lock_reason not in {"", "none"}:
        reason = sentences.lock_reason(board.lock_reason)
        return _("board {state}: {reason}").format(state=state, reason=reason)
    if board.state is BoardState.ARMED:
        heat = _("heat on") if snapshot.heat else _("heat at rest")
        return _("board {state}, {heat}").format(state=state, heat=heat)
    return _("board {state}, heat off").format(state=state)


def hint(snapshot: Snapshot, look: Look) -> list[Part]:
    """Return the row under the states: what is foreseen, else what else the space bar does."""
    if snapshot.ahead is not None and snapshot.ahead.lines:
        said = [sentences.ahead(one, snapshot.utc_ms) for one in snapshot.ahead.lines]
        whole = "  ".join(said)
        stop = snapshot.ahead.lines[0].code in _CLOSE_NO_MORE
        role: Role = "old" if look.silent_s is not None else "strong" if stop else "plain"
        # The first is the more pressing one; half of the second would be worse than none.
        words = whole if len(whole) <= look.columns - 4 else said[0]
        return cut([(words, role)], look.columns - 4, look.marks)
    if snapshot.simulated_hand:
        return [(_("Space also works the simulated hand."), "quiet")]
    return []


def standing_alarms(snapshot: Snapshot) -> list[AlarmView]:
    """Return the alarms that were seen and still stand, in the owner's order."""
    return [alarm for alarm in snapshot.alarms if alarm.state in _SEEN]


def unseen_alarms(snapshot: Snapshot) -> list[AlarmView]:
    """Return the alarms that nobody has acknowledged, in the owner's order."""
    return [alarm for alarm in snapshot.alarms if alarm.state in STANDING_UNSEEN]


def next_action(snapshot: Snapshot, look: Look) -> str:
    """Return the one sentence that says what to do, or that the owner does not answer."""
    if look.silent_s is not None:
        words = _(
            "The program that runs the press has not answered for {silence}. All this is old."
            " In doubt: press the heat-off button at the press."
        ).format(silence=numbers.seconds(look.silent_s))
        return f"{look.marks.high} {words}"
    return sentences.sentence(snapshot.sentence, snapshot.utc_ms)


def sentence(snapshot: Snapshot, look: Look) -> list[list[Part]]:
    """Return the two rows of the sentence."""
    role: Role = "strong" if look.silent_s is None else "red"
    lines = wrap(next_action(snapshot, look), look.columns - 4)
    if len(lines) > _SENTENCE_ROWS:
        lines = [*lines[: _SENTENCE_ROWS - 1], " ".join(lines[_SENTENCE_ROWS - 1 :])]
    return [cut([(line, role)], look.columns - 4, look.marks) for line in lines]


def missing(snapshot: Snapshot, look: Look, rows: int = 1) -> list[list[Part]]:
    """Return what must be true before the next step, ticked off as it comes true.

    Without the board it is why the board is not there.
    """
    link = snapshot.link
    if link.status is not LinkStatus.UP and link.reason is not None:
        words = sentences.cause(link.reason)
        return [cut([(words, "strong")], look.columns - 4, look.marks)]
    if all(permissive.met for permissive in snapshot.permissives):
        return []
    line: list[Part] = [(sentences.before(snapshot.next_phase), "quiet")]
    lines = [line]
    ordered = sorted(snapshot.permissives, key=lambda permissive: permissive.met)
    for permissive in ordered:
        mark = look.marks.done if permissive.met else look.marks.undone
        text = f"  {mark} {sentences.permissive(permissive)}"
        room = look.columns - 4 - sum(len(part) for part, _role in line)
        if len(text) > room and len(lines) < rows:
            line = []
            lines.append(line)
        line.append((text, "quiet" if permissive.met else "strong"))
    return [cut(each, look.columns - 4, look.marks) for each in lines]
