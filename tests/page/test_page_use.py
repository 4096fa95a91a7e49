"""The page in use: by keyboard alone, offline, without complaints, for everyone."""

from __future__ import annotations

import pytest
from page_helpers import INFO, passage, wait

from klangprobe.page import BarsPage, PageInfo, write_page, write_single

pytestmark = pytest.mark.browser


def chosen(tab) -> str:
    """Return the variant chosen in the first passage."""
    return tab.evaluate("document.querySelector('#the-river .variants input:checked + label').textContent.trim()")


def test_everything_by_keyboard(open_page, listening):
    """Listen, change variant, loudness and loop, move by bar, go to the next passage and stop, without a pointer."""
    tab = open_page(listening).tab
    tab.keyboard.press("Space")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0.05")
    tab.keyboard.press("2")
    assert chosen(tab).startswith("horns held")
    tab.keyboard.press("e")
    assert tab.evaluate("klangprobe.sounding().mix.weight") == "scored"
    tab.keyboard.press("r")
    assert tab.evaluate("klangprobe.sounding().mix.again")
    tab.keyboard.press("ArrowRight")
    wait(tab, "klangprobe.sounding()?.mix?.place() >= 2.0")
    wait(tab, "document.querySelector('#the-river .at').textContent === 'bar 2'")  # heard later than played
    assert tab.locator("#the-river .wide .note.now").get_attribute("data-m") == "1"
    tab.keyboard.press("n")
    wait(tab, "klangprobe.sounding()?.data.slug === 'the-ladder' && klangprobe.sounding().mix")
    tab.keyboard.press("Escape")
    assert tab.evaluate("klangprobe.sounding()") is None
    assert tab.inner_text("#the-ladder .play") == "Listen"


def test_bars_passed_quickly_are_all_counted(open_page, tmp_path):
    """Three bars on, pressed before the new place sounds, are three bars; one back is one, and what sounds is there."""
    halves = BarsPage(bars=tuple((str(bar + 1), bar / 2) for bar in range(4)))
    tab = open_page(write_page(tmp_path, [passage("the river", bars=halves)], info=INFO)).tab
    tab.keyboard.press("Space")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0.05")
    key = 'document.body.dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight", bubbles: true}));'
    tab.evaluate("() => {" + 3 * key + "}")  # all in one task, as fast as keys can be
    assert tab.inner_text("#the-river .at") == "bar 4"
    wait(tab, "klangprobe.sounding()?.mix")
    assert tab.evaluate("klangprobe.sounding().mix.place()") >= 1.5
    tab.keyboard.press("Escape")
    tab.keyboard.press("ArrowLeft")
    assert tab.inner_text("#the-river .at") == "bar 3"


def test_every_control_can_be_reached_and_is_named(open_page, listening):
    """Tab reaches a button, radios, boxes and folds; each has an accessible name."""
    tab = open_page(listening).tab
    names = set()
    for _ in range(40):
        tab.keyboard.press("Tab")
        names.add(tab.evaluate("(document.activeElement.labels?.[0] ?? document.activeElement).textContent.trim()"))
    wanted = {"Listen", "again and again", "made equally loud", "What changed", "In figures", "Player by player"}
    assert wanted <= names


def test_letter_keys_can_be_switched_off(open_page, listening):
    """Without the box ticked no single key does anything (WCAG 2.2, criterion 2.1.4)."""
    tab = open_page(listening).tab
    tab.click("details.keys summary")
    tab.uncheck("#keys-on")
    tab.evaluate("document.activeElement.blur()")
    tab.keyboard.press("2")
    assert chosen(tab) == "strings alone"


def test_page_is_silent_in_the_console_and_stays_in_its_folder(open_page, listening):
    """Opening, listening and opening every part asks for nothing outside the folder and complains of nothing."""
    watched = open_page(listening)
    tab = watched.tab
    for fold in tab.locator("details summary").all():
        if fold.is_visible():
            fold.click()
    tab.click("#the-river .play")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0.05")
    tab.check('#the-river input[aria-label="horn 1: silent"]')
    wait(tab, "klangprobe.sounding()?.mix?.byPlayer")
    home = listening.parent.as_uri()
    assert [address for address in watched.requests if not address.startswith((home, "data:", "blob:"))] == []
    assert watched.complaints == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_accessibility_rules_pass(open_page, listening, scheme, width):
    """axe-core (WCAG 2 A and AA and best practice) finds nothing, on a desk and a telephone, light and dark."""
    from axe_playwright_python.sync_playwright import Axe

    tab = open_page(listening, color_scheme=scheme, viewport={"width": width, "height": 800}, bypass_csp=True).tab
    tab.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    found = Axe().run(tab)
    assert [rule["id"] for rule in found.response["violations"]] == []


def test_page_fits_a_telephone(open_page, listening):
    """At 390 px nothing sticks out sideways and the narrow engraving is the one shown."""
    tab = open_page(listening, viewport={"width": 390, "height": 800}).tab
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    assert tab.locator("#the-river .narrow").is_visible()
    assert not tab.locator("#the-river .wide").is_visible()


def test_print_is_a_handout(open_page, listening):
    """On paper the controls are gone, lines to write on are there."""
    tab = open_page(listening).tab
    tab.emulate_media(media="print")
    assert not tab.locator("#the-river .play").is_visible()
    assert tab.locator("#the-river .lines").is_visible()


def saved(tab, box: str, path):
    """Save the results of a sitting and read them as the command line does."""
    from compare.listening import read_session

    with tab.expect_download() as waiting:
        tab.click(f"#the-river {box} button")
    waiting.value.save_as(path)
    return read_session(path)


def test_matching_trials_count_right_and_keep_the_identity_back(open_page, listening, tmp_path):
    """Ten trials answered by looking inside give ten right, odds of 1 in 1024, and a session that can be pooled."""
    watched = open_page(listening)
    tab = watched.tab
    tab.click("#the-river .blind summary")
    tab.fill("#the-river-match-listener", "Ada")
    tab.click("#the-river .matching button")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0")
    assert not tab.locator("#the-river .variants").is_visible()
    for _ in range(10):
        tab.keyboard.press("0")
        heard = tab.evaluate("klangprobe.passages.get('the-river').set.chosen")
        tab.keyboard.press("ArrowRight" if tab.evaluate("klangprobe.trialUnderWay.rows")[1] == heard else "ArrowLeft")
    told = tab.inner_text("#the-river .matching")
    assert "10 of 10 right" in told
    assert "less than 0.1 %" in told  # 1 in 1024
    session = saved(tab, ".matching", tmp_path / "matching.json")
    assert (session.listener, session.planned, len(session.answers)) == ("Ada", 10, 10)
    assert all(answer.right for answer in session.answers)
    assert {answer.trial.hidden for answer in session.answers} <= {"strings alone", "horns held"}
    assert tab.locator("#the-river .variants").is_visible()
    assert watched.complaints == []


def test_marks_hide_the_reference_among_the_letters(open_page, listening, tmp_path):
    """Every variant, the hidden reference and the anchor get a mark; the session can be judged with others."""
    from compare.listening import judge_ratings

    watched = open_page(listening)
    tab = watched.tab
    tab.click("#the-river .blind summary")
    tab.click("#the-river .marking button")
    wait(tab, "klangprobe.sounding()?.mix?.place() > 0")
    behind = tab.evaluate("klangprobe.trialUnderWay.behind.map(([name]) => name)")
    assert sorted(behind) == ["anchor", "hidden reference", "horns held"]
    assert tab.locator("#the-river .marking button:text-is('Done')").is_disabled()
    for row, name in enumerate(behind):
        tab.keyboard.press(str(row + 1))
        assert tab.evaluate("klangprobe.sounding().mix.chosen") == row + 1
        tab.locator("#the-river .marks input").nth(row).fill("100" if name == "hidden reference" else "40")
    tab.click("#the-river .marking button:text-is('Done')")
    session = saved(tab, ".marking", tmp_path / "marks.json")
    assert {item.variant: item.mark for item in session.ratings}["hidden reference"] == 100.0
    assert judge_ratings(session.ratings).left_out == ()
    assert watched.complaints == []


def test_single_file_plays_without_any_request(open_page, tmp_path):
    """The one-file export plays and asks for nothing at all."""
    path = write_single(tmp_path / "all.html", [passage("the river")], info=INFO)
    watched = open_page(path)
    watched.tab.click("#the-river .play")
    wait(watched.tab, "klangprobe.sounding()?.mix?.place() > 0.05")
    assert [address for address in watched.requests if not address.startswith(("data:", "blob:"))] == [path.as_uri()]
    assert watched.complaints == []


def test_hostile_names_are_only_text(open_page, tmp_path):
    """A title, a variant or a question that looks like markup is shown as it is written and runs nothing."""
    bad = '</script><img src=x onerror="window.hit=1"><b>'
    page = write_page(tmp_path, [passage(bad, questions=(bad,), where=bad)], info=PageInfo(bad, bad, attribution=bad))
    watched = open_page(page)
    assert watched.tab.inner_text("h1") == bad
    assert watched.tab.evaluate("window.hit") is None
    assert watched.complaints == []


def test_missing_clips_are_said(open_page, tmp_path):
    """Without its folder the page says what is missing instead of staying dumb."""
    page = write_page(tmp_path, [passage("the river")], info=INFO)
    (tmp_path / "page" / "clips" / "the-river.js").unlink()
    tab = open_page(page).tab
    tab.click("#the-river .play")
    wait(tab, "document.querySelector('#the-river .state').textContent.includes('could not be opened')")
    assert tab.inner_text("#the-river .play") == "Listen"
