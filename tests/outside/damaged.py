"""Which readers that are not ours notice that a response is damaged.

Standard input: {"form": ..., "damaged": [HEX, ...]}, each the bytes of a response. Prints, for each, which of three noticed
anything: "models" (fhir.resources, R4B), "client" (fhirclient, R4, strict), "paths" (invariants evaluated by fhirpathpy). A text
that Python's reader of JSON refuses is noticed by all three.

Sources of the invariants: HL7 International, FHIR R4 4.0.1 (2019): QuestionnaireResponse qrs-1, Extension ext-1, Quantity qty-3; and
that a link id is one of the form's, once. Element ele-1 is left out: fhirpathpy has no `hasValue()`.
"""

import json
import sys

import fhirclient.models.questionnaireresponse
from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse
from fhirpathpy import compile as compiled
from fhirpathpy.models import models

INVARIANTS = [compiled(it, models["r4"]) for it in (
    "resourceType = 'QuestionnaireResponse'",
    "descendants().where(linkId.exists()).all((answer.exists() and item.exists()).not())",
    "descendants().extension.all(extension.exists() != value.exists())",
    "descendants().answer.value.all(code.empty() or system.exists())",
    "descendants().linkId.all($this in %links)",
    "descendants().linkId.isDistinct()",
)]


def notices(what, *given):
    try:
        what(*given)
    except Exception:  # whatever it says of it, it has noticed
        return True
    return False


def invariants(response, links):
    for invariant in INVARIANTS:
        if invariant(response, {"links": links}) != [True]:
            raise ValueError("an invariant is broken")


def main():
    given = json.load(sys.stdin)
    links = compiled("descendants().linkId")(given["form"])
    for text in given["damaged"]:
        try:
            response = json.loads(bytes.fromhex(text))
        except (ValueError, RecursionError):
            print(json.dumps(["models", "client", "paths"]))
            continue
        # The invariants first: the models take what they are given apart.
        noticed = {
            "paths": notices(invariants, response, links),
            "models": notices(QuestionnaireResponse.model_validate, response),
            "client": notices(fhirclient.models.questionnaireresponse.QuestionnaireResponse, response, True),
        }
        print(json.dumps([it for it in ("models", "client", "paths") if noticed[it]]))


main()
