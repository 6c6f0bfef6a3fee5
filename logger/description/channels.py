"""Which of an instrument's channels a set-up reads.

Why it exists: a two-axis level says pitch and roll on one line, a sensor node its gauge and its encoder. It prevents
the mistake of mixing two quantities into one profile, which looks like a rail that shakes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.errors import NotAllowed

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from logger.instruments import Instrument
    from logger.machines import SetUp
    from logger.recording import Recording


def channel_read(set_up: SetUp, instrument: Instrument, channels: Sequence[str]) -> str:
    """The one of ``channels`` (as they came) that ``set_up`` reads: the one it names, a level's axis, else the first
    that is no position. Raises NotAllowed where the named one never came."""
    position = getattr(instrument, "position_channel", "")
    values = [channel for channel in channels if not position or channel != position] or list(channels)
    named: str = getattr(set_up, "channel", "")
    if named:
        if named not in channels:
            said = ", ".join(repr(channel) for channel in channels)
            raise NotAllowed(
                f"The set-up reads channel {named!r}, and the instrument sent {said}.",
                "Correct 'channel' in machine.yaml, or choose another instrument.",
            )
        return named
    if set_up.axis is not None and set_up.axis in values:
        return set_up.axis
    return values[0] if values else ""


def of_its_channel(recording: Recording, set_up: SetUp) -> NDArray[np.bool_]:
    """Which readings (readings,) are of the channel that the set-up reads."""
    import numpy as np  # who only listens need not wait for it

    if len(recording.channels) < 2:
        return np.ones(len(recording.t_s), bool)
    chosen = channel_read(set_up, recording.instrument, recording.channels)
    return np.asarray(recording.channel == recording.channels.index(chosen))


class ChannelFilter:
    """For readings as they come: True for those of the set-up's channel, judged by the channels seen so far."""

    def __init__(self, set_up: SetUp, instrument: Instrument) -> None:
        self._set_up, self._instrument = set_up, instrument
        self._seen: dict[str, None] = {}
        self._chosen = ""

    def __call__(self, channel: str) -> bool:
        if channel not in self._seen:
            self._seen[channel] = None
            try:
                self._chosen = channel_read(self._set_up, self._instrument, list(self._seen))
            except NotAllowed:
                return False  # the named one has not come yet
        return channel == self._chosen


class OneChannel:
    """The same where no set-up stands behind the readings: the first channel that came and is no position."""

    def __init__(self, instrument: Instrument) -> None:
        self._position = getattr(instrument, "position_channel", "")
        self._chosen: str | None = None

    def __call__(self, channel: str) -> bool:
        if self._chosen is None and not (self._position and channel == self._position):
            self._chosen = channel
        return channel == self._chosen
