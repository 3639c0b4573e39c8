"""The review desk in Chromium, used as a person does: mouse, wheel and keyboard."""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from strongmotion import Archive, process, read
from strongmotion.archive import export, same_numbers
from strongmotion.record import Station
from strongmotion.settings import Settings

pytest.importorskip("bokeh")
CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="needs Chromium and its driver: apt-get install chromium chromium-driver"
)
DEMO = Path(__file__).parents[1] / "demo_records"
PATIENCE = 25.0
SERVE = "import sys; from strongmotion.cli import main; sys.argv = ['strongmotion', 'review', *sys.argv[1:]]; main()"


@pytest.fixture(scope="module")
def results():
    names = ("quay.csv", "bell.txt", "salt.csv", "heath.txt", "mole.txt", "fern.txt")
    return {Path(name).stem.upper(): process(read(DEMO / name)) for name in names}


@pytest.fixture(scope="module")
def untouched(results, tmp_path_factory):
    archive = Archive(tmp_path_factory.mktemp("untouched") / "archive", create=True)
    for result in results.values():
        archive.add(result)
    return archive


@pytest.fixture
def archive(untouched, tmp_path):
    """An archive of its own for a test that decides."""
    return Archive(shutil.copytree(untouched.folder, tmp_path / "archive"))


@contextlib.contextmanager
def served(archive, *options):
    run = subprocess.Popen(
        [sys.executable, "-u", "-c", SERVE, str(archive.folder), "--no-browser", "--by", "A. Reader", *options],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        yield run.stdout.readline().split()[-1], run
    finally:
        run.send_signal(signal.SIGINT)
        with contextlib.suppress(subprocess.TimeoutExpired):
            run.wait(10)
        run.kill()
        run.wait()
        run.stdout.close()


def make_browser(folder):
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (
        "headless", "no-sandbox", "disable-gpu", "disable-background-networking", "disable-component-update",
        "disable-sync", "disable-dev-shm-usage", "no-first-run", "window-size=1600,1200", f"user-data-dir={folder}",
    ):  # fmt: skip
        options.add_argument(f"--{argument}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))


@pytest.fixture(scope="module")
def link(untouched):
    """The link to one desk for all tests that decide nothing."""
    with served(untouched) as (link, _):
        yield link


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    driver = make_browser(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


NAMED = "[...Bokeh.documents[0]._all_models.values()].filter(model => model.name === '{}').at(-1)"
"""The newest model of a name."""


def of(browser, name, what):
    """Return something of a named model of the page."""
    return browser.execute_script(f"const model = {NAMED.format(name)}; return model ? model.{what} : null")


def until(check, told="", patience=PATIENCE):
    end = time.monotonic() + patience
    while True:
        with contextlib.suppress(Exception):
            if found := check():
                return found
        assert time.monotonic() < end, told or "waited in vain"
        time.sleep(0.05)


def open_page(browser, link):
    browser.get(link)
    until(lambda: of(browser, "signal", "inner_width"), "the page did not come")
    until(lambda: len(of(browser, "models", "source.data.method")) > 1, "the whole job was not done")


def keys(browser, *pressed):
    from selenium.webdriver.common.action_chains import ActionChains

    ActionChains(browser).send_keys(*pressed).perform()


def give_reason(browser, text):
    from selenium.webdriver.common.keys import Keys

    keys(browser, "e")
    until(lambda: focused(browser) == "INPUT")
    keys(browser, text, Keys.ESCAPE)
    until(lambda: focused(browser) != "INPUT")


def focused(browser):
    return browser.execute_script(
        "let at = document.activeElement; while (at && at.shadowRoot && at.shadowRoot.activeElement)"
        " at = at.shadowRoot.activeElement; return at ? at.tagName : ''"
    )


def message(browser):
    return of(browser, "message", "text") or ""


def drag(browser, plot, value, to):
    """Drag a vertical line at one place of a plot's x axis to another, with the mouse."""
    from selenium.webdriver.common.action_chains import ActionChains

    places = browser.execute_script(
        f"""const view = Bokeh.index.find_one({NAMED.format(plot)});
        view.el.scrollIntoView({{block: 'center'}});
        const box = view.canvas_view.el.getBoundingClientRect(), frame = view.frame;
        const x = value => box.left + frame.x_scale.compute(value);
        return [x({value}), x({to}), box.top + frame.bbox.top + frame.bbox.height * 0.3]"""
    )
    first, last, y = (round(place) for place in places)
    act = ActionChains(browser, duration=30)
    act.w3c_actions.pointer_action.move_to_location(first, y)
    act.w3c_actions.pointer_action.pointer_down()
    for i in range(1, 9):
        act.w3c_actions.pointer_action.move_to_location(round(first + (last - first) * i / 8), y)
    act.w3c_actions.pointer_action.pointer_up()
    act.perform()


def drawn_rows(browser):
    """Return the cells of all tables as they stand on the screen."""
    return browser.execute_script(
        "const rows = []; const walk = root => { for (const part of root.querySelectorAll('*')) {"
        " if (part.shadowRoot) walk(part.shadowRoot);"
        " if (part.classList.contains('slick-row')) rows.push([...part.children].map(cell => cell.textContent)); } };"
        "walk(document); return rows"
    )


def moved(browser, quantity):
    return float(next(row for row in drawn_rows(browser) if row[0].split(",")[0] == quantity)[-1])


def record_id(archive, code):
    return next(record for record in archive.ids() if f".{code}." in record)


def test_low_cut_dragged_accepted_and_undone(browser, archive, tmp_path):
    record = record_id(archive, "SALT")
    automatic = archive.version(record).name
    with served(archive) as (link, _):
        open_page(browser, link)
        keys(browser, "j")  # the second of the list: the one with the permanent displacement
        until(lambda: "SALT" in of(browser, "status", "text"))
        until(lambda: len(of(browser, "models", "source.data.method")) > 1)
        drag(browser, "signal", of(browser, "low_cut", "location"), 0.3)
        until(lambda: abs(moved(browser, "PGD")) > 20, "the displacement did not move")
        drawn = browser.execute_script(
            f"const plot = {NAMED.format('displacement-H2')};"
            "return plot.renderers.map(r => [r.name, r.data_source.data.y.length])"
        )
        assert dict(drawn)["old"] > 500  # the opened version stays behind the new one
        assert dict(drawn)["new"] > 500
        keys(browser, "a")
        until(lambda: "a decision needs a reason" in message(browser))
        give_reason(browser, "no permanent displacement wanted")
        keys(browser, "a")
        until(lambda: "accepted" in message(browser))
        until(lambda: ["XX.SALT", "accepted"] in [row[:2] for row in drawn_rows(browser)])
        kept = archive[record]
        low_cut = kept.settings.filter.low_cut
        assert 0.2 < low_cut["H1"] == low_cut["H2"] < 0.45
        assert low_cut["V"] == "auto"
        settings = Settings.from_dict({"filter": {"low_cut": low_cut}})
        assert same_numbers(kept, process(read(DEMO / "salt.csv"), settings))
        row = archive.catalogue().set_index("record").loc[record]
        assert (row["state"], row["versions"]) == ("accepted", 2)
        decided = archive.standing(record).decisions[-1]
        assert (decided.by, decided.reason) == ("A. Reader", "no permanent displacement wanted")
        written = export(
            kept, tmp_path, record=record, version=archive.version(record).name, state=archive.state(record)
        )
        assert all(f"version {archive.version(record).name}, accepted" in path.read_text() for path in written)
        assert automatic in [version.name for version in archive.versions(record)]
        assert "no permanent displacement wanted" in of(browser, "past", "text")
        keys(browser, "u")
        until(lambda: "undone" in message(browser))
        assert archive.version(record).name == automatic
        assert archive.state(record) == "automatic"
        assert list(archive.verify()) == []
        assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_tables_show_the_record_and_the_component_that_are_open(browser, link):
    open_page(browser, link)
    for pressed in ("", "j", "2"):
        keys(browser, *pressed)
        until(lambda: [row[1] for row in drawn_rows(browser) if row[0].startswith("PGA")] == peaks_before(browser)[:1])
        assert [row[1] for row in drawn_rows(browser) if row[0].startswith("PGD")] == peaks_before(browser)[2:3]
    seen = peaks_before(browser)
    keys(browser, "k")
    until(lambda: peaks_before(browser) != seen)


def peaks_before(browser):
    return of(browser, "moved", "source.data.before")


def test_traces_of_one_quantity_fill_the_width(browser, link):
    open_page(browser, link)
    grid = "displacement-H1"
    narrow = of(browser, grid, "inner_width")
    keys(browser, "m", "m", "m")
    until(lambda: of(browser, grid, "inner_width") > 2.5 * narrow)
    until(lambda: len(of(browser, grid, "renderers[1].data_source.data.t")) > 2 * narrow)
    keys(browser, "m")
    until(lambda: of(browser, grid, "inner_width") < 1.2 * narrow)


def test_onset_is_dragged_with_the_mouse_and_the_wheel_zooms(browser, link):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.actions.wheel_input import ScrollOrigin

    open_page(browser, link)
    onset = of(browser, "onset", "value")
    drag(browser, "acceleration-H1", onset, onset - 6.0)
    until(lambda: of(browser, "onset", "value") < onset - 4.0, "the onset did not move")
    before = of(browser, "acceleration-H1", "x_range.end")
    box = browser.execute_script(
        f"const view = Bokeh.index.find_one({NAMED.format('velocity-H1')});"
        "const box = view.el.getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 2]"
    )
    origin = ScrollOrigin.from_viewport(*(round(place) for place in box))
    ActionChains(browser).scroll_from_origin(origin, 0, -300).perform()
    until(lambda: of(browser, "displacement-V", "x_range.end") < before, "the axes are not linked")


def test_whole_archive_decided_by_keyboard_alone(browser, archive):
    states = {}
    with served(archive) as (link, _):
        open_page(browser, link)
        give_reason(browser, "looked at")
        for i in range(len(archive)):
            key, state = (("a", "accepted"), ("r", "rejected"))[i % 2]
            if i == 2:
                keys(browser, "]", "]")  # with another low-cut
                until(lambda: any(text != "+0.0" for text in of(browser, "moved", "source.data.percent")))
            keys(browser, key)
            until(lambda i=i: f"{i + 1} of {len(archive)} decided" in of(browser, "progress", "text"))
            now = {each: archive.state(each) for each in archive.ids()}
            new = [each for each in now if now[each] != states.get(each, "automatic")]
            assert [now[each] for each in new] == [state]
            states = now
            keys(browser, "n")
            if i + 1 < len(archive):
                until(lambda: "automatic" in of(browser, "status", "text"))
    assert set(states.values()) == {"accepted", "rejected"}
    assert sum(len(archive.versions(record)) for record in archive.ids()) == len(archive) + 1


def test_two_reviewers_on_one_record(browser, archive, tmp_path):
    second = make_browser(tmp_path / "second")
    try:
        with served(archive) as (link, _):
            open_page(browser, link)
            open_page(second, link)
            give_reason(browser, "clipped")
            keys(browser, "r")
            until(lambda: "rejected" in message(browser))
            until(lambda: "A. Reader decided: rejected" in message(second), "the second is not told")
            record = record_id(archive, "BELL")
            entries = archive.history(record)
            give_reason(second, "fine")
            keys(second, "a")
            until(lambda: "somebody else has worked on this record" in message(second))
            assert archive.history(record) == entries
            keys(second, "o")
            until(lambda: "rejected by A. Reader" in of(second, "status", "text"))
            keys(second, "a")
            until(lambda: archive.state(record) == "accepted")
    finally:
        second.quit()


def test_read_only(browser, archive):
    with served(archive, "--read-only") as (link, _):
        open_page(browser, link)
        keys(browser, "]", "]")
        until(lambda: any(text != "+0.0" for text in of(browser, "moved", "source.data.percent")))
        give_reason(browser, "fine")
        keys(browser, "a")
        until(lambda: "Start the review without --read-only" in message(browser))
    assert all(len(archive.history(record)) == 1 for record in archive.ids())


def test_a_record_damaged_while_open(browser, archive):
    record = record_id(archive, "BELL")
    with served(archive) as (link, _):
        open_page(browser, link)
        path = archive.path(record)
        path.chmod(0o644)
        path.write_bytes(path.read_bytes()[:-64])
        give_reason(browser, "fine")
        keys(browser, "a")
        until(lambda: path.name in message(browser))
        assert archive.standing(record).decisions == ()
        keys(browser, "o")
        until(lambda: "cannot be read" in of(browser, "list", "source.data.state"))
        keys(browser, "j")  # the others can still be decided
        until(lambda: "SALT" in of(browser, "status", "text"))
        keys(browser, "a")
        until(lambda: archive.state(record_id(archive, "SALT")) == "accepted")


def test_a_killed_server_keeps_every_decision(browser, archive):
    with served(archive) as (link, run):
        open_page(browser, link)
        give_reason(browser, "clipped")
        keys(browser, "r")
        until(lambda: archive.state(record_id(archive, "BELL")) == "rejected")
        keys(browser, "n", "]", "a")
        os.kill(run.pid, signal.SIGKILL)
    assert list(archive.verify()) == []
    with served(archive) as (link, _):
        open_page(browser, link)
        assert re.search(r"[12] of 6 decided", of(browser, "progress", "text"))


HOSTILE = (
    "<img src=x onerror=\"document.title='caught'\"><script>document.title='caught'</script>",
    "\u202eyauq\u202c \u2066$$\\href{javascript:document.title='caught'}{x}$$ {{7*7}} <%= 7*7 %>",
    "Q" * 10_000,
)


def test_hostile_names_stay_text(browser, results, tmp_path):
    archive = Archive(tmp_path / "hostile", create=True)
    result = results["MOLE"]
    for i, name in enumerate(HOSTILE):
        record = dataclasses.replace(result.record, station=Station(f"MOLE{i}", "XX", name=name, instrument=name))
        findings = tuple(dataclasses.replace(f, what=name, effect=name, place=name) for f in result.findings)
        archive.add(dataclasses.replace(result, record=record, findings=findings), by=name[:300], why=name[:300])
    with served(archive) as (link, _):
        open_page(browser, link)
        keys(browser, "f")
        until(lambda: of(browser, "notice", "visible"))
        seen = set()
        for i in range(len(HOSTILE)):
            if i:
                keys(browser, "j")
            until(lambda seen=seen: not set(re.findall(r"MOLE\d", of(browser, "status", "text"))) <= seen)
            seen |= set(re.findall(r"MOLE\d", of(browser, "status", "text")))
            until(lambda: len(of(browser, "models", "source.data.method")) > 1)
            stays_text(browser)
        assert len(seen) == len(HOSTILE)


def stays_text(browser):
    assert browser.title == "Review desk"
    found = browser.execute_script(
        "const found = []; const walk = node => { for (const one of node.querySelectorAll('*')) {"
        " if (one.matches('img, a[href^=javascript]') || (one.tagName === 'SCRIPT' && node !== document)) "
        "found.push(one.outerHTML); if (one.shadowRoot) walk(one.shadowRoot) } }; walk(document); return found"
    )
    assert found == []
    for what in ("status", "past", "notice"):
        text = of(browser, what, "text")
        assert "<img" not in text
        assert "\u202e" not in text
        assert len(text) < 4000
    assert browser.execute_script("return document.documentElement.scrollWidth <= window.innerWidth")


def test_nothing_is_served_without_the_token_or_to_another_origin(link):
    base = link.rsplit("/", 1)[0]
    assert base.startswith("http://127.0.0.1:")
    assert len(link.rsplit("/", 1)[1]) >= 32
    for path in ("", "/wrong", "/" + "x" * 32, "/ws", "/autoload.js"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(base + path)
        assert refused.value.code == 404
        refused.value.close()
    page = urllib.request.urlopen(link).read().decode()
    token = re.search(r'"token":"([^"]+)"', page)[1]
    for origin, status in (("http://evil.example", 403), (base, 101)):
        request = urllib.request.Request(f"{link}/ws", headers={
            "Origin": origin, "Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
            "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Protocol": f"bokeh, {token}",
        })  # fmt: skip
        assert websocket_status(request) == status


def websocket_status(request):
    import socket

    host, port = request.host.split(":")
    with socket.create_connection((host, int(port)), timeout=10) as connection:
        lines = [f"GET {request.selector} HTTP/1.1", f"Host: {request.host}"]
        lines += [f"{name}: {value}" for name, value in request.header_items()]
        connection.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
        return int(connection.recv(200).split()[1])


def luminance(colour):
    # WCAG 2.1, relative luminance; constants from memory.
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("name", ["light", "dark"])
def test_contrast(name):
    from strongmotion.review.look import Look

    look = Look(name)
    style = look.style
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    for paper in (style.paper, look.field, look.chosen, style.shade):
        assert contrast(style.ink, paper) >= 4.5
    for text in (style.faint, style.alarm, look.focus):
        assert contrast(text, style.paper) >= 4.5
    for colour in style.components.values():
        assert contrast(colour, style.paper) >= 3.0  # WCAG 1.4.11, of graphical objects


def test_nothing_overlaps_or_is_wider_than_the_window(browser, link):
    open_page(browser, link)
    try:
        for width in (1280, 1600, 2560):
            browser.execute_cdp_cmd(
                "Emulation.setDeviceMetricsOverride",
                {"width": width, "height": 1000, "deviceScaleFactor": 1, "mobile": False},
            )
            until(lambda width=width: nothing_overlaps(browser, width), f"at {width} px something overlaps", 5)
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def nothing_overlaps(browser, width):
    """Whether the window is that wide, the page no wider, and its parts lie side by side; layout takes a moment."""
    boxes = browser.execute_script(
        "return ['list', 'moved', 'signal', 'response', 'particle',"
        " 'acceleration-H1', 'displacement-V', 'models', 'status', 'past'].map(name => {"
        " const all = [...Bokeh.documents[0]._all_models.values()];"
        " const view = Bokeh.index.find_one(all.filter(model => model.name === name).at(-1));"
        " const box = view.el.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom] })"
    )
    inner, whole = browser.execute_script("return [window.innerWidth, document.documentElement.scrollWidth]")
    apart = all(
        one[2] <= other[0] + 1 or other[2] <= one[0] + 1 or one[3] <= other[1] + 1 or other[3] <= one[1] + 1
        for one, other in itertools.combinations(boxes, 2)
    )
    wide = all(right - left > 100 for left, _, right, _ in boxes)
    return len(boxes) == 10 and inner == width and whole <= width and wide and apart


def test_focus_is_visible_and_reaches_every_control(browser, link):
    from selenium.webdriver.common.keys import Keys

    open_page(browser, link)
    seen = set()
    for _ in range(60):
        keys(browser, Keys.TAB)
        tag, outline = browser.execute_script(
            "let at = document.activeElement; while (at.shadowRoot && at.shadowRoot.activeElement)"
            " at = at.shadowRoot.activeElement; const s = getComputedStyle(at);"
            " return [at.tagName, s.outlineStyle === 'none' ? 0 : parseFloat(s.outlineWidth)]"
        )
        seen.add(tag)
        if tag in ("INPUT", "SELECT", "BUTTON", "TEXTAREA"):
            assert outline >= 2
    assert {"INPUT", "SELECT", "BUTTON", "TEXTAREA"} <= seen


def test_a_result_is_explored_without_decisions(browser, results):
    shown = results["HEATH"].explore()
    try:
        assert shown.link in shown._repr_html_()
        browser.get(shown.link)
        until(lambda: of(browser, "signal", "inner_width"))
        keys(browser, "]", "]")
        until(lambda: any(text != "+0.0" for text in of(browser, "moved", "source.data.percent")))
        assert of(browser, "progress", "text") is None
    finally:
        shown.stop()
