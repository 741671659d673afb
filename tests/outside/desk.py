"""The desk in a browser: a clinician's review, hostile words, accessibility, paper. And a seat before it, with every key
counted. Prints what was counted as JSON; ends with an assertion where something is not as it should be.

usage: desk.py PROGRAM PROJECT example
"""

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

    def access(self, key):
        """Alt and a letter, two keys: the driver's own press leaves out the text by which Chromium knows access keys."""
        self.n_keys += 2
        session = self.context.new_cdp_session(self.page)
        sent = {"modifiers": 1, "key": key, "code": f"Key{key.upper()}", "windowsVirtualKeyCode": ord(key.upper()), "unmodifiedText": key}
        session.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": key, **sent})
        session.send("Input.dispatchKeyEvent", {"type": "keyUp", **sent})

    def active(self):
        return self.page.evaluate(
            "() => { const it = document.activeElement; return [it.name ?? '', it.type ?? '', it.value ?? '', it.tagName] }")

    def enter_by(self, selector):
        with self.page.expect_navigation():
            self.page.click(selector)

    def enter(self):
        self.n_keys += 1
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")


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
    narrow_and_wide(seat, "the sentence")
    seat.page.fill("#passphrase", passphrase)
    with seat.page.expect_navigation():
        seat.page.click("main button")
    text = seat.page.inner_text("main")
    assert sentence in text and "DEFER" in text and "decided by CB" in text, text


def take_in(seat, name, paper):
    seat.go("/files")
    seat.page.fill("#name", name)
    seat.page.fill("#text", yaml.safe_dump(paper, allow_unicode=True))
    with seat.page.expect_navigation():
        seat.page.click("text=Take it in")


def hostile(seat):
    """Words that would be markup, steer or run are shown, and do nothing."""
    words = ["<script>alert(1)</script>", "<img src=x onerror=alert(2)>", "\"><svg onload=alert(3)>", "javascript:alert(4)",
             "{{7*7}}", "'; drop table entry; --", "</textarea></main><h1>GO</h1>"]
    paper = {"questionnaire": 1, "reference": "SM-966", "answers": {
        "medicines": {"current": words, "note": words[0]}, "allergies": {"known": [{"to": it} for it in words]},
        "lesion": {"note": words[6]}}, "note": words[1]}
    take_in(seat, words[2], paper)
    assert seat.page.url.endswith("/referral/SM-966"), seat.page.inner_text("main")
    take_in(seat, words[2], paper | {"note": words[5]})
    shown = seat.page.inner_text("main")
    assert words[1] in shown and words[5] in shown, shown
    assert seat.page.evaluate("() => document.querySelectorAll('main script, main img, main svg, main [onerror]').length") == 0
    narrow_and_wide(seat, "what a file replaces")
    with seat.page.expect_navigation():
        seat.page.click("text=Replace the answers")
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


def narrow_and_wide(seat, what):
    """axe finds nothing on the page that is shown, at two widths, and nothing runs out of a narrow one."""
    for width in (1280, 320):
        seat.page.set_viewport_size({"width": width, "height": 800})
        found = Axe().run(seat.page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
        assert found.violations_count == 0, (what, width, found.generate_report())
        wide = seat.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, (what, width, wide)
    seat.page.set_viewport_size({"width": 1280, "height": 800})
    return 2


def accessible(nurse, clinician, governance):
    """Every page, narrow and wide."""
    n_pages = 0
    for seat, paths in [(nurse, PAGES), (clinician, ["/referral/SM-110/decide", "/referral/SM-106/decide"]),
                        (governance, ["/people", "/figures", "/files"])]:
        for path in paths:
            seat.go(path)
            n_pages += narrow_and_wide(seat, path)
    return n_pages


def printed(seat):
    """Pages of A4 that a usual referral takes."""
    n_pages = {}
    for reference in ["SM-101", "SM-103", "SM-110"]:
        seat.go(f"/referral/{reference}")
        n_pages[reference] = len(re.findall(rb"/Type\s*/Page\b(?!s)", seat.page.pdf(prefer_css_page_size=True)))
    return n_pages


def main(**parts):
    counted = {}
    with sync_playwright() as driver:
        chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        assert chromium, "these tests need Chromium"
        browser = driver.chromium.launch(executable_path=chromium, args=SWITCHES)
        for part in sys.argv[3:]:
            parts[part](browser, counted)
        browser.close()
    print(json.dumps(counted))


if __name__ == "__main__":
    main(example=example)
