"""Which instrument explains these bytes? Every profile scored on what arrived, at the line settings it arrived with.

Why it exists: nobody remembers the speed and parity of the box in the drawer. It prevents two mistakes: naming an
instrument because one line happened to fit, and calling an instrument broken that only speaks at another speed.
Nothing is opened or sent here: ``logger.port`` listens, this judges.

A profile's score is the share of its frames that decode, the torn first and last one not counted. It is *named* when
enough frames decode, nearly all of them do, and no other profile of equal standing reads them as well. Bytes caught
with eight bits of an instrument that sends seven and a parity bit are recognised by that parity.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from logger.decode import show_bytes
from logger.description.instrument_base import Instrument, Link, decode_once
from logger.instruments import list_instruments, load_instrument
from logger.readings import Gap, Garbage, Reading, Record

MOST_BYTES = 16 * 1024
"""More than this of one capture adds nothing to the judgement."""
ENOUGH_FRAMES = 3
NEARLY_ALL = 0.9
NO_SENSE = 0.5
MOST_LINES = 60
"""So many lines of a second talker are looked at."""
TEXT_SHARE = 0.95
"""So much of what a talker in text says is text."""
BINARY = ("modbus_rtu",)
NEWER_NODE = "node speaks protocol"
"""How the node's decoder begins what it says of a protocol it does not know."""
COMMON_RATES = (9600, 115200, 4800, 19200, 38400, 57600, 2400, 1200)
"""Rates to try after the profiles' own, most usual first (common practice, no source)."""
PRINTABLE = frozenset([*range(0x20, 0x7F), 0x0A, 0x0D, 0x09])

Word = Literal["named", "likely", "several fit", "no sense", "silent"]


@dataclass(frozen=True, slots=True)
class Capture:
    """Bytes that arrived with these line settings; ``asked``: the profile whose read-only request was sent, if any."""

    link: Link
    data: bytes
    asked: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """How well one profile explains one capture. ``share`` is of its frames, ``printable`` of the bytes.

    ``link`` is what the line should be set to: differs from the capture's where only the parity bit was in the way.
    ``own_link``: these are the settings the profile itself names.
    """

    profile: str
    link: Link
    decoded: int
    refused: int
    share: float
    printable: float
    sample: str
    own_link: bool


@dataclass(frozen=True, slots=True)
class Identified:
    """The judgement: a ``word``, the best score, the profiles that fit as well, all scores, and a sentence."""

    word: Word
    best: Score | None
    rivals: tuple[str, ...]
    scores: tuple[Score, ...]
    bytes_seen: int
    says: str


def identify(captures: Iterable[Capture], profiles: Mapping[str, Instrument] | None = None) -> Identified:
    """Judge what was caught on one port, at one or several line settings."""
    captures = list(captures)
    profiles = listening_profiles() if profiles is None else profiles
    scores = [score for capture in captures for score in scores_of(capture, profiles)]
    asked = any(capture.asked for capture in captures)

    def standing(score: Score) -> tuple[float, bool, bool, int]:
        """What was never asked and speaks all the same is first of all one that streams."""
        share, own_link, decoded = _standing(score)
        return share, asked or not profiles[score.profile].requests, own_link, decoded

    scores.sort(key=standing, reverse=True)
    seen = sum(len(capture.data) for capture in captures)
    best = scores[0] if scores and scores[0].decoded and scores[0].share >= NO_SENSE else None
    if best is None:
        return Identified(
            "no sense" if seen else "silent", None, (), tuple(scores), seen, _no_sense(captures, profiles)
        )
    other = "" if best.share >= NEARLY_ALL else _other_talker(best, captures, profiles)
    rivals = () if other else _rivals(best, scores, profiles)
    alone = profiles[best.profile].frame in BINARY or best.printable >= TEXT_SHARE
    word = _word(best, rivals, alone)
    return Identified(word, best, rivals, tuple(scores), seen, _says(word, best, rivals, other))


def scores_of(capture: Capture, profiles: Mapping[str, Instrument]) -> list[Score]:
    """One score for each profile, best first."""
    if capture.asked in profiles:  # an answer to this request can only come from what understands it
        requests = profiles[capture.asked].requests
        profiles = {name: one for name, one in profiles.items() if one.requests == requests}
    data = capture.data[:MOST_BYTES]
    forms = _forms(data, capture.link)
    scores = [max((_score(name, one, *form) for form in forms), key=_standing) for name, one in profiles.items()]
    return sorted(scores, key=_standing, reverse=True)


@cache
def _shipped() -> dict[str, Instrument]:
    return {name: load_instrument(name) for name in list_instruments()}


def listening_profiles() -> dict[str, Instrument]:
    """The shipped profiles of instruments that speak on a wire: what people type has no wire to listen to."""
    return {name: profile for name, profile in _shipped().items() if profile.frame != "typed"}


def readings_in(instrument: Instrument, data: bytes) -> int:
    """How many readings of ``instrument`` are in ``data``."""
    return sum(isinstance(record, Reading) for record in decode_once(instrument, data))


def links_to_try(profiles: Mapping[str, Instrument] | None = None) -> list[Link]:
    """Line settings worth listening with: the profiles' own, the most usual first, then the common rates."""
    profiles = listening_profiles() if profiles is None else profiles
    own = [_line_only(profile.link) for profile in profiles.values()]
    links = sorted(dict.fromkeys(own), key=lambda link: (-own.count(link), link.baud))
    plain = [Link(baud=rate) for rate in COMMON_RATES]
    return links + [link for link in plain if link not in links]


def wrong_settings_hint(data: bytes, instrument: Instrument, link: Link | None = None) -> str:
    """Why ``instrument`` makes nothing of ``data``, and what would: for the error of a sweep. Empty when it does."""
    link = instrument.link if link is None else link
    if not data:
        return f"Nothing arrived. Is the instrument on, and does it send at {_link_words(link)}?"
    own = scores_of(Capture(link, data), {instrument.name: instrument})[0]
    if own.decoded and own.share >= NO_SENSE:
        return (
            "" if own.link == _line_only(link) else f"Set the line to {_link_words(own.link)}: {own.sample} then reads."
        )
    found = identify([Capture(link, data)])
    if found.best is None:
        return found.says
    return (
        f"These bytes fit the profile {found.best.profile}: {found.best.sample}. Use --instrument {found.best.profile}."
    )


def _forms(data: bytes, link: Link) -> list[tuple[bytes, Link]]:
    """The bytes as they came and, where a constant parity shows in the eighth bit, without it."""
    here = _line_only(link)
    forms = [(data, here)]
    if here.bits == 8 and here.parity == "none" and len(data) >= 8 and any(byte & 0x80 for byte in data):
        odd = sum(byte.bit_count() & 1 for byte in data)
        if odd <= len(data) // 50:
            forms.append((bytes(byte & 0x7F for byte in data), here.model_copy(update={"bits": 7, "parity": "even"})))
        elif odd >= len(data) - len(data) // 50:
            forms.append((bytes(byte & 0x7F for byte in data), here.model_copy(update={"bits": 7, "parity": "odd"})))
    return forms


def _score(name: str, instrument: Instrument, data: bytes, link: Link) -> Score:
    records = decode_once(instrument, data)
    good = sum(isinstance(record, Reading | Gap) and not _broken(record) for record in records)
    whole = list(records)
    for end in (0, -1):  # the capture began and ended in the middle of a frame
        if len(whole) > 1 and isinstance(whole[end], Garbage):
            del whole[end]
    bad = sum(isinstance(record, Garbage) or _broken(record) for record in whole)
    readings = any(isinstance(record, Reading) for record in records)
    share = good / (good + bad) if readings else 0.0
    printable = _printable(data)
    sample = _sample(instrument, data) if readings else show_bytes(data, 40)
    own = _line_only(instrument.link)
    own_link = (own.baud, own.bits, own.parity) == (link.baud, link.bits, link.parity)
    return Score(name, own if own_link else link, good, bad, share, printable, sample, own_link)


def _broken(record: Record) -> bool:
    """A node's count of its lines that jumps: lines were lost, or two nodes speak at once."""
    return isinstance(record, Gap) and record.reason == "lines lost"


def _printable(data: bytes) -> float:
    return sum(byte in PRINTABLE for byte in data) / len(data) if data else 0.0


def _sample(instrument: Instrument, data: bytes) -> str:
    """The first line that gave a reading; for frames that are no lines, how the bytes begin."""
    for line in data.splitlines(keepends=True)[:40]:
        if any(isinstance(record, Reading) for record in decode_once(instrument, line)):
            return show_bytes(line.strip(b"\r\n"), 60)
    lines = data.splitlines()
    if len(lines) > 2 and _printable(data) >= TEXT_SHARE:  # a line that tells nothing by itself: a node's position
        return show_bytes(lines[len(lines) // 2], 60)
    return data[:16].hex(" ")


def _standing(score: Score) -> tuple[float, bool, int]:
    """A profile whose own speed this is goes first among equals."""
    return round(min(score.share, NEARLY_ALL), 2), score.own_link, score.decoded


def _rivals(best: Score, scores: Sequence[Score], profiles: Mapping[str, Instrument]) -> tuple[str, ...]:
    """Other profiles that read these bytes as well. One that must be asked is no rival of one that streams."""
    streams = not profiles[best.profile].requests
    names = [
        score.profile
        for score in scores
        if score.profile != best.profile
        and score.share >= NEARLY_ALL * best.share
        and score.decoded >= NEARLY_ALL * best.decoded
        and not (streams and profiles[score.profile].requests)
    ]
    return tuple(dict.fromkeys(names))


def _word(best: Score, rivals: Sequence[str], alone: bool) -> Word:
    """``alone``: nothing stands between the lines that a second talker at another speed would leave."""
    if rivals:
        return "several fit"
    return "named" if best.decoded >= ENOUGH_FRAMES and best.share >= NEARLY_ALL and alone else "likely"


def _other_talker(best: Score, captures: Sequence[Capture], profiles: Mapping[str, Instrument]) -> str:
    """The profile that reads nearly all the lines that the best one does not; empty where there is none."""
    data = b"".join(capture.data for capture in captures if capture.link == best.link)[:MOST_BYTES]
    mine = profiles[best.profile]
    rest = [line for line in data.splitlines(keepends=True)[1:-1] if not _is_read(mine, line)][:MOST_LINES]
    if len(rest) < ENOUGH_FRAMES:
        return ""
    for name, other in profiles.items():
        if name != best.profile and sum(_is_read(other, line) for line in rest) >= NEARLY_ALL * len(rest):
            return name
    return ""


def _is_read(instrument: Instrument, line: bytes) -> bool:
    records = decode_once(instrument, line)
    return any(isinstance(record, Reading) for record in records)


def _says(word: Word, best: Score, rivals: Sequence[str], other: str = "") -> str:
    counted = f"{best.decoded} of {best.decoded + best.refused} readings, such as {best.sample}"
    at = f"at {_link_words(best.link)}"
    if word == "several fit":
        rest = "" if best.share >= NEARLY_ALL else " The rest is another talker, or a bad cable."
        names = f"{best.profile} or {' or '.join(rivals)}"
        return f"{names} {at}: all read {counted}. Choose the one whose unit is right.{rest}"
    if word == "named":
        return f"{best.profile} {at}: it reads {counted}."
    if other:
        return (
            f"Two instruments speak on this line: {best.profile} {at} ({counted}), and the lines between fit {other}. "
            "Give each a port of its own."
        )
    if best.share < NEARLY_ALL:
        return f"Perhaps {best.profile} {at}: it reads {counted}. The rest is another talker, or a bad cable."
    return f"Perhaps {best.profile} {at}: it reads {counted}. Listen longer to be sure."


def _no_sense(captures: Sequence[Capture], profiles: Mapping[str, Instrument]) -> str:
    heard = [capture for capture in captures if capture.data]
    if not heard:
        return "Nothing arrived. Switched on? Some instruments only answer when they are asked."
    known = _no_reading_now(heard, profiles) or _newer_node(heard, profiles)
    if known:
        return known
    most = max(heard, key=lambda capture: len(capture.data))
    tried = {capture.link.baud for capture in captures}
    printable = sum(byte in PRINTABLE for byte in most.data) / len(most.data)
    arrived = f"{len(most.data)} bytes arrive at {most.link.baud} baud ({show_bytes(most.data, 24)})"
    untried = [name for name, profile in profiles.items() if profile.link.baud not in tried]
    if printable >= 0.95:
        return f"{arrived}: text, but no profile reads it. Describe its line in an instrument file of your own."
    at = "; ".join(f"{name} at {profiles[name].link.baud}" for name in untried[:3])
    todo = f" Profiles to try: {at}." if at else " Try another speed."
    return f"{arrived} and make no sense: {_speed_words(most.data)}.{todo}"


def _no_reading_now(heard: Sequence[Capture], profiles: Mapping[str, Instrument]) -> str:
    """An instrument out of its range is understood, and says only that it has no reading."""
    for capture in heard:
        asked = {capture.asked: profiles[capture.asked]} if capture.asked in profiles else profiles
        names = [name for name, one in asked.items() if _only_no_value(decode_once(one, capture.data[:MOST_BYTES]))]
        if names:
            return (
                f"An instrument speaks ({' or '.join(names)} at {_link_words(capture.link)}) and says that it has no "
                f"reading: {show_bytes(capture.data, 24)}. Bring its tip into range, or switch it on, and listen again."
            )
    return ""


def _only_no_value(records: Sequence[Record]) -> bool:
    """Whole answers that all say "no value"; the first and the last may be torn."""
    inner = [record for record in records[1:-1] if isinstance(record, Garbage)]
    said = sum(isinstance(record, Gap) and record.reason == "no value" for record in records)
    return not inner and said >= ENOUGH_FRAMES


def _newer_node(heard: Sequence[Capture], profiles: Mapping[str, Instrument]) -> str:
    """The sentence of a sensor node whose protocol this program does not know yet."""
    node = next((one for one in profiles.values() if one.frame == "node"), None)
    for capture in heard if node is not None else ():
        for record in decode_once(node, capture.data[:MOST_BYTES]) if node is not None else ():
            if isinstance(record, Garbage) and record.why.startswith(NEWER_NODE):
                return f"A sensor node: {record.why[:1].lower()}{record.why[1:]}."
    return ""


def _speed_words(data: bytes) -> str:
    """Too fast a setting cuts each bit into several: the bytes caught are long runs of one level (0x00, 0xF0, 0xFE)."""
    runs = sum(byte in _LONG_RUNS for byte in data) / len(data)
    return "the line is probably set too fast" if runs > 0.6 else "the line is probably set to a wrong speed"


_LONG_RUNS = frozenset(byte for byte in range(256) if bin(byte ^ (byte >> 1) & 0x7F).count("1") <= 2)


def _line_only(link: Link) -> Link:
    """The settings that decide what bytes look like."""
    return Link(baud=link.baud, bits=link.bits, parity=link.parity, stop=link.stop)


def _link_words(link: Link) -> str:
    return f"{link.baud} baud, {link.bits} bits, parity {link.parity}, {link.stop} stop"
