"""Pages: each module has ``register(app, watch)`` and gives its page what it needs; only what stands here exists."""

from typing import Protocol

import dash

from dashboard.pages import before, district, help_page, live, review, setup, stalls
from dashboard.watch import WatchLike


class Page(Protocol):
    """A page's module."""

    def register(self, app: dash.Dash, watch: WatchLike) -> None:
        """Register the page, with ``in_menu`` saying whether the menu shows it, and its callbacks."""


PAGES: tuple[Page, ...] = (live, stalls, review, before, setup, help_page, district)
"""In the order of the menu."""

FIRST_PAGES: tuple[Page, ...] = (setup,)
"""While there is no layout yet."""

__all__ = ["FIRST_PAGES", "PAGES", "Page"]
