"""The first hour in a browser, from an empty folder to the first right figure, on a board at a pty whose throttles the test turns.

Oracles: the sines that the board is made to send (worked out in ``tests.link.plugs``), and the layout file read back by ``load_layout``.
A click, a key or a filled-in field each count as one act; a person takes three seconds for each (common practice, no published source).
"""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import expect

from monitor.layout import load_layout
from tests.link.plugs import Plug, TurnedBoard, until

ROOT = Path(__file__).parent.parent.parent
ACT_S = 3.0
FIRST_HOUR_S = 180.0
SHOTS = os.environ.get("SETUP_SHOTS", "")


class Person:
    """Sits before the page, counts what is done there and keeps pictures where they are asked for."""

    def __init__(self, page):
        self.page, self.acts, self.pictures = page, 0, 0

    def fill(self, key, text):
        self.acts += 1
        self.page.locator(f'input[data-key="{key}"]').fill(text)

    def choose(self, key, word):
        self.acts += 1
        self.page.locator(f'input[data-key="{key}"][value="{word}"]').check()

    def press(self, name):
        self.acts += 1
        self.page.get_by_role("button", name=name).click()

    def sees(self, card):
        expect(self.page.locator("[data-setup-card]")).to_have_attribute("data-card", card)
        if SHOTS:
            self.pictures += 1
            self.page.screenshot(path=f"{SHOTS}/{self.pictures:02d}.png", full_page=True)

    def next(self, card):
        self.press("Next")
        self.sees(card)


@pytest.fixture
def first_hour(tmp_path, browser):
    """An empty folder, a board, pilotlamp alone, and a person at its page."""
    plug = Plug(tmp_path / "usb")
    board = TurnedBoard(plug)
    command = [sys.executable, "-m", "monitor", "watch", "--web-port", "0", "--no-browser"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    link = next(found[0] for line in process.stdout if (found := re.search(r"http\S+/enter#\S+", line)))
    context = browser.new_context(viewport={"width": 1200, "height": 900})
    page = context.new_page()
    page.set_default_timeout(60_000)
    troubles = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.goto(link)
    yield tmp_path, plug, board, Person(page)
    context.close()
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=120)
    board.stop()
    plug.pull_out()
    assert troubles == []


def plug_in(person, plug):
    person.sees("boards")
    person.page.locator("#setup-port").fill(plug.device)
    person.acts += 1
    person.press("Listen there")
    expect(person.page.locator(".port").filter(has_text='Board "bench-1"')).to_have_count(1)
    person.press("These are my boards: go on")
    person.sees("layout")


def supply(person):
    person.fill("title", "Fernhollow show layout")
    person.fill("mains.volts", "120V")
    person.fill("mains.hertz", "60")
    person.next("supply.0.plate")
    person.fill("supply.0.name", "North bench")
    person.fill("supply.0.rated", "180 VA")
    person.fill("supply.0.max_volts", "18")
    person.next("supply.0.protection")
    person.choose("supply.0.protection", "thermal")
    person.fill("supply.0.protection_amps", "10 A")
    person.next("supply.0.outputs")
    person.fill("supply.0.outputs", "2")
    person.next("supply.0.outputs.names")
    person.next("supply.0.bench")
    # Nothing was looked at: the bench check stays open, and the page says so.
    person.next("supply.0.more")
    person.next("pair.bench-1.1")


def turn(person, board, pair, name, output, following):
    board.rms[2 * pair - 2] = 12.0
    person.page.wait_for_timeout(500)
    expect(person.page.locator(".moved")).to_contain_text(f"Pair {pair} of board bench-1 moved")
    person.press("Name it")
    person.sees(f"pair.bench-1.{pair}")
    person.fill(f"pair.bench-1.{pair}.name", name)
    person.choose(f"pair.bench-1.{pair}.output", output)
    person.next(following)
    person.page.wait_for_timeout(3500)  # the next throttle is turned once this one has stood still


def test_from_nothing_to_the_first_right_figure(first_hour):
    folder, plug, board, person = first_hour
    page = person.page
    plug_in(person, plug)
    supply(person)
    expect(page.locator(".warning")).to_contain_text("Do not switch North bench on yet.")
    # Pair 2 moves first: its card opens, though pair 1 has no name yet.
    turn(person, board, 2, "Inner main", "North bench / B", "pair.bench-1.1")
    turn(person, board, 1, "Outer main", "North bench / A", "calibrate")
    board.rms[:] = [0.0, 0.0, 0.0, 0.0]
    person.choose("calibrate", "yes")
    person.next("zero.bench-1")
    # Amps that flow at zero are refused before any meter is read.
    board.rms[1] = 1.5
    until(
        lambda: (
            "A" in page.locator(".now").inner_text()
            and float(re.search(r"([\d.]+) A", page.locator(".now").inner_text())[1]) > 1.4
        )
    )
    person.choose("zero.bench-1", "yes")
    person.press("Next")
    expect(page.locator(".complaint").first).to_contain_text("at zero this channel")
    board.rms[1] = 0.0
    page.wait_for_timeout(3000)
    person.next("gain.bench-1.0")
    expect(page.locator("label").first).to_contain_text("volts of Outer main")
    board.rms[:] = [14.2, 3.0, 9.0, 2.0]
    page.wait_for_timeout(3000)
    person.fill("gain.bench-1.0", f"{14.2 * 2**0.5:.1f}")
    person.press("Next")
    expect(page.locator(".complaint").first).to_contain_text("peak for the RMS")
    for channel, reading in enumerate(("14.2", "3.00", "9.0", "2.00")):
        person.fill(f"gain.bench-1.{channel}", reading)
        person.press("Next")
        person.sees(f"gain.bench-1.{channel + 1}" if channel < 3 else "write")
    person.press("Write and begin to watch")
    # The first right figures, live: what the board's sines are, though it knows neither its zero nor its gain.
    outer, inner = (page.locator("[data-district]").filter(has_text=name) for name in ("Outer main", "Inner main"))
    expect(outer).to_contain_text(re.compile(r"14\.[12]\s*V"))
    expect(outer).to_contain_text(re.compile(r"(3\.0|2\.9)\d?\s*A"))
    expect(inner).to_contain_text(re.compile(r"(9\.0|8\.9)\s*V"))
    if SHOTS:
        page.screenshot(path=f"{SHOTS}/99.png")
        Path(SHOTS, "acts.txt").write_text(f"{person.acts} acts\n")
    assert person.acts * ACT_S < FIRST_HOUR_S, f"{person.acts} acts"
    layout = load_layout(folder / "layout.toml")
    assert [(d.name, d.output_name, d.volts_channel) for d in layout.district] == [
        ("Outer main", "North bench/A", 0),
        ("Inner main", "North bench/B", 2),
    ]
    for channel in range(4):
        kept = layout.channel_calibration("bench-1", channel)
        assert (kept.gain, kept.zero) == (pytest.approx(board.GAIN, rel=0.02), pytest.approx(board.ZERO_COUNTS, abs=0.2))
    assert not (folder / "layout.toml.draft").exists()


def test_by_key_alone_at_320_pixels(first_hour):
    _, plug, _, person = first_hour
    page = person.page
    page.set_viewport_size({"width": 320, "height": 640})
    plug_in(person, plug)
    assert page.evaluate("document.activeElement.tagName") == "H2", "a screen reader begins at the new card's title"
    page.keyboard.press("Tab")
    page.keyboard.type("Fernhollow show layout")
    page.keyboard.press("Tab")
    page.keyboard.type("1200")
    page.keyboard.press("Enter")
    wrong = page.get_by_label("Mains volts where you are?")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    expect(wrong).to_be_focused()
    described = wrong.get_attribute("aria-describedby").split()
    assert any("not from 90 to 260 V" in page.locator(f'[id="{each}"]').inner_text() for each in described)
    page.keyboard.press("Control+a")
    page.keyboard.type("120")
    page.keyboard.press("Tab")
    page.keyboard.press("Control+a")
    page.keyboard.type("60")
    page.keyboard.press("Enter")
    person.sees("supply.0.plate")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    entries = page.locator("[data-setup-card] :is(input, select)")
    names = entries.evaluate_all("all => all.map(each => each.labels.length > 0 && each.labels[0].innerText.trim() !== '')")
    assert names
    assert all(names)
    assert page.locator("[aria-current=step]").inner_text() == "Supplies"
    # Reloaded, it goes on where it was, with what was typed.
    page.reload()
    person.sees("supply.0.plate")
    page.get_by_role("button", name="The layout").click()
    expect(page.get_by_label("What is the layout called?")).to_have_value("Fernhollow show layout")
    # An answer that comes late and draws the same card again takes nothing back that was typed meanwhile.
    held = []

    def hold(route):
        held.append(route)

    page.route("**/setup/state", hold)
    page.get_by_role("button", name="The layout").click()
    page.wait_for_timeout(300)
    assert held, "the step is on its way"
    page.get_by_label("What is the layout called?").fill("Fernhollow at night")
    with page.expect_response("**/setup/state"):
        for route in held:
            route.continue_()
    page.wait_for_timeout(300)
    expect(page.get_by_label("What is the layout called?")).to_have_value("Fernhollow at night")
    page.unroute("**/setup/state", hold)
