"""What a test needs of the machine: skipped where a person lacks it, never in CI."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def lacking(what: str) -> NoReturn:
    """Leave a test out for want of something; in CI that is a failure.

    Args:
        what: What is missing, as a reason a person would accept.
    """
    if os.environ.get("CI"):
        pytest.fail(f"CI must run this test: {what}")
    pytest.skip(what)
