"""The frozen results that pass between the analysis modules, the command line and the screen.

Why it exists: one vocabulary for results keeps the screen, the ``--json`` output and the report from showing three
different versions of the same number. It prevents bare numbers: whatever is estimated stands beside its uncertainty,
and whatever is judged is one of three words.

All uncertainties named ``uncertainty`` are expanded (k = 2, about 95 %); those named ``standard_uncertainty`` are not.
``x_mm`` is the position of the carriage's middle along the stroke, + toward outfeed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

VerdictWord = Literal["inside", "outside", "cannot tell"]
Quantity = Literal["height", "pitch", "roll", "sideways"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """An ISO 14253-1 decision: ``word``, the ``value`` judged, its expanded ``uncertainty``, the limits, and why."""

    word: VerdictWord
    value: float
    uncertainty: float
    lower: float | None
    upper: float | None
    unit: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Positions:
    """Where the carriage's middle was at each reading. All arrays of shape (readings,).

    ``x_mm`` is nan where the position is not known; ``pass_index`` is -1 outside every pass;
    ``direction`` has one entry per pass, +1 toward outfeed, -1 toward infeed.
    ``source``: encoder, marks, strips, stops or ends only.
    """

    x_mm: FloatArray
    standard_uncertainty_mm: FloatArray
    pass_index: IntArray
    direction: tuple[int, ...]
    source: str
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Profile:
    """The reading's physical quantity against the carriage's position, one value per seen station.

    ``quantity`` height: mm, + when the carriage is higher than the table plane; pitch and roll: mm/m, + as in the
    units module. Arrays of shape (stations,); stations that were not seen are not in the arrays but in ``not_seen``.
    ``covariance`` (stations, stations) is that of ``value`` with k = 1, correlated errors (position, drift, zero)
    included; ``uncertainty`` is 2 sqrt(diag). ``zero_known`` False: only the shape is judged.
    ``parts`` maps the name of an uncertainty part (repeatability, resolution, position, drift, instrument) to its
    standard uncertainty per station.
    """

    quantity: Quantity
    unit: str
    x_mm: FloatArray
    value: FloatArray
    uncertainty: FloatArray
    covariance: FloatArray
    zero_known: bool
    not_seen: tuple[tuple[float, float], ...]
    parts: dict[str, FloatArray] = field(default_factory=dict)
    reports: dict[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Straightness:
    """ISO 12780-1 parameters about one reference line; lengths in the profile's unit (mm for heights).

    ``reference``: ``end points``, ``least squares`` or ``minimum zone``. ``slope`` per mm, ``offset`` at x = 0.
    """

    reference: str
    slope: float
    offset: float
    STRt: float
    STRp: float
    STRv: float
    STRq: float
    deviations: FloatArray


@dataclass(frozen=True, slots=True)
class Spot:
    """A high or low place that stands clear of the noise. ``value`` at ``x_mm``; extends ``from_mm`` .. ``to_mm``."""

    kind: Literal["high", "low"]
    x_mm: float
    value: float
    uncertainty: float
    from_mm: float
    to_mm: float
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Extremes:
    """Peak to valley and mean of a profile with the bias of noisy extremes taken out; expanded uncertainties."""

    peak_to_valley: float
    peak_to_valley_uncertainty: float
    mean: float | None
    mean_uncertainty: float | None


@dataclass(frozen=True, slots=True)
class Repair:
    """Something in a sweep that can be put right if a person says so. ``key`` names it in the journal, ``found`` is
    what was seen, ``offer`` what would be done about it. Without a yes nothing is repaired."""

    key: str
    sweep: str
    found: str
    offer: str


@dataclass(frozen=True)
class Findings:
    """Everything one set-up's sweeps say, before any bolt is thought of.

    ``position_uncertainty_mm`` (stations,) is the expanded uncertainty of the place, ``position_why`` why the places
    come from ``position_source``; ``repairs`` wait for a yes.
    """

    set_up: str
    sweeps: tuple[str, ...]
    position_source: str
    profile: Profile
    extremes: Extremes
    straightness: tuple[Straightness, ...]
    spots: tuple[Spot, ...]
    verdict: Verdict
    not_seen: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    reports: dict[str, float] = field(default_factory=dict)
    position_uncertainty_mm: FloatArray | None = None
    position_why: str = ""
    repairs: tuple[Repair, ...] = ()


@dataclass(frozen=True, slots=True)
class PlaceFinding:
    """A place (spindle, blade): the carriage's height there while the whole board passes."""

    name: str
    verdict: VerdictWord
    peak_to_valley: float | None
    uncertainty: float | None
    allowed: float
    seen: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Move:
    """One bolt to turn. ``raise_mm`` is its own thread travel, + up. ``turns`` is signed as ``raise_mm``.

    ``turn`` is the wording ("1/6 clockwise from below"); ``flats`` counts sixths of a turn of a hexagon.
    ``park_mm``: where the carriage's middle stands while turning (None where the set-up reads nowhere);
    ``reading_now`` and ``reading_target`` are what the instrument's own display shows (raw sign, raw zero) before this
    move and when it is right, all earlier moves made; ``height_now`` and ``height_target`` the same as heights.
    ``steps`` are the words for the hand, in working order. ``raise_at_most_mm``: thread travel (signed as ``raise_mm``)
    at which to stop even where the display is not there yet: the plan is made again from what it shows.
    """

    order: int
    bolt: str
    raise_mm: float
    turns: float
    flats: float
    turn: str
    park_mm: float | None
    reading_now: float | None
    reading_target: float | None
    height_now: float | None
    height_target: float | None
    uncertainty: float | None
    unit: str
    set_up: str = ""
    steps: tuple[str, ...] = ()
    raise_at_most_mm: float | None = None


@dataclass(frozen=True)
class Predicted:
    """What the profile will be once the moves are made: at the seen stations, with its 95 % band."""

    peak_to_valley: float
    peak_to_valley_uncertainty: float
    mean: float | None
    chance_inside: float
    x_mm: FloatArray
    value: FloatArray
    uncertainty: FloatArray


@dataclass(frozen=True, slots=True)
class WouldShow:
    """A set-up not swept yet, and what it would show: expanded uncertainties now and with it.

    ``set_up`` is its name in machine.yaml, or empty for one not described there (``what`` says it in words). ``work``
    compares efforts (a stand set down and swept is 1). ``gains`` are (what, now, then) with the unit in the words.
    """

    set_up: str
    what: str
    work: float
    gains: tuple[tuple[str, float, float], ...]
    worth: float


@dataclass(frozen=True)
class Plan:
    """The advice of one round.

    ``cautions`` come before the first move. ``whole_stroke`` is the carriage's run over all of its stroke (None where a
    single set-up tells nothing of it). ``would_show``: extra set-ups by what they show for their work, best first.
    """

    round: int
    set_up: str
    verdict: Verdict
    next: Literal["turn", "sweep", "stop"]
    next_set_up: str | None
    reachable: bool
    best_possible_peak_to_valley: float
    best_possible_uncertainty: float
    unseen_bolts: tuple[str, ...]
    moves: tuple[Move, ...]
    predicted: Predicted | None
    places: tuple[PlaceFinding, ...]
    not_seen: tuple[str, ...]
    warnings: tuple[str, ...]
    why: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    whole_stroke: PlaceFinding | None = None
    would_show: tuple[WouldShow, ...] = ()
