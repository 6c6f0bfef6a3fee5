"""What a bolt does to the reading: as believed before anything was turned, and as learned from what was.

Why it exists: the advice stands on this table and on nothing else, so a person must be able to look at it. It prevents
blind trust in a model: where the learned response is far from the believed one, or its ± is wide, it shows here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.carried import Carried
from analysis.response import reading_weights
from analysis.results import FloatArray
from logger.advising.ground import DRAWS, ground_of

if TYPE_CHECKING:
    from logger.job import Job


@dataclass(frozen=True)
class Responses:
    """Change of the reading for 1 mm of each bolt's travel, at the stations of one set-up.

    Arrays of shape (stations, bolts); ``unit`` is that of the change (mm, or mm/m for a level). ``uncertainty`` is
    expanded (k = 2). ``turns`` counts the turns that were learned from.
    """

    set_up: str
    unit: str
    bolts: tuple[str, ...]
    x_mm: FloatArray
    believed: FloatArray
    learned: FloatArray
    uncertainty: FloatArray
    turns: int


def responses_of(job: Job, set_up: str | None = None) -> Responses:
    """The responses of the job now. NotAllowed where nothing was swept."""
    ground = ground_of(job, set_up, ())
    sweep = ground.sweeps[ground.main]
    prior = ground.learned.prior
    weights = reading_weights(sweep.set_up, prior.bench.carriage, sweep.s_mm)

    def of(draws: FloatArray) -> FloatArray:
        state = replace(ground.learned, coordinates=draws).state_response(sweep.s_mm)
        return np.asarray(np.einsum("dsqb,sq->dsb", state, weights))

    learned = of(ground.learned.coordinates)
    if isinstance(ground.contact, Carried):  # with the bearings that carry now
        learned = ground.situation.response[:, ground.rows]
    return Responses(
        set_up=ground.main,
        unit=sweep.set_up.unit,
        bolts=tuple(bolt.name for bolt in job.machine.bolts),
        x_mm=sweep.s_mm,
        believed=of(prior.draw(DRAWS)).mean(axis=0),
        learned=learned.mean(axis=0),
        uncertainty=2.0 * learned.std(axis=0),
        turns=ground.learned.lifts_mm.shape[1],
    )
