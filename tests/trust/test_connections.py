"""Connections that trickle, idle and crowd (CWE-400, CWE-770): a request has a time, an address a number, this computer a place."""

import http.client
import socket
import time

import pytest

from dashboard import connections
from dashboard.app import PageServer
from dashboard.connections import HERE, OF_ADDRESS, OF_HERE, OF_VISITORS, ConnectionCounts
from tests.browser.hall import Hall


@pytest.fixture
def server(monkeypatch):
    monkeypatch.setattr(connections, "REQUEST_WITHIN_S", 2.0)
    made = PageServer(Hall(4), port=0)
    made.start()
    yield made
    made.close()


def now(server):
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=60)
    line.request("GET", "/feed/now")
    status = line.getresponse().status
    line.close()
    return status


def until_closed(line, feed=lambda: None):
    """Seconds until the server ends a connection."""
    began_s = time.monotonic()
    line.settimeout(0.2)
    while time.monotonic() - began_s < 60:
        try:
            feed()
            if line.recv(1000) == b"":
                break
        except TimeoutError:
            continue
        except OSError:
            break
    return time.monotonic() - began_s


@pytest.mark.parametrize(
    "first", [b"", b"GET / HTTP/1.1\r\n", b"POST /act HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99\r\n\r\n"]
)
def test_a_request_that_trickles_is_given_up_however_it_trickles(server, first):
    with socket.create_connection(("127.0.0.1", server.port)) as line:
        line.sendall(first)
        took_s = until_closed(line, feed=(lambda: line.sendall(b"X-A: b\r\n")) if first.startswith(b"GET") else lambda: None)
    assert 1.0 < took_s < 20


def test_a_second_request_has_the_same_time(server):
    with socket.create_connection(("127.0.0.1", server.port)) as line:
        line.sendall(f"GET /feed/now HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode())
        assert line.recv(12).endswith(b"200")
        line.sendall(b"GET /feed/now HTTP/1.1\r\n")
        assert until_closed(line, feed=lambda: line.sendall(b"X-A: b\r\n")) < 20


def test_hundreds_that_trickle_keep_this_computer_from_nothing(server):
    lines = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(300)]
    for line in lines:
        line.sendall(b"GET / HTTP/1.1\r\n")
    assert now(server) == 200
    for line in lines:
        line.close()


def test_an_address_has_so_many_and_visitors_together_leave_room():
    counts = ConnectionCounts()
    assert [counts.admit("192.0.2.1") for _ in range(OF_ADDRESS + 2)] == [True] * OF_ADDRESS + [False] * 2
    crowd = sum(counts.admit(f"198.51.100.{k % 250}") for k in range(1000))
    assert crowd == OF_VISITORS - OF_ADDRESS
    assert all(counts.admit(HERE[0]) for _ in range(OF_HERE))
    assert not counts.admit(HERE[0])
    counts.release("192.0.2.1")
    assert counts.admit("192.0.2.1")
