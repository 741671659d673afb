//! Sentences that tell somebody to stop, pause or reduce a medicine: that is the prescriber's to decide, never this tool's.
//!
//! Decided on words, clause by clause: an order, and after it a medicine, without a word that turns the order round or
//! leaves it to somebody. The word lists stand here and nowhere else.

use std::collections::BTreeSet;

use crate::document::diagnostic::Code;
use crate::rule_set::{Condition, Piece, Rule, RuleSet, Text};
use crate::workbench::lint::{Remark, Subject};
use crate::workbench::places::Entry;

/// Orders to somebody. They count at the start of a clause or after one of `LEADS`, so that what merely "holds paracetamol"
/// gives no order.
const ORDERS: &[&str] = &[
    "stop",
    "pause",
    "skip",
    "hold",
    "withhold",
    "omit",
    "reduce",
    "halve",
    "interrupt",
    "suspend",
    "discontinue",
    "cease",
    "miss",
    "lower",
    "cut",
    "leave out",
    "leave off",
    "come off",
    "go without",
];

/// What may stand before an order within its clause.
const LEADS: &[&str] = &[
    "to",
    "must",
    "should",
    "shall",
    "will",
    "can",
    "may",
    "then",
    "and",
    "or",
    "please",
    "also",
    "first",
    "just",
    "patient",
    "patients",
    "him",
    "her",
    "them",
    "you",
    "they",
    "everybody",
];

/// What somebody is said to do. Words that also tell what a medicine does ("reduces", "holds") are left out.
const TOLD_OF: &[&str] = &[
    "stops",
    "pauses",
    "skips",
    "withholds",
    "omits",
    "halves",
    "suspends",
    "discontinues",
    "ceases",
    "leaves out",
    "comes off",
];

/// The same told of the medicine: "must be stopped". A medicine that "was stopped" is no order.
const TO_BE: &[&str] = &[
    "be stopped",
    "be paused",
    "be skipped",
    "be held",
    "be withheld",
    "be omitted",
    "be reduced",
    "be halved",
    "be interrupted",
    "be suspended",
    "be discontinued",
    "be missed",
    "be lowered",
    "be left out",
];

/// What an order may be about, besides every name of the register of medicines and the words of its classes.
const MEDICINES: &[&str] = &[
    "medicine",
    "medicines",
    "medication",
    "medications",
    "drug",
    "drugs",
    "tablet",
    "tablets",
    "pill",
    "pills",
    "capsule",
    "capsules",
    "injection",
    "injections",
    "dose",
    "doses",
    "treatment",
    "prescription",
    "anticoagulant",
    "anticoagulants",
    "antiplatelet",
    "antiplatelets",
    "steroid",
    "steroids",
];

/// Words that stand for a medicine in a rule that is about one.
const PRONOUNS: &[&str] = &["it", "them", "this", "these", "taking"];

/// Words that turn an order round, or ask instead of telling.
const NOT_AN_ORDER: &[&str] = &[
    "no",
    "not",
    "never",
    "nobody",
    "none",
    "nothing",
    "neither",
    "nor",
    "without",
    "cannot",
    "whether",
    "if",
    "unless",
    "only",
    "decides",
    "decide",
    "prescriber's",
    "asks",
    "who",
];

/// A remark for each text of a rule, and for each question and its help.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let names = names(subject.rule_set);
    let mut found = Vec::new();
    let mut look = |about: &str, entry: Option<Entry<'_>>, key: &str, text: &str, takes: bool| {
        let Some(order) = order_of(text, &names, takes) else {
            return;
        };
        let title = format!(
            "the {} of `{about}` tells somebody to stop or reduce a medicine",
            key.replace('_', " ")
        );
        let place = entry.map(|it| it.words(key, &order));
        found.push(Remark::new(Code::StopsMedicine, about, title).at(entry, place, "an order"));
    };
    for rule in subject.rule_set.rules() {
        let entry = subject.files.rule(&rule.id);
        for it in rule.sentences() {
            look(&rule.id, entry, it.key, &words(it.text), takes(rule));
        }
    }
    for question in &subject.rule_set.catalogue.questions {
        let entry = subject.files.question(&question.id);
        let texts = [
            ("ask", Some(&question.ask)),
            ("help", question.help.as_ref()),
        ];
        texts
            .into_iter()
            .filter_map(|(key, text)| Some((key, text?)))
            .for_each(|(key, text)| look(&question.id, entry, key, text, false));
    }
    found
}

/// The first order of a text, as written; `None` if it holds none.
fn order_of(text: &str, names: &BTreeSet<String>, takes: bool) -> Option<String> {
    if !may_order(text) {
        return None;
    }
    clauses(text).iter().find_map(|it| order(it, names, takes))
}

/// Whether a text has the letters of an order at all; most have not, and need not be taken apart.
fn may_order(text: &str) -> bool {
    let text = text.to_lowercase();
    ORDERS
        .iter()
        .chain(TOLD_OF)
        .chain(TO_BE)
        .any(|it| text.contains(it))
}

/// The order of a clause, as written; `None` if it holds none.
fn order(clause: &str, names: &BTreeSet<String>, takes: bool) -> Option<String> {
    let words: Vec<&str> = clause
        .split(|it: char| !it.is_alphanumeric() && it != '\'' && it != '-')
        .filter(|it| !it.is_empty())
        .collect();
    let lower: Vec<String> = words.iter().map(|it| it.to_lowercase()).collect();
    if lower.iter().any(|it| NOT_AN_ORDER.contains(&it.as_str())) {
        return None;
    }
    let is_medicine = |word: &String| {
        MEDICINES.contains(&word.as_str())
            || names.contains(word)
            || (takes && PRONOUNS.contains(&word.as_str()))
            || word == MEDICINE_SHOWN
    };
    let phrase_at = |at: usize, phrase: &str| {
        let n = phrase.split(' ').count();
        (lower.get(at..at + n)?.join(" ") == phrase)
            .then(|| words.get(at..at + n).map(|it| it.join(" ")))
            .flatten()
    };
    (0..lower.len()).find_map(|at| {
        let led = at
            .checked_sub(1)
            .and_then(|it| lower.get(it))
            .is_none_or(|it| LEADS.contains(&it.as_str()));
        let phrases = ORDERS.iter().filter(|_| led).chain(TOLD_OF);
        let told = phrases
            .into_iter()
            .find_map(|it| phrase_at(at, it))
            .filter(|_| lower.iter().skip(at + 1).any(is_medicine));
        let to_be = || {
            TO_BE
                .iter()
                .find_map(|it| phrase_at(at, it))
                .filter(|_| lower.iter().take(at).any(is_medicine))
        };
        told.or_else(to_be)
    })
}

/// Stands for the placeholder of the patient's own medicines.
const MEDICINE_SHOWN: &str = "medicines-shown";

fn words(text: &Text) -> String {
    let shown = |piece: &Piece| match piece {
        Piece::Words(words) => words.clone(),
        Piece::Medicines => MEDICINE_SHOWN.to_owned(),
        _ => "this-value".to_owned(),
    };
    text.pieces.iter().map(shown).collect()
}

/// The parts of a text between marks, but for those of questions: who asks gives no order.
fn clauses(text: &str) -> Vec<String> {
    let sentences = text
        .split_inclusive(['.', '!', '?'])
        .filter(|it| !it.ends_with('?'));
    sentences
        .flat_map(|sentence| {
            sentence
                .replace(" - ", ";")
                .split(['.', ';', ':', ',', '(', ')', '!'])
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .collect()
}

/// Whether the rule is about a medicine that somebody takes.
fn takes(rule: &Rule) -> bool {
    rule.when.has(|it| matches!(it, Condition::Taking { .. }))
}

/// The names of medicines of one word, and the words by which classes are called. What is injected for the surgery itself
/// is the clinic's own to reduce.
fn names(rule_set: &RuleSet) -> BTreeSet<String> {
    let own: BTreeSet<&str> = rule_set
        .agents
        .iter()
        .flat_map(|it| it.also.iter().chain([&it.id]))
        .map(String::as_str)
        .collect();
    let medicines = rule_set
        .medicines
        .names
        .keys()
        .filter(|it| !it.contains(' ') && !own.contains(it.as_str()));
    let classes = rule_set.medicines.classes.iter().map(|it| &it.id);
    medicines.chain(classes).cloned().collect()
}
