"""The one-time link on the host's terminal, also as a QR code to hold a tablet to."""

import io


def invitation_lines(link: str) -> str:
    """What to print for a shared page.

    Args:
        link: The one-time link.
    """
    import segno  # noqa: PLC0415 - only a shared page needs it

    drawn = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(drawn, compact=True, border=2)
    return (
        f"{drawn.getvalue()}The local network may look. This link lets one device act too, once, within 15 minutes:\n  {link}\n"
        "Keep it from visitors. Without encryption others in this network can read along what devices send, so use a passphrase "
        "here that you use nowhere else."
    )
