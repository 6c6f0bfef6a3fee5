"""Why a port did not open, in one sentence, and what to do next.

Why it exists: the systems and pyserial say it in a dozen ways (a number, a text, an exception inside an exception), and
none of them says what to do. The mistake prevented: "could not open port: [Errno 16]" beside a machine.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path
from urllib.parse import urlsplit

from logger.errors import PortError

try:
    import grp
except ImportError:  # Windows
    grp = None  # type: ignore[assignment]

_BUSY = (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK)
_NO_DEVICE = (errno.ENOENT, errno.ENODEV, errno.ENXIO)
_NOT_SERIAL = (errno.ENOTTY, errno.EINVAL, errno.EISDIR)


def shown(name: str) -> str:
    """A port's name or description for a person: one line, no terminal codes."""
    return "".join(c if c.isprintable() else "?" for c in name)[:200]


def port_error(name: str, error: BaseException) -> PortError:
    """Why ``name`` did not open, in one sentence, and what to do next."""
    port, number, text = shown(name), _errno(error), str(error)
    if name.lower().startswith("socket://"):
        return _socket_error(port, number, text, error)
    if number in _NO_DEVICE or "FileNotFoundError" in text:
        return PortError(f"There is no port {port}.", _ports_here())
    if number == errno.EACCES and os.name == "posix":
        return PortError(f"No permission to open {port}.", _permission_todo(name))
    if number in _BUSY or "PermissionError" in text or "exclusively lock" in text:
        return PortError(f"{port} is busy: {_who_has(name)} has it open.", "Close that program, then try again.")
    if number in _NOT_SERIAL or "Inappropriate ioctl" in text:
        return PortError(f"{port} is not a serial device.", _ports_here())
    if isinstance(error, ValueError):
        return PortError(
            f"{port} is not a port: {shown(text)}.", "Give a device name or a URL such as socket://host:port."
        )
    return PortError(f"{port} could not be opened: {reason(error)}.", _ports_here())


def _socket_error(port: str, number: int | None, text: str, error: BaseException) -> PortError:
    if "expected a string in the form" in text or not _has_port_number(port):
        return PortError(f"{port} is not a socket address.", "Write it as socket://host:port.")
    if number == errno.ECONNREFUSED:
        return PortError(f"Nothing answers at {port}: connection refused.", "Start what listens there, then try again.")
    return PortError(f"{port} could not be reached: {reason(error)}.", "Check the address and the network.")


def _has_port_number(url: str) -> bool:
    try:
        return urlsplit(url).port is not None
    except ValueError:
        return False


def _ports_here() -> str:
    from logger.port import find_ports  # which says its errors with this module

    names = ", ".join(port.name for port in find_ports())
    return f"Ports here now: {names}." if names else "No serial port is here now: plug the instrument in and try again."


def _who_has(name: str) -> str:
    """The program that holds the port, as far as this system tells (Linux, processes of the same user)."""
    device = os.path.realpath(name)
    for process in Path("/proc").glob("[0-9]*"):
        try:
            holds = any(os.path.realpath(handle) == device for handle in (process / "fd").iterdir())
            program = (process / "comm").read_text(encoding="utf-8", errors="replace").strip() if holds else ""
        except OSError:  # not ours to look at, or gone meanwhile
            continue
        if holds and int(process.name) != os.getpid():
            return f"another program ({shown(program)}, process {process.name})"
    return "another program"


def _permission_todo(name: str) -> str:
    group = "dialout"
    if grp is not None:
        try:
            status = Path(name).stat()
            if stat.S_ISCHR(status.st_mode) and status.st_gid != 0:
                group = grp.getgrgid(status.st_gid).gr_name
        except (OSError, KeyError):
            group = "dialout"
    return f"Add yourself to group {group} (sudo usermod -aG {group} $USER), log out and in, then try again."


def _errno(error: BaseException) -> int | None:
    """The system's error number, from the error or from what it was made of (pyserial drops it for sockets)."""
    seen: BaseException | None = error
    while seen is not None:
        number = getattr(seen, "errno", None)
        if isinstance(number, int):
            return number
        first = seen.args[0] if seen.args else None
        if isinstance(first, int):
            return first
        seen = seen.__cause__ or seen.__context__
    return None


def reason(error: BaseException) -> str:
    """What the system said, in its own words."""
    number = _errno(error)
    if sys.platform != "win32" and number is not None and number > 0:
        return os.strerror(number)
    return shown(str(error)) or type(error).__name__
