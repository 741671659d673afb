"""What the program answers in open standards, read by libraries that are not ours.

Standard input: {"canonical": [ADDRESS, ...], "resources": [...], "cards": [...]}: Bundles and OperationOutcomes of FHIR R4, and answers of
CDS Hooks 2.0. Each checker below reads all of them; then each must notice what damages.py does to them, so that none passes on
anything. Says what was checked, or fails.

- fhir.resources (R4B; Bundle, Library, GuidanceResponse, DetectedIssue and OperationOutcome have the elements of R4 there) and
  fhirclient (R4): elements, types, how many of each.
- codes: the codes of required bindings, which neither model looks at (HL7 International, FHIR R4 4.0.1, 2019, each resource's page).
- paths: invariants of R4 by fhirpathpy: bdl-7, bdl-8, dom-2 to dom-5, drq-1, lib-0.
- whole: references lead somewhere in the Bundle, the module is the rule set that stands there, nothing is null or empty, codes
  are our own but for one of the standard's, the patient is an identifier and nothing else.
- notes: whatever the standard has as Markdown is Markdown without HTML, links or pictures, by markdown-it-py.
- schema: cards.schema.json, written from the text of CDS Hooks 2.0, by jsonschema.
- coding: each topic and reason is a Coding of R4, by fhir.resources.
- markdown: the details of cards, as notes.
"""

import json
import pathlib
import sys

import fhirclient.models.bundle
import fhirclient.models.operationoutcome
import jsonschema
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.coding import Coding
from fhir.resources.R4B.operationoutcome import OperationOutcome
from fhirpathpy import evaluate
from fhirpathpy.models import models
from markdown_it import MarkdownIt

from damages import CARDS, RESOURCES

HERE = pathlib.Path(__file__).parent
SCHEMA = jsonschema.Draft7Validator(json.loads((HERE / "cards.schema.json").read_text()))

REQUIRED = {
    ("Bundle", "type"): "document message transaction transaction-response batch batch-response history searchset collection",
    ("Library", "status"): "draft active retired unknown",
    ("GuidanceResponse", "status"): "success data-requested data-required in-progress failure entered-in-error",
    ("DetectedIssue", "status"): "registered preliminary final amended corrected cancelled entered-in-error unknown",
    ("DetectedIssue", "severity"): "high moderate low",
    ("OperationOutcome", "issue.severity"): "fatal error warning information",
    ("OperationOutcome", "issue.code"): "invalid structure required value invariant security login unknown expired forbidden suppressed "
    "processing not-supported duplicate multiple-matches not-found deleted too-long code-invalid extension too-costly "
    "business-rule conflict transient lock-error no-store exception timeout incomplete throttled informational",
    ("Library", "relatedArtifact.type"): "documentation justification citation predecessor successor derived-from depends-on composed-of",
}
INVARIANTS = {
    "bdl-7": "entry.where(fullUrl.exists()).fullUrl.isDistinct()",
    "bdl-8": "entry.where(fullUrl.contains('/_history/')).empty()",
    "dom-2": "descendants().contained.contained.empty()",
    "dom-3": "descendants().contained.empty()",
    "dom-4": "descendants().contained.meta.versionId.empty() and descendants().contained.meta.lastUpdated.empty()",
    "dom-5": "descendants().contained.meta.security.empty()",
    "drq-1": "descendants().codeFilter.all(path.exists() xor searchParam.exists())",
    "lib-0": "entry.resource.where(resourceType = 'Library').name.all(matches('^[A-Z]([A-Za-z0-9_]){0,254}$'))",
}
OWN_PATIENT = {"type", "identifier"}
OF_THE_STANDARD = {"http://terminology.hl7.org/CodeSystem/library-type"}


def resources(resource):
    return [resource] + [entry["resource"] for entry in resource.get("entry", [])]


def all_below(value, key=None):
    yield key, value
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from all_below(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from all_below(inner, key)


def by_model(resource):
    {"Bundle": Bundle, "OperationOutcome": OperationOutcome}[resource["resourceType"]].model_validate(resource)


def by_client(resource):
    kind = {
        "Bundle": fhirclient.models.bundle.Bundle,
        "OperationOutcome": fhirclient.models.operationoutcome.OperationOutcome,
    }[resource["resourceType"]]
    kind(resource, strict=True)


def by_codes(resource):
    for inner in resources(resource):
        for (of, path), known in REQUIRED.items():
            if inner["resourceType"] == of:
                found = evaluate(inner, path, {}, models["r4"])
                assert found or path != "status", (of, path)
                assert set(found) <= set(known.split()), (of, path, found)


def by_paths(resource):
    for name, path in INVARIANTS.items():
        assert evaluate(resource, path, {}, models["r4"]) in ([True], []), name


def by_whole(resource, canonical):
    nothing = ([], {}, "", None)
    assert not any(value in nothing for _, value in all_below(resource)), "null or empty"
    urls = {entry["fullUrl"] for entry in resource.get("entry", [])}
    inner = resources(resource)
    libraries = {f"{it['url']}|{it['version']}" for it in inner if it["resourceType"] == "Library"}
    for key, value in all_below(resource):
        if key == "reference" and str(value).startswith("urn:"):
            assert value in urls, value
        if key == "system":
            assert any(value.startswith(f"{it}/") for it in canonical) or value in OF_THE_STANDARD, value
        if key in ("subject", "patient"):
            assert set(value) <= OWN_PATIENT and set(value["identifier"]) == {"value"}, value
        if key == "moduleCanonical":
            assert value in libraries, value
        assert key != "meta", value
    kinds = [it["resourceType"] for it in inner]
    if kinds[0] == "Bundle":
        assert kinds[1:3] == ["Library", "GuidanceResponse"] and set(kinds[3:]) <= {"DetectedIssue"}, kinds
        [guidance] = [it for it in inner if it["resourceType"] == "GuidanceResponse"]
        [entry] = [it for it in resource["entry"] if it["resource"] is guidance]
        for issue in inner[3:]:
            assert issue["evidence"][0]["detail"] == [{"reference": entry["fullUrl"]}]
            assert issue["patient"] == guidance["subject"]


def by_notes(resource):
    for it in resources(resource):
        for text in evaluate(it, "note.text | description | purpose | relatedArtifact.citation", {}, models["r4"]):
            read(text)


def read(text):
    tokens = MarkdownIt("gfm-like", {"html": True, "linkify": False}).parse(text)
    for token in tokens + [inner for it in tokens for inner in it.children or []]:
        assert token.type not in ("html_block", "html_inline", "link_open", "image", "fence", "code_block"), token


def by_schema(answer):
    SCHEMA.validate(answer)
    cards = answer["cards"]
    assert len({card["uuid"] for card in cards}) == len(cards), "a uuid twice"
    # Clients count letters as their language does; most in units of UTF-16.
    assert all(len(card["summary"].encode("utf-16-le")) < 280 for card in cards), "a summary is too long"


def by_coding(answer):
    for card in answer["cards"]:
        topic = card["source"].get("topic")
        for coding in card.get("overrideReasons", []) + ([topic] if topic else []):
            assert Coding.model_validate(coding).system


def by_markdown(answer):
    for card in answer["cards"]:
        read(card["detail"])


def main():
    given = json.load(sys.stdin)
    of_resources = {
        "fhir.resources": by_model,
        "fhirclient": by_client,
        "codes": by_codes,
        "paths": by_paths,
        "whole": lambda it: by_whole(it, given["canonical"]),
        "notes": by_notes,
    }
    of_cards = {"schema": by_schema, "coding": by_coding, "markdown": by_markdown}
    for resource in given["resources"]:
        for check in of_resources.values():
            check(resource)
    for answer in given["cards"]:
        for check in of_cards.values():
            check(answer)
    noticed = {}
    for checks, damages, whole in ((of_resources, RESOURCES, given["resources"]), (of_cards, CARDS, given["cards"])):
        for name, damage in damages.items():
            noticed[name] = sorted(it for it, check in checks.items() if notices(check, damage, whole))
    checkers = set(of_resources) | set(of_cards)
    print(
        json.dumps(
            {
                "resources": len(given["resources"]),
                "issues": sum(len(resources(it)) for it in given["resources"]),
                "cards": sum(len(it["cards"]) for it in given["cards"]),
                "unnoticed": [name for name, by in noticed.items() if not by],
                "idle": sorted(checkers - {it for by in noticed.values() for it in by}),
                "noticed": noticed,
            }
        )
    )


def notices(check, damage, whole):
    """Whether a checker refuses what the damage makes of the first that it can be done to."""
    for it in whole:
        copy = json.loads(json.dumps(it))
        try:
            damage(copy)
        except (KeyError, IndexError):
            continue
        assert copy != it, "nothing was damaged"
        try:
            check(copy)
        except Exception:
            return True
        return False
    raise AssertionError("nothing could be damaged so")


main()
