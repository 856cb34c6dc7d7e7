"""The real page in headless Chromium, over the real pipeline fed with wire bytes."""

import itertools
import re
import time
from dataclasses import replace
from urllib.parse import quote

import pytest

from dashboard.app import PageServer
from dashboard.feed import TICK_S
from monitor.values import Action, Finding, FindingKind, Priority, Scope
from monitor.values import Warning as RaisedWarning
from tests.browser.hall import Hall, Rehearsed

pytestmark = pytest.mark.browser
ids = itertools.count(1000)
TEN_TICKS = """() => new Promise(done => {
  let ticks = 0;
  document.addEventListener("pilotlamp:tick", () => { ticks += 1; if (ticks === 10) done(true); });
})"""
# Whenever the page looks at ages (four times a second), no card may show as live what is older than the limit.
WATCH_AGES = """() => {
  window.shownAsLive = 0;
  document.addEventListener("pilotlamp:age", () => {
    for (const card of document.querySelectorAll("[data-district]")) {
      const district = pilotlamp.payload.districts[Number(card.dataset.district)];
      if (pilotlamp.ageS(district.age_s) > pilotlamp.staleAfterS + 0.1 && card.dataset.level !== "stale") window.shownAsLive += 1;
    }
  });
}"""
ALL_STALE = "[...document.querySelectorAll('.card')].every(c => c.dataset.level === 'stale')"
IS_DRAWN = """() => {
  const canvas = document.querySelector("canvas[data-wave]");
  return canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data.some(value => value > 0);
}"""


def warning(priority=Priority.HIGH, end_s=None, number=None, **more):
    fields = {
        "rule": "supply-heat", "scope": Scope(kind="supply", name="North bench"), "start_s": 0.0, "trip_in_s": None,
        "message": "North bench may open soon.", "advice": "Stop one train on Outer main.",
    }  # fmt: skip
    return RaisedWarning(id=next(ids) if number is None else number, priority=priority, end_s=end_s, **(fields | more))


def card(page, number=0):
    return page.locator(f'[data-district="{number}"]')


def amps_of(page, number=0):
    return float(card(page, number).locator('[data-slot="amps"]').inner_text())


def wait_for(condition, within_s=60.0):
    ends_s = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < ends_s, "it did not come about in time"
        time.sleep(0.05)


def test_figures_come_in_five_times_a_second_and_follow_the_bytes(shown):
    page = shown.open()
    # What is offered; how fast a machine draws it is measured by tests.bench.bench_page.
    assert TICK_S <= 0.2
    assert page.evaluate(TEN_TICKS)
    shown.hall.amps[2] = 5.0
    wait_for(lambda: amps_of(page, 2) == pytest.approx(5.0, abs=0.15))
    # Peaks of 38 V end at the sensor's 36 V: a lower bound, and shown as one.
    shown.hall.volts[2], was = 27.0, shown.hall.volts[2]
    wait_for(lambda: card(page, 2).locator('[data-slot="volts"]').inner_text().startswith("≥"))
    assert not card(page, 1).locator('[data-slot="volts"]').inner_text().startswith("≥")
    wait_for(lambda: page.locator('[data-supply="0"] [data-slot="share"]').inner_text().startswith("≥"))
    shown.hall.volts[2] = was
    wait_for(lambda: "≥" not in card(page, 2).inner_text())
    shown.hall.amps[2] = 1.5
    wait_for(lambda: amps_of(page, 2) == pytest.approx(1.5, abs=0.15))
    assert float(card(page, 2).locator('[data-slot="volts"]').inner_text()) == pytest.approx(16.0, abs=0.2)


def test_sixteen_districts_fit_a_wall_screen(shown):
    page = shown.open()
    assert page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]") == [1920, 1080]
    boxes = [card(page, number).bounding_box() for number in range(16)]
    assert all(box["y"] + box["height"] <= 1080 and box["x"] + box["width"] <= 1920 for box in boxes)
    too_wide = page.evaluate(
        # A machine that stands still for a second shows "stale, 2 s old" where the name would be; that is another state.
        '[...document.querySelectorAll(\'.card:not([data-level="stale"]) .figures, .card:not([data-level="stale"]) h2\')]'
        ".filter(e => e.scrollWidth > e.clientWidth + 1).length"
    )
    assert too_wide == 0


def test_figures_can_be_read_from_three_metres(shown):
    page = shown.open()

    def arc_minutes(selector):
        # A 43 inch screen of 1920 x 1080 has 0.496 mm a pixel; digits are about 0.73 em high; 3 m away.
        pixels = page.evaluate(f"parseFloat(getComputedStyle(document.querySelector('{selector}')).fontSize)")
        return pixels * 0.73 * 0.496 / 3000 * 3437.7

    # ISO 9241-303 asks for 16 minutes of arc at least (value from memory); what is secondary may be read on stepping nearer.
    assert arc_minutes(".big.amps") >= 16
    assert arc_minutes(".headline h1") >= 14
    assert arc_minutes(".big.volts") >= 14


@pytest.mark.parametrize("path", ["", "district?name=Outer%20main"])
@pytest.mark.parametrize(("width", "height"), [(320, 640), (360, 740), (768, 1024)])
def test_no_sideways_scrolling(shown, path, width, height):
    page = shown.open(path, width, height)
    page.wait_for_timeout(300)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_silent_boards_turn_stale_when_their_figures_are_a_second_old_and_come_back(shown):
    page = shown.open()
    assert page.evaluate("pilotlamp.staleAfterS") <= 1.0
    page.evaluate(WATCH_AGES)
    shown.hall.talking = False
    wait_for(lambda: page.evaluate(ALL_STALE))
    assert "stale" in card(page).inner_text()
    wait_for(lambda: "No live figures" in page.locator("[data-headline]").inner_text())
    assert page.evaluate("window.shownAsLive") == 0
    assert page.locator("[data-age]").get_attribute("data-stale") == "true"
    shown.hall.talking = True
    wait_for(lambda: page.evaluate("[...document.querySelectorAll('.card')].every(c => c.dataset.level !== 'stale')"))


def test_one_silent_board_is_told_from_the_others(shown):
    page = shown.open()
    shown.hall.silent_boards = {1}
    wait_for(lambda: page.locator('.card[data-level="stale"]').count() == 4)
    wait_for(lambda: card(page, 3).get_attribute("data-level") != "stale")
    wait_for(lambda: "4 of 16 districts" in page.locator("[data-headline]").inner_text())
    assert "no figures for" in page.locator('[data-supply="1"]').inner_text()


def test_a_high_warning_is_said_shown_and_can_be_worked_with(shown):
    page = shown.open()
    hall = shown.hall
    high = warning(start_s=hall.now_s(), trip_in_s=60.0)
    hall.publish(warnings=(high,))
    # A machine that stands still for a second shows "stale" in between: each is waited for, never asked once.
    said = ':has-text("North bench may open soon."):has-text("Stop one train on Outer main.")'
    page.wait_for_selector('[data-headline][data-level="high"]' + said)
    page.wait_for_selector('[role="alert"]:has-text("North bench may open soon.")', state="attached")
    page.wait_for_selector('[data-supply="0"][data-level="high"]')
    page.wait_for_selector('[data-district="0"][data-level="well"]')  # it runs well: the trouble is its supply's
    page.wait_for_selector('[data-district="8"][data-level="well"]')
    notice = page.locator("[data-warnings] .notice")
    notice.get_by_role("button", name="Seen").click()
    page.wait_for_selector('[data-warnings] .notice[data-seen="true"]')
    notice.get_by_role("button", name="Put aside").click()
    page.wait_for_selector('[data-headline]:not([data-level="high"])')
    page.wait_for_selector('[data-warnings] .notice[data-aside="true"]')
    assert [action.kind for action in hall.operated[-2:]] == ["acknowledge", "shelve"]
    assert hall.operated[-1].until_s == pytest.approx(hall.now_s() + 900, abs=60)
    hall.publish(warnings=(warning(number=high.id, end_s=hall.now_s()),))
    page.wait_for_selector("[data-past] p")
    page.wait_for_selector("[data-warnings] .notice", state="detached")


def test_the_time_that_is_left_counts_down_in_the_headline(show):
    one = show(Hall(4))
    one.hall.amps = [3.4, 3.4, 3.4, 3.4]  # of the ten amps that their supply's protection is rated for
    page = one.open()
    page.wait_for_selector('[data-slot="opening"]:not([hidden])')
    before = page.inner_text('[data-slot="opens"]')
    assert re.search(r"\d+ (min|s)", before)
    page.wait_for_function("before => document.querySelector('[data-slot=\"opens\"]').innerText !== before", arg=before)
    assert page.inner_text('[data-slot="opens"]') in page.inner_text("[data-headline] h1")


def test_a_low_warning_is_not_spoken(shown):
    page = shown.open()
    low = warning(Priority.LOW, message="Inner main starts often.", comes_and_goes=True)
    shown.hall.publish(warnings=(low,))
    page.wait_for_selector('[data-warnings] .notice[data-level="low"]:has-text("comes and goes")')
    assert page.locator('[role="alert"]').inner_text() == ""
    shown.hall.publish(warnings=(warning(Priority.LOW, number=low.id, end_s=1.0),))


def test_a_bad_sensor_is_never_shown_as_good(shown):
    page = shown.open()

    def stuck(end_s):
        return Finding(
            id=1, board="bench-1", channel=7, kind=FindingKind.STUCK, start_s=0.0, end_s=end_s, count=9, check="Look at its plug."
        )

    shown.hall.publish(findings=(stuck(None),))
    page.wait_for_selector('[data-district="3"][data-good="false"][data-level="doubt"]')
    assert "sensor stuck" in card(page, 3).inner_text()
    assert "Look at its plug." in page.locator("[data-findings]").inner_text()
    shown.hall.publish(findings=(stuck(1.0),))
    page.wait_for_selector('[data-district="3"][data-good="true"]')


def test_a_mark_reaches_the_watch(shown):
    page = shown.open(width=360, height=740)
    page.get_by_label("Remark for the time line").fill("cleaned rails")
    page.get_by_role("button", name="Mark").click()
    wait_for(lambda: any(action.text == "cleaned rails" for action in shown.hall.operated))
    wait_for(lambda: "cleaned rails" in page.locator("[data-marking]").inner_text())


def test_sound_can_be_muted_and_the_mute_is_in_sight(shown):
    page = shown.open()
    button = page.locator("[data-alerts] button").first
    button.click()
    page.wait_for_selector('[data-alerts] button[data-state="on"]')
    button.click()
    page.wait_for_selector('[data-alerts] button[data-state="muted"]')
    assert "5 min" in button.inner_text() or "4 min" in button.inner_text()
    wait_for(lambda: shown.hall.live.picture().muted_until_s is not None)
    button.click()
    page.wait_for_selector('[data-alerts] button[data-state="on"]')


def test_the_keyboard_opens_a_district(shown):
    page = shown.open()
    page.locator('[data-district="1"] a').focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("canvas[data-wave]")
    assert "Inner main" in page.locator(".crumbs").inner_text()


def test_a_district_from_near_shows_wave_figures_and_history(shown):
    page = shown.open("district?name=Inner%20main")
    page.wait_for_selector("[data-figures] dd")
    figures = page.locator("[data-figures]").inner_text()
    assert re.search(r"Volts, RMS\s+(14\.9|15\.[01]) V", figures)
    assert re.search(r"Power factor\s+(0\.9[89]|1\.00)", figures)
    wait_for(lambda: page.evaluate(IS_DRAWN))
    wait_for(lambda: page.evaluate(IS_DRAWN.replace("data-wave", "data-history")))


def test_nothing_is_asked_of_another_machine(shown):
    shown.open()
    page = shown.open("district?name=Outer%20main")
    wait_for(lambda: page.evaluate(IS_DRAWN.replace("data-wave", "data-history")))
    assert not any("plotly" in url for url in shown.requests)
    assert shown.requests
    assert [url for url in shown.requests if not url.startswith((shown.server.address, "data:", "blob:"))] == []


def test_without_event_streams_the_page_polls(shown):
    page = shown.open(ready=False)
    page.route("**/feed/stream", lambda route: route.abort())
    page.reload()
    page.wait_for_selector('[data-district="0"]:not([data-level="stale"])')
    assert page.evaluate(TEN_TICKS)


FIRST_STEPS = """() => new Promise(done => {
  const pen = CanvasRenderingContext2D.prototype, steps = [];
  const was = { beginPath: pen.beginPath, moveTo: pen.moveTo, lineTo: pen.lineTo, stroke: pen.stroke };
  let ys = [];
  pen.beginPath = function () { ys = []; was.beginPath.call(this); };
  pen.moveTo = function (x, y) { ys.push(y); was.moveTo.call(this, x, y); };
  pen.lineTo = function (x, y) { ys.push(y); was.lineTo.call(this, x, y); };
  pen.stroke = function () { if (ys.length > 1) steps.push(Math.abs(ys[1] - ys[0])); was.stroke.call(this); };
  setTimeout(() => { Object.assign(pen, was); done(steps); }, 1000);
})"""


def test_a_trace_begins_with_the_first_figure_and_not_at_zero(show):
    page = show(Hall(4)).open()
    steps = page.evaluate(FIRST_STEPS)
    assert len(steps) > 8
    assert max(steps) < 6


def test_words_of_users_are_text_and_never_markup(show):
    evil = ("<script>window.hit=1</script>", '"><img src=x onerror=window.hit=1>', "A & B </title>", "Town lights")
    one = show(Hall(4, names=tuple(quoted(name) for name in evil)))
    page = one.open(width=1280, height=800)
    one.hall.publish(warnings=(warning(message=evil[0], advice=evil[1]),))
    page.wait_for_selector('[data-headline][data-level="high"]')
    page.get_by_label("Remark for the time line").fill(evil[1])
    page.get_by_role("button", name="Mark").click()
    wait_for(lambda: evil[1] in page.locator("[data-marking]").inner_text())
    assert evil[0] in card(page, 0).inner_text()
    assert evil[0] in page.locator("[data-headline]").inner_text()
    near = one.open(f"district?name={quote(evil[0])}")
    assert evil[0] in near.locator(".crumbs").inner_text()
    for shown_page in (page, near):
        assert shown_page.evaluate("window.hit") is None
    one.open(f"district?name={quote('<img src=x onerror=window.hit=1>')}", ready=False).wait_for_selector("text=No such district")
    assert one.troubles == []


def test_a_rehearsed_short_is_on_the_page_after_it_happened(show):
    def first_short(truth):
        return next(event["start_s"] for event in truth["events"] if event["cause"] == "short")

    one = show(Rehearsed("short", 1, before_s=3.0, moment_of=first_short))
    page = one.open()
    wait_for(lambda: "short circuit" in page.locator(".live").inner_text())
    # How soon after its end an event is told is a matter of stream seconds: tests/diagnosis holds it to one.
    assert one.hall.now_s() >= first_short(one.hall.truth)
    wait_for(lambda: re.search(r"of (the|its) \w+", page.locator('[data-supply="0"]').inner_text()))


def quoted(name):
    return name.replace('"', '\\"')


def test_the_browser_itself_notices_a_lost_server_and_resumes(show):
    one = show(Hall(4))
    page = one.open()
    port = one.server.port
    page.evaluate(WATCH_AGES)
    one.server.close()
    wait_for(lambda: page.evaluate(ALL_STALE))
    wait_for(lambda: "No answer from pilotlamp" in page.locator("[data-headline]").inner_text())
    assert page.evaluate("window.shownAsLive") == 0
    page.evaluate("window.sameDocument = true")
    one.server = PageServer(one.hall, port=port)
    one.server.start()
    page.wait_for_selector('[data-district="0"]:not([data-level="stale"])')
    assert page.evaluate("window.sameDocument")


def test_what_binds_what_still_fits_and_heat_are_on_the_phone(shown):
    page = shown.open(width=360, height=740)
    for there in (
        '[data-supply="0"] [data-slot="limit"]:has-text("of the")',
        '[data-supply="0"] .heat:has-text("Protection heat") [data-slot="heat"]:has-text("%")',
        '[data-district="0"] [data-slot="fits"]:has-text("left")',
    ):
        page.wait_for_selector(there)


@pytest.mark.parametrize("width", [320, 768, 1280, 1920])
def test_headlines_short_and_long_leave_the_cards_where_they_are(show, width):
    one = show(Hall(4))
    page = one.open(width=width, height=800)
    edges = "[...document.querySelectorAll('.card')].map(each => Object.values(each.getBoundingClientRect().toJSON()).join())"
    before = page.evaluate(edges)
    long = (
        "The protection of North bench has opened after an overload: everything it feeds is dead, and it may come back by itself."
    )
    one.hall.publish(warnings=(warning(message=long, rule="supply-open"),))
    page.wait_for_selector('[data-headline][data-length="long"]')
    assert page.evaluate(edges) == before
    if width < 1100:
        assert not page.locator("[data-headline] .rest").is_visible()
        page.locator("[data-unfold]").press("Enter")
    assert "come back by itself" in page.locator("[data-headline]").inner_text()
    assert not page.evaluate(
        "(said => said.scrollHeight > said.clientHeight + 1)(document.querySelector('[data-headline] .said'))"
    )


# The Layout Instability API (W3C draft) of the browser itself: what moved though nobody asked for it.
SHIFTED = """() => new Promise(done => new PerformanceObserver((list, observer) => {
  observer.disconnect();
  done(list.getEntries().map(each => [each.value, ...each.sources.map(source => [source.node && source.node.outerHTML,
    ...[source.previousRect, source.currentRect].map(rect => [rect.x, rect.y, rect.width, rect.height])])]));
}).observe({ type: "layout-shift", buffered: true }) || setTimeout(() => done([]), 300))"""


@pytest.mark.parametrize(("path", "width", "height"), [("", 320, 640), ("", 1280, 800), ("?wall", 1920, 1080)])
def test_nothing_moves_while_amps_swing_and_warnings_come_and_go(show, path, width, height):
    one = show(Hall(4))
    page = one.open(path, width=width, height=height)
    one.hall.amps[:] = [9.2, 0.3, 11.4, 2.6]
    page.wait_for_selector('[data-district="0"] .amps:has-text("9.")')
    raised = [
        warning(number=k, rule=rule, start_s=one.hall.now_s(), trip_in_s=60.0) for k, rule in ((1, "trip-forecast"), (2, "short"))
    ]
    for each in raised:
        one.hall.publish(warnings=(each,))
        page.wait_for_timeout(400)
    one.hall.amps[:] = [0.6, 10.5, 0.0, 1.1]
    page.wait_for_selector('[data-district="1"] .amps:has-text("10.")')
    one.hall.publish(warnings=tuple(replace(each, end_s=one.hall.now_s(), state="normal") for each in raised))
    page.wait_for_selector('[data-headline]:not([data-level="high"])')
    assert page.evaluate(SHIFTED) == []


def test_a_short_that_is_over_stays_in_the_headline_until_seen_and_its_line_leads_to_its_moment(show):
    one = show(Hall(4))
    page = one.open()
    at = one.hall.now_s()
    short = warning(
        rule="short", scope=Scope(kind="district", name="Outer main"), start_s=at - 0.2, end_s=at - 0.1, state="returned"
    )
    one.hall.publish(warnings=(short,))
    page.wait_for_selector('[data-headline]:has-text("Short on Outer main,"):has-text("power is back")')
    assert page.locator("[data-past] a.what").first.get_attribute("href").startswith("/review?session=now&at=")
    assert page.locator("[data-headline] [data-why]").get_attribute("href") == "/stalls"
    page.locator("[data-head-seen]").click()
    wait_for(lambda: [(a.kind, a.warning_id) for a in one.hall.operated][-1:] == [("acknowledge", short.id)])


def test_an_act_now_is_spoken_once_somebody_asked_for_it(show):
    one = show(Hall(4))
    page = one.open()
    page.evaluate("""() => {
      window.aloud = [];
      window.busy = false;
      speechSynthesis.speak = said => window.aloud.push(said.text);
      Object.defineProperty(speechSynthesis, "speaking", { get: () => window.busy });
    }""")
    one.hall.publish(warnings=(warning(message="North bench is too warm."),))
    page.wait_for_selector('[role="alert"]:has-text("too warm")', state="attached")
    assert page.evaluate("window.aloud") == []  # off until it is asked for
    page.locator("[data-voice]").click()
    one.hall.publish(warnings=(warning(message="Inner main is too warm.", scope=Scope(kind="district", name="Inner main")),))
    wait_for(lambda: any("Inner main is too warm." in text for text in page.evaluate("window.aloud")))
    # While one is spoken two more wait; one of them is seen meanwhile and never spoken, and none is spoken twice.
    page.evaluate("() => { window.busy = true; }")
    lower, upper = (
        warning(message=f"{name} is too warm.", scope=Scope(kind="district", name=name)) for name in ("Lower", "Upper")
    )
    one.hall.publish(warnings=(lower, upper))
    page.wait_for_selector('[role="alert"]:has-text("Upper is too warm")', state="attached")
    one.hall.operate(Action(kind="acknowledge", at_s=one.hall.now_s(), warning_id=lower.id))
    wait_for(lambda: page.evaluate("pilotlamp.payload.warnings.some(w => w.where === 'Lower' && w.acknowledged)"))
    page.evaluate("() => { window.busy = false; }")
    wait_for(lambda: any("Upper is too warm." in text for text in page.evaluate("window.aloud")))
    spoken = [text for text in page.evaluate("window.aloud") if "too warm" in text]
    assert [text.split(":")[0] for text in spoken] == ["Inner main", "Upper"]
    page.locator("[data-voice]").click()
    assert page.locator("[data-voice]").get_attribute("aria-pressed") == "false"
