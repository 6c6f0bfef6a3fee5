"""Whatever numbers are typed for a check, it is a result or one sentence: never an exception nobody foresaw."""

from datetime import UTC, datetime
from importlib import resources

import numpy as np
import pytest

from logger.checks.table import CHECKS
from logger.checks.taking import result_of
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)
SIZES = (0.0, 0.0, 1e-4, 0.02, 0.3, 3.0, 45.0, 300.0, 1200.0, 9e6)
UNITS = {"mm": "mm", "mm/m": "mm/m", "deg": "deg"}
NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)


def typed_at_random(check, rng):
    """Every key with something, sizes from nothing to absurd, lists of any length, units written out."""
    alike = int(rng.integers(1, 10))
    texts = []
    for ask in check.asks:
        if not ask.needed and rng.random() < 0.5:
            continue
        if ask.words:
            texts.append(f"{ask.key}={rng.choice(ask.words)}")
        elif ask.name:
            texts.append(f"{ask.key}=behind")
        else:
            count = (alike if rng.random() < 0.8 else int(rng.integers(1, 10))) if ask.many else 1
            values = rng.choice(SIZES, count) * rng.choice([1.0, 1.0, -1.0], count)
            if rng.random() < 0.3:
                values = np.full(count, values[0])
            texts.append(f"{ask.key}={','.join(f'{value:.4f}' for value in values)}{UNITS.get(ask.unit, '')}")
    return texts


def asked_for(check, texts):
    """Only the keys that belong to the words that were chosen."""
    words = {ask.key: ask.default_word for ask in check.asks if ask.default_word}
    words |= dict(
        text.split("=", 1) for text in texts if any(ask.key == text.split("=")[0] and ask.words for ask in check.asks)
    )
    only = {ask.key: ask.only for ask in check.asks}
    return [
        text
        for text in texts
        if (rule := only[text.split("=")[0]]) is None or words.get(rule[0]) in rule[1]
    ]  # fmt: skip


@pytest.mark.parametrize("check", [check for check in CHECKS if check.asks], ids=lambda check: check.name)
def test_any_numbers_are_a_result_or_a_sentence(check):
    rng = np.random.default_rng(sum(map(ord, check.name)))
    results = 0
    for _ in range(60):
        texts = asked_for(check, typed_at_random(check, rng))
        try:
            typed = understand(check, texts, check.allowed, lambda _question: True)
            if typed.readings.words.get("cuts") == "which" or check.name == "final":
                continue
            taking = result_of(check, typed, [], MACHINE, lambda _question: False, now=NOW)
        except NotAllowed as refused:
            assert refused.what
            continue
        results += 1
        assert taking.result.verdict.word in ("inside", "outside", "cannot tell")
        assert taking.result.verdict.reason
        assert all(each.move_mm >= 0 for each in taking.result.corrections)
