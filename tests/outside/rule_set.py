"""What of a rule-set folder takes part in a proof of its guarantees, read by PyYAML.

Part of the outside check ``guarantees.py``, where its provenance is told. Every scalar stays the text that stands in
the file, so that `no` is not false and 0.50 is exact. What this does not know how to read is never guessed: `Beyond`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor
from pathlib import Path
from typing import Any, Iterator, NamedTuple

import yaml

OUTCOMES = ("go", "defer", "refer")
URGENCIES = ("routine", "urgent", "same-day")
ODDS = ("ruled-out", "not-offered", "unread")

# Size of each unit in the first one of its measure. HbA1c is apart: its scales meet in the master equation.
UNITS: dict[str, dict[str, Fraction]] = {
    "mass": {"g": Fraction(1), "kg": Fraction(1000), "mg": Fraction(1, 1000), "microgram": Fraction(1, 1_000_000)},
    "length": {"cm": Fraction(1), "m": Fraction(100), "mm": Fraction(1, 10)},
    "volume": {"mL": Fraction(1), "L": Fraction(1000)},
    "pressure": {"mmHg": Fraction(1), "kPa": Fraction(1_000_000, 133_322)},
    "hba1c": {"mmol/mol": Fraction(1), "%": Fraction(1)},
    "glucose": {"mmol/L": Fraction(1), "mg/dL": Fraction(1000, 18_016)},
    "creatinine": {"umol/L": Fraction(1), "mg/dL": Fraction(884, 10)},
    "clearance": {"mL/min": Fraction(1)},
    "count": {"10^9/L": Fraction(1), "10^3/uL": Fraction(1)},
    "strength": {"mg/mL": Fraction(1), "%": Fraction(10)},
}

# What each formula needs of every patient: without one of these it gives no number.
NEEDED: dict[str, tuple[str, ...]] = {
    "completed-years": ("born", "on"),
    "body-mass-index": ("weight", "height"),
    "ideal-weight": ("height", "sex"),
    "dosing-weight": ("weight", "age"),
    "lower-of": ("one", "other"),
    "cockcroft-gault": ("age", "weight", "sex", "creatinine"),
    "count-of": ("list",),
    "pressure-index": ("distal", "arm_left", "arm_right"),
    "lowest-of-operated": ("sites",),
    "highest-of-operated": ("sites",),
    "anaesthetic-load": ("plan", "adrenaline", "weight", "age", "earlier_given"),
    "volume-per-site": ("plan", "sites"),
    "site-load": ("plan", "sites"),
    "points-of": ("list",),
    "difference": ("one", "other"),
    "share-of": ("part", "whole"),
    "count-missing-from": ("list", "other"),
    "steroid-daily": ("medicines",),
    "adrenal-steroid-daily": ("medicines",),
    "steroid-days": ("medicines",),
    "paracetamol-ceiling": ("weight", "age"),
    "adrenaline-total": (),
    "adrenaline-per-kg": ("total",),
}


class Beyond(Exception):
    """Something that this script does not know how to read; the message says what and where."""


class Span(NamedTuple):
    """A length of time: minutes, or months of the calendar."""

    unit: str
    count: int

    @classmethod
    def read(cls, text: str) -> Span:
        found = re.fullmatch(r"([0-9]{1,4})\s+(hour|day|week|month|year)s?", text.strip())
        if not found:
            raise Beyond(f"`{text}` is not a length of time")
        count = int(found[1])
        minutes = {"hour": 60, "day": 24 * 60, "week": 7 * 24 * 60}
        if found[2] in minutes:
            return cls("minutes", count * minutes[found[2]])
        return cls("months", count * (12 if found[2] == "year" else 1))

    def certainly_shorter(self, other: Span) -> bool:
        """Whether what is older than the other is older than this, in every year."""
        if self.unit == other.unit:
            return self.count < other.count
        # So many months differ by less than three days from their usual length.
        months = lambda it: it.count * 365.2425 / 12
        if self.unit == "months":
            return ceil(months(self)) + 3 < other.count / 1440
        return self.count / 1440 < floor(months(other)) - 3


@dataclass
class Fact:
    """A fact: an answer, the day of a dated answer, or a derived number."""

    kind: str
    options: tuple[str, ...] = ()
    unit: str | None = None
    measure: str | None = None
    plausible: tuple[Fraction, Fraction] | None = None
    dated: bool = False
    ask_when: Any = None
    needs: tuple[str, ...] = ()
    at_least_zero: bool = False
    harmless_alone: bool = False
    nothing: tuple[str, ...] = ()  # options that are harmless where the question does not apply
    otherwise: str | None = None
    date_of: str | None = None  # for the day of a dated answer, that answer


@dataclass
class Rule:
    """A rule, by its full id."""

    id: str
    outcome: str
    urgency: str | None
    when: Any


@dataclass
class RuleSet:
    """What of a rule-set folder takes part in a proof."""

    facts: dict[str, Fact] = field(default_factory=dict)
    limits: dict[str, str] = field(default_factory=dict)
    concerns: list[str] = field(default_factory=list)
    rules: list[Rule] = field(default_factory=list)
    guarantees: list[dict[str, Any]] = field(default_factory=list)
    families: dict[str, list[str]] = field(default_factory=dict)
    medicines: dict[str, frozenset[int]] = field(default_factory=dict)  # each name and class
    substances: dict[str, frozenset[int]] = field(default_factory=dict)  # each name, as an entry may say it
    groups: dict[str, frozenset[int]] = field(default_factory=dict)  # each id of a group
    crosses: dict[int, set[int]] = field(default_factory=dict)
    reactions: list[str] = field(default_factory=list)

    def conditions(self) -> Iterator[Any]:
        """Every condition that stands anywhere, parts included."""
        stack = [it.when for it in self.rules] + [it.ask_when for it in self.facts.values() if it.ask_when]
        lines = [line for it in self.guarantees for line in listed(it.get("where"))]
        stack += [condition for line in lines for condition in line.values()]
        while stack:
            condition = stack.pop()
            yield condition
            stack += listed(condition.get("all")) + listed(condition.get("any")) + listed(condition.get("not"))

    def number(self, written: Any, fact: Fact, where: str) -> Fraction:
        """A limit or a literal, in the unit of the fact."""
        text = self.limit(written, where) if isinstance(written, dict) else written
        found = re.fullmatch(r"(-?[0-9]+(?:\.[0-9]+)?)(?:\s*([^0-9\s.].*|10\^.*))?", text.strip())
        if not found:
            raise Beyond(f"{where}: `{text}` is not a number")
        value, unit = Fraction(found[1]), found[2]
        table = UNITS.get(fact.measure or "") or next((it for it in UNITS.values() if fact.unit in it), {})
        if unit == fact.unit or (unit is None and fact.unit not in table):
            pass
        elif unit in table and fact.unit in table:
            if unit == "%" and fact.unit == "mmol/mol":
                value = Fraction(floor((value - Fraction("2.15")) * Fraction("10.929") + Fraction(1, 2)))
            elif "mmol/mol" in (unit, fact.unit):
                raise Beyond(f"{where}: {unit} as {fact.unit}")
            else:
                value = value * table[unit] / table[fact.unit]
        else:
            raise Beyond(f"{where}: {text} as {fact.unit or 'a plain number'}")
        return value

    def span(self, written: Any, where: str) -> Span:
        return Span.read(self.limit(written, where) if isinstance(written, dict) else written)

    def limit(self, written: dict[str, str], where: str) -> str:
        if set(written) != {"limit"} or written["limit"] not in self.limits:
            raise Beyond(f"{where}: there is no limit {written}")
        return self.limits[written["limit"]]

    def wanted_medicines(self, names: Any) -> frozenset[int]:
        return self._wanted(names, (self.medicines,), "medicine")

    def wanted_substances(self, names: Any) -> frozenset[int]:
        found = self._wanted(names, (self.groups, self.substances), "substance")
        return found.union(*(self.crosses.get(it, set()) for it in found))

    @staticmethod
    def _wanted(names: Any, registers: tuple[dict[str, frozenset[int]], ...], what: str) -> frozenset[int]:
        wanted: frozenset[int] = frozenset()
        for name in listed(names):
            found = next((it[name] for it in registers if name in it), None)
            if found is None:
                raise Beyond(f"there is no {what} `{name}`")
            wanted |= found
        return wanted


def listed(node: Any) -> list[Any]:
    """A list as it is, nothing as an empty one, anything else as a list of one."""
    return node if isinstance(node, list) else [] if node in (None, "") else [node]


def name_form(name: str) -> str:
    return " ".join(name.lower().split())


class Texts(getattr(yaml, "CBaseLoader", yaml.BaseLoader)):
    """Leaves every scalar the text that stands there, and lets no key stand twice."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        keys = [key.value for key, _ in node.value]
        twice = next((it for it in keys if keys.count(it) > 1), None)
        if twice is not None:
            raise Beyond(f"the key `{twice}` stands twice, line {node.start_mark.line + 1}")
        return super().construct_mapping(node, deep)


def read_yaml(path: Path) -> Any:
    """A file as mappings, lists and texts."""
    try:
        return yaml.load(path.read_text(encoding="utf-8"), Loader=Texts)
    except (OSError, yaml.YAMLError) as error:
        raise Beyond(f"{path.name} cannot be read: {error}") from error


def read_register(folder: Path, name: str) -> Any:
    """A register of the folder, or the one that it uses of another rule set."""
    uses = read_yaml(folder / "ruleset.yaml").get("uses", {})
    used = name in uses.get("files", [])
    return read_yaml((folder / uses["folder"] if used else folder) / f"{name}.yaml")


def members(terms: list[Any], entries: list[list[str]]) -> dict[str, frozenset[int]]:
    """The entries that lie in each class or group, those of contained ones included."""
    parents = {it["id"]: listed(it.get("in")) for it in terms}
    found: dict[str, set[int]] = {it: set() for it in parents}
    for at, directly in enumerate(entries):
        above, open_ = set(), list(directly)
        while open_:
            term = open_.pop()
            if term not in parents:
                raise Beyond(f"there is no class or group `{term}`")
            if term not in above:
                above.add(term)
                open_ += parents[term]
        for term in above:
            found[term].add(at)
    return {term: frozenset(it) for term, it in found.items()}


def read_registers(folder: Path, rule_set: RuleSet) -> None:
    """Names of medicines and of substances, and what each stands for."""
    file = read_register(folder, "medicines")
    medicines = [[name_form(it["name"]), *map(name_form, listed(it.get("also")))] for it in file["medicines"]]
    by_name = {name: frozenset([at]) for at, names in enumerate(medicines) for name in names}
    classes = members(file["classes"], [listed(it.get("in")) for it in file["medicines"]])
    rule_set.medicines = by_name | classes

    file = read_register(folder, "allergens")
    rule_set.reactions = [it["id"] for it in file["reactions"]]
    names = rule_set.substances
    for at, entry in enumerate(file["substances"]):
        for name in [entry["name"], *listed(entry.get("also"))]:
            names.setdefault(name_form(name), frozenset([at]))
    entries = [{name_form(it["name"]), *map(name_form, listed(it.get("also")))} for it in file["substances"]]
    groups = {id_: set(it) for id_, it in members(file["groups"], [listed(it.get("in")) for it in file["substances"]]).items()}
    # Each medicine is a substance, too: the one of that name, or one of its own; in the groups named like its classes.
    for at, forms in enumerate(medicines):
        known = next((names[it] for it in sorted(forms, reverse=True) if it in names), None)
        if known is None:
            known = frozenset([len(entries)])
            entries.append(set())
        (own,) = known
        entries[own].update(forms)
        for form in forms:
            names.setdefault(form, known)
        for id_ in groups.keys() & classes.keys():
            if at in classes[id_]:
                groups[id_].add(own)
    rule_set.groups = {id_: frozenset(it) for id_, it in groups.items()}
    # An allergy to a mixture may be one to any of its parts.
    apart: dict[str, frozenset[int]] = {}
    for own, forms in enumerate(entries):
        split = [[names.get(part.strip()) for part in re.split(r" and | with |, |/", form)] for form in forms]
        split = [parts for parts in split if len(parts) > 1]
        meant = frozenset().union(*(it for parts in split for it in parts if it))
        if meant:
            whole = any(None not in parts for parts in split)
            if not whole or any(own in it for it in groups.values()):
                meant |= {own}
            apart.update({form: meant for form in forms})
    names.update(apart)
    for own, entry in enumerate(file["substances"]):
        for cross in map(name_form, listed(entry.get("crosses_with"))):
            for other in rule_set.groups.get(cross) or names[cross]:
                rule_set.crosses.setdefault(own, set()).add(other)
                rule_set.crosses.setdefault(other, set()).add(own)
    for group in file["groups"]:
        for name in [*map(name_form, listed(group.get("names"))), group["id"].replace("-", " "), group["id"]]:
            names.setdefault(name, rule_set.groups[group["id"]])


def read_facts(folder: Path, rule_set: RuleSet, agents: tuple[str, ...]) -> None:
    """Questions, the days of dated answers, and derived facts."""
    file = read_yaml(folder / "questions.yaml")
    for section in file["sections"]:
        for entry in section["questions"]:
            kind = entry["answer"]
            options = tuple(it["id"] for it in listed(entry.get("options")))
            options = {"yes-no": ("no", "yes"), "anaesthetic": agents}.get(kind, options)
            plausible = tuple(map(Fraction, listed(entry.get("plausible")))) or None
            id_ = f"{section['id']}.{entry['id']}"
            dated = entry.get("dated") == "true"
            nothing = tuple(it["id"] for it in listed(entry.get("options")) if it.get("nothing") == "true")
            rule_set.facts[id_] = Fact(
                kind, options, entry.get("unit"), entry.get("measure"), plausible, dated, entry.get("ask_when"),
                harmless_alone=entry.get("harmless_alone") == "true",
                nothing=("no",) if kind == "yes-no" else nothing,
                otherwise={"false": "no"}.get(entry.get("otherwise"), entry.get("otherwise")),
            )
            if dated:
                rule_set.facts[f"{id_}.taken_on"] = Fact("date", date_of=id_)
    for entry in listed(file.get("derived")):
        formula, given = entry["formula"], entry["with"]
        if formula not in NEEDED:
            raise Beyond(f"derived.{entry['id']}: the formula {formula} is not known")
        needs = tuple(given[it] for it in NEEDED[formula] if isinstance(given.get(it), str) and "." in given[it])
        rule_set.facts[f"derived.{entry['id']}"] = Fact(
            "number", unit=entry.get("unit"), needs=needs, at_least_zero=formula == "completed-years"
        )


def read_rule_set(folder: Path) -> RuleSet:
    """Everything of a folder that takes part."""
    rule_set = RuleSet()
    rule_set.limits = {it["id"]: it["value"] for it in read_yaml(folder / "limits.yaml")["limits"]}
    read_registers(folder, rule_set)
    agents = read_register(folder, "anaesthetics")["agents"]
    for agent in agents:
        rule_set.families.setdefault(agent["family"], []).append(agent["id"])
    read_facts(folder, rule_set, tuple(it["id"] for it in agents))
    rule_set.concerns = [it["id"] for it in read_yaml(folder / "ruleset.yaml")["concerns"]]
    for concern in rule_set.concerns:
        for it in read_yaml(folder / "concerns" / f"{concern}.yaml")["rules"]:
            rule = Rule(f"{concern}/{it['id']}", it["outcome"], it.get("urgency"), it["when"])
            if rule.outcome not in OUTCOMES or (rule.outcome == "refer") != (rule.urgency in URGENCIES):
                raise Beyond(f"{rule.id}: the outcome {rule.outcome} with the urgency {rule.urgency}")
            rule_set.rules.append(rule)
    for word in ODDS:
        # The program's own rules, where no rule of the set stands for them.
        if not any(it.when == {"answers": word} and it.outcome != "go" for it in rule_set.rules):
            rule_set.rules.append(Rule(f"built-in/{word}", "defer", None, {"answers": word}))
    rule_set.guarantees = read_yaml(folder / "guarantees.yaml")["guarantees"]
    return rule_set
