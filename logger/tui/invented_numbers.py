"""Invented findings and advice of the Kiln Street workshop's panel saw: the figures on the pictures.

Why it exists: a picture must be the same today and tomorrow. Every number here is made up and belongs to no machine.
"""

from __future__ import annotations

import numpy as np

from analysis.results import Extremes, Findings, FloatArray, Move, PlaceFinding, Plan, Predicted, Profile, Spot, Verdict


def invented_height(x_mm: FloatArray) -> FloatArray:
    """The carriage's height over the stroke: a hollow near B2, a hump behind the spindle."""
    return (
        0.098
        + 0.058 * np.exp(-(((x_mm - 1500) / 210) ** 2))
        - 0.052 * np.exp(-(((x_mm - 760) / 190) ** 2))
        + 0.006 * np.sin(x_mm / 170)
    )


def invented_findings() -> Findings:
    """Findings of an invented sweep in the set-up across."""
    x = np.arange(500.0, 1701.0, 20.0)
    value = invented_height(x)
    spread = np.where(x > 1640, 0.02, 0.004)
    profile = Profile(
        "height", "mm", x, value, spread, np.diag((spread / 2) ** 2), True, ((-300.0, 500.0), (1700.0, 2900.0))
    )
    high, low = int(np.argmax(value)), int(np.argmin(value))
    width = float(value[high] - value[low])
    return Findings(
        set_up="across",
        sweeps=("0007-across",),
        position_source="marks",
        profile=profile,
        extremes=Extremes(width, 0.004, float(np.mean(value)), 0.003),
        straightness=(),
        spots=(
            Spot("high", float(x[high]), float(value[high]), 0.004, 1380.0, 1620.0),
            Spot("low", float(x[low]), float(value[low]), 0.004, 640.0, 880.0),
        ),
        verdict=Verdict("outside", width, 0.004, None, 0.05, "mm", "0.106 minus its ± is above 0.050."),
        not_seen=("before 500 and after 1700: the carriage does not cover the indicator",),
    )


def invented_plan(moves: int = 2) -> Plan:
    """A plan of an invented round."""
    x = np.arange(500.0, 1701.0, 20.0)
    all_moves = (
        Move(
            1,
            "B3",
            0.09,
            0.06,
            0.36,
            "1/16 clockwise from below",
            760.0,
            0.050,
            0.089,
            0.050,
            0.089,
            0.008,
            "mm",
            "across",
            raise_at_most_mm=0.37,
        ),
        Move(
            2,
            "B4",
            -0.06,
            -0.04,
            -0.24,
            "1/25 anticlockwise from below",
            1500.0,
            0.157,
            0.118,
            0.157,
            0.118,
            0.007,
            "mm",
            "across",
            raise_at_most_mm=-0.28,
        ),
    )
    return Plan(
        round=1,
        set_up="across",
        verdict=Verdict("outside", 0.106, 0.004, None, 0.05, "mm"),
        next="turn" if moves else "sweep",
        next_set_up=None,
        reachable=True,
        best_possible_peak_to_valley=0.021,
        best_possible_uncertainty=0.009,
        unseen_bolts=("B6",),
        moves=all_moves[:moves],
        predicted=Predicted(0.036, 0.014, 0.1, 0.88, x, 0.1 + (invented_height(x) - 0.1) * 0.3, np.full(x.size, 0.01)),
        places=(PlaceFinding("spindle", "cannot tell", 0.019, 0.009, 0.025, True),),
        whole_stroke=PlaceFinding(
            "the whole stroke", "cannot tell", None, None, 0.15, False, "One stand sees no tilt."
        ),
        not_seen=(),
        warnings=(),
        why=(
            "The low place is at 760; B3 lifts it most for the least travel, for the carriage rides on its bearings.",
        ),
    )
