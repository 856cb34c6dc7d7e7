"""The one-time links that let a browser act: this computer's own is opened in its browser, another device's shown as a QR code, too."""

import contextlib
import io
import os
import sys
import threading
import webbrowser

NOT_ENCRYPTED = (
    " Without encryption others in this network can read along what devices send: use a passphrase here that you use "
    "nowhere else, or add --tls."
)


def own_link_lines(link: str, *, opens: bool) -> str:
    """What to print for this computer."""
    begin = "It opens in the browser, which may act then; otherwise open" if opens else "To act from this computer, open"
    return f"{begin} this link, once, within 15 minutes:\n  {link}"


def invitation_lines(link: str, *, encrypted: bool) -> str:
    """What to print for a shared page."""
    import segno  # noqa: PLC0415 - only a shared page needs it

    drawn = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(drawn, compact=True, border=2)
    return (
        f"{drawn.getvalue()}The local network may look. This link lets one device act too, once, within 15 minutes:\n  {link}\n"
        f"Keep it from visitors.{'' if encrypted else NOT_ENCRYPTED}"
    )


def open_browser(link: str) -> bool:
    """Open a link in the browser of this desktop, without waiting for it.

    Returns:
        Whether there is a browser with windows and somebody to see it: a service, a script or a remote terminal has none.
    """
    if sys.platform in ("win32", "darwin"):
        has_screen = "SSH_CONNECTION" not in os.environ
    else:
        has_screen = bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    if not (has_screen and sys.stdout.isatty()):
        return False
    with contextlib.suppress(webbrowser.Error):
        browser = webbrowser.get()
        # The library takes a browser in the terminal where there is no other: it would take the terminal from the watch.
        if type(browser) is not webbrowser.GenericBrowser:
            threading.Thread(target=browser.open, args=(link,), name="browser", daemon=True).start()
            return True
    return False
