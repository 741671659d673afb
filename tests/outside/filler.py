"""Fills the form as a program that knows nothing of it but the standard, and as one that is not ours does in a browser.

Standard input: {"form": ..., "known": [RESPONSE, ...], "seeds": [N, ...]}. Prints a line for each response: {"how": ..., "response": ...}.
With the wheel of the browser's form filler as argument only that one fills the form, else only the program written here.

The program goes by HL7 International, FHIR R4 4.0.1 (2019), Questionnaire and QuestionnaireResponse (where items stand, one value an
answer, enableWhen and enableBehavior, repeats, answerOption, answerValueSet of what is contained, minValue, maxValue,
questionnaire-optionExclusive), and Structured Data Capture 3.0.0 (2022; enableWhenExpression, unitOption, minQuantity and
maxQuantity). It answers
- "not known" wherever that is an option, and nothing else;
- the first option of everything;
- at random, by a seed; numbers and days as somebody answered before, where the form gives no bounds;
- as each of the known responses does, but only what is enabled: gates must hide no answer that counts.

The browser's one is fhir-questionaire-renderer (PyPI, 0.1.13), a window for the renderer of CSIRO's Australian e-Health Research
Centre: it is given the form, its first or its "not known" options are clicked, and what it sends is taken. The program that shows a
form to somebody knows the patient and the form, and says so in the response; it does not alter an answer.
"""

import functools
import http.server
import io
import json
import random
import shutil
import sys
import tempfile
import threading
import zipfile

import fhirclient.models.questionnaireresponse
from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse
from fhirpathpy import compile as compiled
from fhirpathpy.models import models

EXTENSION = "http://hl7.org/fhir/StructureDefinition/"
SDC = "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-"
VALUES = {
    "choice": "valueCoding",
    "open-choice": "valueCoding",
    "quantity": "valueQuantity",
    "decimal": "valueDecimal",
    "integer": "valueInteger",
    "date": "valueDate",
    "time": "valueTime",
    "string": "valueString",
    "text": "valueString",
}


def extension(element, url):
    """The value of an extension, if it is there."""
    for it in element.get("extension", []):
        if it["url"] == url:
            return next(value for key, value in it.items() if key.startswith("value"))
    return None


def below(parent):
    for item in parent.get("item", []):
        yield item
        yield from below(item)
        for answer in item.get("answer", []):
            yield from below(answer)


def value(answer):
    return next(it for key, it in answer.items() if key.startswith("value"))


@functools.cache
def path(expression):
    return compiled(expression, models["r4"])


def holds(expression, items):
    """Whether an expression holds of the items that it names: over a whole response it takes a hundred times as long, which is
    tried in interchange.py."""
    named = [{key: it[key] for key in ("linkId", "answer") if key in it} for it in items if f"'{it['linkId']}'" in expression]
    response = {"resourceType": "QuestionnaireResponse", "item": named}
    return path(expression)(response, {"resource": response}) == [True]


def is_true(condition, answers):
    """One enableWhen, by the answers of its question."""
    given = [value(it) for it in answers.get(condition["question"], [])]
    if condition["operator"] == "exists":
        return bool(given) == condition["answerBoolean"]
    wanted = next(it for key, it in condition.items() if key.startswith("answer"))
    if isinstance(wanted, dict):
        given = [(it.get("system"), it.get("code")) for it in given if isinstance(it, dict)]
        wanted = (wanted.get("system"), wanted.get("code"))
    operators = {"=": lambda it: it == wanted, "!=": lambda it: it != wanted}
    return any(operators[condition["operator"]](it) for it in given)


class Filler:
    def __init__(self, form, choose):
        self.form, self.choose = form, choose
        self.sets = {f"#{it['id']}": it for it in form.get("contained", [])}

    def options(self, item):
        """The codings that an item offers, each with whether it stands alone."""
        if "answerValueSet" in item:
            includes = self.sets[item["answerValueSet"]]["compose"]["include"]
            return [({"system": it["system"], **code}, False) for it in includes for code in it["concept"]]
        alone = EXTENSION + "questionnaire-optionExclusive"
        return [(it["valueCoding"], bool(extension(it, alone))) for it in item.get("answerOption", [])]

    def is_enabled(self, item, before):
        answers = {it["linkId"]: it.get("answer", []) for it in before}
        conditions = [is_true(it, answers) for it in item.get("enableWhen", [])]
        join = any if item.get("enableBehavior") == "any" else all
        if conditions and not join(conditions):
            return False
        expression = extension(item, SDC + "enableWhenExpression")
        return expression is None or holds(expression["expression"], before)

    def items(self, parent, before):
        found = []
        for item in parent.get("item", []):
            if item["type"] == "display" or not self.is_enabled(item, before):
                continue
            filled = {"linkId": item["linkId"], "text": item["text"]}
            if item["type"] == "group":
                filled["item"] = self.items(item, before)
            else:
                answers = self.choose(item, self.options(item))
                filled["answer"] = [self.answer(item, it, before) for it in answers]
            if filled.get("item") or filled.get("answer"):
                found.append(filled)
        return found

    def answer(self, item, value, before):
        key = "valueString" if isinstance(value, str) and item["type"] == "open-choice" else VALUES[item["type"]]
        within = self.items(item, before)
        return {key: value, **({"item": within} if within else {})}

    def response(self, reference):
        """What is enabled depends on answers, so the form is gone through until nothing changes."""
        response = {
            "resourceType": "QuestionnaireResponse",
            "questionnaire": f"{self.form['url']}|{self.form['version']}",
            "status": "completed",
            "subject": {"identifier": {"value": reference}},
            "authored": "2026-11-24T10:00:00Z",
        }
        for _ in range(12):
            filled = {**response, "item": self.items(self.form, list(below(response)))}
            if filled == response:
                return response
            response = filled
        raise ValueError("the gates of the form never come to rest")


def not_known(item, options):
    return [coding for coding, _ in options if coding["code"] == "asked-unknown"]


def first(item, options):
    return [options[0][0]] if options else []


def as_before(response):
    """As somebody answered, whatever stands within an answer by its place in the list."""
    given = {}
    for item in below(response):
        given.setdefault(item["linkId"], []).extend(value(it) for it in item.get("answer", []))
    # What stands within several answers stands in several items: each is asked for once for its answer, in order.
    turn = {}

    def choose(item, options):
        link = item["linkId"]
        if link.count(".") < 2 or link.endswith((".value", ".taken_on", ".absent")):
            return given.get(link, [])
        answers = given.get(link, [])
        at = turn.get(link, 0)
        turn[link] = at + 1
        return answers[at % len(answers) :][:1] if answers else []

    return choose


def at_random(seed, known):
    """The same answer to the same item however often the form is gone through."""
    pool = {}
    for response in known:
        for item in below(response):
            pool.setdefault(item["linkId"], []).extend(value(it) for it in item.get("answer", []))

    def choose(item, options):
        dice = random.Random(f"{seed} {item['linkId']}")
        if dice.random() < 0.1:
            return []
        if options:
            coding, alone = dice.choice(options)
            if not item.get("repeats") or alone or "answerValueSet" in item:
                return [coding]
            others = [it for it, alone in options if not alone]
            return dice.sample(others, min(len(others), dice.randint(1, 3)))
        least, most = extension(item, EXTENSION + "minValue"), extension(item, EXTENSION + "maxValue")
        if item["type"] == "integer" and most is not None:
            return [dice.randint(least, most)]
        if item["type"] == "decimal" and most is not None:
            return [round(dice.uniform(least, most), 1)]
        least, most = extension(item, SDC + "minQuantity"), extension(item, SDC + "maxQuantity")
        if item["type"] == "quantity" and most is not None:
            return [{**most, "value": dice.randint(int(least["value"]) + 1, int(most["value"]))}]
        before = pool.get(item["linkId"])
        return [dice.choice(before)] if before else []

    return choose


def said(how, response):
    """Two models of the standard take it, and it is printed."""
    QuestionnaireResponse.model_validate(response)
    fhirclient.models.questionnaireresponse.QuestionnaireResponse(response, strict=True)
    print(json.dumps({"how": how, "response": response}))


def by_the_standard(given):
    form, known = given["form"], given["known"]
    said("not known", Filler(form, not_known).response("F-1"))
    said("first", Filler(form, first).response("F-2"))
    for seed in given["seeds"]:
        said("random", Filler(form, at_random(seed, known)).response(f"F-{seed}"))
    for response in known:
        filled = Filler(form, as_before(response)).response(response["subject"]["identifier"]["value"])
        said("as before", {**filled, "authored": response["authored"]})


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


def in_a_browser(given, wheel):
    from playwright.sync_api import sync_playwright

    form = given["form"]
    with tempfile.TemporaryDirectory() as folder, open(wheel, "rb") as archive:
        zipfile.ZipFile(io.BytesIO(archive.read())).extractall(folder)
        pages = f"{folder}/fhir_questionaire_renderer/frontend/dist"
        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=pages))
        threading.Thread(target=server.serve_forever, daemon=True).start()
        chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            for how, wanted in [("first", None), ("not known", "asked-unknown")]:
                page = browser.new_page(viewport={"width": 1200, "height": 900})
                page.add_init_script(
                    "window.said = []; addEventListener('message', it => it.data.isStreamlitMessage && window.said.push(it.data))"
                )
                page.goto(f"http://127.0.0.1:{server.server_address[1]}/index.html")
                page.wait_for_function("window.said.length > 0")
                page.evaluate(
                    "form => postMessage({type: 'streamlit:render', args: {questionaire: form}, dfs: [], disabled: false}, '*')", form
                )
                page.wait_for_selector("input[type=radio]")
                # Each question is clicked once; answers may bring further ones.
                n_clicked = page.evaluate(
                    """async wanted => {
                        const clicked = new Set();
                        for (let found = true; found; ) {
                            found = false;
                            for (const it of document.querySelectorAll('input[type=radio]')) {
                                if (clicked.has(it.name) || (wanted && it.value !== wanted)) continue;
                                clicked.add(it.name);
                                it.click();
                                found = true;
                                await new Promise(done => setTimeout(done, 50));
                                break;
                            }
                        }
                        return clicked.size;
                    }""",
                    wanted,
                )
                page.get_by_role("button", name="Submit").click()
                page.wait_for_function("window.said.some(it => it.type === 'streamlit:setComponentValue')")
                response = page.evaluate("window.said.filter(it => it.type === 'streamlit:setComponentValue').pop().value")
                assert n_clicked > 20, n_clicked
                response["questionnaire"] = f"{form['url']}|{form['version']}"
                response["subject"] = {"identifier": {"value": "F-3"}}
                said(how, response)
                page.close()
            browser.close()
        server.shutdown()


def main():
    given = json.load(sys.stdin)
    if sys.argv[1:]:
        in_a_browser(given, sys.argv[1])
    else:
        by_the_standard(given)


main()
