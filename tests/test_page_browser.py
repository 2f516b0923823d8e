"""The pages in a real browser on a small phone: the first night by tapping, scripts on and off; and
every page measured: nothing wider than the screen, targets, contrast, no foreign request.

Needs chromium and playwright's Python package; without them these tests are passed over, and
scripts/test.py says so.
"""

import itertools
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
playwright = pytest.importorskip("playwright.sync_api", reason="no playwright here")
pytest.importorskip("flask")
if BROWSER is None:
    pytest.skip("no chromium here", allow_module_level=True)

from page_helpers import ANSWERS, TYPED, on_the_loopback  # noqa: E402
from rollpath import guide  # noqa: E402
from rollpath.book.book import Book  # noqa: E402
from rollpath.cli import main  # noqa: E402
from rollpath.files.trailers import load_trailer  # noqa: E402

LOG = Path(__file__).resolve().parent.parent / "tracks" / "logs" / "two-ponds.gpx"
SWITCHES = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PHONE = {"width": 360, "height": 800}
PAGES = (
    "/", "/tires", "/tires/rr", "/rack", "/rack?tire=R7",
    "/bite?rear_stagger=2&rear_stagger_part=1/4",
    "/plan?heat=heavy&feature=slick", "/debrief?wheel=left&drifts_out=yes",
    "/debrief?log=0123456789abcdef", "/book",
    "/survey?chord=100&gap=6.75&straight=320&width=50", "/trailer", "/book/review?full=yes",
)  # fmt: skip
LEAST_TARGET = 48
LEAST_CONTRAST = 7.0
MEASURE = """
() => {
  const light = (text) => {
    const [r, g, b] = text.match(/[\\d.]+/g).slice(0, 3).map((one) => {
      const c = one / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const color = getComputedStyle(at).backgroundColor;
      if (!/, 0\\)$/.test(color) && color !== "transparent") return color;
    }
    return "rgb(255, 255, 255)";
  };
  const seen = (node) => node.checkVisibility() && node.getClientRects().length > 0;
  const faint = [], small = [], unnamed = [];
  for (const node of document.querySelectorAll("body *")) {
    if (!seen(node)) continue;
    const own = [...node.childNodes].some((one) => one.nodeType === 3 && one.data.trim());
    if (!own && !node.matches("select, input:not([type=radio]):not([type=range])")) continue;
    const [a, b] = [light(getComputedStyle(node).color), light(behind(node))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 7) faint.push([node.tagName, node.textContent.trim().slice(0, 30), ratio]);
  }
  const taken = "a, button, summary, select, input:not([type=hidden])";
  for (const node of document.querySelectorAll(taken)) {
    if (!seen(node)) continue;
    const box = node.getBoundingClientRect();
    if (box.width < 48 || box.height < 48) {
      small.push([node.outerHTML.slice(0, 80), box.width, box.height]);
    }
    const named = node.textContent.trim() || node.getAttribute("aria-label")
      || (node.labels && node.labels.length);
    if (!named) unnamed.push(node.outerHTML.slice(0, 80));
  }
  const pictures = [...document.images].filter((one) => !one.alt || !one.complete
    || !one.naturalWidth).map((one) => one.outerHTML);
  return { faint, small, unnamed, pictures, wide: document.documentElement.scrollWidth };
}
"""
"""Contrast as W3C, WCAG 2.1 defines it (relative luminance, contrast ratio); target sizes in CSS
pixels; every field with a name a screen reader finds."""


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as play:
        one = play.chromium.launch(executable_path=BROWSER, args=list(SWITCHES))
        yield one
        one.close()


@pytest.fixture
def served(folder):
    """The folder and the address under which its pages are served."""
    with on_the_loopback(folder) as port:
        yield folder, f"http://127.0.0.1:{port}"


@pytest.fixture
def open_phone(browser, served):
    """Opens a phone; what its console says and where it asks is held to nothing and to us."""
    contexts, heard = [], []

    def open_phone(scripts=True):
        context = browser.new_context(
            viewport=PHONE, java_script_enabled=scripts, base_url=served[1], has_touch=True,
        )  # fmt: skip
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("console", lambda told: heard.append(told.text))
        page.on("pageerror", lambda error: heard.append(str(error)))
        page.on("request", lambda asked: None if asked.url.startswith(served[1])
                else heard.append(asked.url))  # fmt: skip
        return page

    yield open_phone
    for context in contexts:
        context.close()
    # Chromium itself writes of every answer that is no 2xx; the one of an old page is meant.
    assert [one for one in heard if "403 (FORBIDDEN)" not in one] == []


def go(page, key):
    """A tap that leads to another page, waited for."""
    with page.expect_navigation():
        key.tap()


def test_single_corners_are_bolted_taped_and_aired_by_tapping(open_phone, served):
    folder, _ = served
    main([*TYPED, "--trailer", str(folder)])
    page = open_phone()
    page.goto("/tires")
    go(page, page.locator(".four a").nth(2))
    go(page, page.get_by_role("button", name="L5"))
    go(page, page.locator(".four a").nth(3))
    go(page, page.get_by_role("button", name="air to 17 psi"))
    go(page, page.locator(".four a").nth(1))
    page.locator("#size").fill("83")
    page.get_by_role("radio", name="5/8").tap()
    go(page, page.get_by_role("button", name="Bolt on this size"))
    with Book(folder / "season.db") as book:
        assert [one.what for one in book.actions()] == ["trailer", "bolt", "air", "bolt"]
    on_car = load_trailer(folder).night.on_car
    assert (on_car.left_rear.tire, on_car.right_front.tire) == ("L5", "")


@dataclass
class Thumb:
    """A thumb that counts: a field is a tap and its letters, a list two taps, any key one."""

    page: object
    taps: int = 0
    letters: int = 0

    def tap(self, key):
        key.tap()
        self.taps += 1

    def go(self, key):
        go(self.page, key)
        self.taps += 1

    def type(self, name, text):
        self.page.locator(f"input[name={name}]:not([type=hidden])").first.fill(text)
        self.taps += 1
        self.letters += len(text)

    def pick(self, name, part):
        self.page.locator(f"select[name={name}]").select_option(part)
        self.taps += 2

    def told(self):
        return f"{self.taps} taps and {self.letters} letters and figures"


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_whole_first_night_takes_the_taps_that_the_guide_tells(open_phone, served, scripts):
    """From nothing to the advice after the first run, by links alone."""
    folder, _ = served
    page = open_phone(scripts)
    page.emulate_media(color_scheme="dark")
    page.goto("/")
    thumb = Thumb(page)
    for name, value in ANSWERS.items():
        if name == "surface":
            thumb.tap(page.get_by_role("radio", name=value, exact=True))
        elif name.endswith("_part"):
            thumb.pick(name, value)
        else:
            thumb.type(name, value)
    thumb.go(page.get_by_role("button", name="Set it up"))
    assert page.locator(".four li").count() == 4
    to_the_answer = thumb.told()
    thumb.go(page.get_by_role("link", name="What is on the car"))
    thumb.go(page.get_by_role("button", name="All four are on so"))
    thumb.go(page.get_by_role("link", name="After the run"))
    for felt in ("held left under throttle", "drifts out under throttle", "no wheelspin"):
        thumb.tap(page.get_by_role("radio", name=felt))
    thumb.go(page.get_by_role("button", name="More, less"))
    assert "confidence" in page.locator("h1").inner_text()
    thumb.go(page.get_by_role("link", name="Write the run down"))
    thumb.tap(page.get_by_role("radio", name="heat 1"))
    thumb.type("best_lap", "23.40")
    thumb.go(page.get_by_role("button", name="Into the book"))
    thumb.go(page.locator("a.go", has_text="Tonight"))
    thumb.go(page.get_by_role("button", name="slick", exact=True))
    thumb.type("lap", "23.4")
    thumb.go(page.get_by_role("button", name="Keep the lap"))
    assert "rear stagger" in page.locator("h1").inner_text()
    counted = " ".join(guide.page("page").split())
    assert f"{to_the_answer} to the first answer" in counted
    assert f"{thumb.told()} in all" in counted
    with Book(folder / "season.db") as book:
        assert [one.what for one in book.actions()] == ["trailer", "bolt", "tonight", "tonight"]
        assert [one.run.best_lap for one in book.runs()] == [23.4]


def test_back_reload_a_double_tap_and_two_phones_lose_nothing(open_phone, served):
    folder, address = served
    main([*TYPED, "--trailer", str(folder)])
    one, other = open_phone(), open_phone()
    one.goto("/tires/lr")
    one.get_by_role("button", name="L5").dblclick()
    one.wait_for_url(f"{address}/tires")
    one.reload()
    one.go_back()  # the page of the corner again, as it is now
    assert "L5" in one.locator("h1").inner_text()
    other.goto("/tires/rr")
    go(one, one.get_by_role("button", name="L6"))
    one.wait_for_url(f"{address}/tires")
    go(other, other.get_by_role("button", name="R7"))
    assert "LR L6" in other.locator("main").inner_text()
    assert load_trailer(folder).night.on_car.right_rear.tire == "RR"
    go(other, other.get_by_role("button", name="Yes, do mine too"))
    fitted = load_trailer(folder).night.on_car
    assert (fitted.left_rear.tire, fitted.right_rear.tire) == ("L6", "R7")
    with Book(folder / "season.db") as book:
        assert [action.what for action in book.actions()] == ["trailer", "bolt", "bolt", "bolt"]


@pytest.mark.parametrize(("scripts", "forms"), [
    (True, (("/tires/rr", "size", "Bolt on this size"), ("/book", "best_lap", "Into the book"))),
    (False, (("/", "lap", "Keep the lap"), ("/bite", "pad_left_front", "Write the pads down"))),
], ids=["scripts", "no scripts"])  # fmt: skip
def test_reload_and_back_after_a_form_send_nothing_and_show_no_error(
    open_phone, served, scripts, forms
):
    folder, address = served
    main([*TYPED, "--trailer", str(folder)])
    page = open_phone(scripts)
    sent = []
    page.on("request", lambda asked: sent.append(asked.url) if asked.method == "POST" else None)
    for form, field, key in forms:
        page.goto(form)
        page.locator(f"[name={field}]").fill("99999")
        go(page, page.get_by_role("button", name=key))
        count = len(sent)
        assert page.locator("[role=alert]").count()
        page.reload()
        assert page.locator(f"[name={field}]").input_value() == "99999"
        page.goto("/rack")
        page.go_back()
        assert page.locator(f"[name={field}]").input_value() == "99999"
        page.go_back()
        assert page.url == f"{address}{form}"
        assert page.locator("h1").count() == 1
        assert len(sent) == count
    page.goto("/tires/rr")
    go(page, page.get_by_role("button", name="R7"))
    count = len(sent)
    page.reload()
    page.go_back()
    page.go_forward()
    assert len(sent) == count
    page.goto("/debrief")
    page.locator("#file").set_input_files(LOG)
    go(page, page.get_by_role("button", name="More, less"))
    assert "the log" in page.locator("[role=alert]").inner_text()
    with Book(folder / "season.db") as book:
        assert [action.what for action in book.actions()] == ["trailer", "bolt"]


def test_every_page_is_read_and_tapped_on_any_screen_by_day_and_night(open_phone, served):
    folder, _ = served
    page = open_phone()
    page.goto("/trailer")  # the questions, before anything is set up
    faults = measured(page, "the questions")
    main([*TYPED, "--trailer", str(folder)])
    for address in PAGES:
        page.goto(address)
        faults |= measured(page, address)
    assert not faults


def measured(page, address):
    """What is wrong with a page, by its address, width and light."""
    page.evaluate("document.querySelectorAll('img').forEach((one) => { one.loading = 'eager'; })")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(
        "Promise.all(Array.from(document.images, (one) => one.complete || new Promise((done) => "
        "{ one.onload = one.onerror = done; }))).then(() => null)"
    )
    faults = {}
    for width, scheme in itertools.product((360, 768, 1280), ("light", "dark")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme=scheme)
        told = page.evaluate(MEASURE)
        told["wide"] = told["wide"] > width
        if any(told.values()):
            faults[address, width, scheme] = {what: one for what, one in told.items() if one}
    return faults


# The lid


TYPED_IN = (
    ("/tires/rr", {"size": "85", "size_part": "3/8"}, "Bolt on this size"),
    (
        "/bite",
        {
            "pad_left_front": "800",
            "pad_right_front": "750",
            "pad_left_rear": "840",
            "pad_right_rear": "780",
            "driver": "out",
        },
        "Write the pads down",
    ),
    ("/plan", {"hot laps": "heavy", "wheels": "2", "jacks": "no"}, "Plan the night"),
    ("/debrief", {"wheel": "left", "crabs": "no", "columns": "rpm=Motor"}, "More, less"),
    ("/book", {"session": "heat 1", "best_lap": "22.95", "note": "wind"}, "Into the book"),
    ("/rack", {"tire": "Q9", "size": "86", "size_part": "5/8", "side": "right"}, "Onto the rack"),
    ("/rack?tire=R7", {"correct_size": "85", "note": "cords", "scrap": "yes"}, "Put it right"),
)


def field_of(page, name):
    """A field by its name, or by its id where two forms have it."""
    by_id = name.startswith(("tape_", "correct_"))
    by_name = f":is(input:not([type=hidden]), select)[name='{name}']"
    return page.locator(f"#{name}" if by_id else by_name).first


def type_in(page, fields):
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    for name, value in fields.items():
        field = field_of(page, name)
        kind = field.evaluate("(one) => one.type")
        if kind == "radio":
            page.locator(f"[name='{name}'][value='{value}']").first.check(force=True)
        elif kind == "select-one":
            field.select_option(value)
        else:
            field.fill(value)


def typed_in(page, fields):
    """What the same fields hold now."""
    held = {}
    for name in fields:
        field = field_of(page, name)
        if field.evaluate("(one) => one.type") == "radio":
            field = page.locator(f"[name='{name}']:checked").first
            held[name] = field.input_value() if field.count() else ""
        else:
            held[name] = field.input_value()
    return held


def test_a_page_closed_in_the_middle_of_a_form_comes_back_as_it_was(open_phone, served):
    main([*TYPED, "--trailer", str(served[0])])
    page = open_phone()
    for address, fields, key in TYPED_IN:
        page.goto(address)
        type_in(page, fields)
        page.reload()
        assert typed_in(page, fields) == fields
        page.close()
        page = page.context.new_page()
        page.goto(address)
        assert typed_in(page, fields) == fields
        assert "still here" in page.locator("[role=status]").first.inner_text()
        go(page, page.get_by_role("button", name=key))
        page.goto(address)
        assert typed_in(page, fields) != fields, address
        assert not page.locator("[role=status]").count(), address


def test_the_questions_survive_the_lid_and_a_draft_can_be_thrown_away(open_phone, served):
    page = open_phone()
    page.goto("/trailer")
    fields = {name: value for name, value in ANSWERS.items() if name != "power"}
    type_in(page, fields | {"power": "lots"})
    page.close()
    page = page.context.new_page()
    page.goto("/trailer")
    assert typed_in(page, fields) == fields
    go(page, page.get_by_role("button", name="Set it up"))
    assert "told=" in page.url  # the power was a slip: all else is there, now and after the lid
    page.goto("/trailer")
    assert typed_in(page, fields) == fields
    go(page, page.get_by_role("button", name="Start this one anew"))
    assert page.locator("[name=track]").input_value() == ""


def test_a_page_of_before_the_laptop_was_started_again_is_opened_anew_as_it_was(open_phone, served):
    folder, address = served
    main([*TYPED, "--trailer", str(folder)])
    page = open_phone()
    page.goto("/tires/rr")
    type_in(page, {"size": "85", "size_part": "3/8"})
    page.evaluate("document.getElementsByName('token').forEach((one) => { one.value = 'old'; })")
    go(page, page.get_by_role("button", name="Bolt on this size"))
    assert "Nothing was changed" in page.locator("h1").inner_text()
    go(page, page.get_by_role("link", name="Open it anew"))
    assert page.url == f"{address}/tires/rr"
    assert typed_in(page, {"size": "", "size_part": ""}) == {"size": "85", "size_part": "3/8"}
    go(page, page.get_by_role("button", name="Bolt on this size"))
    assert load_trailer(folder).night.on_car.right_rear.rollout is not None


def test_a_form_sent_while_the_laptop_sleeps_is_not_lost_and_a_run_is_kept_once(open_phone, served):
    folder, _ = served
    main([*TYPED, "--trailer", str(folder)])
    page = open_phone()
    page.goto("/book")
    type_in(page, {"session": "heat 1", "best_lap": "22.95"})
    page.route("**/book", lambda route: route.abort() if route.request.method == "POST"
               else route.continue_())  # fmt: skip
    page.get_by_role("button", name="Into the book").tap()
    page.wait_for_timeout(200)
    page.unroute("**/book")
    page.goto("/book")
    assert page.locator("[name=best_lap]").input_value() == "22.95"
    # Now it arrives, but no answer comes back: sent again it is the same run.
    form = "Object.fromEntries(new FormData(document.querySelector('form[action=\"/book\"]')))"
    sent = page.context.request.post("/book", form=page.evaluate(form), max_redirects=0)
    assert sent.status == 303
    page.context.clear_cookies()
    page.goto("/book")
    assert page.locator("[name=best_lap]").input_value() == "22.95"
    go(page, page.get_by_role("button", name="Into the book"))
    with Book(folder / "season.db") as book:
        assert [one.run.best_lap for one in book.runs()] == [22.95]
    page.goto("/book")
    assert page.locator("[name=best_lap]").input_value() == ""
