"""The page encrypted, over sockets, with the standard library's TLS on the other side."""

import datetime as dt
import hashlib
import http.client
import json
import socket
import ssl
import stat

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from dashboard.app import PageOptions, PageServer
from dashboard.certificate import CERTIFICATE, KEY, Encryption, own_encryption
from dashboard.passphrase import Passphrase
from monitor.errors import PageError
from tests.browser.hall import Hall
from tests.cli.test_watch import ended
from tests.link.plugs import until

WORDS = "four plain lamps glow"
VISITOR = {"X-Forwarded-For": "192.0.2.7", "X-Pilotlamp": "act"}
LIMIT_S = 120


@pytest.fixture
def settings(tmp_path, monkeypatch):
    """Where the program keeps its certificate."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return tmp_path / "pilotlamp"


class Served:
    def __init__(self, settings, **options):
        self.hall = Hall(4)
        self.passphrase = Passphrase(settings / "passphrase")
        self.passphrase.keep(WORDS)
        options = PageOptions(shared=True, passphrase_file=self.passphrase.path, **options)
        self.server = PageServer(self.hall, port=0, options=options)
        self.server.start()
        self.trusting = ssl.create_default_context(cafile=options.certificate or settings / CERTIFICATE)

    def ask(self, method, path, what=None, **headers):
        line = http.client.HTTPSConnection("127.0.0.1", self.server.port, timeout=LIMIT_S, context=self.trusting)
        line.request(method, path, None if what is None else json.dumps(what), headers)
        answer = line.getresponse()
        answer.body = answer.read()
        line.close()
        return answer

    def connect(self):
        return socket.create_connection(("127.0.0.1", self.server.port), timeout=LIMIT_S)

    def connect_encrypted(self):
        return self.trusting.wrap_socket(self.connect(), server_hostname="127.0.0.1")


@pytest.fixture
def served(settings):
    made = Served(settings, own_certificate=True)
    yield made
    made.server.close()


def test_its_own_certificate_fits_its_addresses_and_is_made_once(settings, served):
    # The standard library checks the certificate against itself as the root, and against the address.
    assert served.ask("GET", "/").status == 200
    assert served.server.address.startswith("https://")
    der = ssl.PEM_cert_to_DER_cert((settings / CERTIFICATE).read_text())
    assert served.server.fingerprint.replace(":", "").lower() == hashlib.sha256(der).hexdigest()
    again = own_encryption(settings, "127.0.0.1")
    assert again.fingerprint() == served.server.fingerprint
    for name in (CERTIFICATE, KEY):
        assert stat.S_IMODE((settings / name).stat().st_mode) == 0o600
    assert b"BEGIN PRIVATE KEY" in (settings / KEY).read_bytes()


def test_a_certificate_that_ends_is_made_anew(settings, monkeypatch):
    first = own_encryption(settings, "127.0.0.1").fingerprint()
    kept = x509.load_pem_x509_certificate((settings / CERTIFICATE).read_bytes())
    assert kept.not_valid_after_utc - kept.not_valid_before_utc < dt.timedelta(days=825)
    monkeypatch.setattr("dashboard.certificate._now", lambda: kept.not_valid_after_utc - dt.timedelta(days=1))
    assert own_encryption(settings, "127.0.0.1").fingerprint() != first


def test_old_protocols_are_refused(served):
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.maximum_version = ssl.TLSVersion.TLSv1_1
    with served.connect() as line, pytest.raises(OSError):  # noqa: PT011 - which alert it is depends on the library
        old.wrap_socket(line)


def test_nothing_is_answered_without_encryption(served):
    with served.connect() as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert not line.recv(1000).startswith(b"HTTP")


def test_noise_instead_of_a_handshake_and_silence_amid_one_hold_nobody_up(served):
    silent = [served.connect() for _ in range(100)]  # more than there are threads
    begun = [served.connect() for _ in range(20)]
    for line in begun:
        line.sendall(b"\x16\x03\x01\x02\x00\x01")  # the beginning of a ClientHello (RFC 8446, section 5.1)
    for noise in (b"\x16\x03\x01\x00\x05hello", b"\x00" * 500, b"\xff" * 500):
        with served.connect() as line:
            line.sendall(noise)
    assert served.ask("GET", "/feed/now").status == 200
    for line in (*silent, *begun):
        line.close()
    assert served.ask("GET", "/feed/now").status == 200


def test_large_answers_and_large_questions_come_whole(served):
    plain = PageServer(served.hall, port=0)
    plain.start()
    line = http.client.HTTPConnection("127.0.0.1", plain.port, timeout=LIMIT_S)
    path = "/_dash-component-suites/plotly/package_data/plotly.min.js"
    line.request("GET", path)
    expected = line.getresponse().read()
    line.close()
    plain.close()
    assert len(expected) > 1_000_000
    assert served.ask("GET", path).body == expected
    # One record of TLS holds 16 kB at most: this is more, and refused for what it is, not lost on the way.
    answer = served.ask("POST", "/enter", {"passphrase": "x" * 50_000}, **{"X-Pilotlamp": "act"})
    assert answer.status == 400


def test_events_stream_and_a_viewer_that_never_reads_gives_its_stream_back(settings, monkeypatch):
    monkeypatch.setattr("dashboard.feed.STREAMS_LIMIT", 1)
    monkeypatch.setattr("dashboard.server.DEAD_VIEWER_MS", 1000)
    monkeypatch.setattr("dashboard.asgi.PIECE_WITHIN_S", 1.0)
    monkeypatch.setattr("dashboard.feed.TICK_S", 0.001)
    served = Served(settings, own_certificate=True)
    ask = b"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"

    def answer():
        with served.connect_encrypted() as other:
            other.sendall(ask)
            return other.recv(12)

    try:
        with socket.socket() as unread:
            unread.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            unread.connect(("127.0.0.1", served.server.port))
            with served.trusting.wrap_socket(unread, server_hostname="127.0.0.1") as viewer:
                viewer.sendall(ask)
                assert viewer.recv(12).endswith(b"200")
                assert answer().endswith(b"503")
                until(lambda: answer().endswith(b"200"))
    finally:
        served.server.close()


def test_the_cookie_of_a_visit_goes_encrypted_only(served):
    entered = served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR)
    assert {"Secure", "HttpOnly", "SameSite=Strict"} <= set(entered.getheader("Set-Cookie").split("; "))
    cookie = entered.getheader("Set-Cookie").split(";")[0]
    origin = f"https://127.0.0.1:{served.server.port}"
    mute = {"kind": "mute", "minutes": 1}
    assert served.ask("POST", "/act", mute, **VISITOR, Cookie=cookie, Origin=origin).status == 200
    assert served.ask("POST", "/act", mute, **VISITOR, Cookie=cookie, Origin=origin.replace("s:", ":")).status == 403


def test_browsers_are_told_to_insist_only_where_somebody_vouches_for_the_certificate(settings, served, tmp_path):
    # RFC 6797, section 11.3: with a self-signed certificate, insisting locks visitors out.
    assert served.ask("GET", "/").getheader("Strict-Transport-Security") is None
    both = tmp_path / "both.pem"
    both.write_bytes((settings / CERTIFICATE).read_bytes() + (settings / KEY).read_bytes())
    given = Served(settings, certificate=both)
    assert given.ask("GET", "/").getheader("Strict-Transport-Security") == "max-age=86400"
    given.server.close()


def test_certificates_that_are_of_no_use_are_one_sentence(settings, tmp_path):
    own_encryption(settings, "127.0.0.1")
    own_encryption(tmp_path / "other", "127.0.0.1")
    key = serialization.load_pem_private_key((settings / KEY).read_bytes(), None)
    locked = tmp_path / "locked.pem"
    secret = serialization.BestAvailableEncryption(b"a secret")
    locked.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, secret))
    certificate = settings / CERTIFICATE
    for pair in ((tmp_path / "none", None), (certificate, None), (certificate, tmp_path / "other" / KEY), (certificate, locked)):
        with pytest.raises(PageError, match=r"--cert .* --key") as caught:
            PageServer(Hall(4), port=0, options=PageOptions(certificate=pair[0], key=pair[1]))
        assert "\n" not in str(caught.value)
    with pytest.raises(PageError, match="--cert"):
        PageServer(Hall(4), port=0, options=PageOptions(key=settings / KEY))
    with pytest.raises(PageError, match="no certificate"):
        Encryption(certificate=settings / KEY, key=None, vouched=True).fingerprint()


def test_the_command_prints_the_fingerprint_and_drops_the_words_about_reading_along(settings, tmp_path, monkeypatch):
    code, out, err = ended("demo", "--share", "--tls", "--no-record", "--web-port", 0, "--seconds", 1, cwd=tmp_path)
    assert code == 0, err
    assert own_encryption(settings, "127.0.0.1").fingerprint() in out
    assert "The page is at https://" in out
    assert "Without encryption" not in out


@pytest.mark.browser
def test_a_browser_follows_the_encrypted_page(served, browser):
    served.hall.start()
    context = browser.new_context(ignore_https_errors=True)
    page = context.new_page()
    page.set_default_timeout(60_000)
    try:
        page.goto(f"https://127.0.0.1:{served.server.port}/")
        page.wait_for_selector('[data-district="0"]:not([data-level="stale"])')
        page.goto(f"https://127.0.0.1:{served.server.port}/enter#{served.server.invitation().split('#')[1]}")
        page.wait_for_url(f"https://127.0.0.1:{served.server.port}/")
        assert [(kept["httpOnly"], kept["secure"]) for kept in context.cookies()] == [(True, True)]
    finally:
        context.close()
        served.hall.stop()
