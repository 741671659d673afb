"""The form and the responses that the program writes, read by libraries that are not ours.

Standard input: {"form": ..., "filled": [{"response": ..., "applies": [LINK, ...]}]}, with the questions that apply to each patient
for certain. Says what was checked, or fails.

Two models of the standard read everything: fhir.resources (R4B, whose Questionnaire and QuestionnaireResponse are those of R4)
and fhirclient (R4). The form's own invariants and its gates are evaluated by fhirpathpy. Sources of the invariants: HL7
International, FHIR R4 4.0.1 (2019), Questionnaire: que-2 (link ids are unique), que-7 (`exists` takes a boolean), que-12 (several
conditions say how they join), and that each gate asks after a question of the form.
"""

import json
import sys

import fhirclient.models.questionnaire
import fhirclient.models.questionnaireresponse
from fhir.resources.R4B.questionnaire import Questionnaire
from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse
from fhirpathpy import evaluate
from fhirpathpy.models import models

GATE = "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-enableWhenExpression"


def below(parent):
    for item in parent.get("item", []):
        yield item
        yield from below(item)
        for answer in item.get("answer", []):
            yield from below(answer)


def answers(response, link):
    found = (item for item in below(response) if item["linkId"] == link)
    return [answer for item in found for answer in item.get("answer", [])]


def holds(condition, response):
    given = answers(response, condition["question"])
    if condition["operator"] == "exists":
        return bool(given) == condition["answerBoolean"]
    wanted = condition["answerCoding"]
    same = [
        (it["valueCoding"]["system"], it["valueCoding"]["code"]) == (wanted["system"], wanted["code"])
        for it in given
        if "valueCoding" in it
    ]
    return any(same) if condition["operator"] == "=" else any(not it for it in same)


def is_asked(item, response):
    conditions = [holds(it, response) for it in item.get("enableWhen", [])]
    join = all if item.get("enableBehavior", "all") == "all" else any
    if conditions and not join(conditions):
        return False
    for extension in item.get("extension", []):
        if extension["url"] == GATE:
            path = extension["valueExpression"]["expression"]
            if evaluate(response, path, {"resource": response}, models["r4"]) != [True]:
                return False
    return True


def main():
    given = json.load(sys.stdin)
    form = given["form"]
    Questionnaire.model_validate(form)
    fhirclient.models.questionnaire.Questionnaire(form, strict=True)
    assert evaluate(form, "Questionnaire.descendants().linkId.isDistinct()") == [True]
    items = {item["linkId"]: item for item in below(form)}
    n_gates = 0
    for item in items.values():
        conditions = item.get("enableWhen", [])
        n_gates += bool(conditions)
        assert all(it["question"] in items for it in conditions), item["linkId"]
        assert len(conditions) < 2 or item["enableBehavior"] in ("all", "any"), item["linkId"]
        for it in conditions:
            assert (it["operator"] == "exists") == ("answerBoolean" in it), item["linkId"]
    n_asked = 0
    for filled in given["filled"]:
        response = filled["response"]
        QuestionnaireResponse.model_validate(response)
        fhirclient.models.questionnaireresponse.QuestionnaireResponse(response, strict=True)
        for item in below(response):
            assert item["linkId"] in items, item["linkId"]
        for link in filled["applies"]:
            assert is_asked(items[link], response), (response["subject"], link)
            n_asked += 1
    print(json.dumps({"items": len(items), "gates": n_gates, "responses": len(given["filled"]), "asked": n_asked}))


main()
