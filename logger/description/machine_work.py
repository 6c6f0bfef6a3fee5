"""Tolerances of the checks and the usual work, as the machine file has them.

Why it exists: what is allowed belongs to the machine (its manual, a standard, its owner's wish), each figure with its
origin, and what an error means depends on the work that is done. It prevents a limit without an origin, one in the
wrong unit, and one for a check that does not exist.
"""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from logger.description.yaml_models import Number, Positive, Strict, Text, nearest, refuse

COMMON_PRACTICE = "common practice, no source"


class Tolerance(Strict):
    """The limits of one check, in its own unit; the lower one left out where the check has none."""

    lower_mm: Number | None = Field(default=None, description="smallest value allowed, for a check in mm")
    upper_mm: Number | None = Field(default=None, description="largest value allowed, for a check in mm")
    lower_mm_per_m: Number | None = Field(default=None, description="the same for a check in mm/m")
    upper_mm_per_m: Number | None = Field(default=None, description="the same for a check in mm/m")
    origin: Text = Field(
        default=COMMON_PRACTICE, description="maker's manual, a named standard, common practice, own wish"
    )

    @model_validator(mode="after")
    def _one_unit(self) -> Self:
        mm, slope = self.upper_mm is not None, self.upper_mm_per_m is not None
        if mm == slope:
            raise refuse("both units" if mm else "no upper limit", "one of upper_mm and upper_mm_per_m")
        if (self.lower_mm_per_m is not None and mm) or (self.lower_mm is not None and slope):
            raise refuse("limits in two units", "lower and upper limit in the same unit")
        lower, upper = self.limits
        if lower is not None and lower >= upper:
            raise refuse(f"{lower:g} to {upper:g}", "the lower limit below the upper one")
        return self

    @property
    def unit(self) -> str:
        return "mm" if self.upper_mm is not None else "mm/m"

    @property
    def limits(self) -> tuple[float | None, float]:
        """(lower or None, upper) in ``unit``."""
        if self.upper_mm is not None:
            return self.lower_mm, self.upper_mm
        return self.lower_mm_per_m, self.upper_mm_per_m or 0.0


class Work(Strict):
    """What is usually made on this machine: errors are also told as what such work would show."""

    panel_mm: Positive = Field(default=600.0, description="length of the usual cross-cut")
    board_mm: Positive = Field(default=1000.0, description="length of the usual rip, edge or groove")
    thickness_mm: Positive = Field(default=19.0, description="thickness of the usual board")
    rebate_mm: Positive = Field(default=10.0, description="depth of the usual rebate or groove")
    blade_radius_mm: Positive = Field(default=150.0, description="radius of the usual blade")
    projection_mm: Positive = Field(default=60.0, description="how far it stands out of the table")


def checked_tolerances(given: dict[str, Tolerance]) -> dict[str, Tolerance]:
    """Every key is a check, in that check's unit; raises in words. (A validator of the machine's ``tolerances``.)"""
    from logger.checks.table import BY_NAME

    with_limits = {name: check for name, check in BY_NAME.items() if check.allowed.unit and check.asks}
    for name, tolerance in given.items():
        if name not in with_limits:
            raise refuse(f"{name}", f"a check with a limit; the nearest is {nearest(name, with_limits)}")
        unit = with_limits[name].allowed.unit
        if tolerance.unit != unit:
            keys = "lower_mm, upper_mm" if unit == "mm" else "lower_mm_per_m, upper_mm_per_m"
            raise refuse(f"{name} in {tolerance.unit}", f"{name} is judged in {unit}: {keys}")
    return given
