"""The page before the show used as a person does: look at a draw and keep it, weigh a candidate, measure terminals, print."""

import pytest

from monitor.layout import load_layout
from monitor.planning.plan_load import load_plan
from tests.browser.hall import Hall
from tests.layout.fernhollow import FERNHOLLOW

pytestmark = pytest.mark.browser


@pytest.fixture
def kept(show, tmp_path):
    hall = Hall(4)
    hall.layout_path = tmp_path / "show.toml"
    hall.layout_path.write_text("# ours\n" + FERNHOLLOW)
    hall.amps[0] = 2.0
    return show(hall)


STEP_OF = {"learn": "budget", "candidate": "budget", "terminals": "wire"}


def opened(kept, form, **size):
    page = kept.open(f"/before#step-{STEP_OF[form]}", ready=False, **size)
    page.locator("details", has=page.locator(f"form[data-{form}]")).locator("summary").click()
    return page


def test_a_draw_is_looked_at_and_kept(kept):
    page = opened(kept, "learn")
    form = page.locator("form[data-learn]")
    said = form.locator("[data-said]")
    for _ in range(60):
        form.get_by_text("Look", exact=True).click()
        page.wait_for_function("said => !['', 'Looking …'].includes(said.textContent)", arg=said.element_handle())
        if "running" in said.inner_text():
            break
        page.wait_for_timeout(1000)
    form.get_by_text("Keep it with the layout").click()
    page.wait_for_selector("text=all measured: Heavy freight engine")
    # The hall sends a sine of 2.0 A RMS in counts of 0.06 A.
    assert load_layout(kept.hall.layout_path).load[0].running_amps == pytest.approx(2.0, abs=0.03)
    assert kept.hall.layout_path.read_text().startswith("# ours")
    assert kept.troubles == []


def test_a_verdict_is_set_aside_with_a_reason_and_a_name(kept):
    page = kept.open("/before", ready=False)
    page.wait_for_selector(".before .bench")
    place = page.locator("details", has=page.locator('form[data-aside="South bench"]')).last
    place.locator("summary").click()
    form = page.locator('form[data-aside="South bench"]')
    form.get_by_text("Set the verdict aside").click()
    form.locator("[data-said]", has_text="say why, and who answers for it").wait_for()
    form.locator('[data-key="reason"]').fill("rebuilt last week")
    form.locator('[data-key="by"]').fill("Ada")
    form.get_by_text("Set the verdict aside").click()
    page.wait_for_selector("text=Beware: used against the bench check's verdict: Ada answers for it")
    (kept_one,) = load_plan(kept.hall.layout_path, load_layout(kept.hall.layout_path)).set_aside
    assert (kept_one.supply, kept_one.reason, kept_one.by) == ("South bench", "rebuilt last week", "Ada")
    assert kept.troubles == []


def test_a_candidate_is_weighed_and_taken_out(kept):
    page = opened(kept, "candidate")
    form = page.locator("form[data-candidate]")
    form.get_by_text("Weigh it too").click()
    page.wait_for_selector("text=Fill in every entry")
    for key, value in (("name", "Used twin"), ("price", "45"), ("rated_va", "110"), ("max_volts", "18")):
        form.locator(f'input[data-key="{key}"]').fill(value)
    form.get_by_text("Weigh it too").click()
    page.wait_for_selector("text=cheapest first: Used twin 0.41")
    page.locator("details", has=page.locator("form[data-candidate]")).locator("summary").click()
    page.locator('[data-take-out="Used twin"]').click()
    page.wait_for_selector("text=cheapest first", state="detached")
    assert load_plan(kept.hall.layout_path, load_layout(kept.hall.layout_path)).candidate == ()
    assert kept.troubles == []


def test_terminals_are_measured_on_a_phone(kept):
    page = opened(kept, "terminals", width=320, height=640)
    form = page.locator("form[data-terminals]")
    form.locator('input[data-key="names"]').fill("U V C")
    form.locator('input[data-key="throttles"]').fill("left")
    for pair, low, high in (("U-V", "6", "18"), ("U-C", "14", "14,0"), ("V-C", "8", "4")):
        form.locator(f'input[data-key=" {pair}"]').fill(low)
        form.locator(f'input[data-key="left {pair}"]').fill(high)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    form.get_by_text("Work it out and keep it").click()
    form.locator("[data-said]", has_text="Kept with the layout.").wait_for()
    (terminals,) = load_plan(kept.hall.layout_path, load_layout(kept.hall.layout_path)).terminals
    assert (terminals.common, terminals.hot) == ("U", {"A": "V"})
    assert kept.troubles == []


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (360, 740), (320, 640)])
def test_nothing_runs_off_the_side(kept, width, height):
    page = kept.open("/before", ready=False, width=width, height=height)
    for step in ("check", "wire", "budget", "list"):
        page.locator(f"[data-step={step}]").click()
        page.wait_for_selector(f"#step-{step}:target")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator(".step:visible").count() == 1
    pictures = "[...document.querySelectorAll('.drawn')]"
    page.wait_for_function(f"{pictures}.length === 2 && {pictures}.every(image => image.complete && image.naturalWidth > 0)")


def test_forms_and_alerts_are_not_printed(kept):
    page = kept.open("/before", ready=False)
    page.wait_for_selector(".before .bench")
    page.emulate_media(media="print")
    shown = "element => getComputedStyle(element).display !== 'none'"
    assert not page.locator(".before details").first.evaluate(shown)
    assert not page.locator(".headline").first.evaluate(shown)
    assert page.locator(".ticks").first.evaluate(shown)
