"""The link of this computer goes to a browser with windows, and never to one that would take the terminal."""

import threading
import webbrowser

import pytest

from monitor.cli.login_link import open_browser


@pytest.mark.parametrize(
    ("environment", "on_a_terminal", "kind", "opens"),
    [
        ({"DISPLAY": ":0"}, True, webbrowser.UnixBrowser, True),
        ({"WAYLAND_DISPLAY": "w"}, True, webbrowser.BackgroundBrowser, True),
        ({"DISPLAY": ":0"}, False, webbrowser.UnixBrowser, False),  # a service, a script, a test
        ({}, True, webbrowser.UnixBrowser, False),
        ({"DISPLAY": ":0"}, True, webbrowser.GenericBrowser, False),  # one that would take the watch's terminal
    ],
)
def test_the_link_opens_in_a_browser_with_windows_only(monkeypatch, environment, on_a_terminal, kind, opens):
    opened = threading.Event()
    browser = kind("a browser")
    browser.open = lambda link: link == "the link" and opened.set()
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(webbrowser, "get", lambda: browser)
    monkeypatch.setattr("sys.stdout.isatty", lambda: on_a_terminal, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert open_browser("the link") is opens
    assert opened.wait(10.0 if opens else 0.0) is opens
