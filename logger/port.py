"""Find, open, configure, lose and reopen a port. The only module that touches pyserial.

Why it exists: pyserial opens and configures ports on every system, and its reading has traps: ``readline`` reads a byte
at a time, ``in_waiting`` raises another kind of error than ``read``, and ``open`` throws away what a device sent the
moment it was opened. Here a port is opened without that flush, read with whatever is there, and every way a cable can
fail becomes one :class:`InstrumentLost`; every way an opening can fail becomes one clear :class:`PortError`
(``link/port_words.py``). Which port a device came back as is ``link/replug.py``.
"""

from __future__ import annotations

import os
import re
import select
import socket
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import serial

from logger.clock import now_ns
from logger.errors import InstrumentLost
from logger.link.port_words import port_error, reason, shown

try:
    import fcntl
    import termios
except ImportError:  # Windows
    _LOST: tuple[type[Exception], ...] = (OSError, TypeError, ValueError)
else:
    # TypeError: a port closed under a read; termios.error is no OSError.
    _LOST = (OSError, TypeError, ValueError, termios.error)

READ_SIZE = 4096
_STREAM_WAIT_S = 0.1
"""The shortest that a terminal's read can be told to wait."""
_STREAM_CHUNKS = 16
"""So many pieces in one batch are a stream: one every two milliseconds; a quarter of it still is one."""
_WAIT_S = 0.02
"""How long a port that cannot be waited on (Windows, loop://) blocks for its first byte."""


@dataclass(frozen=True, slots=True)
class Link:
    """The line settings of a serial port; a socket has none and ignores them."""

    baud: int = 115200
    data_bits: int = 8
    parity: str = "N"
    stop_bits: float = 1
    flow: str = "none"
    dtr: bool | None = None
    rts: bool | None = None


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A serial port of this computer; ``identity`` is what stays the same when it comes back under another name."""

    name: str
    description: str
    identity: tuple[int, int, str] | None
    location: str | None


class _Source(Protocol):
    def read(self, timeout_s: float) -> bytes | None:
        """What is there; b"" when nothing came in time; None when the far end closed."""

    def expect(self, stream: bool) -> None:
        """``stream``: so much comes that the next piece will be here within a moment."""

    def close(self) -> None: ...


class _Descriptor:
    """A serial port of a POSIX system: wait until something is there, then take whatever it is.

    A thousand lines a second are a thousand times waiting and reading. While an instrument streams like that the system
    waits inside the read, which halves the price; it gives up after ``_STREAM_WAIT_S`` (VTIME, POSIX general terminal
    interface), so that a stream that stops is seen about as soon.
    """

    def __init__(self, port: Any) -> None:
        self._port = port
        self._fd: int = port.fileno()
        self._wait = _waiter(self._fd)
        self._streams = False

    def expect(self, stream: bool) -> None:
        if stream == self._streams or not hasattr(os, "set_blocking"):
            return
        settings = termios.tcgetattr(self._fd)
        settings[6][termios.VMIN], settings[6][termios.VTIME] = 0, round(10 * _STREAM_WAIT_S) if stream else 0
        termios.tcsetattr(self._fd, termios.TCSANOW, settings)
        os.set_blocking(self._fd, stream)
        self._streams = stream

    def read(self, timeout_s: float) -> bytes | None:
        if self._streams:
            data = os.read(self._fd, READ_SIZE)
            if data:
                return data  # else nothing came, or the far end closed: that is told apart below
        if not self._wait(timeout_s):
            return b""
        try:
            return os.read(self._fd, READ_SIZE) or None
        except BlockingIOError:
            return b""

    def close(self) -> None:
        self._port.close()


def _waiter(fd: int) -> Callable[[float], Any]:
    """Wait for ``fd``: poll costs half of select, but macOS cannot poll terminals."""
    if sys.platform == "darwin" or not hasattr(select, "poll"):
        wait_for = [fd]
        return lambda timeout_s: select.select(wait_for, (), (), timeout_s)[0]
    poller = select.poll()
    poller.register(fd, select.POLLIN)
    poll = poller.poll
    return lambda timeout_s: poll(timeout_s * 1000.0)


class _Socket:
    """``socket://`` on every system: pyserial's own ``in_waiting`` knows only 0 and 1 there."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self._socket: socket.socket = port._socket
        self._wait_for = [self._socket]

    def read(self, timeout_s: float) -> bytes | None:
        if not select.select(self._wait_for, (), (), timeout_s)[0]:
            return b""
        try:
            return self._socket.recv(READ_SIZE) or None
        except BlockingIOError:
            return b""

    def expect(self, stream: bool) -> None:
        return

    def close(self) -> None:
        self._port.is_open = False  # pyserial would sleep 0.3 s over closing a socket
        self._socket.close()


class _Polled:
    """Windows, and every URL that has no descriptor to wait on."""

    def __init__(self, port: Any) -> None:
        self._port = port
        port.timeout = _WAIT_S

    def read(self, timeout_s: float) -> bytes | None:
        data: bytes = self._port.read(max(1, min(READ_SIZE, self._port.in_waiting)))
        return data

    def expect(self, stream: bool) -> None:
        return

    def close(self) -> None:
        self._port.close()


class Port:
    """An open port. ``read`` never blocks longer than asked; a lost instrument is :class:`InstrumentLost`."""

    def __init__(self, name: str, port: Any) -> None:
        self.name = name
        self._port = port
        self._source: _Source = _source(name, port)
        self._streams = False

    def read(self, timeout_s: float) -> bytes:
        try:
            data = self._source.read(timeout_s)
        except _LOST as error:
            raise InstrumentLost(f"{shown(self.name)} went away: {reason(error)}.") from error
        if data is None:
            raise InstrumentLost(f"{shown(self.name)} was closed by the far end.")
        return data

    def collect(self, chunks: list[tuple[int, bytes]], due_ns: int, batch_ns: int, most_bytes: int) -> None:
        """Append what comes as ``(now_ns() when it had been read, bytes)`` until ``due_ns``, or ``batch_ns`` after the
        first, or ``most_bytes``. What came before the instrument was lost is in ``chunks``. A stream that stops
        ends its last batch up to ``_STREAM_WAIT_S`` late."""
        read, size, stamp = self._source.read, 0, now_ns()
        try:
            self._source.expect(self._streams)
            while True:
                chunk = read((due_ns - stamp) / 1e9 if due_ns > stamp else 0.0)
                stamp = now_ns()
                if chunk:
                    if not chunks:
                        due_ns = min(due_ns, stamp + batch_ns)
                    chunks.append((stamp, chunk))
                    size += len(chunk)
                elif chunk is None:
                    break
                if stamp >= due_ns or size >= most_bytes:
                    self._streams = len(chunks) >= (_STREAM_CHUNKS // 4 if self._streams else _STREAM_CHUNKS)
                    return
        except _LOST as error:
            raise InstrumentLost(f"{shown(self.name)} went away: {reason(error)}.") from error
        raise InstrumentLost(f"{shown(self.name)} was closed by the far end.")

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except _LOST as error:
            raise InstrumentLost(f"{shown(self.name)} went away: {reason(error)}.") from error

    def configure(self, link: Link) -> None:
        """Other speed and format on the open port: to open it again could reset the device behind it."""
        link = _possible(self.name, link)
        try:
            self._port.apply_settings(
                {
                    "baudrate": link.baud,
                    "bytesize": link.data_bits,
                    "parity": link.parity,
                    "stopbits": link.stop_bits,
                }
            )
        except _LOST as error:
            raise InstrumentLost(f"{shown(self.name)} went away: {reason(error)}.") from error

    def close(self) -> None:
        try:
            _keep_others_out(self._port, self.name, False)
            self._source.close()
        except _LOST:
            return  # the device is gone, and its handle with it


def open_port(name: str, link: Link) -> Port:
    """Open ``name`` (a device or any pyserial URL) for ourselves alone; nothing that has arrived is thrown away."""
    link = _possible(name, link)
    try:
        port = serial.serial_for_url(
            name,
            do_not_open=True,
            baudrate=link.baud,
            bytesize=link.data_bits,
            parity=link.parity,
            stopbits=link.stop_bits,
            rtscts=link.flow == "rts_cts",
            xonxoff=link.flow == "xon_xoff",
            timeout=0,
            write_timeout=1.0,
            exclusive=True,
        )
        _set_lines(port, link)
        _open_without_flush(port)
    except _LOST as error:
        raise port_error(name, error) from error
    _ask_for_low_latency(port)
    _keep_others_out(port, name, True)
    return Port(name, port)


def _possible(name: str, link: Link) -> Link:
    """``link`` as far as ``name`` knows of it: a pseudo terminal (a bridge to a network, a simulated device) has no
    line, and where it is asked for seven bits or a parity the system refuses the whole setting."""
    if _is_pseudo(name):
        return replace(link, data_bits=8, parity="N", stop_bits=1)
    return link


_PSEUDO = re.compile(r"/dev/(pts/\d+|ttys\d{3})$")
"""Names of pseudo terminals on Linux and macOS."""


def _is_pseudo(name: str) -> bool:
    return os.name == "posix" and "://" not in name and _PSEUDO.match(os.path.realpath(name)) is not None


def _set_lines(port: Any, link: Link) -> None:
    if link.dtr is not None:
        port.dtr = link.dtr
    if link.rts is not None:
        port.rts = link.rts


def _open_without_flush(port: Any) -> None:
    """pyserial empties the input when it opens: a device that speaks at once would lose its first lines."""
    flushes = [name for name in ("reset_input_buffer", "_reset_input_buffer") if hasattr(port, name)]
    for name in flushes:
        setattr(port, name, _keep_input)
    try:
        port.open()
    finally:
        for name in flushes:
            delattr(port, name)


def _keep_input() -> None:
    """In place of pyserial's flush while a port is being opened."""


def _keep_others_out(port: Any, name: str, out: bool) -> None:
    """A program that opens the same port later would take half of the bytes: the lock pyserial sets only keeps out who
    asks for it too. Not for pseudo terminals: whoever made one may hold it open, and with it the refusal."""
    if os.name == "posix" and type(port) is serial.Serial and not _is_pseudo(name):
        try:
            fcntl.ioctl(port.fileno(), termios.TIOCEXCL if out else termios.TIOCNXCL)
        except (OSError, serial.SerialException):
            return  # a system, or a device, that does not know the request


def _ask_for_low_latency(port: Any) -> None:
    """USB bridges that wait 16 ms before they deliver can be asked not to; most ports do not know the question."""
    if type(port) is serial.Serial and hasattr(port, "set_low_latency_mode"):
        try:
            port.set_low_latency_mode(True)
        except (OSError, ValueError):
            return


def _source(name: str, port: Any) -> _Source:
    scheme = name.partition("://")[0].lower() if "://" in name else ""
    if scheme == "socket":
        return _Socket(port)
    if os.name == "posix" and scheme != "spy" and isinstance(port, serial.Serial):
        return _Descriptor(port)
    return _Polled(port)


# -- finding -----------------------------------------------------------------------------------------------------------


def find_ports() -> list[FoundPort]:
    """The serial ports of this computer, in the order of their names."""
    from serial.tools import list_ports  # ten milliseconds that a socket need not wait for

    found = []
    for info in list_ports.comports():
        identity = None if info.vid is None else (info.vid, info.pid or 0, info.serial_number or "")
        description = info.description if info.description and info.description != "n/a" else ""
        found.append(FoundPort(info.device, shown(description), identity, info.location))
    return sorted(found, key=lambda port: port.name)
