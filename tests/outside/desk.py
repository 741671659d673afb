"""The desk in a browser, by keyboard: a nurse's morning, a clinician's review, hostile words, two nurses at once, accessibility,
paper. Prints what was counted as JSON; ends with an assertion where something is not as it should be.

usage: desk.py PROGRAM PROJECT [morning] [example]
"""

import datetime
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile

import yaml
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

PROGRAM, PROJECT = sys.argv[1:3]
for name in [it for it in os.environ if it.startswith("PREBLOCK_")]:
    del os.environ[name]
PASSPHRASE = "four words of nobody"
SWITCHES = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]
PAPERS = ["SM-101", "SM-102", "SM-103", "SM-108", "SM-109"]


class Desk:
    """A desk that runs, under strace where there is one: it must not connect to anything."""

    def __init__(self, folder, *arguments):
        self.folder = folder
        self.said = os.path.join(folder, "said")
        self.log = os.path.join(folder, "connects")
        traced = ["strace", "-f", "-qq", "-e", "trace=connect", "-o", self.log] if shutil.which("strace") else []
        with open(self.said, "w") as said:
            self.process = subprocess.Popen([*traced, PROGRAM, "desk", *arguments], stderr=said, stdout=subprocess.DEVNULL,
                                            start_new_session=True)
        self.used = 0

    def address(self):
        """The next address that the terminal shows."""
        for _ in range(600):
            found = re.findall(r"http://\S+", open(self.said).read())
            if len(found) > self.used:
                self.used = len(found)
                return found[-1]
            if self.process.poll() is not None:
                break
            subprocess.run(["sleep", "0.1"])
        raise AssertionError(open(self.said).read())

    def end(self, how):
        os.killpg(self.process.pid, how)
        self.process.wait()
        if os.path.exists(self.log):
            connects = [line for line in open(self.log) if "connect(" in line and "AF_UNIX" not in line]
            assert not connects, connects


class Seat:
    """A browser of its own, with every key counted."""

    def __init__(self, browser, desk, **wishes):
        self.context = browser.new_context(viewport={"width": 1280, "height": 800}, **wishes)
        self.page = self.context.new_page()
        self.page.on("dialog", lambda dialog: self.wrong.append(f"a dialog: {dialog.message}"))
        self.page.on("request", lambda request: self.look_at(request.url))
        self.wrong, self.n_keys = [], 0
        first = desk.address()
        self.origin = re.match(r"http://[^/]+", first).group()
        self.page.goto(first)

    def look_at(self, url):
        if not url.startswith(self.origin):
            self.wrong.append(url)

    def go(self, path):
        answer = self.page.goto(self.origin + path)
        assert answer.status < 500, path
        return self.page.content()

    def sign_in(self, initials, passphrase):
        self.go("/sign-in")
        self.page.fill("#initials", initials)
        self.page.fill("#passphrase", passphrase)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        return self

    def press(self, key):
        self.n_keys += 1
        self.page.keyboard.press(key)

    def type(self, text):
        for line in text.split("\n"):
            if line != text.split("\n")[0]:
                self.press("Enter")
            self.n_keys += len(line)
            self.page.keyboard.type(line)

    def active(self):
        return self.page.evaluate(
            "() => { const it = document.activeElement; return [it.name ?? '', it.type ?? '', it.value ?? '', it.tagName] }")

    def enter(self):
        self.n_keys += 1
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")


def moved(value, by):
    """The examples' days lie about 25 November 2026; a real clock wants them about today."""
    if isinstance(value, dict):
        return {key: moved(it, by) for key, it in value.items()}
    if isinstance(value, list):
        return [moved(it, by) for it in value]
    return value + by if isinstance(value, datetime.date) and value.year == 2026 else value


def line(item):
    """An entry of a list as somebody types it."""
    if not isinstance(item, dict):
        return str(item)
    if "to" in item:
        return f"{item['to']}: {item['reaction']}" if "reaction" in item else item["to"]
    return " ".join(str(it) for it in item.values())


def answer(seat, value):
    """Answers the field that has the focus."""
    name, kind, _, _ = seat.active()
    if kind == "radio":
        group = seat.page.evaluate("(name) => [...document.getElementsByName(name)].map((it) => it.value)", name)
        if isinstance(value, bool):
            seat.press("y" if value else "n")
        elif value == []:
            seat.press("0")
        elif isinstance(value, list):
            seat.press(str(group.index("?some") + 1))
            options = seat.page.evaluate("(name) => [...document.getElementsByName(name)].map((it) => it.value)", "o" + name[1:])
            places = sorted(options.index(it) + 1 for it in value)
            for place in places:
                if place < 10:
                    seat.press(str(place))
            if places[-1] >= 10:
                while not (seat.active()[1] == "checkbox" and options.index(seat.active()[2]) + 1 == places[-1]):
                    seat.press("Tab")
                seat.press("Space")
            seat.press("Enter")
        else:
            seat.press("?" if value == "unknown" else str(group.index(value) + 1))
    elif isinstance(value, dict):
        seat.type(str(value["value"]))
        seat.press("Tab")
        seat.type(str(value["taken_on"]))
        seat.press("Tab")
    elif isinstance(value, list):
        seat.type("\n".join(line(it) for it in value) or "0")
        seat.press("Tab")
    else:
        seat.type("?" if value == "unknown" else str(value))
        seat.press("Tab")


def interview(seat, answers, stop_after=None):
    """Goes through the interview by keyboard, from where it stands, until nothing more is asked."""
    n_pages = 0
    while "/interview/" in seat.page.url and n_pages != stop_after:
        section = re.search(r"/interview/(\w+)", seat.page.url).group(1)
        known = {key: value for key, value in answers.get(section, {}).items() if key != "note"}
        done = set()
        for _ in range(400):
            name, kind, value, tag = seat.active()
            if tag == "BUTTON" and value == "next":
                break
            field = name[2:]
            if name[:2] in ("a.", "t.") and field in known and field not in done:
                done.add(field)
                answer(seat, known[field])
            else:
                seat.press("Tab")
        else:
            raise AssertionError(f"no way to the end of {section} by keyboard")
        seat.enter()
        assert "Not yet understood" not in seat.page.content(), (section, seat.page.inner_text(".errors"))
        n_pages += 1
        assert n_pages < 80, "asked in a circle"


def verdict(seat, reference):
    seat.go(f"/referral/{reference}")
    return seat.page.inner_text("h1 strong")


def morning(browser, counted):
    """Five referrals from paper; the desk is killed in the third and nothing that was saved is lost."""
    folder = tempfile.mkdtemp()
    register = os.path.join(folder, "desk.sqlite3")
    subprocess.run([PROGRAM, "register", "new", register], check=True, stdout=subprocess.DEVNULL)
    by = []
    for initials, role in [("GE", "governance"), ("NA", "nurse"), ("NB", "nurse")]:
        said = f"{PASSPHRASE}\n{PASSPHRASE}\n"
        subprocess.run([PROGRAM, "register", "person", "add", register, initials, "--role", role, *by], check=True, input=said,
                       text=True, stdout=subprocess.DEVNULL)
        by = ["--by", "GE"]
    clinic = os.path.join(PROJECT, "examples/clinic.yaml")
    desk = Desk(folder, "--register", register, "--clinic", clinic)
    seat = Seat(browser, desk).sign_in("NA", PASSPHRASE)
    today = datetime.date.today()
    by_days = datetime.timedelta(days=(today - datetime.date(2026, 11, 25)).days // 7 * 7)
    keys, expected = {}, {}
    for at, reference in enumerate(PAPERS):
        with open(os.path.join(PROJECT, f"examples/referrals/{reference}.yaml")) as file:
            paper = moved(yaml.safe_load(file), by_days)
        seat.go("/")
        before = seat.n_keys
        # Past the navigation by the skip link.
        seat.press("Tab")
        seat.press("Enter")
        while seat.active()[0] != "reference":
            seat.press("Tab")
            assert seat.n_keys - before < 20, "no way to a new referral by keyboard"
        seat.type(reference)
        seat.enter()
        if at == 2:
            interview(seat, paper["answers"], stop_after=4)
            seat.context.close()
            desk.end(signal.SIGKILL)
            desk = Desk(folder, "--register", register, "--clinic", clinic)
            again = Seat(browser, desk).sign_in("NA", PASSPHRASE)
            again.n_keys, seat = seat.n_keys, again
            kept = yaml.safe_load(seat.context.request.get(f"{seat.origin}/referral/{reference}/questionnaire").text())
            assert len(kept["answers"]) >= 4, kept
            seat.go(f"/referral/{reference}/interview")
        interview(seat, paper["answers"])
        keys[reference] = seat.n_keys - before
        path = os.path.join(folder, f"{reference}.yaml")
        with open(path, "w") as file:
            yaml.safe_dump(paper, file)
        screened = subprocess.run([PROGRAM, "screen", path, "--clinic", clinic, "--format", "json"], capture_output=True, text=True)
        expected[reference] = json.loads(screened.stdout)["verdict"]
    for reference, outcome in expected.items():
        shown = verdict(seat, reference)
        assert shown.lower().startswith(outcome), (reference, shown, outcome)
    two_nurses(browser, desk, seat)
    without_script(browser, desk)
    assert not seat.wrong, seat.wrong
    desk.end(signal.SIGTERM)
    shutil.rmtree(folder)
    counted["keys"] = keys


def two_nurses(browser, desk, first):
    """The second to save is told what the first one saved, and keeps what was typed."""
    second = Seat(browser, desk).sign_in("NB", PASSPHRASE)
    path = f"/referral/{PAPERS[0]}/interview/person"
    first.go(path)
    second.go(path)
    for seat, field, text in [(first, "weight", "64 kg"), (second, "height", "171 cm")]:
        seat.page.fill(f"#q-{field}", text)
        with seat.page.expect_navigation():
            seat.page.click("button[value=next]")
    assert "meanwhile" in second.page.inner_text(".errors") and "64 kg" in second.page.inner_text(".errors")
    assert second.page.input_value("#q-height") == "171 cm" and second.page.input_value("#q-weight") == "64 kg"
    with second.page.expect_navigation():
        second.page.click("button[value=next]")
    first.go(path)
    assert first.page.input_value("#q-height") == "171 cm" and first.page.input_value("#q-weight") == "64 kg"
    assert not second.wrong, second.wrong


def without_script(browser, desk):
    """The same pages with scripts off: open, answer, go on."""
    seat = Seat(browser, desk, java_script_enabled=False).sign_in("NB", PASSPHRASE)
    seat.go("/")
    seat.page.fill("#reference", "SM-950")
    seat.page.click("text=Open")
    seat.page.fill("#q-date_of_birth", "1990-05-06")
    seat.page.check("[name='a.sex'][value=female]")
    seat.page.fill("#q-weight", "70")
    seat.page.click("button[value=next]")
    assert "needs a unit" in seat.page.inner_text("main") and seat.page.input_value("#q-weight") == "70"
    seat.page.fill("#q-weight", "70 kg")
    seat.page.click("button[value=next]")
    assert "/interview/plan" in seat.page.url


def example(browser, counted):
    """A review, hostile words, accessibility and paper, on the desk of the examples."""
    folder = tempfile.mkdtemp()
    desk = Desk(folder, "--example")
    first = desk.address()
    desk.used = 0
    passphrase = re.search(r"signs in with (\w+)", open(desk.said).read()).group(1)
    assert first
    nurse = Seat(browser, desk).sign_in("NA", passphrase)
    clinician = Seat(browser, desk).sign_in("CB", passphrase)
    review(clinician, passphrase)
    hostile(nurse)
    governance = Seat(browser, desk).sign_in("GE", passphrase)
    counted["axe"] = accessible(nurse, clinician, governance)
    counted["printed"] = printed(nurse)
    for seat in (nurse, clinician, governance):
        assert not seat.wrong, seat.wrong
    desk.end(signal.SIGTERM)
    shutil.rmtree(folder)


def review(seat, passphrase):
    """A clinician goes on in spite of one finding, sets it aside and signs."""
    seat.go("/referral/SM-110/decide")
    seat.page.check("[name=outcome][value=go]")
    seat.page.select_option("select[name^='reason.']", index=1)
    seat.page.fill("input[name^='why.']", "Seen by the diabetes team on Monday; it agrees.")
    for box in seat.page.query_selector_all("[name=read]"):
        box.check()
    with seat.page.expect_navigation():
        seat.page.click("text=Read what is signed")
    sentence = seat.page.inner_text("main blockquote")
    assert "I, CB, have read" in sentence and "it agrees" in sentence, sentence
    seat.page.fill("#passphrase", passphrase)
    with seat.page.expect_navigation():
        seat.page.click("main button")
    text = seat.page.inner_text("main")
    assert sentence in text and "DEFER" in text and "decided by CB" in text, text


def hostile(seat):
    """Words that would be markup, steer or run are shown, and do nothing."""
    words = ["<script>alert(1)</script>", "<img src=x onerror=alert(2)>", "\"><svg onload=alert(3)>", "javascript:alert(4)",
             "{{7*7}}", "'; drop table entry; --", "</textarea></main><h1>GO</h1>"]
    paper = {"questionnaire": 1, "reference": "SM-966", "answers": {
        "medicines": {"current": words, "note": words[0]}, "allergies": {"known": [{"to": it} for it in words]},
        "lesion": {"note": words[6]}}, "note": words[1]}
    seat.go("/files")
    seat.page.fill("#name", words[2])
    seat.page.fill("#text", yaml.safe_dump(paper, allow_unicode=True))
    with seat.page.expect_navigation():
        seat.page.click("text=Take it in")
    assert seat.page.url.endswith("/referral/SM-966"), seat.page.inner_text("main")
    for path in ["", "/interview/medicines?all=1", "/interview/allergies?all=1", "/book", "/letters",
                 "/letters/questions-patient"]:
        seat.go(f"/referral/SM-966{path}")
        found = seat.page.evaluate("() => document.querySelectorAll('main script, main img, main [onerror], main [onload]').length")
        headings = seat.page.evaluate("() => document.querySelectorAll('h1').length")
        assert found == 0 and headings == 1, path
    seat.page.set_default_timeout(30_000)


PAGES = ["/", "/calls", "/day-before?day=2026-12-03", "/files", "/referral/SM-103", "/referral/SM-107", "/referral/SM-103/interview/bleeding",
         "/referral/SM-107/interview/medicines?all=1", "/referral/SM-103/letters", "/referral/SM-103/letters/result",
         "/referral/SM-108/book", "/figures"]


def accessible(nurse, clinician, governance):
    """axe finds nothing on any page at two widths, and nothing runs out of a narrow one."""
    axe, n_pages = Axe(), 0
    for seat, paths in [(nurse, PAGES), (clinician, ["/referral/SM-110/decide", "/referral/SM-106/decide"]),
                        (governance, ["/people", "/figures", "/files"])]:
        for path in paths:
            for width in (1280, 320):
                seat.page.set_viewport_size({"width": width, "height": 800})
                seat.go(path)
                found = axe.run(seat.page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
                assert found.violations_count == 0, (path, width, found.generate_report())
                wide = seat.page.evaluate("document.documentElement.scrollWidth")
                assert wide <= width, (path, width, wide)
                n_pages += 1
        seat.page.set_viewport_size({"width": 1280, "height": 800})
    return n_pages


def printed(seat):
    """Pages of A4 that a usual referral takes."""
    n_pages = {}
    for reference in ["SM-101", "SM-103", "SM-110"]:
        seat.go(f"/referral/{reference}")
        n_pages[reference] = len(re.findall(rb"/Type\s*/Page\b(?!s)", seat.page.pdf(prefer_css_page_size=True)))
    return n_pages


def main():
    counted = {}
    with sync_playwright() as driver:
        chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        assert chromium, "these tests need Chromium"
        browser = driver.chromium.launch(executable_path=chromium, args=SWITCHES)
        which = sys.argv[3:] or ["morning", "example"]
        for part in which:
            {"morning": morning, "example": example}[part](browser, counted)
        browser.close()
    print(json.dumps(counted))


main()
