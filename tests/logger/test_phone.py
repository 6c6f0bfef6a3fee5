"""The phone's page: what it shows, who may look, and that nothing is left of those who went away."""

import gc
import http.client
import json
import re
import socket
import threading
import time
from dataclasses import replace
from pathlib import Path

import html5lib
import pytest
from PIL import Image

from logger.phone import server
from logger.phone.link import network_address, new_token, qr_lines
from logger.phone.server import MOST_CONNECTIONS, MOST_STREAMS, Phone
from logger.phone.shown import Shown, state_of
from tests.browser import CHROMIUM, MISSING, Browser

SHOWN = Shown(
    "Kiln Street, across", "+0.084", "mm", 0.084, 0.092, 0.102, 0.097, "low", "▼ 0.013 to go, raise B3", "B3",
    "1/50 turn, clockwise from below; stop after 1/4 turn", "display +0.084", "receiving",
)  # fmt: skip


@pytest.fixture
def phone():
    with Phone() as made:
        made.publish(SHOWN)
        yield made


def get(phone, path=None, *, host=None, method="GET", **headers):
    connection = http.client.HTTPConnection("127.0.0.1", phone.port, timeout=60)
    path = f"/{phone.token}/" if path is None else path
    try:
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        connection.putheader("Host", host or f"127.0.0.1:{phone.port}")
        for name, value in headers.items():
            connection.putheader(name.replace("_", "-"), value)
        connection.endheaders()
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        connection.close()


class Looker:
    """A phone that looks on: the stream, line by line."""

    def __init__(self, phone):
        self.socket = socket.create_connection(("127.0.0.1", phone.port), timeout=60)
        host = f"127.0.0.1:{phone.port}"
        self.socket.sendall(f"GET /{phone.token}/stream HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
        self.file = self.socket.makefile("rb")

    def moment(self):
        """The next moment; None when the stream has ended."""
        for line in self.file:
            if line.startswith(b"data: "):
                return json.loads(line[6:])
        return None

    def go(self):
        self.file.close()
        self.socket.close()


def until(true, seconds=60.0):
    """Wait for another thread to have done something; False when it has not."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            return False
        threading.Event().wait(0.01)
    return True


# -- what it shows -----------------------------------------------------------------------------------------------------


def test_the_page_is_html_small_and_asks_for_nothing_from_outside(phone):
    status, headers, body = get(phone)
    assert status == 200
    assert len(body) < 60_000
    text = body.decode("utf-8")
    html5lib.HTMLParser(strict=True).parse(text)
    assert re.findall(r"""(?:src|href)\s*=|https?:|@import|url\((?!#)""", text) == []
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cache-Control"] == "no-store"
    assert "NONCE" not in text


def test_what_is_published_arrives(phone):
    looker = Looker(phone)
    assert looker.moment()["shown"]["text"] == "▼ 0.013 to go, raise B3"
    phone.publish(Shown(number="+0.097", height=0.097, link="receiving"))
    while (moment := looker.moment())["shown"]["number"] != "+0.097":
        pass
    assert moment["shown"]["height"] == 0.097
    looker.go()


def test_an_old_moment_is_sent_with_its_age():
    with Phone() as phone:
        phone.publish(SHOWN)
        looker = Looker(phone)
        ages = [looker.moment()["age_ms"] for _ in range(3)]
        looker.go()
    assert ages == sorted(ages)
    assert ages[-1] >= 500


def test_what_is_no_number_is_null_and_texts_are_bounded():
    said = json.loads(Shown(height=float("nan"), text="x" * 5000).as_json())
    assert said["height"] is None
    assert len(said["text"]) == 120


@pytest.mark.parametrize(
    ("height", "state"), [(0.2, "high"), (0.0, "low"), (0.1, "inside"), (None, "none"), (float("nan"), "none")]
)
def test_the_state_of_a_height(height, state):
    assert state_of(height, 0.05, 0.15) == state


# -- who may look ------------------------------------------------------------------------------------------------------


def test_it_answers_on_loopback_only_unless_asked(phone):
    assert phone.url.startswith("http://127.0.0.1:")
    address = network_address()
    if address is None:
        pytest.skip("this computer has no network address: reaching it from there was not tried")
    with pytest.raises(OSError, match="refused"):
        socket.create_connection((address, phone.port), timeout=5)


def test_each_view_has_a_token_of_its_own_that_cannot_be_guessed():
    tokens = {new_token() for _ in range(100)}
    assert len(tokens) == 100
    assert all(len(token) >= 22 for token in tokens)


@pytest.mark.parametrize(
    ("why", "request_"),
    [
        ("token", {"path": "/"}),
        ("token", {"path": "/wrong/"}),
        ("token", {"path": "/wrong/stream"}),
        ("token", {"path": "/%00/../stream"}),
        ("host", {"host": "saw.example:80"}),
        ("host", {"host": "127.0.0.1"}),
        ("origin", {"Origin": "http://evil.example"}),
        ("origin", {"Origin": "null"}),
        ("origin", {"Sec_Fetch_Site": "cross-site"}),
        ("method", {"method": "POST"}),
        ("method", {"method": "DELETE"}),
        ("method", {"method": "BREW"}),
    ],
)
def test_a_stranger_is_refused_logged_and_counted(why, request_, caplog):
    told = []
    with Phone(on_refused=lambda who, reason: told.append((who, reason))) as phone:
        status, headers, body = get(phone, **request_)
        assert status in (400, 403)
        assert body in (b"Refused.\n", b"")
        assert phone.refused[why] == 1
        assert told == [("127.0.0.1", why)]
        assert f"refused 127.0.0.1: {why}" in caplog.text
        assert phone.token not in caplog.text
        assert phone.token not in str(headers)


def test_what_is_no_request_at_all_is_refused(phone):
    for rubbish in (
        b"\x16\x03\x01\x02\x00\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"A" * 70_000 + b"\r\n\r\n",
    ):
        with socket.create_connection(("127.0.0.1", phone.port), timeout=60) as line:
            try:
                line.sendall(rubbish)
                assert b" 200 " not in line.recv(1000)
            except ConnectionError:
                pass  # hung up on: as good
    assert sum(phone.refused.values()) >= 3


def test_the_page_of_its_own_origin_is_welcome(phone):
    assert get(phone, Origin=f"http://127.0.0.1:{phone.port}", Sec_Fetch_Site="same-origin")[0] == 200
    assert get(phone, host=f"localhost:{phone.port}")[0] == 200
    assert not phone.refused


# -- bounded -----------------------------------------------------------------------------------------------------------


def threads_of_handlers():
    return [each for each in threading.enumerate() if "process_request_thread" in each.name]


def test_a_phone_that_comes_and_goes_200_times_leaves_nothing(phone):
    Looker(phone).go()
    assert until(lambda: phone.connections == 0)
    gc.collect()
    files = Path("/proc/self/fd")
    before = len(list(files.iterdir())) if files.exists() else 0
    for number in range(200):
        looker = Looker(phone)
        if number % 4:
            assert looker.moment() is not None
        looker.go()
    assert until(lambda: phone.connections == 0 and phone.streams == 0)
    assert until(lambda: not threads_of_handlers())
    gc.collect()
    if before:
        assert len(list(files.iterdir())) <= before + 1
    assert get(phone)[0] == 200


def test_with_more_phones_than_a_workshop_has_the_first_is_let_go(phone):
    lookers = []
    for _ in range(MOST_STREAMS):
        lookers.append(Looker(phone))
        assert lookers[-1].moment() is not None
    late = Looker(phone)
    assert late.moment() is not None
    assert until(lambda: phone.streams == MOST_STREAMS)
    while lookers[0].moment() is not None:
        pass
    assert late.moment() is not None
    for looker in [*lookers, late]:
        looker.go()


def test_connections_are_bounded_and_silent_ones_do_not_stay(phone, monkeypatch):
    monkeypatch.setattr(server, "REQUEST_S", 2.0)
    monkeypatch.setattr(server._Handler, "timeout", 2.0)
    silent = [socket.create_connection(("127.0.0.1", phone.port), timeout=60) for _ in range(MOST_CONNECTIONS + 4)]
    assert until(lambda: phone.refused["too many connections"] >= 1)
    assert phone.connections <= MOST_CONNECTIONS
    assert until(lambda: phone.connections == 0)
    assert get(phone)[0] == 200
    for each in silent:
        each.close()


def test_a_request_that_drips_is_dropped(phone, monkeypatch):
    monkeypatch.setattr(server, "REQUEST_S", 0.5)
    with socket.create_connection(("127.0.0.1", phone.port), timeout=60) as line, pytest.raises(OSError):
        for _ in range(200):  # one that is not dropped takes all of them
            line.sendall(b"G")
            threading.Event().wait(0.05)


def test_publishing_never_waits_for_a_phone_that_does_not_read(phone):
    looker = Looker(phone)
    assert looker.moment() is not None
    began = time.monotonic()
    for _ in range(5000):
        phone.publish(SHOWN)
    assert time.monotonic() - began < 30.0  # one that waits for this phone never ends
    looker.go()


def test_closing_lets_every_phone_go():
    phone = Phone()
    looker = Looker(phone)
    assert looker.moment() is not None
    phone.close()
    while looker.moment() is not None:
        pass
    assert until(lambda: not threads_of_handlers())
    looker.go()


# -- the link ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_code_holds_the_address(ascii_only):
    """Read back module by module and compared with the code of the same library in another writing."""
    import segno

    url = "http://192.168.1.20:50123/Qm9sdHMgYW5kIG51dHMhIQ/"
    rows = qr_lines(url, ascii_only=ascii_only)
    dark = []
    for row in rows:
        if ascii_only:
            dark.append([row[at : at + 2] == "  " for at in range(0, len(row), 2)])
        else:
            dark.append([sign in "▄ " for sign in row])
            dark.append([sign in "▀ " for sign in row])
    expected = [[bool(m) for m in row] for row in segno.make(url, micro=False, error="m").matrix_iter(border=2)]
    assert dark[: len(expected)] == expected
    assert max(map(len, rows)) <= 80


# -- in a browser ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    if CHROMIUM is None:
        pytest.skip(MISSING)
    with Browser(tmp_path_factory.mktemp("browser")) as made:
        yield made


@pytest.fixture
def telling(phone):
    """Somebody keeps publishing; ``stop`` ends it."""
    stop = threading.Event()

    def go_on():
        while not stop.wait(0.05):
            phone.publish(SHOWN)

    thread = threading.Thread(target=go_on)
    thread.start()
    yield stop
    stop.set()
    thread.join()


def test_in_a_browser_at_phone_size_it_shows_number_bolt_and_what_is_to_go(phone, telling, browser, tmp_path):
    browser.open(phone.url)
    assert browser.wait_for("document.body.innerText.includes('to go, raise B3')")
    for expected in ("+0.084", "mm", "B3", "1/50 turn, clockwise from below; stop after 1/4 turn", "display +0.084"):
        assert expected in browser.text()
    assert browser.value("document.body.className.trim()") == "low"
    assert browser.value("document.documentElement.scrollWidth <= innerWidth")
    assert browser.value("document.getElementById('number').scrollWidth <= innerWidth")
    assert browser.value("document.getElementById('number').getBoundingClientRect().height / innerHeight") > 0.1
    browser.photograph(tmp_path / "phone.png")
    with Image.open(tmp_path / "phone.png") as image:
        assert image.size == (780, 1688)
        colours = {colour for _, colour in image.convert("RGB").getcolors(1 << 24) or ()}
    assert (0x0B, 0x55, 0x9F) in colours  # the hollow
    assert not phone.refused


def test_in_a_browser_a_broken_stream_is_opened_again_by_itself(phone, telling, browser):
    browser.open(phone.url)
    assert browser.wait_for("document.body.innerText.includes('to go')")
    with phone._news:
        (stream,) = phone._streams
    stream.hang_up()
    assert until(lambda: phone.streams == 1 and phone._streams[0] is not stream)
    assert browser.wait_for("document.body.className.trim() === 'low'")


def test_in_a_browser_an_old_number_is_struck_out_and_said(phone, telling, browser):
    browser.open(phone.url)
    assert browser.wait_for("document.body.innerText.includes('to go')")
    telling.set()
    assert browser.wait_for("document.body.innerText.includes('no reading, last')")
    assert "old" in browser.value("document.body.className")
    phone.publish(replace(SHOWN, link="lost"))
    assert browser.wait_for("document.body.innerText.includes('link to the indicator lost')")


def test_in_a_browser_the_bench_that_is_gone_is_said(browser):
    with Phone() as phone:
        phone.publish(SHOWN)
        browser.open(phone.url)
        assert browser.wait_for("document.body.innerText.includes('to go')")
    assert browser.wait_for("document.body.innerText.includes('no word from the bench')")


def test_in_a_browser_what_is_published_is_text_never_markup(phone, browser):
    phone.publish(replace(SHOWN, bolt="<img src=x onerror=alert(1)>", title="<b>x</b>"))
    browser.open(phone.url)
    assert browser.wait_for("document.body.innerText.includes('<img src=x')")
    assert browser.value("document.images.length") == 0
