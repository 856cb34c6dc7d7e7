"""The one-time link on the host's terminal, also as a QR code to hold a tablet to."""

import io

NOT_ENCRYPTED = (
    " Without encryption others in this network can read along what devices send: use a passphrase here that you use "
    "nowhere else, or add --tls."
)


def invitation_lines(link: str, *, encrypted: bool) -> str:
    """What to print for a shared page.

    Args:
        link: The one-time link.
        encrypted: Whether the page is.
    """
    import segno  # noqa: PLC0415 - only a shared page needs it

    drawn = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(drawn, compact=True, border=2)
    return (
        f"{drawn.getvalue()}The local network may look. This link lets one device act too, once, within 15 minutes:\n  {link}\n"
        f"Keep it from visitors.{'' if encrypted else NOT_ENCRYPTED}"
    )
