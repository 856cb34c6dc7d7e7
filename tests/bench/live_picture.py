"""The picture of the live page in the README: ``python -m tests.bench.live_picture`` (two minutes; needs Chromium).

Runs the demonstration, waits until its first overload asks to act now, and takes the page as it stands then. ``--folder DIR`` takes
every page at four widths, light and dark, to be looked at.
"""

import argparse
import contextlib
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.hall import CHROMIUM_ARGS, chromium_path

PICTURE = Path(__file__).parents[2] / "firmware_notes" / "live-page.png"
BYTES_LIMIT = 200_000
PAGES = {
    "live": "/", "wall": "/?wall", "stalls": "/stalls", "review": "/review", "before": "/before", "help": "/help",
    "district": "/district?name=Outer%20main", "enter": "/enter", "none": "/nothing",
}  # fmt: skip
SIZES = ((1920, 1080), (1280, 800), (768, 1024), (320, 640))
SETTLES_MS = 4000
ACT_NOW_MS = 150_000


@contextlib.contextmanager
def demo(*options):
    """A running demonstration; gives its page's address."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "monitor", "demo", "--no-browser", "--web-port", "0", "--recordings", folder, *options]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            yield next(found[1] for line in process.stdout if (found := re.search(r"page is at (http\S+)/", line)))
        finally:
            process.terminate()
            process.communicate(timeout=30)


def main():
    """Take the picture, or all pages into a folder."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path)
    folder = arguments.parse_args().folder
    with demo() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        if folder is None:
            page = browser.new_page(viewport={"width": 1280, "height": 860}, color_scheme="dark")
            page.goto(address)
            page.wait_for_selector('[data-headline][data-level="high"]', timeout=ACT_NOW_MS)
            page.wait_for_timeout(SETTLES_MS)
            page.screenshot(path=PICTURE)
            print(f"{PICTURE.name}: {PICTURE.stat().st_size} bytes, at most {BYTES_LIMIT}")
        else:
            take_all(browser, address, folder)
        browser.close()


def take_all(browser, address, folder):
    """Every page at four widths, light and dark."""
    folder.mkdir(exist_ok=True)
    for scheme in ("dark", "light"):
        for width, height in SIZES:
            context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
            for name, path in PAGES.items():
                page = context.new_page()
                page.goto(address + path)
                page.wait_for_timeout(SETTLES_MS)
                page.screenshot(path=folder / f"{name}_{width}_{scheme}.png", full_page=name != "wall")
                page.close()
            context.close()


if __name__ == "__main__":
    main()
