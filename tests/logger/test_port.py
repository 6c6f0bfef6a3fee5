"""Facts about opening ports, and about what is said when one does not open."""

import errno
import os
import shutil
import subprocess
import sys
import threading

import pytest
import serial

from logger.clock import now_ns
from logger.errors import InstrumentLost, PortError
from logger.link.port_words import port_error, shown
from logger.link.replug import identify
from logger.port import Link, find_ports, open_port
from tests.logger.wire_bench import line, sender, server

fcntl = pytest.importorskip("fcntl")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="ptys")


@pytest.mark.parametrize(
    ("number", "said", "todo"),
    [
        (errno.ENOENT, "There is no port /dev/x", "ort"),
        (errno.EACCES, "No permission to open /dev/x", "group dialout"),
        (errno.EBUSY, "busy", "Close that program"),
        (errno.EAGAIN, "busy", "Close that program"),
        (errno.ENOTTY, "not a serial device", "ort"),
        (errno.EISDIR, "not a serial device", "ort"),
        (errno.EIO, "could not be opened", "ort"),
    ],
)
def test_every_way_an_opening_fails_is_one_sentence_and_a_way_out(number, said, todo):
    error = port_error("/dev/x", serial.SerialException(number, os.strerror(number)))
    assert said in error.what
    assert todo in error.todo
    assert "\n" not in str(error)


def test_a_regular_file_is_no_serial_device(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(PortError, match="not a serial device"):
        open_port(str(tmp_path / "file"), Link())


@pytest.mark.parametrize("name", ["wormhole://x", "socket://nothing", "socket://127.0.0.1:99999"])
def test_a_url_that_is_none_is_said(name):
    with pytest.raises(PortError):
        open_port(name, Link())


@pytest.mark.parametrize("name", ["socket://nothing", "socket://127.0.0.1:99999", "socket://host:abc"])
def test_a_socket_without_a_port_number_is_told_how_to_write_one(name):
    with pytest.raises(PortError, match=r"not a socket address\. Write it as socket://host:port"):
        open_port(name, Link())


def test_a_port_without_permission_is_one_sentence_with_the_group_to_join():
    """Through the command line. An administrator may open everything, so that right is laid down first."""
    far, near = os.openpty()
    name = os.ttyname(near)
    os.chmod(name, 0)  # noqa: PTH101 - a device
    drop = ["setpriv", "--bounding-set", "-dac_override,-dac_read_search"] if os.geteuid() == 0 else []
    if drop and shutil.which("setpriv") is None:
        pytest.skip("setpriv is not installed")
    done = subprocess.run(
        [*drop, sys.executable, "-m", "logger", "listen", name, "--instrument", "indicator-line", "--until", "1"],
        capture_output=True,
        text=True,
        timeout=60,
    )
    os.close(far)
    os.close(near)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(f"truestroke: No permission to open {name}. Add yourself to group ")
    assert done.stderr.count("\n") == 1


def test_no_terminal_code_in_a_ports_name_reaches_the_screen():
    assert "\x1b" not in str(port_error("/dev/\x1b[2J", FileNotFoundError(errno.ENOENT, "no")))
    assert shown("a\nb\x07") == "a?b?"


def test_what_is_there_is_read_and_nothing_is_nothing(tmp_path):
    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        assert port.read(0.0) == b""
        cable.send(b"+0.1\r\n")
        assert port.read(5.0) == b"+0.1\r\n"
        port.close()


def test_a_pseudo_terminal_has_no_line_so_parity_and_data_bits_do_not_keep_it_from_opening(tmp_path):
    """A bridge to a network, or a simulated device: the system refuses seven bits and a parity there."""
    seven_even = Link(4800, 7, "E", 2)
    with line(tmp_path) as cable:
        for first, then in ((Link(9600), seven_even), (Link(9600, 7), Link(9600, 8, "E")), (seven_even, Link(1200))):
            port = open_port(str(cable.name), first)
            port.configure(then)
            cable.send(b"+0.1\r\n")
            assert port.read(5.0) == b"+0.1\r\n"
            port.close()


def test_a_pulled_cable_is_a_lost_instrument_however_the_system_says_it(tmp_path):
    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        cable.pull()
        with pytest.raises(InstrumentLost, match=r"went away|far end"):
            port.read(5.0)
        port.close()
        with pytest.raises(InstrumentLost):
            port.read(0.0)
        cable.plug()


def test_a_server_that_closes_is_a_lost_instrument_after_the_last_byte():
    with server(sender(b"+0.1\r\n")) as url:
        port = open_port(url, Link())
        assert port.read(5.0) == b"+0.1\r\n"
        with pytest.raises(InstrumentLost, match="far end"):
            port.read(5.0)
        port.close()


def streamed(port, cable, most_bytes):
    """One batch that ends with the bytes sent: sending goes on beside it, a piece at a time."""
    pieces = [b"+0.%03d\r\n" % number for number in range(most_bytes // 8)]
    sending = threading.Thread(target=lambda: [cable.send(piece) for piece in pieces])
    sending.start()
    chunks: list[tuple[int, bytes]] = []
    while sum(len(data) for _, data in chunks) < most_bytes:
        port.collect(chunks, now_ns() + 50_000_000, 33_000_000, most_bytes)
    sending.join()
    assert b"".join(data for _, data in chunks) == b"".join(pieces)


def test_a_stream_that_is_waited_for_in_the_read_itself_loses_nothing_stops_and_goes_on(tmp_path):
    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        for streams in (True, False, True):
            port._streams = streams  # as the batch before it would have left it
            streamed(port, cable, 8 * 200)
        chunks: list[tuple[int, bytes]] = []
        port.collect(chunks, now_ns() + 10_000_000, 33_000_000, 4096)  # nothing comes: it returns all the same
        assert chunks == []
        port.configure(Link(9600))
        cable.send(b"+0.1\r\n")
        port.collect(chunks, now_ns() + 5_000_000_000, 1_000_000, 4096)
        assert b"".join(data for _, data in chunks) == b"+0.1\r\n"
        port.close()


def test_a_cable_pulled_in_mid_stream_is_a_lost_instrument_with_what_came_before(tmp_path):
    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        port._streams = True
        cable.send(b"+0.1\r\n")
        chunks: list[tuple[int, bytes]] = []
        port.collect(chunks, now_ns() + 5_000_000_000, 1_000_000, 4096)
        port._streams = True
        cable.pull()
        with pytest.raises(InstrumentLost):
            port.collect(chunks, now_ns() + 5_000_000_000, 33_000_000, 4096)
        assert b"".join(data for _, data in chunks) == b"+0.1\r\n"
        port.close()
        cable.plug()


def test_a_port_without_a_descriptor_is_read_through_pyserial():
    port = open_port("loop://", Link())
    port.write(b"abc")
    told = b""
    while len(told) < 3 and (more := port.read(10.0)):  # it hands over what is there, be it one byte
        told += more
    assert told == b"abc"
    port.close()


def test_a_port_is_ours_alone(tmp_path):
    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        with pytest.raises(PortError, match="busy"):
            open_port(str(cable.name), Link())
        port.close()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells who has a file open")
def test_who_has_a_busy_port_is_named(tmp_path):
    holds = "import fcntl, os, sys; f = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)"
    code = f"{holds}; fcntl.flock(f, fcntl.LOCK_EX); print('held', flush=True); sys.stdin.read()"
    with line(tmp_path) as cable:
        pipe = subprocess.PIPE
        with subprocess.Popen([sys.executable, "-c", code, str(cable.name)], stdin=pipe, stdout=pipe) as other:
            assert other.stdout is not None
            assert other.stdout.readline() == b"held\n"
            with pytest.raises(PortError, match=rf"is busy: another program \(.+, process {other.pid}\) has it open"):
                open_port(str(cable.name), Link())
            other.communicate()
        open_port(str(cable.name), Link()).close()


@pytest.mark.skipif(sys.platform != "linux", reason="asked of the system as Linux tells it")
def test_no_other_program_can_open_a_real_port_and_take_half_of_the_bytes(tmp_path, monkeypatch):
    """Here a pseudo terminal stands for one, which is otherwise left open to whoever made it."""
    shut_to_others = 0x80045440  # TIOCGEXCL of the Linux headers (asm-generic/ioctls.h)

    def is_shut():
        return fcntl.ioctl(cable.near, shut_to_others, b"\0" * 4) != b"\0" * 4

    with line(tmp_path) as cable:
        port = open_port(str(cable.name), Link())
        assert not is_shut()
        port.close()
        monkeypatch.setattr("logger.port._is_pseudo", lambda _name: False)
        port = open_port(str(cable.name), Link())
        assert is_shut()
        port.close()
        assert not is_shut()


def test_the_ports_of_this_computer_can_be_listed():
    ports = find_ports()
    assert [port.name for port in ports] == sorted(port.name for port in ports)
    assert identify("socket://127.0.0.1:1", ports) is None
