"""A recording made in memory from a simulated sweep: the same attributes as one read from disk."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from fixtures.sweeps import Layout, Sweep
from logger.machines import Machine, machine_from_text

MACHINE = """
name: Kiln Street panel saw
rail: {{from_mm: -300, to_mm: 2900}}
carriage: {{bearing_span_mm: 640, top_length_mm: {top}, stroke_mm: [{low}, {high}]}}
bolts:
  - {{name: B1, x_mm: 150, pitch_mm: 1.5, raises: clockwise}}
  - {{name: B2, x_mm: 1300, pitch_mm: 1.5, raises: clockwise}}
  - {{name: B3, x_mm: 2450, pitch_mm: 1.5, raises: clockwise}}
table: {{from_mm: {table_from}, to_mm: {table_to}, insert_mm: {openings}}}
set_ups:
  used: {set_up}
"""


def machine_for(layout: Layout, zero: str | None = None, axis: str = "pitch", extra: str = "") -> Machine:
    """A machine whose set-up ``used`` is the simulated one."""
    zero_said = f"{layout.zero_mm}" if zero is None else zero
    if layout.kind == "fixed":
        set_up = f"{{kind: fixed, x_mm: {layout.x_mm}, zero_mm: {zero_said}, sense: {layout.sense}{extra}}}"
    elif layout.kind == "carried":
        set_up = f"{{kind: carried, offset_mm: {layout.offset_mm}, zero_mm: {zero_said}, sense: {layout.sense}{extra}}}"
    else:
        set_up = f"{{kind: level, axis: {axis}, zero_mm_per_m: {zero_said}, sense: {layout.sense}{extra}}}"
    return machine_from_text(
        MACHINE.format(
            top=layout.top_length_mm,
            low=layout.stroke_mm[0],
            high=layout.stroke_mm[1],
            table_from=layout.table_mm[0],
            table_to=layout.table_mm[1],
            openings=[list(o) for o in layout.openings_mm],
            set_up=set_up,
        ),
        "machine.yaml",
    )


def recording_of(sweep: Sweep, layout: Layout | None = None, name: str = "0001-used", **changes: Any) -> Any:
    """The recording; ``changes`` replace attributes."""
    machine = changes.pop("machine", None) or machine_for(layout or Layout())
    count = len(sweep.t_s)
    position = np.full(count, np.nan) if sweep.encoder_mm is None else sweep.encoder_mm
    attributes: dict[str, Any] = {
        "name": name,
        "number": 1,
        "kind": "sweep",
        "set_up": "used",
        "passes": sweep.passes,
        "stations_mm": sweep.stations_mm,
        "ended": "closed",
        "machine": machine,
        "instrument": SimpleNamespace(step=0.001, counts_per_mm=None, frame="line"),
        "t_s": sweep.t_s,
        "value": sweep.value,
        "unit": "mm",
        "position_mm": position,
        "no_value_t_s": sweep.no_value_t_s,
        "no_value_position_mm": sweep.no_value_position_mm,
        "mark_t_s": sweep.mark_t_s,
        "mark_source": ("key",) * len(sweep.mark_t_s),
        "gaps_t_s": np.zeros((0, 2)),
        "garbage": 0,
        "warnings": (),
        "channels": ("",),
        "position_from": "",
        "index_t_s": np.zeros(0),
        "index_position_mm": np.zeros(0),
    }
    return SimpleNamespace(**{**attributes, **changes})
