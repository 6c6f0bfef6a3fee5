"""Facts about an instrument that was unplugged and comes back under another name: found when it is surely the same
device or speaks as it did, and nothing else is ever taken for it. The lines are real pseudo terminals, the list of
ports is simulated."""

import marshal
import os
import select
import threading
import tty
from contextlib import contextmanager
from typing import Any

import pytest

from logger.instruments import load_instrument
from logger.link import frames, reader
from logger.link.replug import Place, find_again, identify, speaks_alike
from logger.port import FoundPort
from logger.readings import Ended, Gap, LinkBack, LinkLost, Reading
from logger.recording import open_recording
from tests.logger.wire_bench import LIMIT_S, instrument, spec, until

needs_ptys = pytest.mark.skipif(os.name != "posix", reason="no pseudo terminals here")
USB0, USB3, USB4 = "/dev/ttyUSB0", "/dev/ttyUSB3", "/dev/ttyUSB4"
NUMBERED = FoundPort(USB0, "", (0x403, 0x6001, "A1"), "1-1")
NAMELESS = FoundPort(USB0, "", (0x1A86, 0x7523, ""), "1-2")


def at(name, device, location=None):
    return FoundPort(name, "", device.identity, location or device.location)


# -- where to look -----------------------------------------------------------------------------------------------------


def test_a_serial_number_is_known_again_in_any_socket():
    assert find_again(NUMBERED, USB0, [USB0], [at(USB3, NUMBERED, "1-4")]) == Place(USB3, True)
    assert find_again(NUMBERED, USB0, [USB0], [NUMBERED, at(USB3, NUMBERED, "1-4")]) == Place(USB0, True)


def test_a_device_without_a_serial_number_is_surely_the_same_only_in_the_same_socket():
    assert find_again(NAMELESS, USB0, [USB0], [at(USB3, NAMELESS)]) == Place(USB3, True)
    assert find_again(NAMELESS, USB0, [USB0], [at(USB3, NAMELESS, "9-9")]) == Place(USB3, False)


def test_its_old_name_taken_by_something_else_is_not_it():
    stranger = FoundPort(USB0, "", (0x2341, 0x43, "Z"), "1-7")
    assert find_again(NUMBERED, USB0, [USB0], [stranger, at(USB3, NUMBERED)]) == Place(USB3, True)


def test_what_was_there_before_or_is_one_of_two_is_not_likely():
    one, other = at(USB3, NAMELESS, "9-8"), at(USB4, NAMELESS, "9-9")
    assert find_again(NAMELESS, USB0, [USB0, USB3], [one]) == Place(USB0, True)
    assert find_again(NAMELESS, USB0, [USB0], [one, other]) == Place(USB0, True)
    assert find_again(NAMELESS, USB0, [USB0, USB3], [one, other]) == Place(USB4, False)


def test_another_kind_of_device_is_never_looked_at():
    assert find_again(NAMELESS, USB0, [USB0], [at(USB3, NUMBERED)]) == Place(USB0, True)
    assert find_again(None, USB0, [USB0], [at(USB3, NUMBERED)]) == Place(USB0, True)
    assert identify("socket://127.0.0.1:1", [NUMBERED]) is None
    assert find_again(None, "socket://127.0.0.1:1", [], [FoundPort(USB3, "", None, None)]).name.startswith("socket")


@pytest.mark.parametrize(
    ("data", "alike"),
    [
        (b"123\r\n+0.1\r\n+0.2\r\n+0.3\r\n+0.4\r\n", True),
        (b"+0.1\r\n+0.2\r\n", None),
        (b"", None),
        (b"temp=20.1\r\ntemp=20.1\r\ntemp=20.2\r\n", False),
        (b"+0.1\r\nx\r\n+0.2\r\nx\r\n+0.3\r\nx\r\n", False),
    ],
)
def test_what_speaks_as_the_instrument_did(data, alike):
    assert speaks_alike(instrument().frame_spec(), data) is alike


# -- the reading process, on real lines --------------------------------------------------------------------------------


class Cable:
    """A pseudo terminal under the system's own name."""

    def __init__(self):
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.name = os.ttyname(self.near)

    def send(self, data):
        os.write(self.far, data)

    def pull(self):
        os.close(self.near)
        os.close(self.far)


@contextmanager
def reading(its_spec):
    """The reading process's own code in a thread; yields what it reports, as it comes."""
    commands, tell = os.pipe()
    hear, reports = os.pipe()
    records: list[Any] = []
    link = frames.ChildEnd(frames.Incoming(commands), reports)

    def listen():
        incoming = frames.Incoming(hear)
        while (frame := incoming.next_frame()) is not None:
            kind, *rest = marshal.loads(frame)
            if kind == "batch":
                records.extend(frames.unpack(rest[-1]))

    def serve():
        reader.serve(link, its_spec.for_reader())
        link.close()
        os.close(reports)

    threads = [threading.Thread(target=run) for run in (listen, serve)]
    for thread in threads:
        thread.start()
    try:
        yield records
    finally:
        frames.send(tell, marshal.dumps(("stop", "operator")))
        for thread in threads:
            thread.join(LIMIT_S)
        os.close(tell)
    assert isinstance(records[-1], Ended)


def of(kind, records):
    return [record for record in records if type(record) is kind]


@pytest.fixture
def ports(monkeypatch):
    listed: list[FoundPort] = []
    monkeypatch.setattr(reader, "find_ports", lambda: list(listed))
    return listed


@needs_ptys
@pytest.mark.parametrize("known_by", ["serial number", "how it speaks"])
def test_a_device_that_comes_back_under_a_new_name_is_read_on_and_the_gap_is_recorded(tmp_path, ports, known_by):
    identity = (1, 2, "SN7") if known_by == "serial number" else None
    first, second = Cable(), Cable()  # both made now, so that their names differ
    ports[:] = [FoundPort(first.name, "", identity, None)]
    with reading(spec(first.name, tmp_path / "0001-x")) as records:
        first.send(b"+0.1\r\n+0.2\r\n")
        until(lambda: len(of(Reading, records)) == 2)
        ports[:] = []
        first.pull()
        until(lambda: of(LinkLost, records))
        ports[:] = [FoundPort(second.name, "", identity, None)]
        second.send(b"+0.3\r\n+0.4\r\n+0.5\r\n")
        until(lambda: len(of(Reading, records)) == 5)
    second.pull()
    assert [back.port for back in of(LinkBack, records)] == [f"{second.name} (was {first.name})"]
    assert [gap.reason for gap in of(Gap, records)] == ["link lost"]
    recording = open_recording(tmp_path / "0001-x")
    assert recording.value.tolist() == [0.1, 0.2, 0.3, 0.4, 0.5]
    assert recording.gap_reason == ("link lost",)
    times = [float(line.split(b",")[0]) for line in (tmp_path / "0001-x" / "wire.csv").read_bytes().splitlines()[1:]]
    assert times == sorted(times)


@needs_ptys
def test_a_stranger_that_is_plugged_in_meanwhile_is_not_read_and_does_not_stand_in_the_way(tmp_path, ports):
    first, stranger, second = Cable(), Cable(), Cable()
    ports[:] = [FoundPort(first.name, "", None, None)]
    with reading(spec(first.name, tmp_path / "0001-x")) as records:
        first.send(b"+0.1\r\n")
        until(lambda: len(of(Reading, records)) == 1)
        ports[:] = []
        first.pull()
        until(lambda: of(LinkLost, records))
        ports[:] = [FoundPort(stranger.name, "", None, None)]
        stranger.send(b"ok\r\n" * 5)
        second.send(b"+0.2\r\n" * 3)
        until(lambda: taken(stranger))
        ports.append(FoundPort(second.name, "", None, None))
        until(lambda: len(of(Reading, records)) == 4)
    for cable in (stranger, second):
        cable.pull()
    assert open_recording(tmp_path / "0001-x").value.tolist() == [0.1, 0.2, 0.2, 0.2]
    assert b"ok" not in (tmp_path / "0001-x" / "wire.csv").read_bytes()


def taken(cable):
    """Whether what was sent down ``cable`` has been read at its end."""
    return not select.select([cable.near], [], [], 0)[0]


@needs_ptys
def test_an_instrument_that_must_be_asked_is_never_asked_on_a_port_that_is_only_likely(tmp_path, ports):
    asked = load_instrument("indicator-polled")
    first, other = Cable(), Cable()
    ports[:] = [FoundPort(first.name, "", None, None)]
    with reading(spec(first.name, tmp_path / "0001-x", instrument=asked, give_up_s=1.0)) as records:
        assert os.read(first.far, 10) == b"?\r"
        ports[:] = [FoundPort(other.name, "", None, None)]
        first.pull()
        until(lambda: of(Ended, records))
    os.set_blocking(other.far, False)
    with pytest.raises(BlockingIOError):
        os.read(other.far, 10)
    other.pull()
    assert of(Ended, records)[-1].how == "link lost"
