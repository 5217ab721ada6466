"""The compiled image sleeps most of the time, which is what lets it be simulated through days.

How many seconds of the board's time go into one of a machine's is judged by `tawny bench image`.
"""

from __future__ import annotations

import pytest

from campaigns.awake import shares

AWAKE_MOST = 0.10


@pytest.mark.slow
def test_image_is_not_awake_without_need() -> None:
    """At rest and heating: asleep for nine cycles of ten, and each cycle awake has its function."""
    found = shares(0.2)
    assert set(found) == {"at rest", "heating"}
    for what, one in found.items():
        assert 0.0 < one.fraction < AWAKE_MOST, what
        assert sum(one.by_function.values()) == one.awake
