//! The checks of a rule set: each fires where it should, at its place, and stays quiet where it should.
//!
//! The fixtures are changes of the tiny rule set. What other checks say of them does not count.

use std::collections::BTreeSet;
use std::sync::Arc;

use preblock::inner::cli::draw::rendered;
use preblock::inner::document::diagnostic::{Code, Severity};
use preblock::inner::document::source::Source;
use preblock::inner::rule_set::files::{Care, RuleFiles, TextFile};
use preblock::inner::workbench::lint;
use preblock::inner::workbench::lint::hard_to_read::Counted;
use preblock::inner::workbench::lint::{Judged, LINTS};
use preblock::inner::workbench::sources::{Whole, whole, whole_with};
use rstest::rstest;

use crate::support::{codes, files, text_of, today};

/// One text of a file replaced by another; an empty text to find stands for a whole new file.
type Edit = (&'static str, &'static str, &'static str);

/// A rule set that one lint looks at.
struct Fixture {
    /// The lint.
    code: &'static str,
    /// What is special.
    story: &'static str,
    /// The rules: id, outcome, condition.
    rules: &'static [(&'static str, &'static str, &'static str)],
    edits: &'static [Edit],
    /// What it says: what each remark is about, and the text that is underlined. None: it stays quiet.
    says: &'static [(&'static str, &'static str)],
}

const RULE: &str = "concerns/test.yaml";
const SENTENCE: &str = "reason: So it is.";
const SOURCES: &str = "sources.yaml";
const MEDICINES: &str = "medicines.yaml";
const APPROVED_LATER: &str = "status: approved\napproval: { digest: \"sha256:0000000000000000000000000000000000000000000000000000000000000000\", \
                              by: [lead], on: 2026-11-26 }";
/// Three of a family, and one that lies in another one, too.
const JOINED: &str = "{ name: paracetamol, in: [other, thinner] }\n  - { name: ibuprofen, in: [other] }\n  - { name: omeprazole, in: [other] }";
const MIXED: &str = "{ name: paracetamol and aspirin, in: [other, thinner] }\n  - { name: ibuprofen, in: [other] }\n  - { name: omeprazole, in: [other] }";
const FIRST_SOURCE: &str = "sources: [";
const READ: &str = "checked: read, checked_on: 2026-11-25";
const RULE_DATES: &str =
    "in_force_from: 2026-12-01\n    last_reviewed: 2026-11-25\n    review_by: 2027-11-30";
const CITED: &str = "citations: [{ source: book }]";
/// One person of whom nothing is known.
const SOMEBODY: &str = "as_of: 2026-11-25\npeople:\n  - { id: somebody, about: Anybody, answers: { a: { smokes: yes } } }\n";
const INR: (&str, &str, &str) = (
    "one",
    "defer",
    "{ fact: a.inr, at_least: { limit: ceiling } }",
);
const THINNER: (&str, &str, &str) = ("one", "defer", "{ taking: thinner }");
/// Looks at every question that the derived facts do not look at, through conditions and a sentence.
const EVERY_QUESTION: (&str, &str, &str) = (
    "one",
    "defer",
    "{ any: [{ fact: a.drinks, is: yes }, { fact: a.pulse, is: felt }, { fact: a.count, above: 1 }, { fact: a.units, above: 1 }, \
     { fact: a.inr, above: 1 }, { fact: a.seen_on, older_than: { limit: fresh } }, { fact: derived.load, above: 1 }] }",
);

const FIXTURES: &[Fixture] = &[
    Fixture {
        code: "lint/review-overdue",
        story: "a rule whose day has passed, and an allowance",
        rules: &[THINNER],
        edits: &[
            (
                RULE,
                RULE_DATES,
                "in_force_from: 2025-12-01\n    last_reviewed: 2025-11-25\n    review_by: 2026-11-24",
            ),
            (
                "allowances.yaml",
                "",
                "allowances: [{ lint: lint/untested, on: test/one, reason: a test of it, allowed_by: lead, review_by: 2026-01-31 }]\n",
            ),
        ],
        says: &[
            ("the allowance on test/one", "2026-01-31"),
            ("test/one", "2026-11-24"),
        ],
    },
    Fixture {
        code: "lint/review-overdue",
        story: "the rule set, and its rules with it",
        rules: &[THINNER],
        edits: &[
            (
                "ruleset.yaml",
                "in_force_from: 2026-12-01\nreview_by: 2027-11-30",
                "in_force_from: 2025-12-01\nreview_by: 2026-11-24",
            ),
            (
                RULE,
                RULE_DATES,
                "in_force_from: 2025-12-01\n    last_reviewed: 2025-11-25\n    review_by: 2026-11-24",
            ),
        ],
        says: &[("tiny", "2026-11-24")],
    },
    Fixture {
        code: "lint/review-overdue",
        story: "due on the very day",
        rules: &[THINNER],
        edits: &[(
            RULE,
            RULE_DATES,
            "in_force_from: 2025-12-01\n    last_reviewed: 2025-11-25\n    review_by: 2026-11-25",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/review-due",
        story: "sixty days before",
        rules: &[THINNER],
        edits: &[(RULE, "review_by: 2027-11-30", "review_by: 2027-01-24")],
        says: &[("test/one", "2027-01-24")],
    },
    Fixture {
        code: "lint/review-due",
        story: "sixty-one days before",
        rules: &[THINNER],
        edits: &[(RULE, "review_by: 2027-11-30", "review_by: 2027-01-25")],
        says: &[],
    },
    Fixture {
        code: "lint/same-edition",
        story: "the default rule set's name and edition",
        rules: &[THINNER],
        edits: &[
            ("ruleset.yaml", "id: tiny", "id: nail-surgery"),
            ("ruleset.yaml", "edition: \"1\"", "edition: \"2026.1\""),
        ],
        says: &[("nail-surgery", "\"2026.1\"")],
    },
    Fixture {
        code: "lint/same-edition",
        story: "another edition of it",
        rules: &[THINNER],
        edits: &[("ruleset.yaml", "id: tiny", "id: nail-surgery")],
        says: &[],
    },
    Fixture {
        code: "lint/approval-ahead",
        story: "the day after the check",
        rules: &[THINNER],
        edits: &[("ruleset.yaml", "status: draft", APPROVED_LATER)],
        says: &[("tiny", "2026-11-26")],
    },
    Fixture {
        code: "lint/approval-ahead",
        story: "the very day of the check",
        rules: &[THINNER],
        edits: &[
            ("ruleset.yaml", "status: draft", APPROVED_LATER),
            ("ruleset.yaml", "on: 2026-11-26", "on: 2026-11-25"),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/no-guarantees",
        story: "no file of guarantees",
        rules: &[THINNER],
        edits: &[],
        says: &[("tiny", "tiny")],
    },
    Fixture {
        code: "lint/no-guarantees",
        story: "one guarantee",
        rules: &[THINNER],
        edits: &[(
            "guarantees.yaml",
            "",
            "guarantees: [{ id: thinner, title: A thinner never goes, where: [{ holds: { taking: thinner } }], never: go, because: So it is }]\n",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/unrelated-classes",
        story: "one medicine alone joins two families",
        rules: &[THINNER],
        edits: &[(
            MEDICINES,
            "{ name: paracetamol, also: [acetaminophen], in: [other] }",
            JOINED,
        )],
        says: &[("paracetamol", "[other, thinner]")],
    },
    Fixture {
        code: "lint/unrelated-classes",
        story: "a mixture, and an effect that medicines of a family share",
        rules: &[THINNER],
        edits: &[
            (
                MEDICINES,
                "{ name: paracetamol, also: [acetaminophen], in: [other] }",
                MIXED,
            ),
            (
                MEDICINES,
                "{ name: apixaban, in: [thinner] }",
                "{ name: apixaban, in: [thinner, effect] }",
            ),
            (
                MEDICINES,
                "{ id: other, about: Anything else }",
                "{ id: other, about: Anything else }\n  - { id: effect, about: An effect }",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/unrelated-classes",
        story: "no rule counts it",
        rules: &[("one", "defer", "{ taking: warfarin }")],
        edits: &[(
            MEDICINES,
            "{ name: paracetamol, also: [acetaminophen], in: [other] }",
            JOINED,
        )],
        says: &[],
    },
    Fixture {
        code: "lint/source-never-opened",
        story: "behind a rule that defers",
        rules: &[THINNER],
        edits: &[(SOURCES, READ, "checked: from-memory")],
        says: &[("book", "from-memory")],
    },
    Fixture {
        code: "lint/source-never-opened",
        story: "behind a limit by which a rule decides",
        rules: &[INR],
        edits: &[
            (SOURCES, READ, "checked: from-memory"),
            (RULE, CITED, "citations: [{ common_practice: so }]"),
        ],
        says: &[("book", "from-memory")],
    },
    Fixture {
        code: "lint/source-never-opened",
        story: "behind a precaution only",
        rules: &[("one", "go", "{ fact: a.inr, at_least: { limit: ceiling } }")],
        edits: &[(SOURCES, READ, "checked: from-memory")],
        says: &[],
    },
    Fixture {
        code: "lint/source-never-opened",
        story: "beside an opened one",
        rules: &[THINNER],
        edits: &[
            (
                SOURCES,
                FIRST_SOURCE,
                "sources: [{ id: memory, by: Somebody, title: Another, checked: from-memory }, ",
            ),
            (
                RULE,
                CITED,
                "citations: [{ source: memory }, { source: book }]",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/source-superseded",
        story: "cited by a rule and by a limit",
        rules: &[THINNER],
        edits: &[
            (
                SOURCES,
                FIRST_SOURCE,
                "sources: [{ id: old, by: Somebody, title: A book, checked: from-memory, superseded_by: book }, ",
            ),
            (RULE, CITED, "citations: [{ source: old, at: page 3 }]"),
            (
                "limits.yaml",
                "value: 4.0, citations: [{ source: book }]",
                "value: 4.0, citations: [{ source: book }, { source: old }]",
            ),
        ],
        says: &[("test/one", "old"), ("ceiling", "old")],
    },
    Fixture {
        code: "lint/source-superseded",
        story: "the newer one is cited",
        rules: &[THINNER],
        edits: &[(
            SOURCES,
            FIRST_SOURCE,
            "sources: [{ id: old, by: Somebody, title: A book, checked: from-memory, superseded_by: book }, ",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/duplicate-condition",
        story: "in another order and another form",
        rules: &[
            (
                "one",
                "defer",
                "{ all: [{ taking: [apixaban, warfarin, aspirin] }, { fact: a.inr, at_least: { limit: ceiling } }] }",
            ),
            (
                "two",
                "go",
                "{ not: { any: [{ fact: a.inr, below: { limit: ceiling } }, { not: { taking: thinner } }] } }",
            ),
        ],
        edits: &[],
        says: &[(
            "test/two",
            "{ not: { any: [{ fact: a.inr, below: { limit: ceiling } }, { not: { taking: thinner } }] } }",
        )],
    },
    Fixture {
        code: "lint/duplicate-condition",
        story: "a literal is no limit, and one medicine is not two",
        rules: &[
            (
                "one",
                "defer",
                "{ fact: a.inr, at_least: { limit: ceiling } }",
            ),
            ("two", "defer", "{ fact: a.inr, at_least: 4.0 }"),
            ("three", "defer", "{ taking: thinner }"),
            ("four", "defer", "{ taking: thinner, at_least: 2 }"),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/limit-unused",
        story: "used by a rule, by formulas, and by none",
        rules: &[INR],
        edits: &[],
        says: &[("fresh", "fresh")],
    },
    Fixture {
        code: "lint/limit-unused",
        story: "used by a rule, by formulas, and in a sentence",
        rules: &[INR],
        edits: &[(
            RULE,
            SENTENCE,
            "reason: The result is older than {limit.fresh}.",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/question-unused",
        story: "seven that nothing looks at",
        rules: &[THINNER],
        edits: &[],
        says: &[
            ("a.drinks", "drinks"),
            ("a.pulse", "pulse"),
            ("a.count", "count"),
            ("a.units", "units"),
            ("a.inr", "inr"),
            ("a.seen_on", "seen_on"),
            ("a.detail", "detail"),
            ("plan.toes", "toes"),
        ],
    },
    Fixture {
        code: "lint/question-unused",
        story: "each looked at, by rules and in sentences",
        rules: &[EVERY_QUESTION],
        edits: &[(
            RULE,
            SENTENCE,
            "reason: So it is since {a.seen_on.age}, with {a.detail} and {plan.toes}.",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/derived-unused",
        story: "two ends of the line of formulas",
        rules: &[THINNER],
        edits: &[],
        says: &[("derived.load", "load"), ("derived.n_signs", "n_signs")],
    },
    Fixture {
        code: "lint/derived-unused",
        story: "one in a rule, one in a sentence",
        rules: &[("one", "defer", "{ fact: derived.load, above: 1 }")],
        edits: &[(RULE, SENTENCE, "reason: There are {derived.n_signs} signs.")],
        says: &[],
    },
    Fixture {
        code: "lint/source-uncited",
        story: "one that nothing cites",
        rules: &[THINNER],
        edits: &[(
            SOURCES,
            FIRST_SOURCE,
            "sources: [{ id: spare, by: Somebody, title: Another, checked: from-memory }, ",
        )],
        says: &[("spare", "spare")],
    },
    Fixture {
        code: "lint/source-uncited",
        story: "all are cited",
        rules: &[THINNER],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/name-collision",
        story: "a hyphen, a class, and a substance",
        rules: &[THINNER],
        edits: &[
            (
                "medicines.yaml",
                "medicines:\n",
                "medicines:\n  - { name: apixa-ban, in: [other] }\n  - { name: old thinner, in: [other] }\n",
            ),
            (
                "allergens.yaml",
                "  - { name: banana }",
                "  - { name: banana }\n  - { name: la tex }",
            ),
        ],
        says: &[
            ("apixaban", "apixaban"),
            ("latex", "latex"),
            ("old-thinner", "old-thinner"),
        ],
    },
    Fixture {
        code: "lint/name-collision",
        story: "two names of one medicine, and one of its own class",
        rules: &[THINNER],
        edits: &[(
            "medicines.yaml",
            "{ name: apixaban, in",
            "{ name: apixaban, also: [apixa-ban, apixa ban], in",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/names-confusable",
        story: "one letter changed, and a rule that counts one of them",
        rules: &[THINNER],
        edits: &[(
            "medicines.yaml",
            "medicines:\n",
            "medicines:\n  - { name: apixavan, in: [other] }\n",
        )],
        says: &[("apixaban", "apixaban")],
    },
    Fixture {
        code: "lint/names-confusable",
        story: "both of one class, or the letter is the name, or nobody asks",
        rules: &[THINNER],
        edits: &[(
            "medicines.yaml",
            "medicines:\n",
            "medicines:\n  - { name: apixavan, in: [thinner] }\n  - { name: vitamin k, in: [thinner] }\n  - { name: vitamin d, in: [other] }\n  \
             - { name: paracetamil, in: [other] }\n",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/number-untested",
        story: "in digits and in letters; in an action only beside a tested one",
        rules: &[(
            "one",
            "defer",
            "{ fact: a.inr, older_than: { limit: fresh } }",
        )],
        edits: &[
            (
                RULE,
                SENTENCE,
                "reason: Nobody's result counts after 48 hours, or after two weeks of illness, or above 1,000.",
            ),
            (
                RULE,
                "action: Do it.",
                "action: Arrange one within 24 hours, and rinse for 10 minutes.",
            ),
            (
                RULE,
                "cleared_by: something",
                "cleared_by: a result of the 24-hour kind",
            ),
        ],
        says: &[
            ("test/one", "48"),
            ("test/one", "two"),
            ("test/one", "1,000"),
            ("test/one", "24"),
            ("test/one", "24-hour"),
        ],
    },
    Fixture {
        code: "lint/number-untested",
        story: "the limit itself, the question's own words, names, and nothing but a placeholder",
        rules: &[(
            "one",
            "defer",
            "{ all: [{ fact: a.inr, older_than: { limit: fresh } }, { fact: a.drinks, is: yes }] }",
        )],
        edits: &[
            (
                "questions.yaml",
                "ask: Drinks?",
                "ask: \"Drinks, in the last two weeks?\"",
            ),
            (
                RULE,
                SENTENCE,
                "reason: It is older than 72 hours ({limit.fresh}), with drink in the last two weeks, type 2 diabetes, a P2Y12 medicine, COX-2, \
                 a 12-lead trace, two toes and one day.",
            ),
            (
                RULE,
                "action: Do it.",
                "action: Rinse for 10 minutes with 15 mL.",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/stops-medicine",
        story: "an order in each sentence",
        rules: &[THINNER],
        edits: &[
            (
                RULE,
                SENTENCE,
                "reason: It thins the blood and must be stopped.",
            ),
            (
                RULE,
                "action: Do it.",
                "action: Stop warfarin five days before.",
            ),
            (
                RULE,
                "cleared_by: something",
                "cleared_by: a patient told to skip a dose",
            ),
            (
                "questions.yaml",
                "ask: The detail?",
                "ask: The detail?, help: Leave out the tablets before.",
            ),
        ],
        says: &[
            ("test/one", "be stopped"),
            ("test/one", "Stop"),
            ("test/one", "skip"),
            ("a.detail", "Leave out"),
        ],
    },
    Fixture {
        code: "lint/stops-medicine",
        story: "it is left to the prescriber",
        rules: &[THINNER],
        edits: &[(
            RULE,
            "action: Do it.",
            "action: Nobody stops it without its prescriber.",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/hard-to-read",
        story: "one sentence without end",
        rules: &[THINNER],
        edits: &[(
            "questions.yaml",
            "ask: Smokes?",
            "ask: \"Considering the preceding fortnight, would you characterise yourself as somebody habitually consuming tobacco or \
             comparable inhaled substances, notwithstanding intermittent abstinence?\"",
        )],
        says: &[(
            "a.smokes",
            "\"Considering the preceding fortnight, would you characterise yourself as somebody habitually consuming tobacco or \
             comparable inhaled substances, notwithstanding intermittent abstinence?\"",
        )],
    },
    Fixture {
        code: "lint/hard-to-read",
        story: "long words in a short question, or one that is not for patients",
        rules: &[THINNER],
        edits: &[
            (
                "questions.yaml",
                "ask: Smokes?",
                "ask: Breastfeeding or antiphospholipid syndrome?",
            ),
            (
                "questions.yaml",
                "ask: The INR?",
                "ask: \"Considering the preceding fortnight, which determination of the international normalised ratio constitutes the \
                 authoritative measurement according to the anticoagulation record, disregarding provisional transcriptions?\"",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/untested",
        story: "a rule without cases",
        rules: &[("one", "defer", "{ fact: a.smokes, is: yes }")],
        edits: &[],
        says: &[("test/one", "one")],
    },
    Fixture {
        code: "lint/untested",
        story: "fires, stays quiet, undetermined",
        rules: &[("one", "defer", "{ fact: a.smokes, is: yes }")],
        edits: &[
            (
                "cases/people.yaml",
                "",
                "as_of: 2026-11-25\npeople:\n  - id: somebody\n    about: Anybody\n    answers: { a: { smokes: yes } }\n",
            ),
            (
                "cases/test.yaml",
                "",
                "cases:\n  - { case: Smokes, like: somebody, expect: { verdict: defer, fires: [test/one], undetermined: [] } }\n  \
                 - { case: Does not, like: somebody, change: { a.smokes: no }, expect: { verdict: go, fires: [], undetermined: [] } }\n  \
                 - { case: Not asked, like: somebody, remove: [a.smokes], expect: { verdict: defer, fires: [], undetermined: [test/one] } }\n",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/allowance-unused",
        story: "the remark is gone, or was of another lint",
        rules: &[THINNER],
        edits: &[(
            "allowances.yaml",
            "",
            "allowances:\n  - { lint: lint/source-uncited, on: book, reason: a test of it, allowed_by: lead, review_by: 2027-11-30 }\n  \
             - { lint: lint/source-uncited, on: test/one, reason: a test of it, allowed_by: lead, review_by: 2027-11-30 }\n",
        )],
        says: &[
            ("the allowance on book", "book"),
            ("the allowance on test/one", "test/one"),
        ],
    },
    Fixture {
        code: "lint/allowance-unused",
        story: "there is such a remark",
        rules: &[THINNER],
        edits: &[(
            "allowances.yaml",
            "",
            "allowances: [{ lint: lint/untested, on: test/one, reason: a test of it, allowed_by: lead, review_by: 2027-11-30 }]\n",
        )],
        says: &[],
    },
    Fixture {
        code: "rules/to-be-written",
        story: "a title",
        rules: &[THINNER],
        edits: &[(
            RULE,
            "title: The rule one",
            "title: \"To be written: a title\"",
        )],
        says: &[("test/one", "\"To be written: a title\"")],
    },
    Fixture {
        code: "rules/to-be-written",
        story: "words that only say so later",
        rules: &[THINNER],
        edits: &[(
            RULE,
            "title: The rule one",
            "title: \"Plan to be written: a title\"",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/never-fires",
        story: "two answers to one question, and a sum that no number gives",
        rules: &[
            (
                "one",
                "defer",
                "{ all: [{ fact: a.smokes, is: yes }, { fact: a.smokes, is: no }] }",
            ),
            (
                "two",
                "refer",
                "{ fact: derived.dosing, above: { limit: heavy } }",
            ),
            ("three", "go", "{ fact: a.count, above: 100 }"),
        ],
        edits: &[],
        says: &[
            (
                "test/one",
                "{ all: [{ fact: a.smokes, is: yes }, { fact: a.smokes, is: no }] }",
            ),
            (
                "test/two",
                "{ fact: derived.dosing, above: { limit: heavy } }",
            ),
            ("test/three", "{ fact: a.count, above: 100 }"),
        ],
    },
    Fixture {
        code: "lint/never-fires",
        story: "only beside answers that rule one another out",
        rules: &[(
            "one",
            "defer",
            "{ all: [{ fact: a.smokes, is: no }, { fact: a.detail, is: yes }] }",
        )],
        edits: &[],
        says: &[(
            "test/one",
            "{ all: [{ fact: a.smokes, is: no }, { fact: a.detail, is: yes }] }",
        )],
    },
    Fixture {
        code: "lint/never-fires",
        story: "at the end of what is plausible, at a ceiling, behind a gate, and a rule that is about contradictions",
        rules: &[
            ("one", "defer", "{ fact: a.count, at_least: 100 }"),
            (
                "two",
                "refer",
                "{ fact: derived.dosing, at_least: { limit: heavy } }",
            ),
            (
                "three",
                "defer",
                "{ all: [{ fact: a.smokes, is: yes }, { fact: a.detail, is: yes }] }",
            ),
            ("four", "defer", "{ answers: ruled-out }"),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/always-fires",
        story: "a contradiction or none, where every question always applies",
        rules: &[(
            "one",
            "defer",
            "{ any: [{ answers: ruled-out }, { not: { answers: ruled-out } }] }",
        )],
        edits: &[(
            "questions.yaml",
            "answer: yes-no, from: patient, ask_when: { fact: a.smokes, is: yes } }",
            "answer: yes-no, from: patient }",
        )],
        says: &[(
            "test/one",
            "{ any: [{ answers: ruled-out }, { not: { answers: ruled-out } }] }",
        )],
    },
    Fixture {
        code: "lint/always-fires",
        story: "open while it is not known whether a question applies",
        rules: &[(
            "one",
            "defer",
            "{ any: [{ answers: ruled-out }, { not: { answers: ruled-out } }] }",
        )],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/always-fires",
        story: "open while nothing is answered",
        rules: &[(
            "one",
            "defer",
            "{ any: [{ fact: a.smokes, is: yes }, { fact: a.smokes, is: no }] }",
        )],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/plan-refers",
        story: "a choice that is not made, an agent that is not drawn up, and an amount above a number",
        rules: &[
            (
                "one",
                "refer",
                "{ all: [{ fact: plan.adrenaline, is: yes }, { fact: a.smokes, is: yes }] }",
            ),
            (
                "two",
                "refer",
                "{ all: [{ fact: plan.anaesthetic, includes: lidocaine }, { fact: derived.age, below: 4 }] }",
            ),
            (
                "three",
                "refer",
                "{ any: [{ fact: a.count, above: 5 }, { all: [{ fact: a.count, above: 7 }, { fact: a.detail, is: yes }] }] }",
            ),
        ],
        edits: &[
            (
                "questions.yaml",
                "ask: Which anaesthetic?, answer: anaesthetic,",
                "ask: Which anaesthetic?, decision: true, answer: anaesthetic,",
            ),
            (
                "questions.yaml",
                "ask: How many?, answer: number,",
                "ask: How many?, decision: true, answer: number,",
            ),
        ],
        says: &[
            ("test/one", "refer"),
            ("test/two", "refer"),
            ("test/three", "refer"),
        ],
    },
    Fixture {
        code: "lint/plan-refers",
        story: "for some of them only, by a derived fact that hangs on the plan, by a choice of the patient's, and one that defers",
        rules: &[
            (
                "one",
                "refer",
                "{ any: [{ fact: plan.adrenaline, is: yes }, { fact: a.smokes, is: yes }] }",
            ),
            ("two", "refer", "{ fact: derived.load, above: 1 }"),
            ("three", "refer", "{ fact: a.drinks, is: yes }"),
            ("four", "defer", "{ fact: plan.adrenaline, is: yes }"),
        ],
        edits: &[(
            "questions.yaml",
            "ask: Which anaesthetic?, answer: anaesthetic,",
            "ask: Which anaesthetic?, decision: true, answer: anaesthetic,",
        )],
        says: &[],
    },
    Fixture {
        code: "lint/subsumed",
        story: "a higher number beside a lower one that refers",
        rules: &[
            ("one", "defer", "{ fact: a.count, above: 5 }"),
            ("two", "refer", "{ fact: a.count, above: 4 }"),
        ],
        edits: &[
            ("cases/people.yaml", "", SOMEBODY),
            (
                "cases/test.yaml",
                "",
                "cases:\n  - { case: Six, like: somebody, change: { a.count: 6 }, expect: { verdict: refer, fires: [test/one, test/two], undetermined: [] } }\n",
            ),
        ],
        says: &[("test/one", "{ fact: a.count, above: 5 }")],
    },
    Fixture {
        code: "lint/subsumed",
        story: "precautions for just the same patients",
        rules: &[
            ("one", "go", "{ fact: a.count, above: 5 }"),
            ("two", "go", "{ not: { fact: a.count, at_most: 5 } }"),
        ],
        edits: &[
            ("cases/people.yaml", "", SOMEBODY),
            (
                "cases/test.yaml",
                "",
                "cases:\n  - { case: Six, like: somebody, change: { a.count: 6 }, expect: { verdict: go, fires: [test/one, test/two], undetermined: [] } }\n",
            ),
        ],
        says: &[
            ("test/one", "{ fact: a.count, above: 5 }"),
            ("test/two", "{ not: { fact: a.count, at_most: 5 } }"),
        ],
    },
    Fixture {
        code: "lint/subsumed",
        story: "a milder rule, a precaution for more patients, and rules that the one case only happens to meet together",
        rules: &[
            ("one", "refer", "{ fact: a.count, above: 5 }"),
            ("two", "defer", "{ fact: a.count, above: 4 }"),
            ("three", "go", "{ fact: a.units, above: 5 }"),
            ("four", "go", "{ fact: a.units, above: 4 }"),
        ],
        edits: &[
            ("cases/people.yaml", "", SOMEBODY),
            (
                "cases/test.yaml",
                "",
                "cases:\n  - { case: Six, like: somebody, change: { a.count: 6, a.units: 6 }, expect: { verdict: refer, fires: [test/one, test/two, test/three, test/four], undetermined: [] } }\n",
            ),
        ],
        says: &[],
    },
    Fixture {
        code: "lint/band-gap",
        story: "from five to seven",
        rules: &[
            ("one", "defer", "{ fact: a.count, between: [3, 5] }"),
            ("two", "refer", "{ fact: a.count, above: 7 }"),
        ],
        edits: &[],
        says: &[("test/one", "{ fact: a.count, between: [3, 5] }")],
    },
    Fixture {
        code: "lint/band-gap",
        story: "just one number",
        rules: &[
            (
                "one",
                "defer",
                "{ all: [{ fact: a.count, above: 3 }, { fact: a.count, below: 5 }] }",
            ),
            ("two", "refer", "{ fact: a.count, above: 5 }"),
        ],
        edits: &[],
        says: &[(
            "test/one",
            "{ all: [{ fact: a.count, above: 3 }, { fact: a.count, below: 5 }] }",
        )],
    },
    Fixture {
        code: "lint/band-gap",
        story: "where one ends the other begins",
        rules: &[
            ("one", "defer", "{ fact: a.count, between: [3, 5] }"),
            ("two", "refer", "{ fact: a.count, above: 5 }"),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/band-gap",
        story: "between whole years lies nothing",
        rules: &[
            ("one", "defer", "{ fact: derived.age, between: [10, 17] }"),
            ("two", "refer", "{ fact: derived.age, at_least: 18 }"),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/band-gap",
        story: "for other patients",
        rules: &[
            (
                "one",
                "defer",
                "{ all: [{ fact: a.smokes, is: yes }, { fact: a.count, between: [3, 5] }] }",
            ),
            (
                "two",
                "refer",
                "{ all: [{ fact: a.smokes, is: no }, { fact: a.count, above: 7 }] }",
            ),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/band-overlap",
        story: "at five",
        rules: &[
            ("one", "defer", "{ fact: a.count, between: [3, 5] }"),
            ("two", "refer", "{ fact: a.count, at_least: 5 }"),
        ],
        edits: &[],
        says: &[("test/two", "{ fact: a.count, at_least: 5 }")],
    },
    Fixture {
        code: "lint/band-overlap",
        story: "one within the other, and bands that share no whole year",
        rules: &[
            ("one", "defer", "{ fact: a.count, above: 3 }"),
            ("two", "refer", "{ fact: a.count, above: 5 }"),
            (
                "three",
                "defer",
                "{ fact: derived.age, between: [10, 17.5] }",
            ),
            ("four", "refer", "{ fact: derived.age, at_least: 17.2 }"),
        ],
        edits: &[],
        says: &[],
    },
    Fixture {
        code: "lint/unasked",
        story: "a detail without its gate",
        rules: &[("one", "defer", "{ fact: a.detail, is: yes }")],
        edits: &[],
        says: &[("test/one", "{ fact: a.detail, is: yes }")],
    },
    Fixture {
        code: "lint/unasked",
        story: "the gate comes first",
        rules: &[(
            "one",
            "defer",
            "{ all: [{ fact: a.smokes, is: yes }, { fact: a.detail, is: yes }] }",
        )],
        edits: &[],
        says: &[],
    },
];

/// The files of a fixture.
fn written(rules: &[(&str, &str, &str)], edits: &[Edit]) -> RuleFiles {
    let mut files = files(rules);
    for (file, find, replace) in edits {
        let old = text_of(&files, file);
        let new = if find.is_empty() {
            (*replace).to_owned()
        } else {
            old.replacen(find, replace, 1)
        };
        assert!(old != new, "{file} does not have {find}");
        files.set(*file, new);
    }
    files
}

fn read(files: &RuleFiles) -> Whole {
    whole(files).unwrap_or_else(|found| {
        unreachable!("the fixture is refused: {}", codes(&found).join(", "))
    })
}

/// What is underlined first.
fn underlined(it: &Judged<'_>) -> String {
    let diagnostic = &it.remark.diagnostic;
    let (source, label) = (diagnostic.source.as_ref(), diagnostic.labels.first());
    source
        .zip(label)
        .map(|(source, label)| source.slice(&label.span).to_owned())
        .unwrap_or_default()
}

#[test]
fn each_fixture_comes_out_as_it_says() {
    let mut wrong = Vec::new();
    for fixture in FIXTURES {
        let whole = read(&written(fixture.rules, fixture.edits));
        let found = lint::check(&whole, today());
        let mut said: Vec<(String, String)> = found
            .iter()
            .filter(|it| it.remark.diagnostic.code.name() == fixture.code)
            .map(|it| (it.remark.about.clone(), underlined(it)))
            .collect();
        let mut expected: Vec<(String, String)> = fixture
            .says
            .iter()
            .map(|(about, text)| ((*about).into(), (*text).into()))
            .collect();
        said.sort();
        expected.sort();
        if said != expected {
            wrong.push(format!("{}, {}: {said:?}", fixture.code, fixture.story));
        }
        for it in &found {
            let diagnostic = &it.remark.diagnostic;
            assert!(
                !diagnostic.title.ends_with('.') && diagnostic.title.chars().count() <= 130,
                "{}",
                diagnostic.title
            );
            assert!(
                !diagnostic.help.is_empty()
                    && !diagnostic.labels.is_empty()
                    && !it.remark.about.is_empty(),
                "{}",
                diagnostic.title
            );
            assert!(rendered(diagnostic, 80, false).contains(diagnostic.code.name()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_lint_has_a_fixture_that_fires_and_one_that_stays_quiet() {
    // A local policy is no file of a rule set: see the test below.
    for lint in LINTS.iter().filter(|it| it.code != Code::Loosens) {
        let of_it = || FIXTURES.iter().filter(|it| it.code == lint.code.name());
        assert!(
            of_it().any(|it| !it.says.is_empty()),
            "{} never fires",
            lint.code.name()
        );
        assert!(
            of_it().any(|it| it.says.is_empty()),
            "{} is never quiet",
            lint.code.name()
        );
    }
    assert!(
        FIXTURES
            .iter()
            .all(|it| LINTS.iter().any(|lint| lint.code.name() == it.code)),
        "a fixture of no lint"
    );
}

/// A change that loosens the rule set is told where it stands in the clinic's file; one that does not is not told.
#[test]
fn what_a_local_policy_loosens_is_told_in_its_own_file() {
    let rules = files(&[
        (
            "one",
            "defer",
            "{ fact: a.count, above: { limit: ceiling } }",
        ),
        ("two", "go", "{ fact: a.smokes, is: yes }"),
    ]);
    let terms = "reason: A test, agreed_by: lead, agreed_on: 2026-11-01, review_by: 2027-05-01";
    let policy = |changes: &[&str]| {
        let list: String = changes
            .iter()
            .map(|it| format!("  - {{ {it}, {terms} }}\n"))
            .collect();
        let text = format!(
            "local_policy: 1\nclinic: Saltmarsh Foot Clinic\nof: tiny\nedition: \"1\"\nchanges:\n{list}"
        );
        let file = TextFile::new("local.yaml", text);
        whole_with(&rules, Some(&file))
            .unwrap_or_else(|found| unreachable!("{}", codes(&found).join(", ")))
    };
    for (changes, told) in [
        (
            &[
                "limit: ceiling, value: 5.0",
                "raise: test/two, outcome: defer, cleared_by: waiting",
            ][..],
            &["limit: ceiling"][..],
        ),
        (
            &[
                "raise: test/two, outcome: defer, cleared_by: waiting",
                "retire: test/one",
            ],
            &["retire: test/one"],
        ),
        (&["limit: ceiling, value: 3.0"], &[]),
    ] {
        let whole = policy(changes);
        let found = lint::check(&whole, today());
        let found: Vec<String> = found
            .iter()
            .filter(|it| it.remark.diagnostic.code == Code::Loosens)
            .map(underlined)
            .collect();
        assert_eq!(found, told, "{changes:?}");
    }
}

/// Whatever a check points at, it points into the one tree that was read of the file: no file is parsed twice, with a local
/// policy or without, and neither is one that another copy of the rule set has read.
#[test]
fn each_file_is_read_once_for_all_that_looks_at_it() {
    let mut rules = files(&[
        (
            "one",
            "defer",
            "{ fact: a.count, above: { limit: ceiling } }",
        ),
        ("two", "go", "{ fact: a.smokes, is: yes }"),
    ]);
    rules.set("cases/people.yaml", "as_of: 2026-11-25\npeople:\n  - { id: somebody, about: Nobody, answers: { a: { smokes: yes } } }\n");
    rules.set(
        "cases/test.yaml",
        "cases:\n  - { case: Smokes, like: somebody, expect: { verdict: go, fires: [test/two], undetermined: [test/one] } }\n",
    );
    rules.set(
        "allowances.yaml",
        "allowances:\n  - { lint: lint/untested, on: test/one, reason: It is tried elsewhere, allowed_by: lead, review_by: 2027-05-31 }\n",
    );
    let text = "local_policy: 1\nclinic: Saltmarsh Foot Clinic\nof: tiny\nedition: \"1\"\nchanges:\n  - { retire: test/one, reason: It is so here, \
                agreed_by: lead, agreed_on: 2026-11-01, review_by: 2027-05-01 }\n";
    let policy = TextFile::new("local.yaml", text);
    let whole = whole_with(&rules, Some(&policy))
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join(", ")));
    let read = |file: &TextFile| file.read().source.clone();
    let trees: Vec<Arc<Source>> = rules
        .iter()
        .map(|(_, file)| file)
        .chain([&policy])
        .filter_map(read)
        .collect();
    assert_eq!(
        trees.len(),
        12,
        "eight files of the tiny rule set, people, cases, allowances and the policy"
    );
    let is_one_of_them = |source: &Arc<Source>| trees.iter().any(|it| Arc::ptr_eq(it, source));
    let found = lint::check(&whole, today());
    let told: Vec<&Arc<Source>> = found
        .iter()
        .filter_map(|it| it.remark.diagnostic.source.as_ref())
        .collect();
    let files_told: BTreeSet<&str> = told.iter().map(|it| it.name()).collect();
    assert!(
        files_told.len() >= 4 && files_told.contains("local.yaml"),
        "{files_told:?}"
    );
    let of_cases = whole.cases.iter().map(|it| &it.source);
    assert!(
        told.into_iter()
            .chain(of_cases)
            .chain(whole.allowances.iter().map(|it| &it.source))
            .all(is_one_of_them)
    );
}

/// What a check over every questionnaire could not settle is told at its place, so that nobody takes silence for a proof.
#[test]
fn what_is_left_undecided_is_told() {
    let many: Vec<String> = (0..2_001)
        .map(|it| format!("{{ fact: a.count, above: {}.{:03} }}", it / 1000, it % 1000))
        .collect();
    let many = format!("{{ any: [{}] }}", many.join(", "));
    // A share of the largest dose that no amount of few digits comes to.
    let point = "{ fact: derived.load, between: [0.333333333333, 0.333333333333] }";
    for (when, about, place, words) in [
        (
            many.as_str(),
            "a.count",
            "count",
            "`a.count` has 2002 numbers",
        ),
        (
            point,
            "test/one",
            point,
            "whether it can fire was not decided, because of `derived.load`",
        ),
    ] {
        let whole = read(&files(&[("one", "defer", when)]));
        let found = lint::check(&whole, today());
        let told: Vec<&Judged<'_>> = found
            .iter()
            .filter(|it| it.remark.diagnostic.code == Code::Undecided)
            .collect();
        let [told] = told.as_slice() else {
            unreachable!("{told:?}")
        };
        assert_eq!(
            (told.remark.about.as_str(), underlined(told).as_str()),
            (about, place)
        );
        assert!(
            told.remark.diagnostic.title.contains(words),
            "{}",
            told.remark.diagnostic.title
        );
        assert!(
            told.stands_as(Severity::Notice)
                && !found
                    .iter()
                    .any(|it| it.remark.diagnostic.code == Code::NeverFires)
        );
    }
}

/// Each code of a lint belongs to one lint, and each lint has a code of its own. What any of them may leave undecided has
/// one code for all; a text to be written has the code by which an approved rule set with it is refused.
#[test]
fn the_list_of_lints_is_whole() {
    let listed: BTreeSet<Code> = LINTS.iter().map(|it| it.code).collect();
    let codes: BTreeSet<Code> = Code::ALL
        .iter()
        .copied()
        .filter(|it| it.is_lint() && *it != Code::Undecided)
        .collect();
    assert_eq!(
        listed,
        codes.into_iter().chain([Code::ToBeWritten]).collect()
    );
    assert_eq!(listed.len(), LINTS.len());
}

/// The default rule set has no problem; what is noticed are sources that nobody could open yet.
#[test]
fn the_default_rule_set_is_clean() {
    let whole = read(&RuleFiles::embedded().with_care(Care::Full));
    let found = lint::check(&whole, today());
    let open: Vec<String> = found
        .iter()
        .filter(|it| it.allowance.is_none())
        .map(|it| it.remark.diagnostic.title.clone())
        .collect();
    assert!(
        open.iter().all(|it| it.starts_with("nobody has opened")),
        "{open:?}"
    );
    assert!(!found.iter().any(|it| it.stands_as(Severity::Problem)));
    assert_eq!(
        found.len() - open.len(),
        whole.allowances.len(),
        "each allowance allows one remark"
    );
}

/// Orders, and sentences that only look like one. The rule is about somebody who takes a blood thinner.
#[rstest]
#[case("Stop aspirin.", true)]
#[case("Tell the patient to stop the tablets three days before.", true)]
#[case("Rebook, and pause {medicines} until then.", true)]
#[case("The clinic stops it the day before.", true)]
#[case("The patient must not eat; warfarin is to be withheld.", true)]
#[case("Ask the patient to leave out the morning dose.", true)]
#[case("Halve the dose on the day.", true)]
#[case("Reduce the dose of the anticoagulant.", true)]
#[case("Nobody stops it without its prescriber.", false)]
#[case("Do not stop the medicine.", false)]
#[case("No dose is to be missed.", false)]
#[case("Ask the prescriber whether the tablets are to be stopped.", false)]
#[case("Only the prescriber may stop it.", false)]
#[case("Stop smoking, and hold the foot up.", false)]
#[case("Ask kindly whether doses were missed.", false)]
#[case("The medicine was stopped by its prescriber last week.", false)]
#[case("A mixture that holds paracetamol is also on the list.", false)]
#[case("Reduce the volume of lidocaine.", false)]
#[case("The dose is its business alone.", false)]
#[case("Stop the bleeding by pressure, then go on.", false)]
#[case("Is it planned to stop the tablets?", false)]
fn an_order_to_stop_a_medicine(#[case] sentence: &str, #[case] is_order: bool) {
    let mut files = files(&[THINNER]);
    let text =
        text_of(&files, RULE).replacen("action: Do it.", &format!("action: \"{sentence}\""), 1);
    files.set(RULE, text);
    let whole = read(&files);
    let said = lint::check(&whole, today())
        .iter()
        .any(|it| it.remark.diagnostic.code == Code::StopsMedicine);
    assert_eq!(said, is_order, "{sentence}");
}

/// Counted by hand: words, sentences, words of more than six letters; then words / sentences + 100 x long / words.
#[rstest]
// "Have", "you", "ever", "fainted": one of seven letters. 4 / 1 + 100 / 4.
#[case("Have you ever fainted?", (4, 1, 1), 29.0)]
// 11 words in 3 sentences, none long ("needle" has six letters). 11 / 3 + 0.
#[case("Do you fear the needle? Some do. It helps to know.", (11, 3, 0), 11.0 / 3.0)]
// Without a mark it is one sentence. "Electric", "current" and "through". 5 / 1 + 100 x 3 / 5.
#[case("Electric current through the body", (5, 1, 3), 65.0)]
// The points in "2.5", "e.g." and after an initial end nothing; the colon does. "millilitres", "vitamin". 12 / 2 + 100 x 2 / 12.
#[case("About 2.5 millilitres of it, e.g. vitamin K. by mouth: how often?", (12, 2, 2), 6.0 + 100.0 * 2.0 / 12.0)]
// A hyphen is no letter and parts no word: "blood-thinning" is one long word. 4 / 1 + 25.
#[case("Any blood-thinning stuff (now)?", (4, 1, 1), 29.0)]
fn the_readability_index(
    #[case] text: &str,
    #[case] counts: (usize, usize, usize),
    #[case] lix: f64,
) {
    let counted = Counted::of(text);
    assert_eq!((counted.words, counted.sentences, counted.long), counts);
    assert!(
        counted.lix().is_some_and(|it| (it - lix).abs() < 1e-9),
        "{:?}",
        counted.lix()
    );
}

#[test]
fn nothing_has_no_readability_index() {
    assert_eq!(Counted::of(" - ").lix(), None);
    let both = Counted::of("Have you ever fainted?").and(Counted::of("Yes"));
    assert_eq!((both.words, both.sentences, both.long), (5, 2, 1));
}

/// What newly replaced a source must be another source of the file.
#[rstest]
#[case("superseded_by: bock", "did you mean `book`?")]
#[case("superseded_by: old", "")]
fn what_replaced_a_source_is_known(#[case] key: &str, #[case] help: &str) {
    let mut files = files(&[THINNER]);
    let more = format!(
        "{FIRST_SOURCE}{{ id: old, by: Somebody, title: A book, checked: from-memory, {key} }}, "
    );
    let text = text_of(&files, SOURCES).replacen(FIRST_SOURCE, &more, 1);
    files.set(SOURCES, text);
    let found = whole(&files).err().unwrap_or_default();
    assert_eq!(
        found.iter().map(|it| it.code).collect::<Vec<_>>(),
        [Code::UnknownSource],
        "{:?}",
        codes(&found)
    );
    assert!(found[0].help.contains(help), "{}", found[0].help);
}
