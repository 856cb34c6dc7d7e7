"""The checkup's look at the page: it is really opened and asked."""

import argparse
import socket

import pytest

from dashboard.certificate import CERTIFICATE, KEY, own_encryption
from monitor.cli.doctor import try_page
from monitor.cli.page import configure_looking
from monitor.layout import parse_layout
from tests.cli.test_watch import PLAIN


def checks_of(*arguments, layout=None):
    parser = argparse.ArgumentParser()
    configure_looking(parser)
    args = parser.parse_args(["--web-port", "0", *map(str, arguments)])
    return {check.name: check for check in try_page(args, layout)}


@pytest.fixture
def settings(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return tmp_path / "pilotlamp"


@pytest.mark.parametrize("layout", [None, parse_layout(PLAIN)])
def test_the_page_is_opened_and_asked(layout):
    found = checks_of(layout=layout)
    assert found["page"].good
    assert "gets the page" in found["page"].found
    assert found["encryption"].found == "Off; the page stays on this computer."


def test_a_shared_page_says_where_others_find_it_and_that_they_can_read_along():
    found = checks_of("--share")
    assert found["page"].good
    assert "firewall" in found["other devices"].remedy
    assert "--tls" in found["encryption"].remedy


def test_encryption_is_tried_too_and_a_key_for_all_is_told(settings):
    found = checks_of("--tls")
    assert found["page"].good
    assert found["page"].found.startswith("A browser that asks for https://")
    assert found["encryption"].good
    own_encryption(settings, "127.0.0.1")
    given = ("--cert", settings / CERTIFICATE, "--key", settings / KEY)
    assert checks_of(*given)["key"].good
    (settings / KEY).chmod(0o644)
    assert checks_of(*given)["key"].remedy == f"Keep it from them: chmod 600 {settings / KEY}"


def test_a_certificate_that_ends_soon_is_told(settings, monkeypatch):
    monkeypatch.setattr("dashboard.certificate.LASTS", own_encryption.__globals__["RENEWED_BEFORE"] * 2)
    found = checks_of("--tls")
    assert not found["encryption"].good
    assert "new certificate" in found["encryption"].remedy


def test_a_busy_port_and_a_certificate_of_no_use(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        parser = argparse.ArgumentParser()
        configure_looking(parser)
        args = parser.parse_args(["--web-port", str(taken.getsockname()[1])])
        (check,) = try_page(args, None)
    assert not check.good
    assert "--web-port" in check.remedy
    (check,) = checks_of("--cert", tmp_path / "none.pem").values()
    assert not check.good
    assert "--cert" in check.remedy
