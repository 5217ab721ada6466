"""Whether a fit is taken for the model of a mould, and why not.

A fit replaces what there is only if it explains what was measured, saw a coast, and lies near the
model before it: a later heat-up may refine, never spoil. What is not taken is told all the same.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from tawny.core.loop.identify import HalfFit
from tawny.core.loop.thermal import HalfThermal, Thermal
from tawny.core.snapshot import Code

RESIDUAL_MOST_K: Final = 0.35  # of means over a second; noise alone leaves a third of that
COAST_LEAST_S: Final = 60.0
COAST_LAGS: Final = 1.5
RISE_MOST_K_PER_S: Final = 2.0
LAG_MOST_S: Final = 200.0
# A later fit is no refinement where it moves more than this, as a factor either way.
RISE_FACTOR: Final = 1.25
LAG_FACTOR: Final = 1.5


class Verdict(NamedTuple):
    """What becomes of a fit.

    Attributes:
        thermal: The model to use from now on; None: the one before stays.
        why: Why it was not taken; None where it was.
    """

    thermal: Thermal | None
    why: Code | None = None


def judge(
    fits: tuple[HalfFit, HalfFit] | None, before: Thermal | None, *, heat_ups: int
) -> Verdict:
    """Return what becomes of a fit.

    Args:
        fits: What was found of upper and lower half; None: nothing was.
        before: The trusted model so far; None: there is none.
        heat_ups: From how many heat-ups the model will have come, commissioning not counted.
    """
    if fits is None:
        return Verdict(None, Code("fit_too_little"))
    for half, fit in zip(("upper", "lower"), fits, strict=True):
        why = _refused(fit)
        if why is not None:
            return Verdict(None, Code(why[0], {"half": half, **why[1]}))
    if before is not None:
        for half, fit, old in zip(("upper", "lower"), fits, before.halves(), strict=True):
            if not _near(fit.half, old):
                percent = round(100.0 * (fit.half.rise_k_per_s / old.rise_k_per_s - 1.0))
                return Verdict(None, Code("fit_far_off", {"half": half, "percent": percent}))
    upper, lower = fits
    return Verdict(Thermal(upper=upper.half, lower=lower.half, trusted=True, heat_ups=heat_ups))


def _refused(fit: HalfFit) -> tuple[str, dict[str, float]] | None:
    half = fit.half
    if not fit.residual_k <= RESIDUAL_MOST_K:
        return "fit_unlike", {"residual_k": fit.residual_k, "most_k": RESIDUAL_MOST_K}
    if not fit.coast_s >= max(COAST_LEAST_S, COAST_LAGS * half.lag_s()):
        return "fit_no_coast", {"coast_s": fit.coast_s}
    if not (half.rise_k_per_s <= RISE_MOST_K_PER_S and half.lag_s() <= LAG_MOST_S):
        return "fit_no_mould", {"rise_mk": round(1000.0 * half.rise_k_per_s)}
    return None


def _near(new: HalfThermal, old: HalfThermal) -> bool:
    pairs = (
        (new.rise_k_per_s, old.rise_k_per_s, RISE_FACTOR),
        (new.lag_s(), old.lag_s(), LAG_FACTOR),
    )
    return all(one <= factor * other and other <= factor * one for one, other, factor in pairs)
