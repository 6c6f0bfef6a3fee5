"""How often the right instrument is named, and how soon. Run: ``python -m tests.benchmarks.identification``.

Simulated ports in their own time: every profile at its own settings and at every common speed, with dirt, silence, a
plug that echoes, noise, an unknown instrument, two talkers on one line. What arrives is what a receiver makes of the
levels on the wire. Counted: named right, narrowed down to a few with the right one among them, not named, and named
wrong with confidence (which must be none).
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fixtures.line_writer import Line
from fixtures.simulated_ports import SimInstrument, SimPort
from fixtures.uart import Setting
from logger.link.identify import COMMON_RATES, listening_profiles
from logger.link.listening import Ways, heard

SECONDS = 2.0
PROFILES = listening_profiles()


@dataclass(frozen=True)
class Case:
    """One port: what hangs on it, whether it may be asked, and which profiles are right ("" = none may be named)."""

    group: str
    port: SimPort
    may_ask: bool
    right: str
    baud: int = 0


class Noise:
    """A talker that says nothing but random bytes."""

    polled = False
    can_say_no_value = False

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)

    def write(self, line: Line) -> bytes:
        return self._rng.integers(0, 256, 20, dtype=np.uint8).tobytes()

    def ask(self, received: bytes) -> None:
        return

    def answer(self, line: Line) -> bytes:
        return b""


class Unknown(Noise):
    """Lines no profile here describes."""

    def write(self, line: Line) -> bytes:
        return b"temp=%.1f;rh=%.0f\r\n" % (20 + 0.1 * self._rng.normal(), 45.0)


def cases() -> Iterator[Case]:
    """Every port that is tried, in groups."""
    seed = 0
    for name, profile in PROFILES.items():
        polled, own = bool(profile.requests), profile.link.baud
        for dirt in (0.0, 0.03):
            for hertz in (5.0, 10.0, 25.0, 100.0):
                seed += 1
                group = "asked, own settings" if polled else "streams, own settings"
                port = SimPort([SimInstrument.of(name, hertz)], seed, dirt)
                yield Case(f"{group}{', 3 % of lines damaged' if dirt else ''}", port, polled, name, own)
        if polled:
            seed += 1
            yield Case("must be asked, and nobody agreed", SimPort([SimInstrument.of(name)], seed), False, "")
            continue
        for baud in COMMON_RATES:
            if baud != own and baud >= 2400:
                seed += 1
                port = SimPort([SimInstrument.of(name, 8.0, baud)], seed)
                yield Case("streams at another common speed", port, False, name, baud)
    for extra in range(20):
        seed += 1
        yield Case("silence", SimPort([], seed), extra % 2 == 0, "")
        yield Case("a plug that echoes", SimPort([], seed, echoes=True), True, "")
        rate = COMMON_RATES[extra % len(COMMON_RATES)]
        yield Case("noise", SimPort([SimInstrument(Noise(seed), Setting(rate), 10.0)], seed), True, "")
        unknown = SimInstrument(Unknown(seed), Setting(rate), 10.0)
        yield Case("an unknown instrument", SimPort([unknown], seed), True, "")
        streaming = [name for name, one in PROFILES.items() if not one.requests]
        both = [streaming[extra % len(streaming)], streaming[(extra * 3 + 1) % len(streaming)]]
        if both[0] == both[1]:
            both[1] = streaming[(extra + 1) % len(streaming)]
        port = SimPort([SimInstrument.of(one, 9.0 + k) for k, one in enumerate(both)], seed)
        yield Case("two talkers", port, False, "")


def _no() -> bool:
    return False


def judged(case: Case, found: dict[str, object]) -> str:
    """What became of one port."""
    candidates = found["candidates"]
    assert isinstance(candidates, list)
    word = found["heard"]
    here = case.right in candidates and found["baud"] == case.baud
    if word == "named":
        return "named right" if candidates[0] == case.right and found["baud"] == case.baud else "NAMED WRONG"
    if word in ("likely", "several fit"):
        return f"{word}, right among them" if here else f"{word}, not right"
    return "rightly not named" if not case.right else "not named"


def main() -> None:
    results: dict[str, Counter[str]] = {}
    times: dict[str, list[float]] = {}
    work: list[float] = []
    wrong: list[str] = []
    for case in cases():
        began = time.process_time()
        found = heard("sim", SECONDS, (lambda: True) if case.may_ask else _no, Ways(case.port.open, case.port.clock))
        work.append(time.process_time() - began)
        said = judged(case, found)
        results.setdefault(case.group, Counter())[said] += 1
        times.setdefault(case.group, []).append(float(str(found["seconds"])))
        if said in ("NAMED WRONG", "not named") or "not right" in said:
            wrong.append(f"  {case.group}: wanted {case.right!r} at {case.baud}: {said}: {found['says']}")
    total = sum(sum(counts.values()) for counts in results.values())
    print(f"{total} simulated ports, at most {SECONDS:g} s at each speed")
    for group, counts in results.items():
        spent = np.array(times[group])
        told = ", ".join(f"{what} {number}" for what, number in counts.most_common())
        took = f"{np.median(spent):.1f} s (half), {spent.max():.1f} s (longest)"
        print(f"  {group:<46} {sum(counts.values()):3}: {told}; {took}")
    named_wrong = sum(counts["NAMED WRONG"] for counts in results.values())
    print(f"named wrong with confidence: {named_wrong}; work for one port: {1000 * np.median(work):.0f} ms of CPU")
    for line in wrong:
        print(line)


if __name__ == "__main__":
    main()
