"""What a round is worth for the round after it: what it teaches, and where it leaves the bolts.

Why it exists: a plan that looks no further than its own end stands still where bolts nearly cancel. No small turn helps
at once, and large ones are not trusted, so the machine is left far from what it could be. A turn that improves nothing
today but shows how the bolts answer may bring the band tomorrow. It prevents giving up on a machine that only has to be
asked.

For a round that was played through in every draw, each draw in turn is taken for the truth. The next sweep then shows
the round's effect; what that says of the response is the ensemble form of Gaussian conditioning (G. Evensen, Data
Assimilation, 2009, chapter 9); the next round is the robust fit on what is then known.
"""

from __future__ import annotations

import numpy as np

from analysis.results import FloatArray
from analysis.robust import GUIDED_PART, response_doubt, robust_lifts, scaled_rows
from analysis.situation import Outcome, Situation, loss_of, ratio_and_slope

TRUTHS = 100
KEPT = 1e-4  # of the variance of what the sweep will show, smaller parts are not told from noise
READING_mm = 0.001  # error of the next sweep beside that of the last


def loss_ahead(situation: Situation, outcome: Outcome) -> float:
    """Mean loss at the end of the *next* round if this one is made, over the first draws."""
    draws = len(outcome.value)
    truths = min(TRUTHS, draws)
    response = situation.response[:draws]
    learned, left = _learned(situation, response, outcome.value)
    bolts = situation.turnable()
    if not bolts:
        return outcome.loss
    rows = scaled_rows(outcome.value, left, situation.groups)
    doubt = GUIDED_PART * response_doubt(rows)[:, bolts][:, :, bolts].reshape(rows.value.shape[1], 1, -1)
    known = scaled_rows(outcome.value[:truths], learned[:truths][:, :, bolts], situation.groups)
    bound = np.ones((truths, 1))
    _, lifts = robust_lifts(
        known.value,
        known.response,
        doubt,
        known.shape_of,
        bound * situation.lowest_mm[bolts],
        bound * situation.highest_mm[bolts],
    )
    wrong = response[:truths] - learned[:truths]
    answer = (learned[:truths] + np.sqrt(GUIDED_PART) * wrong)[:, :, bolts]
    end = outcome.value[:truths] + (answer @ lifts[..., None])[..., 0]
    ratio, _ = ratio_and_slope(end, situation.groups)
    return float(np.mean(loss_of(ratio)))


def _learned(situation: Situation, response: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The response as it would be believed after the sweep, with each draw for the truth, and a set of responses that
    scatters as that belief still would: both (draws, rows, bolts).
    """
    draws, rows, bolts = response.shape
    flat = response.reshape(draws, -1)
    about = flat - flat.mean(axis=0)
    shown = end - end.mean(axis=0)
    noise = np.sqrt(np.diag(situation.covariance) + READING_mm**2)
    left, sizes, _ = np.linalg.svd(shown / noise, full_matrices=False)
    kept = sizes**2 > max(KEPT * sizes[0] ** 2, 1e-12)
    kept &= np.arange(len(sizes)) < draws // 8  # few draws cannot tell many patterns apart
    part = left[:, kept] * sizes[kept]
    gain = (part.T @ about) / (sizes[kept] ** 2 + draws)[:, None]
    seen = part @ gain
    learned = flat.mean(axis=0) + seen
    scatter = flat.mean(axis=0) + about - seen
    return learned.reshape(draws, rows, bolts), scatter.reshape(draws, rows, bolts)
