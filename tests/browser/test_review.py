"""The Review page in a real browser: from the whole of a session down to samples, by keys, by mouse, on a phone."""

import json
import shutil
import threading
from pathlib import Path

import pandas as pd
import pytest
from playwright.sync_api import expect

from dashboard.trend_job import TrendJob
from monitor.layout import parse_layout
from monitor.runtime.replay import session_pipeline
from monitor.sessions import SessionFolder
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.recorder import Recorder
from monitor.values import Cause, Chunk, Event
from tests.browser.hall import Hall
from tests.sessions.shows import BEGAN_AT, SHORT_S, rehearsed_short

pytestmark = pytest.mark.browser
RECORDINGS = Path(__file__).parents[2] / "recordings"
WAVES = "2026-05-16_09-30-00_fernhollow-show-layout"
"""The session among those that come with the program that holds waveforms."""
PATIENCE_MS = 60_000


@pytest.fixture
def review(show):
    hall = Hall(4)
    hall.recordings = RECORDINGS
    shown = show(hall)
    yield shown
    assert shown.troubles == []


def opened(review, **options):
    page = review.open(f"review?session={WAVES}", ready=False, **options)
    page.set_default_timeout(PATIENCE_MS)
    page.wait_for_selector('[data-shown="rows"]')
    return page


def press_until(page, key, level):
    """Press until the level of detail is there; each press waits for its own answer."""
    for _ in range(12):
        if page.get_attribute("[data-review]", "data-shown") == level:
            return
        with page.expect_response(lambda answer: "/review/stretch" in answer.url):
            page.keyboard.press(key)
        page.wait_for_function("() => document.querySelector('[data-review]').dataset.shown !== undefined")
    page.wait_for_selector(f'[data-shown="{level}"]')


def test_by_keys_from_the_whole_to_samples_and_back(review):
    page = opened(review)
    page.locator("[data-lanes]").focus()
    press_until(page, "+", "samples")
    page.keyboard.press("Home")
    page.wait_for_selector('[data-shown="rows"]')
    page.keyboard.press("n")
    page.wait_for_selector('[data-shown]:not([data-shown="rows"])')
    assert "Outer main" in page.inner_text("[data-reading]")


def test_by_mouse_a_stretch_is_drawn_out_and_an_event_is_gone_to(review):
    page = opened(review)
    box = page.locator("[data-lanes]").bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 120)
    page.mouse.down()
    page.mouse.move(box["x"] + 320, box["y"] + 120, steps=3)
    page.mouse.up()
    page.wait_for_selector('[data-shown="cycles"]')
    page.click('[data-move="whole"]')
    page.wait_for_selector('[data-shown="rows"]')
    page.locator("[data-goto]").first.click()
    page.wait_for_function("() => document.activeElement.dataset.lanes !== undefined")
    assert review.requests
    assert all(url.startswith((review.server.address, "data:", "blob:")) for url in review.requests)


@pytest.mark.parametrize(("width", "height"), [(360, 740), (320, 640)])
def test_on_a_phone_nothing_hangs_over_and_everything_can_be_touched(review, width, height):
    page = opened(review, width=width, height=height, has_touch=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        "() => [...document.querySelectorAll('#review-main button')].filter(b => b.offsetParent && b.offsetHeight < 43).map(b => b.innerText)"
    )
    assert small == []
    page.tap('[data-move="in"]')
    page.wait_for_selector('[data-shown="cycles"]')


def chosen_moment(page, event):
    """Waits until the event's samples are drawn; what the plot holds, as lists of (x, y)."""
    page.wait_for_selector("#review-moment canvas[data-plot]")
    page.wait_for_selector(f'#review-moment a[href^="/stalls/event-{event.id}/csv?session="]')
    return page.evaluate(
        """() => JSON.parse(document.querySelector('#review-moment canvas[data-plot]').dataset.plot).waves.flatMap(
            axis => axis.lines.map(line => [`${line.name}, ${axis.name}`, line.at, line.values]))"""
    )


def test_at_1280_tables_of_figures_fit(review):
    page = opened(review, width=1280, height=800)
    page.wait_for_selector('[aria-label="Districts"] table')
    over = page.eval_on_selector_all(".review .scroll", "all => all.map(each => each.scrollWidth - each.clientWidth)")
    assert len(over) >= 2
    assert max(over) <= 0


def test_choosing_an_event_shows_its_kept_samples(review):
    page = opened(review)
    session = SessionFolder(RECORDINGS / WAVES)
    lost = next(event for event in read_notices(session, "events", Event) if event.cause is Cause.LOST_CONTACT)
    page.locator(f'[data-event="{lost.id}"]').click()
    drawn = {name: (x, y) for name, x, y in chosen_moment(page, lost)}
    # Against the Parquet file itself, read by pandas.
    kept = pd.read_parquet(session.snapshots)
    row = kept[(kept.event_id == lost.id) & (kept.district == lost.district) & (kept.quantity == "amps")].iloc[0]
    at_s, amps = drawn[f"{lost.district}, amps"]
    assert len(amps) == row.samples
    assert amps == pytest.approx(row["values"].tolist(), abs=1e-3)
    assert at_s[0] == pytest.approx(row.start_s + row.skew_s - lost.start_s, abs=1e-4)
    moment = page.locator("#review-moment")
    expect(moment).to_contain_text("A train lost contact: the amps fell at once while the volts held.")
    expect(moment).to_contain_text("Figures")
    expect(page.locator('.happenings li[aria-current="true"] [data-event]')).to_have_attribute("data-event", str(lost.id))
    with page.expect_download() as download:
        moment.get_by_role("link", name="CSV").click()
    assert download.value.suggested_filename == f"event-{lost.id:04d}_lost-contact_inner-main.csv"
    assert review.complaints == []


def test_going_by_keys_from_fault_to_fault_shows_each_moment(review):
    page = opened(review)
    page.locator("[data-lanes]").focus()
    events = sorted(read_notices(SessionFolder(RECORDINGS / WAVES), "events", Event), key=lambda event: event.start_s)
    first, second = [event for event in events if event.cause.is_fault][:2]
    for event in (first, second):
        page.keyboard.press("n")
        chosen_moment(page, event)
    page.get_by_role("button", name="Look at its samples").press("Enter")
    page.wait_for_function("() => document.activeElement.id === 'review-moment'")


def test_where_no_samples_were_kept_the_moment_says_so(review):
    page = review.open("review?session=2026-05-16_13-00-00_fernhollow-show-layout", ready=False)
    page.set_default_timeout(PATIENCE_MS)
    page.locator(".happenings li.fault [data-event]").first.click()
    expect(page.locator("#review-moment")).to_contain_text("a board that sends readings only has none")
    expect(page.locator("#review-moment")).to_contain_text("What to try")
    assert page.locator("#review-moment canvas").count() == 0


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (360, 740), (320, 640)])
def test_two_sessions_side_by_side_can_be_read_at_any_width(review, width, height):
    page = review.open(f"review?session={WAVES}", ready=False, width=width, height=height)
    page.set_default_timeout(PATIENCE_MS)
    page.get_by_title("16 May 2026, 13:00, beside 16 May 2026, 09:30").click()
    page.wait_for_url("**&beside=*")
    page.wait_for_function("() => document.querySelectorAll('[data-shown]').length === 2")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    compared = page.get_by_role("region", name="Side by side")
    assert compared.evaluate("place => place.scrollWidth - place.clientWidth") <= 0
    row = compared.get_by_role("row").filter(has_text="stalls an hour")
    # 6 stalls in 66.0 s and 14 in 296.1 s, by hand.
    expect(row.get_by_role("cell")).to_have_text(["327", "170", "−156.42"])
    page.locator(".one-of-two").filter(has=page.get_by_role("heading", name="What happened on 16 May 2026, 13:00")).locator(
        "li.fault [data-event]"
    ).first.click()
    expect(page.locator("#review-moment")).to_contain_text("16 May, 13:00:05")
    for place in page.get_by_role("region").all():
        assert place.get_attribute("aria-label")
    assert review.complaints == []


@pytest.fixture
def slow_trends(show, tmp_path, monkeypatch):
    """Ten sessions of which the third is gone through only when a test lets it."""
    for k in range(10):
        made = tmp_path / f"2026-05-{10 + k}_09-30-00_fernhollow-show-layout"
        shutil.copytree(RECORDINGS / "2026-05-16_13-00-00_fernhollow-show-layout", made)
        manifest = json.loads((made / "manifest.json").read_text())
        (made / "manifest.json").write_text(json.dumps({**manifest, "began_at": f"2026-05-{10 + k}T09:30:00Z"}))
    go, asked, review_of = threading.Event(), [], TrendJob._review

    def held(job, listed):
        if listed.session.path.parent == tmp_path:  # pages of tests before may still be at their own sessions
            asked.append(listed.id)
            assert len(asked) != 3 or go.wait(60)
        return review_of(job, listed)

    monkeypatch.setattr(TrendJob, "_review", held)
    hall = Hall(4)
    hall.recordings = tmp_path
    yield show(hall), go
    go.set()


def test_long_work_is_begun_stopped_and_gone_on_with_by_keys(slow_trends):
    shown, go = slow_trends
    page = shown.open("review", ready=False)
    page.set_default_timeout(PATIENCE_MS)
    trends = page.get_by_role("region", name="Trends")
    button = trends.get_by_role("button")
    expect(button).to_have_text("Work out the trends")
    button.focus()
    page.keyboard.press("Enter")
    expect(trends).to_contain_text("2 of 10 sessions")
    expect(button).to_have_text("Stop")
    # What is renewed each second takes the focus from nobody.
    page.wait_for_timeout(2500)
    expect(button).to_be_focused()
    page.keyboard.press("Enter")
    expect(button).to_have_text("Stopping …")
    go.set()
    expect(trends).to_contain_text("3 of 10 sessions (stopped)")
    expect(button).to_have_text("Go on")
    expect(button).to_be_focused()
    page.keyboard.press("Enter")
    expect(trends).to_contain_text("10 of 10 sessions")
    expect(button).to_be_hidden()
    expect(trends.get_by_role("region", name="stalls an hour")).to_be_visible()
    assert (shown.complaints, shown.troubles) == ([], [])


@pytest.fixture
def growing(show, tmp_path):
    """A session that is being recorded: a page that looks at it, and what records a further piece of it."""
    wire, layout_text = rehearsed_short()
    recorder = Recorder(tmp_path, layout_text, began_at=BEGAN_AT, reserve_bytes=0)
    pipeline = session_pipeline(parse_layout(layout_text))
    pieces = iter(range(SHORT_S * 10))
    size = -(-len(wire) // (SHORT_S * 10))

    def record_until(second):
        for k in pieces:
            recorder.put(pipeline.feed("p", Chunk(data=wire[k * size : (k + 1) * size], received_s=round((k + 1) / 10, 6))))
            if (k + 1) / 10 >= second:
                break

    hall = Hall(4)
    hall.recordings = tmp_path
    record_until(6)
    yield show(hall), recorder, record_until
    recorder.close()


def shown_until(page):
    """Seconds of the session that the page says it shows."""
    _hours, minutes, seconds = page.inner_text("[data-recorded]").split("(")[1].split(")")[0].split(":")
    return 60 * int(minutes) + int(seconds)


def test_a_session_that_is_being_recorded_grows_on_the_page(growing):
    shown, recorder, record_until = growing
    page = shown.open("review", ready=False)
    page.set_default_timeout(PATIENCE_MS)
    page.locator(".sessions a").first.click()
    page.wait_for_url("**/review?session=*")
    page.wait_for_selector("text=Being recorded. Shown up to")
    # Seconds after it began, long before the first part of five minutes is sealed.
    page.wait_for_selector('[data-shown="rows"]')
    page.wait_for_function("() => /\\(0:00:0[45]\\)|\\(0:00:06\\)/.test(document.querySelector('[data-recorded]').innerText)")
    page.locator("[data-lanes]").focus()
    record_until(SHORT_S)
    page.wait_for_function("() => /\\(0:00:(1[89]|2[0-9])\\)/.test(document.querySelector('[data-recorded]').innerText)")
    assert SHORT_S - 3 <= shown_until(page) <= SHORT_S + 1
    page.wait_for_function("() => /0:00:00.* to 0:00:(19|2[0-9])/.test(document.querySelector('[data-range]').innerText)")
    assert page.evaluate("document.activeElement.dataset.lanes") == ""
    short = page.locator(".happenings li.fault").filter(has_text="short circuit")
    expect(short.first).to_be_visible()
    short.first.locator("[data-event]").click()
    page.wait_for_selector("#review-moment canvas[data-plot]")
    recorder.close()
    page.wait_for_selector("text=The whole session as one file")
    assert page.locator("[data-recorded]").count() == 0
    assert (shown.complaints, shown.troubles) == ([], [])
