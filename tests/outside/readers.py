"""Reads what preblock writes with readers that are not ours, and prints what they found as JSON.

    readers.py calendar < reviews.ics
    readers.py junit pytest-8.4.2.tar.gz < cases.xml
    readers.py html < book.html
"""

import hashlib
import io
import json
import sys
import tarfile

# The schema of JUnit files that the pytest project tests its own against (MIT licence).
SCHEMA = "testing/example_scripts/junit-10.xsd"
SCHEMA_SHA256 = "a1a816f58d1bf95ebabf371994df0b9246dee66ea9572fbec4f9296f1b2c0ff6"


def calendar(data):
    from icalendar import Calendar

    read = Calendar.from_ical(data)
    events = []
    for event in read.walk("VEVENT"):
        alarms = event.walk("VALARM")
        events.append(
            {
                "uid": str(event["UID"]),
                "stamp": event["DTSTAMP"].dt.isoformat(),
                "start": event["DTSTART"].dt.isoformat(),
                "summary": str(event["SUMMARY"]),
                "description": str(event["DESCRIPTION"]),
                "categories": [str(it) for it in event["CATEGORIES"].cats],
                "days_before": [alarm["TRIGGER"].dt.days for alarm in alarms],
                "keys": sorted(event.keys()),
                "alarm_keys": sorted(key for alarm in alarms for key in alarm.keys()),
            }
        )
    return {"version": str(read["VERSION"]), "product": str(read["PRODID"]), "events": events, "errors": len(read.errors)}


def junit(data, archive):
    from junitparser import JUnitXml
    from lxml import etree

    with tarfile.open(archive) as sources:
        member = next(it for it in sources.getnames() if it.endswith(SCHEMA))
        schema = sources.extractfile(member).read()
    if hashlib.sha256(schema).hexdigest() != SCHEMA_SHA256:
        sys.exit("the schema of JUnit files is not the one that was looked at")
    rules = etree.XMLSchema(etree.parse(io.BytesIO(schema)))
    document = etree.parse(io.BytesIO(data))
    rules.validate(document)
    read = JUnitXml.fromstring(data)
    declared = [read.tests, read.failures, read.errors]
    suites = [[suite.name, suite.tests, suite.failures] for suite in read]
    failed = []
    for suite in read:
        for case in suite:
            failed += [[case.classname, case.name, it.message, it.text] for it in case.result]
    for suite in read:
        suite.update_statistics()
    read.update_statistics()
    return {
        "schema_says": [str(it) for it in rules.error_log],
        "declared": declared,
        "counted": [read.tests, read.failures, read.errors],
        "suites": suites,
        "suites_counted": [[suite.name, suite.tests, suite.failures] for suite in read],
        "failed": failed,
    }


def html(data):
    import html5lib
    from lxml import etree

    parser = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("lxml"))
    tree = parser.parse(data.decode("utf-8"))
    name = lambda it: etree.QName(it).localname if isinstance(it.tag, str) else "comment"
    elements = list(tree.iter())
    ids = [it.get("id") for it in elements if it.get("id") is not None]
    links = [it.get("href") for it in elements if name(it) == "a" and it.get("href") is not None]
    loads = [f"{name(it)} {key}={value}" for it in elements for key, value in it.attrib.items() if key in ("src", "srcset", "action", "data") or key.startswith("on") or (key == "href" and name(it) != "a")]
    return {
        "errors": [f"{place}: {code} {data}" for place, code, data in parser.errors][:20],
        "elements": sorted({name(it) for it in elements}),
        "ids_twice": sorted({it for it in ids if ids.count(it) > 1}),
        "links_nowhere": sorted({it for it in links if it.startswith("#") and it[1:] not in set(ids)}),
        "links_outside": sorted({it for it in links if not it.startswith("#")}),
        "loads": loads,
        "headings": [" ".join("".join(it.itertext()).split()) for it in elements if name(it) in ("h1", "h2")],
        "text": " ".join(" ".join(it for it in tree.getroot().itertext()).split()),
    }


if __name__ == "__main__":
    kind, arguments = sys.argv[1], sys.argv[2:]
    found = {"calendar": calendar, "junit": junit, "html": html}[kind](sys.stdin.buffer.read(), *arguments)
    json.dump(found, sys.stdout)
