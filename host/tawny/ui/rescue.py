"""The rescue card: what is inside, how much steam is possible, the steps in order."""

from __future__ import annotations

from tawny.core.snapshot import RescueView
from tawny.ui.look import Look
from tawny.ui.text import Part, cut, wrap
from tawny.words import _, numbers, sentences

FINISH = "finish"  # the step that closes the card


def rescue(card: RescueView, look: Look, cells: int, rows: int) -> list[list[Part]]:
    """Return the rows of the card; each step has the digit that ticks it."""
    head = _("Rescue: pressing {pressing} was interrupted at {phase}, {time}.").format(
        pressing=card.pressing,
        phase=sentences.phase_name(card.phase),
        time=numbers.clock(card.since_utc_ms),
    )
    inside = _("Inside: at most {water} of water, enough for {steam} of steam.").format(
        water=numbers.grams(card.water_g), steam=numbers.litres(card.steam_litres)
    )
    done_all = set(card.steps) <= set(card.ticked)
    lines: list[list[Part]] = [[(head, "strong")]]
    needed = 2 + card.closed + len(card.steps) + done_all
    because = wrap(sentences.cause(card.cause), cells)
    if rows >= needed + len(because):
        lines += [[(line, "quiet")] for line in because]
    lines.append([(inside, "strong")])
    if card.closed:
        words = _("The mould may be closed and under pressure.")
        lines.append([(f"{look.marks.high} {words}", "red")])
    if rows > len(lines) + len(card.steps) + done_all:
        lines.append([])
    steps: list[list[Part]] = []
    for number, step in enumerate(card.steps, start=1):
        done = step in card.ticked
        mark = look.marks.done if done else look.marks.undone
        words = sentences.rescue_step(step)
        key = " " if done else str(number)
        steps.append([(f" {key} ", "strong"), (f" {mark} {words}", "quiet" if done else "plain")])
    if done_all:
        steps.append(
            [(" f ", "strong"), (" " + _("every step is done: close this card"), "strong")]
        )
    # No step may be ticked unseen: on a small screen those done give way, then the heading.
    room = max(rows - len(lines), 1)
    undone = next((n for n, step in enumerate(card.steps) if step not in card.ticked), len(steps))
    first = max(min(undone, len(steps) - room), 0)
    steps = steps[first : first + room]
    lines = lines[max(len(lines) + len(steps) - rows, 0) :]
    return [cut(line, cells, look.marks) for line in [*lines, *steps]]


def next_step(card: RescueView) -> str:
    """Return the code of the next step to tick, or the one that closes the card."""
    return next((step for step in card.steps if step not in card.ticked), FINISH)
