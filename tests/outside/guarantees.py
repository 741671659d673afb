"""An independent proof of the guarantees of rule sets: ``python guarantees.py RULES_DIR...``.

Prints one JSON object a line for each folder, ``{"guarantee-id": "proved" | "broken", ...}``. Exit status: 0 all are
proved, 1 some are broken, 2 something in a folder is beyond this script (told on standard error; nothing is guessed
then).

Provenance. Written from the project's description of its rule language and of its meaning, not from the program's
own prover, with which it shares no code: another language, another reader of YAML (PyYAML) and another decision
procedure (the SMT solver Z3, PyPI ``z3-solver``; both pinned in ``requirements.txt``). That both come to the same
answer, on the rule set and on the broken copies of ``breaks.yaml``, is the check.

Method. A questionnaire is a set of Z3 variables: for each fact whether it is known, and its value if it is. Each
condition becomes a pair, *certainly yes* and *certainly no* (Kleene's strong logic); neither is unknown. A guarantee is
proved if no values of the variables meet its ``where`` and break its promise. For promises about an added answer there
are two questionnaires, and all that is known in the first is the same in the second.

What is wider than in truth (so that a proof holds all the more, and "broken" may need a patient who cannot be):

* A derived fact is any number, or unknown; it is unknown where something is that its formula needs of every patient.
  An age is not below zero. Whole numbers are real numbers. Answers that a questionnaire's reader refuses count, too.
* Of the age of a date only the order of the spans counts that it is compared with, where it is the same in every year.
* Whether the plan is offered is free: yes, no or open.

What is taken for something else: the clinic's standing answers count as the patient's own.

What is narrower: by an added answer it only moves from open whether the plan is offered. So the proofs about added
answers say nothing of an added choice of the plan that another answer rules out and the clinic does not offer; it adds a
finding, and lifts none.

The folder must be one that ``preblock rules check`` accepts.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any, Callable, Iterable, NamedTuple

import z3

from rule_set import OUTCOMES, URGENCIES, Beyond, Fact, Rule, RuleSet, Span, listed, read_rule_set

CONDITION_FORMS = ("all", "any", "not", "taking", "allergic_to", "fact", "answers")
GUARANTEE_KEYS = {"id", "title", "concern", "where", "because", "never", "fires", "urgency_at_least", "promise"}

PROMISES = (
    "established-findings-stay",
    "span-narrows",
    "removing-never-goes",
    "unknown-medicine-waits",
    "unknown-allergy-waits",
    "nothing-answered-waits",
)


class Truth(NamedTuple):
    """Certainly yes, certainly no; unknown if neither."""

    yes: z3.BoolRef
    no: z3.BoolRef


def exactly(value: Fraction) -> z3.RatNumRef:
    return z3.Q(value.numerator, value.denominator)


def at_least(count: int, these: list[z3.BoolRef]) -> z3.BoolRef:
    """Whether so many of these hold."""
    if count > len(these):
        return z3.BoolVal(False)
    return z3.Or(these) if count == 1 else z3.AtLeast(*these, count)


class Questionnaire:
    """Z3 variables for one questionnaire, and the state of every condition and rule for it."""

    def __init__(self, rule_set: RuleSet, tag: str) -> None:
        self.rule_set, self.tag = rule_set, tag
        self.known = {id_: self._bool(f"{id_} known") for id_ in rule_set.facts}
        self.values: dict[str, list[z3.ExprRef]] = {id_: [] for id_ in rule_set.facts}
        self.options: dict[str, dict[str, z3.BoolRef]] = {}
        self.numbers: dict[str, z3.ArithRef] = {}
        self.older: dict[str, dict[Span, z3.BoolRef]] = {}
        self.always: list[z3.BoolRef] = []
        self._medicines: list[tuple[frozenset[frozenset[int]], list[z3.BoolRef]]] = []
        self._allergies: list[tuple[frozenset[int] | None, str | None, z3.BoolRef]] = []
        self.unrecognised: dict[str, z3.BoolRef] = {}
        for id_, fact in rule_set.facts.items():
            self._declare(id_, fact)
        self._declare_spans()
        self._counting: dict[str, tuple[z3.BoolRef, dict[str, z3.BoolRef]]] = {}
        self._applying: dict[str, Truth] = {}
        self._on_the_way: list[str] = []
        self.offered = Truth(self._bool("not offered"), self._bool("offered"))
        self.always.append(z3.Not(z3.And(self.offered)))
        for id_, fact in rule_set.facts.items():
            for need in fact.needs:
                if need not in self.known:
                    raise Beyond(f"{id_}: there is no fact {need}")
                self.always.append(z3.Implies(self.known[id_], self._known(need)))
        self.ruled_out = self._contradictions()
        self.rules: dict[str, Truth] = {}
        for rule in rule_set.rules:
            truth = self.truth(rule.when)
            named = self.rules[rule.id] = Truth(self._bool(f"{rule.id} fires"), self._bool(f"{rule.id} stays quiet"))
            self.always += [named.yes == truth.yes, named.no == truth.no]

    def _bool(self, name: str) -> z3.BoolRef:
        return z3.Bool(f"{self.tag}: {name}")

    # -- variables

    def _declare(self, id_: str, fact: Fact) -> None:
        known = self.known[id_]
        if fact.kind in ("yes-no", "one-of", "several-of", "anaesthetic"):
            self.options[id_] = {it: self._bool(f"{id_} = {it}") for it in fact.options}
            self.values[id_] += self.options[id_].values()
            if fact.kind in ("yes-no", "one-of"):
                self.always.append(z3.PbEq([(it, 1) for it in self.options[id_].values()], 1))
        elif fact.kind in ("number", "quantity"):
            number = self.numbers[id_] = z3.Real(f"{self.tag}: {id_}")
            self.values[id_].append(number)
            if fact.plausible:
                low, high = map(exactly, fact.plausible)
                self.always += [number >= low, number <= high]
            if fact.at_least_zero:
                self.always.append(number >= 0)
        elif fact.kind == "medicines":
            self._declare_medicines(id_)
        elif fact.kind == "allergies":
            self._declare_allergies(id_)
        elif fact.kind not in ("date", "text"):
            raise Beyond(f"{id_}: an answer of the kind {fact.kind}")

    def _declare_medicines(self, id_: str) -> None:
        """Medicines that no condition tells apart share a cell: how many different ones of it are taken."""
        takings = [it for it in self.rule_set.conditions() if "taking" in it]
        most = max((int(it.get("at_least", "1")) for it in takings), default=1)
        wanted = {self.rule_set.wanted_medicines(it["taking"]) for it in takings}
        everything = frozenset().union(*wanted)
        cells = Counter(frozenset(it for it in wanted if at in it) for at in everything)
        for number, (cell, size) in enumerate(sorted(cells.items(), key=lambda it: sorted(map(sorted, it[0])))):
            counts = [self._bool(f"{id_} cell {number}: {n + 1} or more") for n in range(min(most, size))]
            self._medicines.append((cell, counts))
        self._more_unrecognised = [self._bool(f"{id_} unrecognised: {n + 1} or more") for n in range(most)]
        for counts in [it for _, it in self._medicines] + [self._more_unrecognised]:
            self.always += [z3.Implies(more, fewer) for fewer, more in zip(counts, counts[1:])]
            self.values[id_] += counts
        self.unrecognised["medicines"] = z3.And(self.known[id_], self._more_unrecognised[0])

    def _declare_allergies(self, id_: str) -> None:
        """For each sort of entry that conditions tell apart, whether the list holds one."""
        allergic = [it for it in self.rule_set.conditions() if "allergic_to" in it]
        wanted = {self.rule_set.wanted_substances(it["allergic_to"]) for it in allergic}
        reactions = [frozenset(listed(it["reaction"])) for it in allergic if "reaction" in it]
        meanings: dict[Any, frozenset[int]] = {}
        for meaning in filter(None, self.rule_set.substances.values()):
            meanings[tuple((meaning <= it, bool(meaning & it)) for it in sorted(wanted, key=sorted))] = meaning
        happened = {tuple(it in some for some in reactions): it for it in self.rule_set.reactions}
        for meaning in [None, *meanings.values()]:
            for reaction in [None, *happened.values()]:
                there = self._bool(f"{id_} entry {len(self._allergies)}")
                self._allergies.append((meaning, reaction, there))
                self.values[id_].append(there)
        strange = [there for meaning, _, there in self._allergies if meaning is None]
        self.unrecognised["allergies"] = z3.And(self.known[id_], z3.Or(strange))

    def _declare_spans(self) -> None:
        """For each date and each span that it is compared with, whether the date is older."""
        for condition in self.rule_set.conditions():
            test = next((it for it in ("older_than", "within") if it in condition), None)
            if test:
                id_, span = self._date(condition["fact"]), self.rule_set.span(condition[test], condition["fact"])
                older = self._bool(f"{id_} older than {span.count} {span.unit}")
                self.older.setdefault(id_, {}).setdefault(span, older)
        for id_, spans in self.older.items():
            self.values[id_] += spans.values()
            for one, older in spans.items():
                self.always += [z3.Implies(it, older) for other, it in spans.items() if one.certainly_shorter(other)]

    def _date(self, id_: str) -> str:
        fact = self.rule_set.facts.get(id_)
        id_ = f"{id_}.taken_on" if fact and fact.dated else id_
        if id_ not in self.known or self.rule_set.facts[id_].kind != "date":
            raise Beyond(f"an age of {id_}")
        return id_

    # -- conditions

    def truth(self, condition: dict[str, Any], leaf: Callable[[dict[str, Any], Truth], Truth] | None = None) -> Truth:
        """Whether a condition holds; `leaf` may take each of its tests otherwise."""
        forms = [it for it in CONDITION_FORMS if it in condition]
        if len(forms) != 1:
            raise Beyond(f"the condition {condition}")
        form, rest = forms[0], {key: it for key, it in condition.items() if key not in forms}
        allowed = {"taking": {"at_least"}, "allergic_to": {"reaction"}, "fact": set(rest)}.get(form, set())
        if not set(rest) <= allowed:
            raise Beyond(f"the condition {condition}")
        of = condition[form]
        if form in ("all", "any"):
            parts = [self.truth(it, leaf) for it in of]
            yes, no = [it.yes for it in parts], [it.no for it in parts]
            return Truth(z3.And(yes), z3.Or(no)) if form == "all" else Truth(z3.Or(yes), z3.And(no))
        if form == "not":
            yes, no = self.truth(of, leaf)
            return Truth(no, yes)
        if form == "answers":
            return self._answers(of)
        if form == "taking":
            truth = self._taking(self.rule_set.wanted_medicines(of), int(rest.get("at_least", "1")))
        elif form == "allergic_to":
            truth = self._allergic(self.rule_set.wanted_substances(of), rest.get("reaction"))
        elif len(rest) != 1 or of not in self.known:
            raise Beyond(f"the condition {condition}")
        else:
            ((test, value),) = rest.items()
            truth = self._tested(of, test, value)
        return leaf(condition, truth) if leaf else truth

    def _the_list(self, kind: str) -> str:
        lists = [it for it, fact in self.rule_set.facts.items() if fact.kind == kind]
        if len(lists) != 1:
            raise Beyond(f"{len(lists)} questions whose answer is {kind}")
        return lists[0]

    def _list(self, kind: str) -> z3.BoolRef:
        return self._known(self._the_list(kind))

    def _taking(self, wanted: frozenset[int], count: int) -> Truth:
        known = self._list("medicines")
        found = [one for cell, counts in self._medicines if wanted in cell for one in counts]
        perhaps = at_least(count, found + self._more_unrecognised)
        return Truth(z3.And(known, at_least(count, found)), z3.And(known, z3.Not(perhaps)))

    def _allergic(self, wanted: frozenset[int], reactions: list[str] | None) -> Truth:
        known = self._list("allergies")
        if not set(reactions or []) <= set(self.rule_set.reactions):
            raise Beyond(f"the reactions {reactions}")
        certain, perhaps = [], []
        for meaning, reaction, there in self._allergies:
            substance = (False, True) if meaning is None else (meaning <= wanted, bool(meaning & wanted))
            suits = (reactions is None or reaction in reactions, reactions is None or reaction in [None, *reactions])
            if substance[0] and suits[0]:
                certain.append(there)
            if substance[1] and suits[1]:
                perhaps.append(there)
        return Truth(z3.And(known, z3.Or(certain)), z3.And(known, z3.Not(z3.Or(perhaps))))

    def _answers(self, word: str) -> Truth:
        if word == "not-offered":
            return self.offered
        if word == "ruled-out":
            return self.ruled_out
        if word != "unread":
            raise Beyond(f"the condition answers: {word}")
        read = []
        for id_, fact in self.rule_set.facts.items():
            if fact.kind in ("medicines", "allergies"):
                known = self._known(id_)
                whole = z3.And(known, z3.Not(self.unrecognised[fact.kind]))
                read.append(z3.Or(whole, z3.And(z3.Not(known), self._applies(id_).no)))
        return Truth(z3.BoolVal(False), z3.And(read))

    # -- which answers count

    def _contradictions(self) -> Truth:
        """Whether an answer that is not harmless is given to a question that does not apply."""
        at_odds, fit = [], []
        for id_, fact in self.rule_set.facts.items():
            if fact.ask_when:
                hazard, applies = self._hazard(id_), self._applies(id_)
                at_odds.append(z3.And(hazard, applies.no))
                fit.append(z3.Or(z3.Not(hazard), applies.yes))
        return Truth(z3.Or(at_odds), z3.And(fit))

    def _hazard(self, id_: str) -> z3.BoolRef:
        """Whether an answer is given that is not harmless where its question does not apply."""
        fact = self.rule_set.facts[id_]
        if fact.harmless_alone or fact.kind == "text":
            return z3.BoolVal(False)
        if fact.kind in ("yes-no", "one-of", "several-of", "anaesthetic"):
            something = z3.Or([it for option, it in self.options[id_].items() if option not in fact.nothing])
        elif fact.kind == "medicines":
            something = z3.Or([counts[0] for _, counts in self._medicines] + [self._more_unrecognised[0]])
        elif fact.kind == "allergies":
            something = z3.Or([there for _, _, there in self._allergies])
        else:
            something = z3.BoolVal(True)
        return z3.And(self.known[id_], something)

    def _counts(self, id_: str) -> tuple[z3.BoolRef, dict[str, z3.BoolRef]]:
        """Whether a fact is known, and its options, with only the answers that count."""
        if id_ not in self._counting:
            fact = self.rule_set.facts[id_]
            question = fact.date_of or id_
            known, options = self.known[id_], self.options.get(id_, {})
            if self.rule_set.facts[question].ask_when:
                applies, hazard = self._applies(question), self._hazard(question)
                counts = z3.Or(hazard, applies.yes)
                given = {it: z3.And(known, lit) for it, lit in options.items()}
                if fact.otherwise:
                    options = {it: z3.And(lit, counts) for it, lit in given.items()}
                    instead = z3.And(applies.no, z3.Not(hazard))
                    options[fact.otherwise] = z3.Or(given[fact.otherwise], instead)
                    known = z3.Or(list(options.values()))
                else:
                    known = z3.And(known, counts)
            self._counting[id_] = known, options
        return self._counting[id_]

    def _known(self, id_: str) -> z3.BoolRef:
        return self._counts(id_)[0]

    def _applies(self, id_: str) -> Truth:
        """Whether a question applies."""
        if id_ not in self._applying:
            when = self.rule_set.facts[id_].ask_when
            if id_ in self._on_the_way or "answers" in json.dumps(when):
                raise Beyond(f"{id_}: a question that hangs on itself, or on `answers`")
            self._on_the_way.append(id_)
            always = Truth(z3.BoolVal(True), z3.BoolVal(False))
            self._applying[id_] = self.truth(when, self._behind_gates) if when else always
            self._on_the_way.pop()
        return self._applying[id_]

    def _behind_gates(self, condition: dict[str, Any], truth: Truth) -> Truth:
        """One test of a gate: it counts as no, too, where the gate is not answered and certainly does not apply."""
        kinds = {"taking": "medicines", "allergic_to": "allergies"}
        kind = next((it for form, it in kinds.items() if form in condition), None)
        id_ = condition["fact"] if kind is None else self._the_list(kind)
        if self.rule_set.facts[id_].ask_when is None:
            return truth
        answer = self._date(id_) if "older_than" in condition or "within" in condition else id_
        return Truth(truth.yes, z3.Or(truth.no, z3.And(z3.Not(self._known(answer)), self._applies(id_).no)))

    def _tested(self, id_: str, test: str, value: Any) -> Truth:
        """One test of a fact; unknown while the fact is."""
        fact = self.rule_set.facts[id_]
        known, _ = self._counts(id_)
        if test in ("older_than", "within"):
            date = self._date(id_)
            older = self.older[date][self.rule_set.span(value, id_)]
            known = z3.And(self._known(date), self._known("plan.procedure_on"))
            holds = older if test == "older_than" else z3.Not(older)
        elif fact.kind in ("yes-no", "one-of") and test in ("is", "is_not", "one_of", "none_of"):
            holds = z3.Or([self._option(id_, it) for it in listed(value)])
            holds = z3.Not(holds) if test in ("is_not", "none_of") else holds
        elif fact.kind in ("several-of", "anaesthetic") and test in ("includes", "includes_any"):
            names = [agent for it in listed(value) for agent in self._agents(fact, it)]
            holds = z3.Or([self._option(id_, it) for it in names])
        elif id_ in self.numbers and test in ("above", "at_least", "below", "at_most", "between"):
            number, bounds = self.numbers[id_], [exactly(self.rule_set.number(it, fact, id_)) for it in listed(value)]
            tests: dict[str, Callable[..., z3.BoolRef]] = {
                "above": lambda it: number > it,
                "at_least": lambda it: number >= it,
                "below": lambda it: number < it,
                "at_most": lambda it: number <= it,
                "between": lambda low, high: z3.And(low <= number, number <= high),
            }
            holds = tests[test](*bounds)
        else:
            raise Beyond(f"`{test}` of {id_}, which is of the kind {fact.kind}")
        return Truth(z3.And(known, holds), z3.And(known, z3.Not(holds)))

    def _agents(self, fact: Fact, name: str) -> list[str]:
        is_family = fact.kind == "anaesthetic" and name not in fact.options
        return self.rule_set.families.get(name, [name]) if is_family else [name]

    def _option(self, id_: str, name: str) -> z3.BoolRef:
        name = {"true": "yes", "false": "no"}.get(name, name) if self.rule_set.facts[id_].kind == "yes-no" else name
        if name not in self.options[id_]:
            raise Beyond(f"{id_} has no option `{name}`")
        return self._counts(id_)[1][name]

    # -- verdicts

    def verdict(self, outcome: str, rules: Iterable[Rule] | None = None) -> z3.BoolRef:
        """Whether this verdict comes out, of all rules or of these."""
        rules = list(self.rule_set.rules if rules is None else rules)
        go = z3.And([self.rules[it.id].no for it in rules if it.outcome != "go"])
        refer = self.best_is_at_least("refer", rules)
        return {"go": go, "defer": z3.Not(z3.Or(go, refer)), "refer": refer}[outcome]

    def best_is_at_least(self, outcome: str, rules: Iterable[Rule]) -> z3.BoolRef:
        worse = OUTCOMES[OUTCOMES.index(outcome) :]
        return z3.Or([self.rules[it.id].yes for it in rules if it.outcome in worse])

    def worst_is_at_least(self, outcome: str, rules: Iterable[Rule]) -> z3.BoolRef:
        worse = OUTCOMES[OUTCOMES.index(outcome) :]
        return z3.Or([z3.Not(self.rules[it.id].no) for it in rules if it.outcome in worse])


class Prover:
    """Decides guarantees of one rule set."""

    def __init__(self, rule_set: RuleSet) -> None:
        self.rule_set = rule_set
        self.one, self.more = Questionnaire(rule_set, "one"), Questionnaire(rule_set, "more")
        self.single, self.double = z3.Solver(), z3.Solver()
        self.single.add(self.one.always)
        self.double.add(self.one.always + self.more.always)
        for id_, known in self.one.known.items():
            same = [a == b for a, b in zip(self.one.values[id_], self.more.values[id_])]
            self.double.add(z3.Implies(known, z3.And([self.more.known[id_], *same])))
        for before, after in zip(self.one.offered, self.more.offered):
            self.double.add(z3.Implies(before, after))

    def decide(self, guarantee: dict[str, Any]) -> bool:
        """Whether a guarantee holds for every questionnaire."""
        id_ = guarantee.get("id")
        kinds = {"never", "fires", "urgency_at_least", "promise"} & set(guarantee)
        if not id_ or len(kinds) != 1 or not set(guarantee) <= GUARANTEE_KEYS:
            raise Beyond(f"the guarantee {id_}: one of never, fires, urgency_at_least, promise, and no other key")
        if guarantee.get("concern", self.rule_set.concerns[0]) not in self.rule_set.concerns:
            raise Beyond(f"the guarantee {id_}: there is no concern {guarantee['concern']}")
        if kinds == {"promise"}:
            if "where" in guarantee:
                raise Beyond(f"the guarantee {id_}: a promise has no `where`")
            return self._promise(guarantee["promise"])
        where = [self._where(line) for line in listed(guarantee.get("where"))]
        if not self._possible(self.single, *where):
            raise Beyond(f"the guarantee {id_} speaks of no possible questionnaire")
        return not self._possible(self.single, *where, self._breach(guarantee))

    @staticmethod
    def _possible(solver: z3.Solver, *these: z3.BoolRef) -> bool:
        # Behind a name instead of in a scope of its own, so that what the solver learned is kept.
        asked = z3.FreshBool("asked")
        solver.add(z3.Implies(asked, z3.And(these)))
        found = solver.check(asked)
        if found == z3.unknown:
            raise Beyond(f"Z3 gives up: {solver.reason_unknown()}")
        return found == z3.sat

    def _where(self, line: dict[str, Any]) -> z3.BoolRef:
        if len(line) != 1:
            raise Beyond(f"the line {line} of a `where`")
        ((word, condition),) = line.items()
        yes, no = self.one.truth(condition)
        words = {"holds": yes, "fails": no, "may_hold": z3.Not(no), "open": z3.Not(z3.Or(yes, no))}
        if word not in words:
            raise Beyond(f"the word {word} of a `where`")
        return words[word]

    def _breach(self, guarantee: dict[str, Any]) -> z3.BoolRef:
        """What must not be possible together with the `where`."""
        if "never" in guarantee:
            if not set(listed(guarantee["never"])) <= set(OUTCOMES):
                raise Beyond(f"the guarantee {guarantee['id']}: never {guarantee['never']}")
            return z3.Or([self.one.verdict(it) for it in listed(guarantee["never"])])
        if "fires" in guarantee:
            unknown = [it for it in listed(guarantee["fires"]) if it not in self.one.rules]
            if unknown:
                raise Beyond(f"the guarantee {guarantee['id']}: there is no rule {unknown}")
            return z3.Not(z3.Or([self.one.rules[it].yes for it in listed(guarantee["fires"])]))
        if guarantee["urgency_at_least"] not in URGENCIES:
            raise Beyond(f"the guarantee {guarantee['id']}: the urgency {guarantee['urgency_at_least']}")
        enough = URGENCIES[URGENCIES.index(guarantee["urgency_at_least"]) :]
        urgent = [it for it in self.rule_set.rules if it.outcome == "refer" and it.urgency in enough]
        return z3.Not(z3.Or([self.one.rules[it.id].yes for it in urgent]))

    def _promise(self, word: str) -> bool:
        one, more, rules = self.one, self.more, self.rule_set.rules
        if word == "established-findings-stay":
            lifted = [z3.And(one.rules[it.id].yes, z3.Not(more.rules[it.id].yes)) for it in rules]
            return not self._possible(self.double, z3.Or(lifted))
        # An added answer that contradicts another one, or may, can widen the span.
        fits = more.ruled_out.no
        if word == "span-narrows":
            wider = []
            for outcome in ("defer", "refer"):
                best, best_then = (it.best_is_at_least(outcome, rules) for it in (one, more))
                worst, worst_then = (it.worst_is_at_least(outcome, rules) for it in (one, more))
                wider += [z3.And(best, z3.Not(best_then)), z3.And(z3.Not(worst), worst_then)]
            return not self._possible(self.double, fits, z3.Or(wider))
        if word == "removing-never-goes":
            return not self._possible(self.double, fits, one.verdict("go"), z3.Not(more.verdict("go")))
        if word in ("unknown-medicine-waits", "unknown-allergy-waits"):
            strange = one.unrecognised["medicines" if word == "unknown-medicine-waits" else "allergies"]
            return not self._possible(self.single, strange, one.verdict("go"))
        if word == "nothing-answered-waits":
            return not self._possible(self.single, *map(z3.Not, one.known.values()), one.verdict("go"))
        raise Beyond(f"the promise {word}")


def main(arguments: list[str]) -> int:
    """Reads each folder, decides, prints; gives the exit status."""
    if not arguments:
        print("usage: python guarantees.py RULES_DIR...", file=sys.stderr)
        return 2
    all_proved = True
    for folder in arguments:
        try:
            rule_set = read_rule_set(Path(folder))
            prover = Prover(rule_set)
            promised = {it.get("promise") for it in rule_set.guarantees}
            unlisted = [{"id": f"built-in-{it}", "promise": it} for it in PROMISES if it not in promised]
            decided = {it.get("id"): prover.decide(it) for it in rule_set.guarantees + unlisted}
            if len(decided) < len(rule_set.guarantees + unlisted):
                raise Beyond("two guarantees have one id")
        except (Beyond, KeyError, TypeError, ValueError, AttributeError) as error:
            print(f"beyond this script: {folder}: {type(error).__name__}: {error}", file=sys.stderr)
            return 2
        print(json.dumps({id_: "proved" if holds else "broken" for id_, holds in decided.items()}), flush=True)
        all_proved = all_proved and all(decided.values())
    return 0 if all_proved else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
