"""The surroundings that every test can count on, whatever machine it runs on."""

from __future__ import annotations

import os

from hypothesis import settings

# Deadlines measure the machine, which may be busy; what is too slow has its own bench.
settings.register_profile("tawny", deadline=None)
settings.load_profile("tawny")

# A machine without a terminal names none; screens would then draw themselves in ASCII.
os.environ["TERM"] = "xterm-256color"
for name in ("NO_COLOR", "TAWNY_HOME", "TAWNY_DEBUG", "COLUMNS", "LINES"):
    os.environ.pop(name, None)
# Children of the tests encode what they print as the tests read it.
os.environ["PYTHONUTF8"] = "1"
