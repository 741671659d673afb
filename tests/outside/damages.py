"""What may be wrong with an answer in an open standard: each damage is done to a copy of one of ours, and some checker must notice.

A damage raises KeyError or IndexError for an answer to which it cannot be done.
"""


def entry(bundle, kind):
    return [it for it in bundle["entry"] if it["resource"]["resourceType"] == kind][0]["resource"]


def of(kind, change):
    return lambda bundle: change(entry(bundle, kind))


def put(key, value):
    return lambda it: it[key] and it.__setitem__(key, value)


def add(key, value):
    return lambda it: it.__setitem__(key, value)


def drop(key):
    return lambda it: it.pop(key)


def twice(bundle):
    bundle["entry"][1]["fullUrl"] = bundle["entry"][0]["fullUrl"]


def first(change):
    return lambda answer: change(answer["cards"][0])


RESOURCES = {
    "a status that is none": of("GuidanceResponse", put("status", "go")),
    "no status": of("GuidanceResponse", drop("status")),
    "no module": of("GuidanceResponse", drop("moduleCanonical")),
    "another module": of("GuidanceResponse", put("moduleCanonical", "https://elsewhere.example/rules|1")),
    "a note that is a text": of("GuidanceResponse", put("note", "defer")),
    "HTML in a note": of("GuidanceResponse", put("note", [{"text": "go <script>"}])),
    "a day that is none": of("GuidanceResponse", put("occurrenceDateTime", "2026-02-31")),
    "an unknown element": of("GuidanceResponse", add("verdict", "go")),
    "no verdict's list": of("GuidanceResponse", put("reasonCode", {"text": "go"})),
    "an empty list": of("GuidanceResponse", add("dataRequirement", [])),
    "a requirement without its type": of("GuidanceResponse", lambda it: it["dataRequirement"][0].pop("type")),
    "a filter of nothing": of("GuidanceResponse", lambda it: it["dataRequirement"][0]["codeFilter"][0].pop("path")),
    "a name": of("GuidanceResponse", lambda it: it["subject"].__setitem__("display", "Somebody")),
    "a severity that is none": of("DetectedIssue", put("severity", "refer")),
    "a mitigation without its action": of("DetectedIssue", lambda it: it["mitigation"][0].pop("action")),
    "evidence that leads nowhere": of(
        "DetectedIssue",
        lambda it: it["evidence"][0]["detail"][0].__setitem__("reference", "urn:uuid:00000000-0000-4000-8000-000000000000"),
    ),
    "another patient": of("DetectedIssue", lambda it: it["patient"]["identifier"].__setitem__("value", "SM-999")),
    "somebody else's code": of(
        "DetectedIssue", lambda it: it["code"]["coding"][0].__setitem__("system", "http://elsewhere.example/codes")
    ),
    "null": of("DetectedIssue", put("detail", None)),
    "a number for a text": of("DetectedIssue", put("detail", 4)),
    "a rule set with a status that is none": of("Library", put("status", "approved")),
    "a rule set without its type": of("Library", drop("type")),
    "a name no program can use": of("Library", put("name", "nail surgery")),
    "two entries at one address": twice,
    "a bundle that is none": lambda it: it["entry"] and it.__setitem__("type", "pile"),
    "a problem without its severity": lambda it: it["issue"][0].pop("severity"),
    "a problem of no kind": lambda it: it["issue"][0]["code"] and it["issue"][0].__setitem__("code", "answers/not-an-option"),
    "no problem": lambda it: it["issue"] and it.__setitem__("issue", []),
}
CARDS = {
    "no card": lambda it: it.__setitem__("cards", []),
    "a summary of 140 letters": first(put("summary", "a" * 140)),
    "a summary of 139 letters beyond the basic plane": first(put("summary", "\U0001f9b6" * 139)),
    "a summary of two lines": first(put("summary", "go\nbut")),
    "no summary": first(drop("summary")),
    "an indicator that is none": first(put("indicator", "refer")),
    "a source without its label": first(lambda it: it["source"].pop("label")),
    "an empty detail": first(put("detail", "")),
    "a reason without its words": lambda it: it["cards"][1]["overrideReasons"][0].pop("display"),
    "a reason without its system": lambda it: it["cards"][1]["overrideReasons"][0].pop("system"),
    "no reasons": first(add("overrideReasons", [])),
    "a link of no kind": lambda it: it["cards"][1]["links"][0].pop("type"),
    "a link with an app": lambda it: it["cards"][1]["links"][0].__setitem__("appContext", "x"),
    "one uuid for two": lambda it: it["cards"][1].__setitem__("uuid", it["cards"][0]["uuid"]),
    "a uuid that is none": first(put("uuid", "SM-101")),
    "a suggestion that does nothing by itself": first(add("suggestions", [{"label": "Book"}])),
    "an unknown attribute": first(add("verdict", "go")),
    "a code of spaces": lambda it: it["cards"][0]["source"]["topic"].__setitem__("code", "a  b "),
    "HTML": first(put("detail", "<b>go</b>")),
    "a picture": first(put("detail", "![go](https://elsewhere.example/go.png)")),
}
