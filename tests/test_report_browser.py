"""Pages of the demo in a real browser, opened from disk: what it says, asks for, shows, sorts and can be read."""

from __future__ import annotations

import itertools
import json
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from benchmarks.report import invented_catalogue, page_of
from strongmotion import Archive, process, read
from strongmotion.event import study_archive
from strongmotion.report import write_event, write_report, write_suite_page
from strongmotion.spectra import asce7_spectrum
from strongmotion.suite import compare, spectra_of

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="needs Chromium and its driver: apt-get install chromium chromium-driver"
)
DEMO = Path(__file__).parents[1] / "demo_records"
WIDTHS = (360, 800, 1280, 1600, 2560)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("browser")
    archive = Archive(folder / "archive", create=True)
    for file in ("quay.csv", "bell.txt", "mole.txt"):
        archive.add(process(read(DEMO / file)))
    written = write_report(archive, folder / "pages", unit="g")
    assert written.failed == []
    written.results = {record: archive[record] for record in archive.ids()}
    target = asce7_spectrum(0.3, 0.2, 8.0)
    suite = spectra_of(written.results.values())
    compared = compare(suite, target, (0.2, 2.0))
    written.suite = write_suite_page(suite, target, compared, folder / "suite.html", "g", archive.catalogue("g"))
    written.event = write_event(study_archive(archive), folder / "event", "g")[-1]
    return written


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (
        "headless", "no-sandbox", "disable-gpu", "disable-background-networking", "disable-component-update",
        "disable-sync", "disable-dev-shm-usage", "no-first-run", "hide-scrollbars",
        f"user-data-dir={tmp_path_factory.mktemp('profile')}",
    ):  # fmt: skip
        options.add_argument(f"--{argument}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


def show(browser, path, width=1600):
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    )
    browser.get(path.as_uri())
    for _ in range(400):  # the table of an archive is unpacked after the page has loaded
        if browser.execute_script("return document.querySelector('.tools[hidden], #zoom[hidden]') === null"):
            return
        time.sleep(0.02)
    raise AssertionError("the script of the page did not finish")


@pytest.fixture(params=["record", "unfit record", "archive", "suite", "event"])
def path(request, pages):
    by_code = {path.stem.split(".")[1]: path for path in pages.pages}
    whole = {"archive": pages.index, "suite": pages.suite, "event": pages.event}
    return {"record": by_code["QUAY"], "unfit record": by_code["BELL"], **whole}[request.param]


def test_no_complaint_and_no_request_but_for_the_page_itself(browser, path):
    browser.get("about:blank")
    for kind in ("browser", "performance"):
        browser.get_log(kind)  # what came before
    show(browser, path)
    assert browser.get_log("browser") == []
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [
        message["params"]["request"]["url"] for message in messages if message["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in asked if not url.startswith("data:")] == [
        path.as_uri()
    ]  # what is in the page is not asked for


def test_a_policy_in_each_page_lets_nothing_run_but_its_own_script(browser, path):
    show(browser, path)
    browser.get_log("browser")
    ran = browser.execute_script(
        "const made = document.createElement('script'); made.textContent = 'window.ran = true';"
        "document.body.append(made);"
        "document.body.insertAdjacentHTML('beforeend', '<img id=probe src=x onerror=\"window.ran = true\">');"
        "return window.ran === true;"
    )
    assert not ran
    complaints = " ".join(entry["message"] for entry in browser.get_log("browser"))
    assert "Content Security Policy" in complaints


@pytest.mark.parametrize("width", WIDTHS)
def test_everything_is_in_sight_without_scrolling_sideways(browser, path, width):
    show(browser, path, width)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    figures = browser.execute_script(
        "return Array.from(document.querySelectorAll('figure svg')).filter(picture => picture.getClientRects().length)"
        ".map(picture => { const box = picture.getBoundingClientRect(), text = picture.querySelector('text');"
        " return [box.left, box.right, box.width, box.height, text ? text.getBoundingClientRect().height : 0]; })"
    )
    assert len(figures) >= {"suite": 1, "event": 0}.get(path.stem, 3)
    for left, right, wide, high, text in figures:
        assert 0 <= left < right <= (max(width, 650) if path.stem == "suite" else width)  # which scrolls in its own box
        assert min(wide, high) > 80
        assert text > 0


@pytest.mark.parametrize("width", WIDTHS)
def test_no_text_of_a_figure_is_cut_off(browser, path, width):
    show(browser, path, width)
    cut = browser.execute_script(
        "return Array.from(document.querySelectorAll('figure svg')).flatMap(picture => {"
        " const frame = picture.getBoundingClientRect();"
        " return Array.from(picture.querySelectorAll('text')).filter(text => {"
        "  const box = text.getBoundingClientRect();"
        "  return !text.closest('[clip-path]') && (box.left < frame.left - 1 || box.right > frame.right + 1 ||"
        "   box.top < frame.top - 1 || box.bottom > frame.bottom + 1); }).map(text => text.textContent); })"
    )
    assert cut == []


def test_the_verdict_is_whole_on_a_narrow_screen(browser, pages):
    for page in pages.pages:
        show(browser, page, 360)
        assert browser.execute_script(
            "const box = document.querySelector('.verdict .scroll'); return box.scrollWidth <= box.clientWidth"
        ), page.stem


def test_title_headings_and_language(browser, path):
    show(browser, path)
    assert browser.title
    assert browser.execute_script("return document.documentElement.lang") == "en"
    levels = browser.execute_script(
        "return Array.from(document.querySelectorAll('h1,h2,h3,h4')).map(heading => +heading.tagName[1])"
    )
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_every_picture_has_a_text_alternative(browser, path):
    show(browser, path)
    unnamed = browser.execute_script(
        "return Array.from(document.querySelectorAll('svg, img, canvas')).filter(picture => {"
        " const label = picture.getAttribute('aria-label') ||"
        "  (picture.getAttribute('aria-labelledby') || '').split(' ')"
        "  .map(id => (document.getElementById(id) || {textContent: ''}).textContent).join(' ');"
        " return picture.getAttribute('role') !== 'img' || label.trim().length < 10; }).length"
    )
    assert unnamed == 0


def test_no_text_is_under_eleven_pixels_at_1280(browser, path):
    show(browser, path, 1280)
    small = browser.execute_script(
        """
        const small = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
          const text = walk.currentNode.textContent.trim(), element = walk.currentNode.parentElement;
          if (!text || element.closest('script, style, title, desc, noscript, .skip')) continue;
          if (!element.getClientRects().length) continue;
          const scale = element instanceof SVGElement ? Math.abs(element.ownerSVGElement.getScreenCTM().a) : 1;
          const size = parseFloat(getComputedStyle(element).fontSize) * scale;
          if (size < 11) small.push([text, size]);
        }
        return small;
        """
    )
    assert small == []


@pytest.mark.parametrize("width", [360, 800, 1280, 1600, 2560])
def test_no_label_of_a_figure_lies_on_another(browser, path, width):
    show(browser, path, width)
    # Without script the still pictures are shown, too.
    browser.execute_script("document.documentElement.classList.remove('zooming')")
    met = browser.execute_script(
        """
        return Array.from(document.querySelectorAll('figure svg')).flatMap(picture => {
          const scale = Math.abs(picture.getScreenCTM().a), met = [];
          const texts = Array.from(picture.querySelectorAll('text')).filter(one => one.getClientRects().length)
            .map(one => [one.textContent, one.getBoundingClientRect(), parseFloat(getComputedStyle(one).fontSize)]);
          texts.forEach(([a, one, size], i) => texts.slice(i + 1).forEach(([b, two]) => {
            const across = Math.min(one.right, two.right) - Math.max(one.left, two.left);
            const up = Math.min(one.bottom, two.bottom) - Math.max(one.top, two.top);
            // Boxes hold the room of accents and descenders: letters meet when more than a third of a line does.
            if (across > 1 && up > 0.34 * size * scale) met.push([a, b, across, up]);
          }));
          return met;
        });
        """
    )
    assert met == []


# WCAG 2.1, success criterion 1.4.3 and its definitions of relative luminance and contrast ratio.
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast_of_text_is_at_least_four_and_a_half(browser, path, scheme):
    wanted = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": wanted})
    show(browser, path)
    paper = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert (paper == "rgb(255, 255, 255)") == (scheme == "light")
    poor = browser.execute_script(
        """
        function parts(colour) { return (colour.match(/[\\d.]+/g) || []).map(Number); }
        function luminance(colour) {
          const [r, g, b] = colour.map(c => c / 255).map(c => c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
          return 0.2126 * r + 0.7152 * g + 0.0722 * b;
        }
        function behind(element) {
          for (let at = element; at; at = at.parentElement) {
            const colour = parts(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] === 1) return colour.slice(0, 3);
          }
          return [255, 255, 255];
        }
        const poor = [];
        const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
        while (walk.nextNode()) {
          const text = walk.currentNode.textContent.trim(), element = walk.currentNode.parentElement;
          if (!text || element.closest('script, style, title, desc, noscript')) continue;
          if (!element.getClientRects().length) continue;
          const style = getComputedStyle(element), drawn = element instanceof SVGElement;
          if (element.closest('button:disabled')) continue;
          let ink = parts(drawn ? style.fill : style.color);
          // A figure is turned about on dark paper; of texts that are grey that is the whole of it.
          if (drawn && getComputedStyle(element.ownerSVGElement).filter !== 'none') {
            const grey = Math.max(...ink.slice(0, 3)) - Math.min(...ink.slice(0, 3)) < 3;
            if (!grey) continue;
            ink = ink.map((c, i) => i < 3 ? 255 - c : c);
          }
          const opacity = drawn ? +style.opacity * +style.fillOpacity : 1;
          const paper = behind(element);
          const seen = ink.slice(0, 3).map((c, i) => c * opacity + paper[i] * (1 - opacity));
          const [a, b] = [luminance(seen), luminance(paper)].sort((x, y) => y - x);
          if ((a + 0.05) / (b + 0.05) < 4.5) poor.push([text, (a + 0.05) / (b + 0.05)]);
        }
        return poor;
        """
    )
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})
    assert poor == []


@pytest.fixture
def quay(pages):
    return next(path for path in pages.pages if path.stem.split(".")[1] == "QUAY")


def colours_at(browser, places):
    """Return the colours of the canvas at places in pixels of the page."""
    return browser.execute_script(
        "const pen = document.querySelector('#zoom canvas').getContext('2d'), ratio = devicePixelRatio;"
        "return arguments[0].map(([x, y]) => Array.from(pen.getImageData(x * ratio, y * ratio, 1, 1).data));",
        [[float(x), float(y)] for x, y in places],
    )


def test_motion_zooms_by_keys_until_each_sample_is_seen(browser, pages, quay):
    from selenium.webdriver.common.by import By

    show(browser, quay, 1280)
    where, box = browser.find_element(By.ID, "zoom-where"), browser.find_element(By.ID, "zoom")
    motion = pages.results[quay.stem].motion["H1"].unpadded()
    assert where.text.endswith(f"{len(motion)} samples")
    assert browser.execute_script("return getComputedStyle(document.querySelector('.still')).display") == "none"
    browser.execute_script("arguments[0].focus()", box)
    for _ in range(30):
        if float(where.text.split(" to ")[1].split(" s")[0]) - float(where.text.split(" to ")[0]) < 0.6:
            break
        box.send_keys("+")
    first, last = (float(text) for text in where.text.split(" s,")[0].split(" to "))
    assert 0.2 < last - first < 0.6
    wide, high, left, right, head = box.size["width"], 104, 64, 8, 20
    # The places of all samples, from the numbers of the result, not from the page.
    middle = motion.time[np.abs(motion.acceleration).argmax()]  # the first step leads there
    assert (first + last) / 2 == pytest.approx(middle, abs=0.011)
    span = motion.dt * (len(motion) - 1) / 2 ** round(np.log2(motion.dt * (len(motion) - 1) / (last - first)))
    begin = middle - span / 2
    inside = np.flatnonzero((motion.time > begin + 0.005) & (motion.time < begin + span - 0.005))
    assert inside.size > 0.8 * span / motion.dt
    x = left + (motion.time[inside] - begin) / span * (wide - left - right)
    largest = np.abs(motion.acceleration).max()
    y = head + (high - head) / 2 - ((high - head) / 2 - 4) * motion.acceleration[inside] / largest
    colours = np.array(colours_at(browser, np.column_stack((x, y))))
    blue = np.abs(colours[:, :3] - [0x00, 0x72, 0xB2]).sum(axis=1) < 60
    dark = colours[:, :3].sum(axis=1) < 150  # under the mark of the peak
    assert (blue | dark).mean() == 1.0
    box.send_keys("0")
    assert where.text.endswith(f"{len(motion)} samples")


def test_motion_zooms_by_buttons_wheel_and_drag(browser, quay):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.actions.wheel_input import ScrollOrigin
    from selenium.webdriver.common.by import By

    show(browser, quay, 1280)
    where = browser.find_element(By.ID, "zoom-where")
    canvas = browser.find_element(By.CSS_SELECTOR, "#zoom canvas")

    def window():
        return [float(text) for text in where.text.split(" s,")[0].split(" to ")]

    begin, end = window()
    browser.find_element(By.CSS_SELECTOR, "#zoom button[data-key='+']").click()
    assert window()[1] - window()[0] == pytest.approx((end - begin) / 2, abs=0.02)
    before = window()
    ActionChains(browser).click_and_hold(canvas).move_by_offset(200, 0).release().perform()
    assert window()[0] < before[0]
    assert window()[1] - window()[0] == pytest.approx(before[1] - before[0], abs=0.02)
    before = window()
    ActionChains(browser).scroll_from_origin(ScrollOrigin.from_element(canvas), 0, -100).perform()
    assert window()[1] - window()[0] == pytest.approx(0.8 * (before[1] - before[0]), abs=0.02)
    browser.find_element(By.CSS_SELECTOR, "#zoom button[data-key='0']").click()
    assert window() == [begin, end]


def test_still_pictures_stand_in_print_and_without_script(browser, quay):
    show(browser, quay)
    shown = "return ['.still', '#zoom'].map(part => getComputedStyle(document.querySelector(part)).display !== 'none')"
    assert browser.execute_script(shown) == [False, True]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert browser.execute_script(shown) == [True, False]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    browser.get(quay.as_uri())
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert browser.execute_script(shown) == [True, False]


def test_a_page_is_small(pages):
    assert max(path.stat().st_size for path in pages.pages) < 0.6e6


def column(browser, place):
    return browser.execute_script(
        f"return Array.from(document.querySelectorAll('#table tbody tr')).map(row => row.children[{place}].textContent)"
    )


def test_table_sorts_by_click_and_by_keyboard(browser, pages):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    show(browser, pages.index)
    headings = browser.find_elements(By.CSS_SELECTOR, "#table thead th")
    place = next(i for i, heading in enumerate(headings) if heading.text.startswith("PGA"))
    before = column(browser, place)
    headings[place].find_element(By.TAG_NAME, "button").click()
    shown = column(browser, place)
    assert sorted(shown) == sorted(before)
    usable = [float(text) for text in shown if "†" not in text]
    assert len(usable) == 2
    assert usable == sorted(usable, reverse=True)
    assert shown[-1] == "– †"  # an unfit record: without a number, and last whichever way the column is sorted
    headings[place].find_element(By.TAG_NAME, "button").click()
    assert column(browser, place) == [*shown[-2::-1], shown[-1]]
    headings[place].find_element(By.TAG_NAME, "button").click()
    assert headings[place].get_attribute("aria-sort") == "descending"

    button = headings[1].find_element(By.TAG_NAME, "button")
    for _ in range(40):  # from heading to heading, as a reader without a mouse goes
        if browser.switch_to.active_element == button:
            break
        browser.switch_to.active_element.send_keys(Keys.SHIFT + Keys.TAB)
    assert browser.switch_to.active_element == button
    button.send_keys(Keys.ENTER)
    assert column(browser, 1) == sorted(column(browser, 1))
    button.send_keys(Keys.SPACE)
    assert column(browser, 1) == sorted(column(browser, 1), reverse=True)
    assert headings[1].get_attribute("aria-sort") == "descending"
    assert headings[place].get_attribute("aria-sort") is None


@pytest.mark.parametrize("width", [360, 800, 1280, 1600, 2560])
def test_worst_finding_stays_in_sight_however_the_table_is_scrolled(browser, pages, width):
    show(browser, pages.index, width)
    outside = browser.execute_script(
        "document.querySelector('.scroll').scrollLeft = 1e6;"
        "return Array.from(document.querySelectorAll('#table .badge')).map(b => b.getBoundingClientRect())"
        ".filter(box => box.left < 0 || box.right > innerWidth || box.width === 0).length"
    )
    assert outside == 0


@pytest.mark.parametrize("width", [360, 1280])
def test_worst_finding_of_a_suite_stays_in_sight(browser, pages, width):
    show(browser, pages.suite, width)
    outside = browser.execute_script(
        "document.querySelectorAll('.scroll').forEach(box => { box.scrollLeft = 1e6; });"
        "return Array.from(document.querySelectorAll('#suite-table .badge')).map(b => b.getBoundingClientRect())"
        ".filter(box => box.left < 0 || box.right > innerWidth || box.width === 0).length"
    )
    assert outside == 0


def test_a_record_of_a_suite_is_named_when_its_line_or_its_row_is_pointed_at(browser, pages):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By

    show(browser, pages.suite, 1280)
    pointed = browser.find_element(By.ID, "pointed")
    rows = browser.find_elements(By.CSS_SELECTOR, "#suite-table tbody tr")
    assert len(rows) == 2
    for row in rows:
        name = row.find_element(By.TAG_NAME, "th").text
        width = (
            "return getComputedStyle(document.querySelector(`.line[data-line=${arguments[0].dataset.line}] path`))"
            ".strokeWidth"
        )
        before = browser.execute_script(width, row)
        ActionChains(browser).move_to_element(row).perform()
        assert pointed.text.startswith(f"{name}, times ")
        assert float(browser.execute_script(width, row)[:-2]) > float(before[:-2])
        # A place on the line, near its end, where it lies apart from the other.
        x, y = browser.execute_script(
            "const path = document.querySelector(`.line[data-line=${arguments[0].dataset.line}] path`);"
            "path.scrollIntoView({block: 'center'});"
            "const at = path.getPointAtLength(path.getTotalLength() * 0.97).matrixTransform(path.getScreenCTM());"
            "return [at.x, at.y];",
            row,
        )
        actions = ActionChains(browser)
        actions.w3c_actions.pointer_action.move_to_location(int(x), int(y))
        actions.perform()
        assert pointed.text.startswith(f"{name}, times ")
        assert "pointed" in row.get_attribute("class")
    browser.execute_script("arguments[0].focus()", rows[0])
    assert pointed.text.startswith(rows[0].find_element(By.TAG_NAME, "th").text)


def test_the_table_of_a_suite_sorts(browser, pages):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    show(browser, pages.suite, 1280)
    buttons = {one.text: one for one in browser.find_elements(By.CSS_SELECTOR, "#suite-table thead button")}

    def factors():
        return [
            float(row.find_elements(By.CSS_SELECTOR, "td.number")[0].text.split()[0])
            for row in browser.find_elements(By.CSS_SELECTOR, "#suite-table tbody tr")
        ]

    buttons["Factor"].click()
    assert factors() == sorted(factors())
    buttons["Factor"].send_keys(Keys.ENTER)
    assert factors() == sorted(factors(), reverse=True)
    heading = buttons["Factor"].find_element(By.XPATH, "..")
    assert heading.get_attribute("aria-sort") == "descending"


def test_filter_and_links_work(browser, pages):
    from selenium.webdriver.common.by import By

    show(browser, pages.index)
    browser.find_element(By.ID, "filter").send_keys("bell")
    assert len(column(browser, 1)) == 1
    browser.find_element(By.CSS_SELECTOR, "#table tbody a").click()
    assert browser.find_element(By.TAG_NAME, "h1").text == "Bell Point"
    browser.find_element(By.CSS_SELECTOR, "nav a").click()
    assert browser.title == "Archive of 3 records"


def test_a_hundred_thousand_records_open_sort_and_search(browser, tmp_path):
    """How long that takes `python -m benchmarks report` measures."""
    from selenium.webdriver.common.by import By

    path = tmp_path / "index.html"
    catalogue = invented_catalogue(100_000)
    path.write_text(page_of(catalogue), encoding="utf-8")
    assert path.stat().st_size < 5e6
    show(browser, path)
    assert len(column(browser, 1)) == 50
    assert browser.find_element(By.ID, "where").text == "1 to 50 of 100000"
    browser.find_element(By.ID, "after").click()
    assert browser.find_element(By.ID, "where").text == "51 to 100 of 100000"
    buttons = browser.find_elements(By.CSS_SELECTOR, "#table thead button")
    assert len(buttons) == 9  # all but the motion
    for button in buttons:
        button.click()
    browser.execute_script(
        "const filter = document.getElementById('filter'); filter.value = 'S4242';"
        "filter.dispatchEvent(new Event('input'));"
    )
    assert len(column(browser, 1)) == 10
    browser.execute_script(
        "const filter = document.getElementById('filter'); filter.value = ''; filter.dispatchEvent(new Event('input'));"
        "Array.from(document.querySelectorAll('#table thead button')).find("
        "button => button.textContent.startsWith('PGA')).click();"
    )
    pga = [float(text) for text in column(browser, 7)]
    assert pga == sorted(pga, reverse=True)
    assert pga[0] == pytest.approx(catalogue["pga_H1_m_s2"].max(), rel=0.006)


def test_print_shows_what_the_screen_scrolls(browser, pages):
    show(browser, pages.pages[0])
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    clipped = browser.execute_script(
        "return Array.from(document.querySelectorAll('.tall, pre'))"
        ".filter(part => part.scrollHeight > part.clientHeight + 2).length"
    )
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert clipped == 0
