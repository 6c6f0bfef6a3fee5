"""The server behind the phone's page: two addresses, read-only, bounded in every direction.

Why it exists: a socket on a network is an invitation. This one answers on loopback unless the person asked for the
network, only to who holds the token, only under the names it goes by (a web page that lures a browser here by another
name or from another origin is refused), and never keeps more threads or connections than a workshop has phones. It
prevents a forgotten phone from filling the computer, and a stranger from going unnoticed: refusals are counted.

The stream is server-sent events (HTML standard, section 9.2), which browsers open again by themselves.
"""

from __future__ import annotations

import contextlib
import hmac
import logging
import secrets
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from socketserver import TCPServer
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlsplit

from logger.errors import PortError
from logger.phone.link import new_token
from logger.phone.shown import Shown

log = logging.getLogger(__name__)

MOST_CONNECTIONS = 16
MOST_STREAMS = 6
REQUEST_S = 5.0
"""A request that is not complete by then is dropped."""
STREAM_S = 120.0
"""A stream ends after so long and the page opens it again: a phone that went away without a word is forgotten."""
BEAT_S = 0.5
PER_S = 25.0
"""Moments sent per second at most (common practice, no source: the eye reads no faster)."""
RETRY_MS = 400
LOOPBACK = "127.0.0.1"


class Phone:
    """The page at ``url``; ``publish`` what it shall show. A context manager.

    ``host`` is the address to answer on; anything but loopback is reachable from the network. ``refused`` counts what
    was turned away, by reason; ``on_refused`` is told of each, from a thread of its own.
    """

    def __init__(
        self, host: str = LOOPBACK, port: int = 0, *, on_refused: Callable[[str, str], object] = lambda who, why: None
    ) -> None:
        self.token = new_token()
        self.refused: Counter[str] = Counter()
        self._on_refused = on_refused
        self._news = threading.Condition()
        self._sequence = 0
        self._line = Shown().as_json()
        self._published_s = time.monotonic()
        self._closing = False
        self._streams: list[_Handler] = []
        try:
            self._server = _Server((host, port), self)
        except OSError as error:
            raise PortError(
                f"The phone's page cannot be served on {host}: {error.strerror or error}.",
                "Name an address of this computer after --network, or leave it out.",
            ) from error
        self.port = int(self._server.server_address[1])
        self.host = host
        self.names = frozenset(f"{name}:{self.port}" for name in ({host, "localhost"} if host == LOOPBACK else {host}))
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.1,), name="phone", daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """What the phone opens."""
        return f"http://{self.host}:{self.port}/{self.token}/"

    @property
    def streams(self) -> int:
        """Phones looking on now."""
        with self._news:
            return len(self._streams)

    @property
    def connections(self) -> int:
        """Connections open now, of whatever kind."""
        return self._server.open_connections

    def publish(self, shown: Shown) -> None:
        """Show this from now on. Never waits for a phone."""
        line = shown.as_json()
        with self._news:
            self._line, self._published_s = line, time.monotonic()
            self._sequence += 1
            self._news.notify_all()

    def close(self) -> None:
        """Let all phones go and stop answering."""
        with self._news:
            self._closing = True
            self._news.notify_all()
            streams = list(self._streams)
        for stream in streams:
            stream.hang_up()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(5.0)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- what handlers ask

    def refuse(self, who: str, why: str) -> None:
        """Count, log and tell a refusal."""
        self.refused[why] += 1
        log.warning("refused %s: %s", who, why)
        self._on_refused(who, why)

    def joined(self, stream: _Handler) -> None:
        """A phone began to look on; with too many the one that came first is let go."""
        with self._news:
            self._streams.append(stream)
            leaving = self._streams.pop(0) if len(self._streams) > MOST_STREAMS else None
        if leaving is not None:
            leaving.hang_up()

    def left(self, stream: _Handler) -> None:
        with self._news, contextlib.suppress(ValueError):
            self._streams.remove(stream)

    def next_line(self, after: int) -> tuple[int, str] | None:
        """The newest moment later than ``after`` with its age, or a beat without one; None when it is over."""
        with self._news:
            if self._sequence <= after and not self._closing:
                self._news.wait(BEAT_S)
            if self._closing:
                return None
            age_ms = round(1000 * (time.monotonic() - self._published_s))
            return self._sequence, f'{{"age_ms":{age_ms},"seq":{self._sequence},"shown":{self._line}}}'


class _Server(ThreadingHTTPServer):
    """Threads for a handful of connections; one more is closed at once."""

    daemon_threads = True
    block_on_close = False
    request_queue_size = 8
    allow_reuse_address = False

    def __init__(self, address: tuple[str, int], phone: Phone) -> None:
        self.phone = phone
        self._free = threading.BoundedSemaphore(MOST_CONNECTIONS)
        self._lock = threading.Lock()
        self.open_connections = 0
        super().__init__(address, _Handler)

    def server_bind(self) -> None:
        """As every TCP server's: the library's own would ask a name server who we are, which can take seconds."""
        TCPServer.server_bind(self)
        self.server_name, self.server_port = str(self.server_address[0]), int(self.server_address[1])

    def process_request(self, request: Any, client_address: Any) -> None:
        if not self._free.acquire(blocking=False):
            self.phone.refuse(_who(client_address), "too many connections")
            self.shutdown_request(request)
            return
        with self._lock:
            self.open_connections += 1
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            with self._lock:
                self.open_connections -= 1
            self._free.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        log.debug("connection of %s ended early", _who(client_address), exc_info=True)


def _who(address: Any) -> str:
    return str(address[0]) if isinstance(address, tuple) and address else "?"


class _Handler(BaseHTTPRequestHandler):
    """One request. GET of the page or of the stream, with the token; everything else is refused."""

    protocol_version = "HTTP/1.1"
    server_version = "truestroke"
    sys_version = ""
    timeout = REQUEST_S
    server: _Server

    def setup(self) -> None:
        """A whole request must be here in time, however slowly its bytes drip."""
        super().setup()
        self._deadline = threading.Timer(REQUEST_S, self.hang_up)
        self._deadline.daemon = True
        self._deadline.start()

    def finish(self) -> None:
        self._deadline.cancel()
        super().finish()

    def do_GET(self) -> None:
        self._deadline.cancel()
        self.close_connection = True
        why = self._unwelcome()
        if why:
            self._refuse(why)
            return
        what = urlsplit(self.path).path.split("/", 2)[2]
        if what == "":
            self._page()
        elif what == "stream":
            self._stream()
        else:
            self._answer(404, b"", "text/plain")

    def _other(self) -> None:
        self.close_connection = True
        self._refuse("method")

    do_POST = do_PUT = do_DELETE = do_PATCH = do_OPTIONS = do_HEAD = do_TRACE = do_CONNECT = _other

    def _unwelcome(self) -> str:
        """Why this request is none of ours; empty where it is. The same answer for all, the reason is ours alone."""
        phone = self.server.phone
        if self.headers.get_all("Host", []) not in ([name] for name in phone.names):
            return "host"
        origins = self.headers.get_all("Origin", [])
        if any(origin not in {f"http://{name}" for name in phone.names} for origin in origins):
            return "origin"
        if self.headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
            return "origin"
        parts = urlsplit(self.path).path.split("/", 2)
        given = parts[1] if len(parts) == 3 and parts[0] == "" else ""
        if not hmac.compare_digest(given.encode("utf-8", "replace"), phone.token.encode("ascii")):
            return "token"
        return ""

    def _refuse(self, why: str) -> None:
        self.server.phone.refuse(_who(self.client_address), why)
        self._answer(403, b"Refused.\n", "text/plain")

    def _page(self) -> None:
        nonce = secrets.token_urlsafe(12)
        page = resources.files("logger.phone").joinpath("page.html").read_text(encoding="utf-8")
        policy = (
            f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'nonce-{nonce}'; connect-src 'self'; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        self._answer(200, page.replace("NONCE", nonce).encode("utf-8"), "text/html; charset=utf-8", policy)

    def _answer(self, code: int, body: bytes, kind: str, policy: str = "default-src 'none'") -> None:
        self.send_response(code)
        self._common(kind, policy)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _common(self, kind: str, policy: str) -> None:
        self.send_header("Content-Type", kind)
        self.send_header("Cache-Control", "no-store")
        self.send_header("Connection", "close")
        self.send_header("Content-Security-Policy", policy)
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("X-Frame-Options", "DENY")

    def _stream(self) -> None:
        phone = self.server.phone
        self.send_response(200)
        self._common("text/event-stream; charset=utf-8", "default-src 'none'")
        self.end_headers()
        with contextlib.suppress(OSError):  # not every system has it, and without it the stream is only a little later
            self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.wfile.write(f"retry: {RETRY_MS}\n\n".encode("ascii"))
        phone.joined(self)
        try:
            self._send_until_over(phone)
        except OSError:
            log.debug("a phone went away")
        finally:
            phone.left(self)

    def _send_until_over(self, phone: Phone) -> None:
        until_s, sequence = time.monotonic() + STREAM_S, -1
        while time.monotonic() < until_s and (found := phone.next_line(sequence)) is not None:
            sequence, line = found
            self.wfile.write(f"data: {line}\n\n".encode("ascii"))
            self._rest()

    def _rest(self) -> None:
        """Between two moments: as long as the rate asks, and awake at once when the phone hangs up."""
        self.connection.settimeout(1.0 / PER_S)
        try:
            self.connection.recv(256)
            raise ConnectionAbortedError("the phone hung up, or talked where it has nothing to say")
        except TimeoutError:
            pass  # nothing came, as it should be
        finally:
            self.connection.settimeout(REQUEST_S)

    def hang_up(self) -> None:
        """End this stream from another thread."""
        with contextlib.suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What is no request: the same short answer as to any stranger."""
        self.close_connection = True
        self.server.phone.refuse(_who(self.client_address), "method" if code == 501 else "not a request")
        self.request_version = "HTTP/1.1"
        self._answer(400, b"Refused.\n", "text/plain")

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing on standard error: the address would show the token."""
