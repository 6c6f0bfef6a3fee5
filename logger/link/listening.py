"""Listening to a port whose instrument is not known: what arrives, and which instrument file explains it.

Why it exists: nobody remembers the speed of the box in the drawer. The port is opened once and its speed changed while
it is open, because every opening may reset the device. Nothing is sent unless the person agreed for this very port,
because a port in a workshop may drive a machine; and then only the profiles' own requests, which read. The time is
bounded: a line that speaks at all gives bytes at any speed, so a silent one is not tried at all of them.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from logger.errors import InstrumentLost

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.instruments import Link as Settings
    from logger.link.identify import Capture, Identified
    from logger.port import Link

SURE = ("named", "several fit")
STEP_S = 0.25
"""How often what has come so far is judged."""
LEAST_S = 0.5
"""Sure of an instrument earlier than this, one has heard too little of a line with two talkers."""
NO_SENSE_S = 0.8
LONGER = 3.0
"""A slow instrument of which a line or two made sense is listened to for so many times as long."""
ENOUGH_BYTES = 40
"""So much nonsense in so long: the next speed."""
ANSWER_S = 0.6
"""A request is waited for this long (common practice)."""
ASKED_TIMES = 4


class Line(Protocol):
    """What is needed of an open port."""

    def read(self, timeout_s: float) -> bytes: ...
    def write(self, data: bytes) -> None: ...
    def configure(self, link: Link) -> None: ...
    def close(self) -> None: ...


@dataclass(frozen=True)
class Ways:
    """How a port is opened, what time it is, and who is told: the real ones, or those of a simulated bench."""

    open: Callable[[str, Link], Line]
    clock: Callable[[], float] = time.monotonic
    progress: Callable[[str], None] = lambda _text: None


def real_ways(progress: Callable[[str], None] = lambda _text: None) -> Ways:
    """The ports of this computer."""
    from logger.port import open_port

    return Ways(open_port, time.monotonic, progress)


def heard(
    name: str, seconds: float, may_ask: Callable[[], bool] = lambda: False, ways: Ways | None = None
) -> dict[str, Any]:
    """Listen to ``name``; ``says`` is the sentence, ``instrument`` the profile or None. Raises ``PortError``.

    ``may_ask`` is asked once, where nothing arrives: whether read-only requests may be sent to this port.
    """
    from logger.link.identify import NEARLY_ALL

    ways = ways or real_ways()
    began, thought = ways.clock(), 0.0

    def agreed() -> bool:
        nonlocal thought
        asked = ways.clock()
        answer = may_ask()
        thought = ways.clock() - asked  # the person's time is not the listening's
        return answer

    found, captures = _identified(name, seconds, agreed, ways)
    best = found.best
    fits = best is not None and found.word in ("named", "likely") and best.share >= NEARLY_ALL
    return {
        "heard": found.word,
        "instrument": best.profile if best is not None and fits else None,
        "baud": None if best is None else best.link.baud,
        "bits": None if best is None else best.link.bits,
        "parity": None if best is None else best.link.parity,
        "stop": None if best is None else best.link.stop,
        "own_settings": None if best is None else best.own_link,
        "score": None if best is None else round(best.share, 3),
        "readings": 0 if best is None else best.decoded,
        "refused": 0 if best is None else best.refused,
        "sample": "" if best is None else best.sample,
        "candidates": [] if best is None else [best.profile, *found.rivals],
        "asked": any(capture.asked for capture in captures),
        "bytes": sum(len(capture.data) for capture in captures),
        "seconds": round(ways.clock() - began - thought, 2),
        "says": _says(found),
    }


def longest_s(seconds: float, asking: bool = False) -> float:
    """The longest that one port can take."""
    from logger.link.identify import links_to_try, listening_profiles

    polled = [profile for profile in listening_profiles().values() if profile.requests] if asking else []
    requests = sum(len(profile.requests) for profile in polled)
    once_more = NO_SENSE_S  # at the settings of the profile found
    return (
        seconds + (len(links_to_try()) - 1) * max(NO_SENSE_S, seconds) + once_more + requests * ASKED_TIMES * ANSWER_S
    )


def with_settings(instrument_text: str, facts: dict[str, Any]) -> str:
    """An instrument file with the line settings under which its instrument was heard: ``facts`` as of :func:`heard`."""
    keys = {"baud": facts["baud"], "bits": facts["bits"], "parity": facts["parity"], "stop": facts["stop"]}
    defaults = {"bits": 8, "parity": "none", "stop": 1}
    said = ", ".join(f"{key}: {value}" for key, value in keys.items() if defaults.get(key) != value)
    line = f"link: {{{said}}}"
    text, changed = re.subn(r"(?m)^link: *\{[^}\n]*\}", line, instrument_text, count=1)
    return text if changed else re.sub(r"(?m)^(frame:)", rf"{line}\n\1", instrument_text, count=1)


# -- listening ---------------------------------------------------------------------------------------------------------


def _identified(name: str, seconds: float, may_ask: Callable[[], bool], ways: Ways) -> tuple[Identified, list[Capture]]:
    from logger.link.identify import identify, links_to_try

    links = links_to_try()
    captures: list[Capture] = []
    line = ways.open(name, _setting(links[0]))
    try:
        for number, link in enumerate(links):
            if number and not _configured(line, link):
                continue
            ways.progress(f"{name}: listening at {link.baud} baud, {number + 1} of {len(links)}")
            captures.append(_capture(line, link, seconds, ways))
            if not captures[0].data or "://" in name or _clear(identify(captures)):
                break  # silent at any speed; or a socket, which has no speed; or sure
        if not any(capture.data for capture in captures) and may_ask():
            captures += _asked(line, name, ways)
        found = identify(captures)
        if found.best is not None and not found.best.own_link:
            captures = _at_its_own_settings(line, name, found, captures, ways)
            found = identify(captures)
    finally:
        line.close()
    return found, captures


def _at_its_own_settings(
    line: Line, name: str, found: Identified, captures: list[Capture], ways: Ways
) -> list[Capture]:
    """What is heard at the settings the found profile itself names, where they do as well; else what was heard.

    A socket, and many a device on USB, has no line and speaks at any setting: it needs no file with another one.
    """
    from logger.link.identify import NEARLY_ALL, Capture, identify, listening_profiles

    best = found.best
    if best is None:
        return captures
    own = listening_profiles()[best.profile].link
    if "://" in name:
        return [Capture(own, capture.data, capture.asked) for capture in captures]
    if not _configured(line, own):
        return captures
    ways.progress(f"{name}: once more at {own.baud} baud, as {best.profile} has it")
    try:
        again = _capture(line, own, LEAST_S if found.word in SURE else NO_SENSE_S, ways)
    except InstrumentLost:
        return captures
    heard_again = identify([again])
    same = heard_again.best is not None and heard_again.best.profile == best.profile
    if not same or heard_again.best is None or heard_again.best.share < NEARLY_ALL * best.share:
        return captures
    return [Capture(own, capture.data, capture.asked) for capture in captures if capture.link == best.link] + [again]


def _clear(found: Identified) -> bool:
    """Sure, or one slow instrument of which every line so far was read at its own settings."""
    best = found.best
    return found.word in SURE or (best is not None and found.word == "likely" and best.own_link and best.share == 1.0)


def _capture(line: Line, link: Settings, seconds: float, ways: Ways) -> Capture:
    """What comes at these settings, until it is clear, hopeless, or the time is over."""
    from logger.link.identify import Capture, identify

    began, parts, judged, word = ways.clock(), b"", 0, ""
    while (gone := ways.clock() - began) < (LONGER * seconds if word == "likely" else seconds):
        try:
            parts += line.read(STEP_S)
        except InstrumentLost:
            if parts:
                break  # the far end said what it had to say
            raise
        gone = ways.clock() - began
        if len(parts) == judged or gone < min(LEAST_S, seconds):
            continue
        judged = len(parts)
        word = identify([Capture(link, parts)]).word
        if word == "named" or (word == "no sense" and gone >= NO_SENSE_S and len(parts) >= ENOUGH_BYTES):
            break
    return Capture(link, parts)


def _configured(line: Line, link: Settings) -> bool:
    """Whether the port could be set so: some converters do not know every speed."""
    try:
        line.configure(_setting(link))
    except InstrumentLost:
        return False
    return True


# -- asking ------------------------------------------------------------------------------------------------------------


def _asked(line: Line, name: str, ways: Ways) -> list[Capture]:
    """The answers to the read-only requests of every profile that has some, at that profile's own settings."""
    from logger.link.identify import Capture, listening_profiles

    captures: list[Capture] = []
    polled = [(profile_name, one) for profile_name, one in listening_profiles().items() if one.requests]
    for number, (profile_name, profile) in enumerate(polled):
        if not _configured(line, profile.link):
            continue
        ways.progress(f"{name}: asking as {profile_name}, {number + 1} of {len(polled)}")
        try:
            data, answers = _answers(line, profile, ways)
        except InstrumentLost:
            break
        captures.append(Capture(profile.link, data, profile_name))
        if answers:
            break
    return captures


def _answers(line: Line, profile: Instrument, ways: Ways) -> tuple[bytes, int]:
    """What came after each request, and how many readings that is. Asked again where an answer came, and once where
    none did: what was sent before at other settings may have stuck in the instrument's own ear."""
    from logger.link.identify import readings_in

    data = b""
    for attempt in range(ASKED_TIMES):
        before, had = readings_in(profile, data), len(data)
        for request in profile.requests:
            line.write(request)
            data += _answer(line, profile, data, ways)
        silent = len(data) == had
        if readings_in(profile, data) == before and (attempt >= 2 or (attempt and silent)):
            break
    return data, readings_in(profile, data)


def _answer(line: Line, profile: Instrument, before: bytes, ways: Ways) -> bytes:
    from logger.link.identify import readings_in

    began, came, known = ways.clock(), b"", readings_in(profile, before)
    while (left := ANSWER_S - (ways.clock() - began)) > 0:
        came += line.read(min(left, STEP_S))
        if came and readings_in(profile, before + came) > known:
            break
    return came


# -- words -------------------------------------------------------------------------------------------------------------


def _says(found: Identified) -> str:
    best = found.best
    if best is None or found.word == "several fit" or best.own_link:
        return found.says
    return (
        f"{found.says} The profile itself names other line settings: save a file with these (truestroke ports --save)."
    )


def _setting(link: Settings) -> Link:
    from logger.port import Link

    return Link(link.baud, link.bits, {"none": "N", "even": "E", "odd": "O"}[link.parity], link.stop)
