"""The Stalls page in headless Chromium: what comes is listed, opens and is kept, live and from a recorded session."""

import numpy as np
import pytest
from playwright.sync_api import expect

from monitor.layout import parse_layout
from monitor.runtime.replay import session_pipeline
from monitor.sessions import find_sessions
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.recorder import Recorder
from monitor.values import Cause, Chunk, Event, Snapshot, SnapshotChannel
from tests.browser.hall import Hall
from tests.sessions.shows import BEGAN_AT, SHORT_S, rehearsed_short

pytestmark = pytest.mark.browser
PATIENT_MS = 60_000


def lost(number, at_s):
    return Event(
        id=number, district="Outer main", cause=Cause.LOST_CONTACT, start_s=at_s - 0.2, end_s=at_s, confidence=0.95,
        evidence={"amps_before": 2.0, "amps_lowest": 0.1, "volts_before": 14.0},
    )  # fmt: skip


def snapshot(event):
    channels = tuple(SnapshotChannel(district="Outer main", quantity=quantity, skew_s=0.0) for quantity in "VA")
    values = np.sin(np.arange(800) / 2)[:, None].astype(np.float32) * [20.0, 3.0]
    return Snapshot(
        event_id=event.id, board="bench-1", start_s=event.start_s - 0.3, interval_s=0.001, channels=channels, values=values.astype(np.float32)
    )  # fmt: skip


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """A folder with one recorded session: a rehearsed short."""
    wire, layout_text = rehearsed_short()
    folder = tmp_path_factory.mktemp("recordings")
    recorder = Recorder(folder, layout_text, began_at=BEGAN_AT, reserve_bytes=0)
    pipeline = session_pipeline(parse_layout(layout_text))
    size = -(-len(wire) // (SHORT_S * 10))
    for k in range(SHORT_S * 10):
        recorder.put(pipeline.feed("p", Chunk(data=wire[k * size : (k + 1) * size], received_s=round((k + 1) / 10, 6))))
    recorder.put(pipeline.finish("p"))
    recorder.close()
    return folder


@pytest.fixture
def one(show, recordings):
    hall = Hall(4)
    hall.recordings = recordings
    shown = show(hall)
    yield shown
    assert shown.troubles == []


def test_what_comes_is_listed_opens_and_can_be_taken_away(one):
    page = one.open("stalls", ready=False)
    page.set_default_timeout(PATIENT_MS)
    page.wait_for_selector("text=Nothing so far.")
    first, second = lost(1, one.hall.now_s()), lost(2, one.hall.now_s() + 0.1)
    one.hall.publish(events=(first,), snapshots=(snapshot(first),))
    page.wait_for_selector('li[data-event="1"][aria-current="true"]')
    page.wait_for_selector("#stall-moment canvas[data-plot]")
    one.hall.publish(events=(second,))
    page.wait_for_selector('li[data-event="2"][aria-current="true"]')
    page.wait_for_selector("text=No samples of this moment")
    one.hall.publish(snapshots=(snapshot(second),))
    page.wait_for_selector("#stall-moment canvas[data-plot]")
    page.locator('li[data-event="1"] a').click()
    page.wait_for_selector('li[data-event="1"][aria-current="true"]')
    page.wait_for_selector('#stall-moment a[href="/stalls/event-1/csv"]')
    with page.expect_download() as download:
        page.get_by_role("link", name="COMTRADE", exact=True).click()
    assert download.value.suggested_filename == "event-0001_lost-contact_outer-main_comtrade.zip"
    page.go_back()
    page.wait_for_selector('li[data-event="2"][aria-current="true"]')


def test_a_remark_is_kept_and_shown(one):
    page = one.open("stalls", width=360, height=740, ready=False)
    page.set_default_timeout(PATIENT_MS)
    page.get_by_role("textbox", name="What was done").fill("cleaned rails")
    page.locator("#stall-where").select_option("Inner main")
    page.get_by_role("button", name="Remember it").click()
    page.wait_for_selector("text=cleaned rails (Inner main)")
    assert [(action.kind, action.text) for action in one.hall.operated] == [("mark", "cleaned rails")]
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_stalls_of_a_recorded_session(one, recordings):
    (session,) = find_sessions(recordings)
    page = one.open("stalls", ready=False)
    page.set_default_timeout(PATIENT_MS)
    page.get_by_label("Stalls of").select_option(session.name)
    page.wait_for_url("**/stalls?session=*")
    events = read_notices(session, "events", Event)
    expect(page.locator("#stall-list li")).to_have_count(len(events), timeout=PATIENT_MS)
    short = next(event for event in events if event.cause is Cause.SHORT)
    page.locator(f'li[data-event="{short.id}"] a').click()
    page.wait_for_selector("text=A short circuit: the amps leapt")
    page.wait_for_selector("#stall-moment canvas[data-plot]")
    assert page.get_by_role("button", name="Remember it").count() == 0
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").click()
    assert download.value.suggested_filename.startswith(f"event-{short.id:04d}_short_")


def test_the_keyboard_reaches_the_explanation_in_three_stops(one):
    page = one.open("stalls", ready=False)
    page.set_default_timeout(PATIENT_MS)
    one.hall.publish(events=(lost(1, one.hall.now_s()),))
    page.wait_for_selector("#stall-moment:has-text('A train lost contact')")
    for stop in ("Skip to the page", "Skip to why it stalled"):
        page.keyboard.press("Tab")
        expect(page.locator(":focus")).to_have_text(stop)
        page.keyboard.press("Enter")
    expect(page.locator(":focus")).to_have_id("stall-moment")
    expect(page.locator(":focus")).to_contain_text("A train lost contact")
