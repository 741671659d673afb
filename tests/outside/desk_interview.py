"""The interview of the desk in a browser: five referrals from paper by keyboard, the desk killed in between; two nurses at once;
a whole referral without scripts; hostile words in every field; the drawing by keyboard.

usage: desk_interview.py PROGRAM PROJECT PART
"""

import datetime
import json
import os
import re
import shutil
import signal
import subprocess
import tempfile

import yaml
from desk import PASSPHRASE, PROGRAM, PROJECT, Desk, Seat, main, narrow_and_wide

PAPERS = ["SM-101", "SM-102", "SM-103", "SM-108", "SM-109"]
CLINIC = os.path.join(PROJECT, "examples/clinic.yaml")
TODAY = datetime.date.today()


def moved(value, by):
    """The examples' days lie about 25 November 2026; a real clock wants them about today."""
    if isinstance(value, dict):
        return {key: moved(it, by) for key, it in value.items()}
    if isinstance(value, list):
        return [moved(it, by) for it in value]
    return value + by if isinstance(value, datetime.date) and value.year == 2026 else value


def paper(reference):
    """A referral on paper. What the clinic's file answers for everybody is not asked, so a plan of its own is not typed in."""
    by_days = datetime.timedelta(days=(TODAY - datetime.date(2026, 11, 25)).days // 7 * 7)
    with open(os.path.join(PROJECT, f"examples/referrals/{reference}.yaml")) as file:
        found = moved(yaml.safe_load(file), by_days)
    with open(CLINIC) as file:
        for section, standing in yaml.safe_load(file)["answers"].items():
            for name in standing:
                found["answers"].get(section, {}).pop(name, None)
    return found


def screened(folder, text):
    """What a questionnaire comes to: verdict, what fires, what waits."""
    path = os.path.join(folder, "screened.yaml")
    with open(path, "w") as file:
        file.write(text)
    said = subprocess.run([PROGRAM, "screen", path, "--clinic", CLINIC, "--format", "json"], capture_output=True, text=True)
    found = json.loads(said.stdout)
    return found["verdict"], sorted(it["rule"] for it in found["findings"]), sorted(it["rule"] for it in found["undetermined"])


def line(item):
    """An entry of a list as somebody types it."""
    if not isinstance(item, dict):
        return str(item)
    if "to" in item:
        return f"{item['to']}: {item['reaction']}" if "reaction" in item else item["to"]
    return " ".join(str(it) for it in item.values())


def short(value):
    """A day or a result as somebody types it who wants to be done: never in a way that could mean two things."""
    if isinstance(value, datetime.date):
        near = abs((value - TODAY).days) <= 180
        return f"{value.day}{value:%b}".lower() if near else f"{value:%Y%m%d}"
    return "?" if value == "unknown" else str(value).replace(" ", "")


def group(seat, name):
    return seat.page.evaluate("(name) => [...document.getElementsByName(name)].map((it) => it.value)", name)


def among(seat, name, value):
    """Answers a group of choices that has the focus."""
    if isinstance(value, bool):
        seat.press("y" if value else "n")
    elif value == [] or value == "unknown":
        seat.press("0" if value == [] else "?")
    elif isinstance(value, list) and isinstance(value[0], dict):
        offered = [it for it in group(seat, name) if not it.startswith("?")]
        (item,) = value
        seat.press(str(offered.index(f"{item['agent']} {item['strength']}") + 1))
        seat.type(re.match(r"[\d.]+", item["volume"]).group())
        return enter(seat)
    elif isinstance(value, list):
        options = group(seat, "o" + name[1:])
        places = sorted(options.index(it) + 1 for it in value)
        if len(places) == len(options):
            seat.press("*")
            return enter(seat)
        for place in places:
            if place < 10:
                seat.press(str(place))
        if places[-1] >= 10:
            while not (seat.active()[1] == "checkbox" and options.index(seat.active()[2]) + 1 == places[-1]):
                seat.press("Tab")
            seat.press("Space")
        return enter(seat)
    else:
        seat.press(str(group(seat, name).index(value) + 1))
    return False


def enter(seat):
    """Enter goes on to the next open question; behind the last one it saves, and then this is true."""
    is_last = seat.page.evaluate("() => !nextBlank(document.activeElement.closest('.field'))")
    if is_last:
        seat.enter()
    else:
        seat.press("Enter")
    return is_last


def answer(seat, value):
    """Answers the field that has the focus, and says whether that saved the page."""
    name, kind, _, _ = seat.active()
    if kind == "radio":
        return among(seat, name, value)
    if isinstance(value, list):
        for it in value:
            seat.type(line(it))
            seat.press("Enter")
        if not value:
            seat.type("0")
        return enter(seat)
    if isinstance(value, dict):
        typed(seat, value["value"])
        seat.press("Enter")
        seat.type(short(value["taken_on"]))
    else:
        typed(seat, value)
    return enter(seat)


def typed(seat, value):
    """A number alone where its unit stands beside the field. Not of a weight: pounds would be as plausible."""
    beside = seat.page.evaluate("() => document.activeElement.nextSibling?.textContent?.trim()")
    number, _, unit = str(value).partition(" ")
    alone = unit and unit == beside and not seat.active()[0].endswith(".weight")
    seat.type(number if alone else short(value))


REST = """() => [...document.querySelectorAll("form.interview fieldset.rest")].filter(isBlank).map((it) => it.id.slice(2))"""


def rest_is_no(seat, answers):
    """Whether the paper says no, or none, to everything of such a kind that is still open on this page, and that is several."""
    rest = [it.split(".") for it in seat.page.evaluate(REST)]
    known = [answers.get(section, {}).get(name, "not on the paper") for section, name in rest]
    return len(known) > 1 and all(it is False or it == [] for it in known)


def one_page(seat, answers, leave_before_the_button=False):
    """Answers what the paper says of a page, by keyboard, and goes on; or leaves it with the focus before the button."""
    done = set()
    for _ in range(400):
        name, kind, value, tag = seat.active()
        if tag == "BUTTON" and value == "next":
            return leave_before_the_button or seat.enter()
        section, _, key = name[2:].partition(".")
        known = answers.get(section, {})
        if kind == "radio" and rest_is_no(seat, answers):
            seat.press("-")
        elif name[:2] in ("a.", "t.") and key in known and name not in done:
            done.add(name)
            if answer(seat, known[key]):
                return None
        else:
            seat.press("Tab")
    raise AssertionError(f"no way to the end of {seat.page.url} by keyboard")


def interview(seat, answers, stop_after=None):
    """Goes through the interview by keyboard, from where it stands, until nothing more is asked."""
    n_pages = 0
    while "/interview/" in seat.page.url and n_pages != stop_after:
        where = seat.page.url
        one_page(seat, answers)
        assert not seat.page.query_selector(".errors"), (where, seat.page.inner_text(".errors"))
        n_pages += 1
        assert n_pages < 40, "asked in a circle"


def kept(seat, reference):
    return seat.context.request.get(f"{seat.origin}/referral/{reference}/questionnaire").text()


def of_a_clinic(folder):
    """A register with two nurses, and what the desk on it is started with."""
    register = os.path.join(folder, "desk.sqlite3")
    subprocess.run([PROGRAM, "register", "new", register], check=True, stdout=subprocess.DEVNULL)
    by = []
    for initials, role in [("GE", "governance"), ("NA", "nurse"), ("NB", "nurse")]:
        said = f"{PASSPHRASE}\n{PASSPHRASE}\n"
        subprocess.run([PROGRAM, "register", "person", "add", register, initials, "--role", role, *by], check=True, input=said,
                       text=True, stdout=subprocess.DEVNULL)
        by = ["--by", "GE"]
    return ["--register", register, "--clinic", CLINIC]


def morning(browser, counted):
    """Five referrals from paper; the desk is killed in the third, and nothing is lost of any field that was left."""
    folder = tempfile.mkdtemp()
    arguments = of_a_clinic(folder)
    desk = Desk(folder, *arguments)
    seat = Seat(browser, desk).sign_in("NA", PASSPHRASE)
    keys = {}
    for reference in PAPERS:
        on_paper = paper(reference)
        seat.go("/")
        before = seat.n_keys
        seat.access("n")
        assert seat.active()[0] == "reference", "no way to a new referral by keyboard"
        seat.type(reference)
        seat.enter()
        if reference == "SM-103":
            interview(seat, on_paper["answers"], stop_after=2)
            one_page(seat, on_paper["answers"], leave_before_the_button=True)
            seat.page.wait_for_function("() => !pending")
            seat.context.close()
            desk.end(signal.SIGKILL)
            desk = Desk(folder, *arguments)
            again = Seat(browser, desk).sign_in("NA", PASSPHRASE)
            again.n_keys, seat = seat.n_keys, again
            survived = yaml.safe_load(kept(seat, reference))["answers"]
            for section in ["circulation", "diabetes"]:
                assert survived[section] == on_paper["answers"][section], (section, survived)
            seat.go(f"/referral/{reference}/interview")
        interview(seat, on_paper["answers"])
        keys[reference] = seat.n_keys - before
        as_typed, as_written = (screened(folder, it) for it in [kept(seat, reference), yaml.safe_dump(on_paper)])
        assert as_typed == as_written, (reference, as_typed, as_written)
        seat.go(f"/referral/{reference}")
        assert seat.page.inner_text("h1 strong").lower().startswith(as_written[0]), reference
    two_nurses(browser, desk, seat)
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
        seat.page.fill(f"[name='t.person.{field}']", text)
        with seat.page.expect_navigation():
            seat.page.click("button[value=next]")
    told = second.page.inner_text(".errors")
    assert "meanwhile" in told and "64 kg" in told, told
    stands = {field: second.page.input_value(f"[name='t.person.{field}']") for field in ["height", "weight"]}
    assert stands == {"height": "171 cm", "weight": "64 kg"}, stands
    with second.page.expect_navigation():
        second.page.click("button[value=next]")
    first.go(path)
    stands = {field: first.page.input_value(f"[name='t.person.{field}']") for field in ["height", "weight"]}
    assert stands == {"height": "171 cm", "weight": "64 kg"}, stands
    assert not second.wrong, second.wrong


def by_hand(page, answers):
    """Fills in a page without a script: every field by what the browser itself offers."""
    for was in page.query_selector_all("form.interview [name^='was.']"):
        fact = was.get_attribute("name").removeprefix("was.")
        section, _, key = fact.partition(".")
        value = answers.get(section, {}).get(key)
        if value is None or key == "note":
            continue
        group, lines = page.locator(f"[name='a.{fact}']"), page.locator(f"[name='t.{fact}']")
        if isinstance(value, list) and value and isinstance(value[0], dict):
            (item,) = value
            page.check(f"[name='a.{fact}'][value='{item['agent']} {item['strength']}']")
            page.fill(f"[name='d.{fact}']", item["volume"])
        elif isinstance(value, list) and group.count() and value:
            page.check(f"[name='a.{fact}'][value='?some']")
            for it in value:
                page.check(f"[name='o.{fact}'][value='{it}']")
        elif group.count():
            word = {True: "yes", False: "no", "unknown": "?"}.get(value if not isinstance(value, list) else "none", value)
            page.check(f"[name='a.{fact}'][value='{'?none' if value == [] else word}']")
        elif isinstance(value, list):
            for at, it in enumerate(value or ["none"]):
                lines.nth(at).fill(line(it))
        elif isinstance(value, dict):
            lines.fill(str(value["value"]))
            page.fill(f"[name='d.{fact}']", str(value["taken_on"]))
        else:
            lines.fill("?" if value == "unknown" else str(value))


def without_script(browser, counted):
    """Whole referrals typed in with scripts off come to the same as their files; a slip stays as typed."""
    folder = tempfile.mkdtemp()
    desk = Desk(folder, *of_a_clinic(folder))
    seat = Seat(browser, desk, java_script_enabled=False).sign_in("NB", PASSPHRASE)
    page, n_pages = seat.page, 0
    for reference in ["SM-103", "SM-109"]:
        on_paper = paper(reference)
        seat.go("/")
        page.fill("#reference", reference)
        page.click("text=Open")
        page.fill("[name='t.person.weight']", "70")
        page.click("button[value=next]")
        assert "needs a unit" in page.inner_text("main") and page.input_value("[name='t.person.weight']") == "70"
        page.fill("[name='t.person.weight']", "")
        while "/interview/" in page.url:
            by_hand(page, on_paper["answers"])
            page.click("button[value=next]")
            assert not page.query_selector(".errors"), page.inner_text(".errors")
            n_pages += 1
            assert n_pages < 60, "asked in a circle"
        as_typed, as_written = (screened(folder, it) for it in [kept(seat, reference), yaml.safe_dump(on_paper)])
        assert as_typed == as_written, (reference, as_typed, as_written)
    desk.end(signal.SIGTERM)
    shutil.rmtree(folder)
    counted["pages"] = n_pages


HOSTILE = [
    "<script>alert(1)</script>", "\"><img src=x onerror=alert(2)>", "'><svg onload=alert(3)>", "</textarea></main><h1>GO</h1>",
    "\u202egnp.exe\u2066", "\u0000", "a\u0000b", "\u001b[31mred", "*a", "&a 1", "- 1", "a: b", "? a", "!!python/object:os.system", "{ a: [", "]", "# none",
    "| \n a", "\"", "'", "''\"\"", "%", "@a", "`a`", "<<: *a", "null", "~", "\ufeffx", "\u2028- a", "\ud7ff\ue000", "x" * 100_000,
]


def hostile(browser, counted):
    """Whatever is sent for a field that takes text: refused at that field, or kept as it is and inert on every page."""
    folder = tempfile.mkdtemp()
    desk = Desk(folder, *of_a_clinic(folder))
    seat = Seat(browser, desk).sign_in("NA", PASSPHRASE)
    page = seat.page
    sections = [it["id"] for it in yaml.safe_load(open(os.path.join(PROJECT, "rules/questions.yaml")))["sections"]]
    n_sent, n_kept = 0, 0
    for number, section in enumerate(sections):
        # Each section on a referral of its own: pages that hold all of the others' texts take long.
        reference = f"SM-{900 + number}"
        asked = f"/referral/{reference}/interview/{section}"
        seat.go("/")
        page.fill("#reference", reference)
        seat.enter_by("text=Open")
        seat.go(f"{asked}?all=1")
        names = page.evaluate("() => [...new Set([...document.querySelectorAll('form.interview :is([name^=\"t.\"], [name^=\"d.\"])')].map((it) => it.name))]")
        # The first rounds send one text to every field at once, the others to each field another one.
        for turn in range(8):
            seat.go(f"{asked}?all=1")
            texts = {name: HOSTILE[turn if turn < 3 else (at * 5 + turn * 7) % len(HOSTILE)] for at, name in enumerate(names)}
            assert send(seat, {**texts, "then": "keep"}) in (200, 422), (section, turn)
            n_sent += len(names)
            yaml.safe_load(kept(seat, reference))
        inert(seat, reference, ["", f"/interview/{section}?all=1", "/letters/questions-patient"])
        seat.go(asked)
        words = "</textarea><script>alert(9)</script>\n- *a: &b # c"
        assert send(seat, {f"t.{section}.note": words, "then": "keep"}) == 200, section
        assert yaml.safe_load(kept(seat, reference))["answers"][section]["note"] == words, section
        n_kept += 1
        inert(seat, reference, ["", f"/interview/{section}"])
    assert not seat.wrong, seat.wrong
    desk.end(signal.SIGTERM)
    shutil.rmtree(folder)
    counted["sent"], counted["notes"] = n_sent, n_kept


def send(seat, fields):
    """Sends a page with these fields as a browser would, its hidden ones as they stand, and returns the status."""
    hidden = "() => Object.fromEntries([...document.querySelectorAll('form.interview input[type=hidden]')].map((it) => [it.name, it.value]))"
    answer = seat.context.request.post(seat.page.url.split("?")[0], form={**seat.page.evaluate(hidden), **fields},
                                       headers={"Origin": seat.origin, "Sec-Fetch-Site": "same-origin"})
    return answer.status


def inert(seat, reference, paths):
    for path in paths:
        seat.go(f"/referral/{reference}{path}")
        found = seat.page.evaluate("() => document.querySelectorAll('main script, main img, main [onerror], main [onload]').length")
        headings = seat.page.evaluate("() => [...document.querySelectorAll('h1')].filter((it) => it.textContent === 'GO').length")
        assert found == 0 and headings == 0, (path, found, headings)


def drawing(browser, counted):
    """Sites are chosen on the drawing by keyboard and by touch, with scripts and without; pages with it are accessible."""
    folder = tempfile.mkdtemp()
    desk = Desk(folder, *of_a_clinic(folder))
    chosen = {}
    for reference, has_script in [("SM-1", True), ("SM-2", False)]:
        seat = Seat(browser, desk, java_script_enabled=has_script).sign_in("NA", PASSPHRASE)
        page = seat.page
        seat.go("/")
        page.fill("#reference", reference)
        seat.enter_by("text=Open")
        page.focus("[name='o.plan.toes'][value=left-fifth]")
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        assert seat.active()[2] == "right-great", seat.active()
        page.keyboard.press("Space")
        page.click("svg.drawing foreignObject:nth-of-type(7) label")
        page.click("text=Left second toe")
        seat.enter_by("button[value=next]")
        chosen[reference] = sorted(yaml.safe_load(kept(seat, reference))["answers"]["plan"]["toes"])
        if has_script:
            counted["axe"] = 0
            for section in ["plan", "person", "allergies", "general", "site"]:
                seat.go(f"/referral/{reference}/interview/{section}?all=1")
                counted["axe"] += narrow_and_wide(seat, section)
        page.goto(f"{seat.origin}/referral/{reference}/interview/plan")
        assert "Chosen: Left second toe, Left fifth toe, Right great toe, Right second toe" in page.inner_text("main")
        assert not seat.wrong, seat.wrong
    assert all(it == ["left-fifth", "left-second", "right-great", "right-second"] for it in chosen.values()), chosen
    desk.end(signal.SIGTERM)
    shutil.rmtree(folder)


if __name__ == "__main__":
    main(morning=morning, without_script=without_script, hostile=hostile, drawing=drawing)
