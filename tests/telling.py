"""What a campaign tells whoever started it, and the bound that follows from a count of none."""

from __future__ import annotations

import sys
from typing import Final

# No failure in N trials: with 95 % confidence less than 3 in N. J. A. Hanley, A. Lippman-Hand, "If
# nothing goes wrong, is everything all right?", JAMA 249 (1983) 1743.
RULE_OF_THREE: Final = 3.0


def say(text: str) -> None:
    """Tell a line to whoever runs a campaign, or the tests with -s."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def say_none(what: str, trials: int) -> None:
    """Tell that none of so many failed, and how rare a failure may still be."""
    bound = min(RULE_OF_THREE / trials, 1.0)
    say(f"none {what} of {trials}: less than {bound:.1e} each (95 % confidence)")
