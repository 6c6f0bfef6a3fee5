"""Facts about a link that breaks in every way it can, a few times each; ``tests.benchmarks.links`` does it by the
hundred."""

import os

import pytest

from tests.benchmarks import links

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo terminals of a POSIX system")

KINDS = {
    "unplugged in mid-line": lambda: links.pulled(3),
    "held by another program when it came back": lambda: links.held(2),
    "under another name": lambda: links.renamed(50),
    "half frames": lambda: links.dirty("half frames", 30, links.half_frame),
    "stuck on no reading": lambda: links.dirty("stuck", 20, lambda _chance: b"ERR\r\n" * 40),
    "terminal codes, markup and formulas": lambda: links.dirty("codes", 40, links.code),
    "noise": lambda: links.dirty("noise", 1, lambda chance: links.noise(chance, 200_000)),
}


@pytest.mark.parametrize("kind", list(KINDS))
def test_nothing_breaks_and_every_byte_that_arrived_is_on_disk(kind):
    count = KINDS[kind]()
    assert count.times > 0
    assert count.broken == []
    assert count.lost_bytes == 0
