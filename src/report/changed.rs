//! Two screenings of one patient beside one another, as plain data: which answers were given anew, changed or taken back, which
//! findings came and went because of them, and why the verdict differs.
//!
//! Both sides are what a screening's JSON tells ([`told`]), so that one kept for a year is compared like one just made. A
//! screening shows the answers that decided something and those that are missing; all of them are known only where the
//! questionnaires are at hand. Nothing is judged anew here: each side's verdict is its own.

use serde::Serialize;

use crate::outcome::{Outcome, Standing, Urgency};
use crate::questionnaire::facts::{Displaced, Fact, Known, Value, Why};
use crate::report::changed::told::{ToldBecause, ToldFile, ToldFinding, ToldOpen, ToldScreening};
use crate::report::words;
use crate::rule_set::RuleSet;
use crate::rule_set::catalogue::{Catalogue, FactKind, FactType, Question};
use crate::screening::screener::Referral;
use crate::truth::FactSlot;

pub mod draw;
pub mod told;

/// One of two screenings that are compared.
#[derive(Debug, Clone)]
pub struct ScreeningSide {
    /// The screening.
    pub screening: ToldScreening,
    /// Every answer of the questionnaire, if it is at hand ([`answers_of`]).
    pub answers: Option<Vec<ToldAnswer>>,
}

/// What is known of the answer to one question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToldAnswer {
    /// The fact's id.
    fact: String,
    /// What was given: of a list each entry. `None` if nothing was.
    given: Option<Vec<String>>,
    /// Why nothing was given: "not asked", "asked, not known".
    why: &'static str,
}

/// What is otherwise between two screenings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChangedScreening {
    /// The patient of the older one.
    pub reference_before: String,
    /// The patient of the newer one.
    pub reference: String,
    /// Whether nothing moved: neither an answer nor a finding, a rule that is open, a note or the verdict.
    pub nothing_moved: bool,
    /// What must be known first: that rule set, clinic's file, day or program are not the same. Whole sentences.
    pub first: Vec<String>,
    /// The older verdict.
    pub before: ToldVerdict,
    /// The newer verdict.
    pub after: ToldVerdict,
    /// Whether all answers of both were compared; else those alone that both screenings show.
    pub all_answers: bool,
    /// The answers, in the order of the rule set.
    pub answers: Vec<AnswerChange>,
    /// The findings: those that came or stay first, in the order of the newer screening, then those that went.
    pub findings: Vec<FindingChange>,
    /// The rules that became open, or were and are settled without firing.
    pub open: Vec<OpenChange>,
    /// The notes.
    pub notes: Vec<NoteChange>,
}

/// A verdict, and what decided it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ToldVerdict {
    /// The verdict.
    pub verdict: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// The worst among the findings.
    pub best_case: Outcome,
    /// The same with the rules that are open.
    pub worst_case: Outcome,
    /// The titles of what decided it: findings, or, where none speaks against surgery, the rules that are open. None for a go.
    pub decided_by: Vec<String>,
    /// Whether those are rules that are open.
    pub is_open: bool,
    /// What it could still become, in words; `None` if nothing worse.
    pub could_be: Option<String>,
    /// The titles of the open rules by which it could.
    pub could_be_by: Vec<String>,
}

/// How an answer changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AnswerMove {
    /// It was missing.
    Given,
    /// It was another, or is missing for another reason.
    Changed,
    /// It is missing now.
    TakenBack,
    /// It was asked for, and the newer screening does not ask for it any more.
    NoLongerAsked,
    /// The newer screening asks for it, and the older one neither did nor shows it.
    AskedNow,
    /// Other entries of a list decided something; whether the list itself changed does not follow.
    DecidesOtherwise,
}

impl AnswerMove {
    /// The word of reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Given => "given anew",
            Self::Changed => "changed",
            Self::TakenBack => "taken back",
            Self::NoLongerAsked => "asked no more",
            Self::AskedNow => "asked now",
            Self::DecidesOtherwise => "decides otherwise",
        }
    }
}

/// An answer that changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AnswerChange {
    /// The fact's id.
    pub fact: String,
    /// The wording of its question.
    pub ask: String,
    /// How it changed.
    pub how: AnswerMove,
    /// What it was: of a list each entry. None if it was missing.
    pub before: Vec<String>,
    /// What it is.
    pub after: Vec<String>,
    /// Both in a line.
    pub words: String,
}

/// How a finding changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FindingMove {
    /// It is there now.
    Came,
    /// It is there no more.
    Went,
    /// It says something else, or for other answers.
    Changed,
}

impl FindingMove {
    /// The word of reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Came => "came",
            Self::Went => "went",
            Self::Changed => "changed",
        }
    }
}

/// A finding that came, went or changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FindingChange {
    /// Full id of the rule.
    pub rule: String,
    /// Its heading.
    pub title: String,
    /// How it changed.
    pub how: FindingMove,
    /// What it said; null if it came.
    pub before: Option<ToldFinding>,
    /// What it says; null if it went.
    pub after: Option<ToldFinding>,
    /// Whether the rule is open on the side on which it does not fire.
    pub is_open: bool,
    /// The facts that changed among those that decided it.
    pub moved_by: Vec<String>,
    /// Which answer moved it, in words.
    pub why: String,
}

/// A rule that is open now and was not, or the other way round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OpenChange {
    /// Full id of the rule.
    pub rule: String,
    /// Its heading.
    pub title: String,
    /// Whether it is open now; else it is settled.
    pub is_open: bool,
    /// What it would ask for if it fired.
    pub outcome_if_fires: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// The questions that it waits for, or waited for, in words.
    pub waits_for: Vec<String>,
}

/// A note that was added or taken out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NoteChange {
    /// Whether it is there now.
    pub is_new: bool,
    /// The section it stands in; empty for the whole questionnaire.
    pub section: String,
    /// The words.
    pub text: String,
}

impl ChangedScreening {
    /// Compares two screenings. Questions are worded by this rule set as far as it has them, else by the screenings.
    ///
    /// # Missing data
    /// An answer that a screening does not show is not taken for missing: nothing is said of it.
    pub fn of(rule_set: &RuleSet, old: &ScreeningSide, new: &ScreeningSide) -> Self {
        let (before, after) = (&old.screening, &new.screening);
        let wording = Wording {
            catalogue: &rule_set.catalogue,
            sides: [after, before],
        };
        let answers = answer_changes(&wording, old, new);
        let all_answers = old.answers.is_some() && new.answers.is_some();
        let first = first(before, after);
        let findings = finding_changes(&answers, all_answers, before, after);
        let open = open_changes(&wording, before, after);
        let notes = note_changes(before, after);
        let (was, is) = (ToldVerdict::of(before), ToldVerdict::of(after));
        Self {
            reference_before: before.reference.clone(),
            reference: after.reference.clone(),
            nothing_moved: answers.is_empty()
                && findings.is_empty()
                && open.is_empty()
                && notes.is_empty()
                && was == is,
            first,
            before: was,
            after: is,
            all_answers,
            answers,
            findings,
            open,
            notes,
        }
    }
}

impl ToldVerdict {
    fn of(told: &ToldScreening) -> Self {
        let verdict = told.standing();
        let found = |standing: Standing| -> Vec<String> {
            let same = told.findings.iter().filter(|it| it.standing() == standing);
            same.map(|it| it.title.clone()).collect()
        };
        let open = |is_meant: &dyn Fn(Standing) -> bool| -> Vec<String> {
            let meant = told
                .undetermined
                .iter()
                .filter(|it| is_meant(it.standing()));
            meant.map(|it| it.title.clone()).collect()
        };
        let decided = match verdict.outcome {
            Outcome::Go => Vec::new(),
            Outcome::Defer | Outcome::Refer => found(verdict),
        };
        let is_open = verdict.outcome == Outcome::Defer && decided.is_empty();
        let worst = told
            .undetermined
            .iter()
            .map(ToldOpen::standing)
            .max()
            .filter(|it| *it > verdict);
        Self {
            verdict: told.verdict,
            urgency: told.urgency,
            best_case: told.best_case,
            worst_case: told.worst_case,
            decided_by: if is_open {
                open(&|it| it.outcome != Outcome::Go)
            } else {
                decided
            },
            is_open,
            could_be: worst.map(Standing::words),
            could_be_by: worst.map_or_else(Vec::new, |worst| open(&|it| it == worst)),
        }
    }

    /// The verdict itself.
    pub fn standing(&self) -> Standing {
        Standing::new(self.verdict, self.urgency)
    }
}

/// What a question is called.
struct Wording<'a> {
    catalogue: &'a Catalogue,
    sides: [&'a ToldScreening; 2],
}

impl Wording<'_> {
    fn of(&self, fact: &str) -> String {
        if let Some(slot) = self.catalogue.slot(fact) {
            return self.catalogue.wording(slot);
        }
        let asked = self.sides.iter().flat_map(|it| &it.to_ask);
        let aside = self.sides.iter().flat_map(|it| &it.set_aside);
        let mut told = asked
            .map(|it| (&it.fact, &it.ask))
            .chain(aside.map(|it| (&it.fact, &it.ask)));
        told.find(|(of, _)| *of == fact)
            .map_or_else(|| fact.replace(['.', '_'], " "), |(_, ask)| ask.clone())
    }

    /// Whether a screening may show only some entries of an answer; of a question that is not known here nobody can say.
    fn is_list(&self, fact: &str) -> bool {
        let kind = self
            .catalogue
            .slot(fact)
            .map(|it| &self.catalogue.fact(it).fact_type);
        !matches!(
            kind,
            Some(FactType::YesNo | FactType::OneOf | FactType::Number { .. } | FactType::Date)
        )
    }
}

// --- Answers ---------------------------------------------------------------------------------------------------

/// Every answer of a questionnaire that was read, missing ones among them; free text stands among the notes.
pub fn answers_of(rule_set: &RuleSet, referral: &Referral) -> Vec<ToldAnswer> {
    let catalogue = &rule_set.catalogue;
    let told = |slot: FactSlot| {
        let definition = catalogue.fact(slot);
        let (question, is_date) = match definition.kind {
            FactKind::Question(at) => (at, false),
            FactKind::TakenOn(at) => (at, true),
            FactKind::Derived(_) => return None,
        };
        if definition.fact_type == FactType::Text {
            return None;
        }
        // What was set aside was given all the same.
        let of = |it: &Displaced| it.question == question;
        let fact = match referral.facts.set_aside().iter().find(|it| of(it)) {
            Some(aside) if is_date => aside.date.as_ref(),
            Some(aside) => Some(&aside.fact),
            None => Some(referral.facts.get(slot)),
        };
        let (given, why) = match fact {
            Some(Fact::Known(known)) if known.place.is_some() => {
                (Some(entries(&catalogue.questions[question], known)), "")
            }
            Some(Fact::Missing(it)) if matches!(it.why, Why::Unknown | Why::Declined) => {
                (None, it.why.in_words())
            }
            _ => (None, Why::NotAsked.in_words()),
        };
        Some(ToldAnswer {
            fact: definition.id.clone(),
            given,
            why,
        })
    };
    referral.facts.slots().filter_map(told).collect()
}

/// An answer, of a list entry by entry.
fn entries(question: &Question, known: &Known) -> Vec<String> {
    let entries: Vec<String> = match &known.value {
        Value::Medicines(list) => list.iter().map(|it| it.shown()).collect(),
        Value::Allergies(list) => list.iter().map(|it| it.shown()).collect(),
        Value::Choices(bits) => {
            let options = question.options().iter().enumerate();
            let chosen = options.filter(|(at, _)| bits >> at & 1 == 1);
            chosen.map(|(_, it)| it.text.clone()).collect()
        }
        _ => Vec::new(),
    };
    if entries.is_empty() {
        vec![known.shown.clone()]
    } else {
        entries
    }
}

/// What a screening shows of an answer.
#[derive(Debug, Clone, PartialEq, Eq)]
enum ShownAnswer<'a> {
    Answer(Vec<&'a str>),
    Missing(&'a str),
    Nothing,
}

/// What is known of an answer by a whole questionnaire.
fn known<'a>(answers: &'a [ToldAnswer], fact: &str) -> ShownAnswer<'a> {
    match answers.iter().find(|it| it.fact == fact) {
        Some(ToldAnswer {
            given: Some(given), ..
        }) => ShownAnswer::Answer(given.iter().map(String::as_str).collect()),
        Some(ToldAnswer { why, .. }) => ShownAnswer::Missing(why),
        None => ShownAnswer::Nothing,
    }
}

/// What a screening by itself shows of an answer.
fn shown<'a>(told: &'a ToldScreening, fact: &str) -> ShownAnswer<'a> {
    let because = told.findings.iter().flat_map(|it| &it.because);
    let decided = because
        .filter(|it| it.from.is_empty())
        .map(|it| (&it.fact, &it.value));
    let aside = told.set_aside.iter().map(|it| (&it.fact, &it.value));
    let names = told.unrecognised.iter().map(|it| (&it.fact, &it.text));
    let mut values: Vec<&str> = Vec::new();
    for (of, value) in decided.chain(aside).chain(names) {
        if of == fact && !values.contains(&value.as_str()) {
            values.push(value);
        }
    }
    let asked = told.to_ask.iter().find(|it| it.fact == fact);
    match asked {
        _ if !values.is_empty() => ShownAnswer::Answer(values),
        Some(ask) => ShownAnswer::Missing(&ask.why),
        None => ShownAnswer::Nothing,
    }
}

/// The facts of which a screening or a questionnaire says anything, each once, in the order of the rule set as far as it knows them.
fn facts_told<'a>(wording: &Wording<'_>, sides: [&'a ScreeningSide; 2]) -> Vec<&'a str> {
    let mut facts: Vec<&str> = Vec::new();
    for side in sides {
        let told = &side.screening;
        let because = told.findings.iter().flat_map(|it| &it.because);
        let whole = side.answers.iter().flatten().map(|it| &it.fact);
        facts.extend(
            because
                .filter(|it| it.from.is_empty())
                .map(|it| &it.fact)
                .chain(told.to_ask.iter().map(|it| &it.fact))
                .chain(told.set_aside.iter().map(|it| &it.fact))
                .chain(told.unrecognised.iter().map(|it| &it.fact))
                .chain(whole)
                .map(String::as_str),
        );
    }
    let catalogue = wording.catalogue;
    facts.retain(|fact| {
        let kind = catalogue.slot(fact).map(|it| catalogue.fact(it).kind);
        !matches!(kind, Some(FactKind::Derived(_))) && !fact.starts_with("derived.")
    });
    facts.sort_by_key(|fact| (catalogue.slot(fact).is_none(), catalogue.slot(fact), *fact));
    facts.dedup();
    facts
}

fn answer_changes(
    wording: &Wording<'_>,
    old: &ScreeningSide,
    new: &ScreeningSide,
) -> Vec<AnswerChange> {
    // A whole questionnaire on one side alone is of no use: what the other side does not show may have been the same.
    let whole = old.answers.as_deref().zip(new.answers.as_deref());
    let all = whole.is_some();
    let change = |fact: &str| {
        let (before, after) = match whole {
            Some((before, after)) => (known(before, fact), known(after, fact)),
            None => (shown(&old.screening, fact), shown(&new.screening, fact)),
        };
        let how = match (&before, &after) {
            (one, other) if one == other => return None,
            (ShownAnswer::Answer(_), ShownAnswer::Answer(_)) if !all && wording.is_list(fact) => {
                AnswerMove::DecidesOtherwise
            }
            (ShownAnswer::Answer(_), ShownAnswer::Answer(_))
            | (ShownAnswer::Missing(_), ShownAnswer::Missing(_)) => AnswerMove::Changed,
            (ShownAnswer::Missing(_), ShownAnswer::Answer(_)) => AnswerMove::Given,
            (ShownAnswer::Answer(_), ShownAnswer::Missing(_)) => AnswerMove::TakenBack,
            (ShownAnswer::Missing(_), ShownAnswer::Nothing) => AnswerMove::NoLongerAsked,
            (ShownAnswer::Nothing, ShownAnswer::Missing(_)) => AnswerMove::AskedNow,
            (ShownAnswer::Answer(_) | ShownAnswer::Nothing, ShownAnswer::Nothing)
            | (ShownAnswer::Nothing, ShownAnswer::Answer(_)) => {
                return None;
            }
        };
        Some(AnswerChange::new(fact, wording, how, &before, &after))
    };
    facts_told(wording, [new, old])
        .into_iter()
        .filter_map(change)
        .collect()
}

impl AnswerChange {
    fn new(
        fact: &str,
        wording: &Wording<'_>,
        how: AnswerMove,
        before: &ShownAnswer<'_>,
        after: &ShownAnswer<'_>,
    ) -> Self {
        let owned = |it: &ShownAnswer<'_>| match it {
            ShownAnswer::Answer(values) => values.iter().map(|it| (*it).to_owned()).collect(),
            ShownAnswer::Missing(_) | ShownAnswer::Nothing => Vec::new(),
        };
        let said = |it: &ShownAnswer<'_>| match it {
            ShownAnswer::Answer(values) => values.join(", "),
            ShownAnswer::Missing(why) => (*why).to_owned(),
            ShownAnswer::Nothing => "not shown".to_owned(),
        };
        let ask = wording.of(fact);
        let colon = if ask.ends_with('?') { "" } else { ":" };
        let words = match how {
            AnswerMove::Changed if wording.is_list(fact) => {
                format!("{ask}{colon} {}", list_words(&owned(before), &owned(after)))
            }
            AnswerMove::Given | AnswerMove::Changed | AnswerMove::TakenBack => {
                format!("{ask}{colon} {} (before: {})", said(after), said(before))
            }
            AnswerMove::NoLongerAsked => {
                format!(
                    "{ask}{colon} answered, or needed no more (before: {})",
                    said(before)
                )
            }
            AnswerMove::AskedNow => format!("{ask}{colon} {}", said(after)),
            AnswerMove::DecidesOtherwise => format!(
                "{ask}{colon} what decides is {} (before: {})",
                said(after),
                said(before)
            ),
        };
        Self {
            fact: fact.to_owned(),
            ask,
            how,
            before: owned(before),
            after: owned(after),
            words,
        }
    }
}

/// "new apixaban; no more aspirin": what came to a list and went from it.
fn list_words(before: &[String], after: &[String]) -> String {
    let without = |of: &[String], others: &[String]| -> Vec<String> {
        of.iter()
            .filter(|it| !others.contains(it))
            .cloned()
            .collect()
    };
    let parts: Vec<String> = [
        ("new", without(after, before)),
        ("no more", without(before, after)),
    ]
    .into_iter()
    .filter(|(_, entries)| !entries.is_empty())
    .map(|(word, entries)| format!("{word} {}", entries.join(", ")))
    .collect();
    if parts.is_empty() {
        "the same in another order or number".to_owned()
    } else {
        parts.join("; ")
    }
}

// --- Findings, open rules, notes -------------------------------------------------------------------------------

fn finding_changes<'a>(
    answers: &[AnswerChange],
    all_answers: bool,
    before: &'a ToldScreening,
    after: &'a ToldScreening,
) -> Vec<FindingChange> {
    let among =
        |told: &'a ToldScreening, rule: &str| told.findings.iter().find(|it| it.rule == rule);
    let change = |was: Option<&ToldFinding>, is: Option<&ToldFinding>| {
        let (how, shown, other) = match (was, is) {
            (None, Some(is)) => (FindingMove::Came, is, before),
            (Some(was), None) => (FindingMove::Went, was, after),
            (Some(was), Some(is)) if was != is => (FindingMove::Changed, is, after),
            _ => return None,
        };
        let decided = [was, is].into_iter().flatten().flat_map(|it| &it.because);
        let decided: Vec<&ToldBecause> = decided.collect();
        let movers: Vec<&AnswerChange> = answers.iter().filter(|it| moves(it, &decided)).collect();
        let why = if movers.is_empty() {
            no_answer(all_answers, before, after)
        } else {
            let words: Vec<&str> = movers.iter().map(|it| it.words.as_str()).collect();
            words.join("; ")
        };
        Some(FindingChange {
            rule: shown.rule.clone(),
            title: shown.title.clone(),
            how,
            before: was.cloned(),
            after: is.cloned(),
            is_open: how != FindingMove::Changed
                && other.undetermined.iter().any(|it| it.rule == shown.rule),
            moved_by: movers.iter().map(|it| it.fact.clone()).collect(),
            why,
        })
    };
    let now = after.findings.iter();
    let now = now.filter_map(|is| change(among(before, &is.rule), Some(is)));
    let gone = before.findings.iter();
    let gone = gone.filter(|was| among(after, &was.rule).is_none());
    now.chain(gone.filter_map(|was| change(Some(was), None)))
        .collect()
}

/// Whether a change is one of what decided a finding. An entry of a list that stayed moved nothing, whatever else the list lost.
fn moves(change: &AnswerChange, decided: &[&ToldBecause]) -> bool {
    let stayed =
        |it: &&&ToldBecause| change.before.contains(&it.value) && change.after.contains(&it.value);
    let mut of_it = decided.iter().filter(|it| it.fact == change.fact);
    of_it.any(|it| !stayed(&it))
}

/// What moved a finding where no answer that is compared did.
fn no_answer(all_answers: bool, before: &ToldScreening, after: &ToldScreening) -> String {
    let digest = |it: &Option<ToldFile>| it.as_ref().map(|it| it.digest.clone());
    let policies = [before, after].map(|it| digest(&it.local_policy));
    let clinics = [before, after].map(|it| digest(&it.clinic));
    let days = [before, after].map(|it| (it.as_of, &it.procedure_on));
    let around = if before.rule_set != after.rule_set || policies[0] != policies[1] {
        Some("the rules are not the same")
    } else if days[0] != days[1] {
        Some("the day is not the same")
    } else if clinics[0] != clinics[1] {
        Some("the clinic's file is not the same")
    } else {
        None
    };
    let said = if all_answers {
        "no answer that decided it changed"
    } else {
        "the screenings do not show which answer moved it"
    };
    around.map_or_else(|| said.to_owned(), |it| format!("{said}; {it}"))
}

fn open_changes(
    wording: &Wording<'_>,
    before: &ToldScreening,
    after: &ToldScreening,
) -> Vec<OpenChange> {
    let only = |of: &'_ ToldScreening, other: &ToldScreening, is_open: bool| -> Vec<OpenChange> {
        let is_told = |rule: &ToldOpen| {
            let same = |it: &str| it == rule.rule;
            other.undetermined.iter().any(|it| same(&it.rule))
                || other.findings.iter().any(|it| same(&it.rule))
        };
        let rules = of.undetermined.iter().filter(|it| !is_told(it));
        rules
            .map(|it| OpenChange {
                rule: it.rule.clone(),
                title: it.title.clone(),
                is_open,
                outcome_if_fires: it.outcome_if_fires,
                urgency: it.urgency,
                waits_for: it.waits_for.iter().map(|fact| wording.of(fact)).collect(),
            })
            .collect()
    };
    let mut found = only(after, before, true);
    found.extend(only(before, after, false));
    found
}

fn note_changes(before: &ToldScreening, after: &ToldScreening) -> Vec<NoteChange> {
    let only = |of: &ToldScreening, other: &ToldScreening, is_new: bool| -> Vec<NoteChange> {
        let notes = of.notes.iter().filter(|it| !other.notes.contains(it));
        notes
            .map(|it| NoteChange {
                is_new,
                section: it.section.clone(),
                text: it.text.clone(),
            })
            .collect()
    };
    let mut found = only(after, before, true);
    found.extend(only(before, after, false));
    found
}

/// What is not the same around the answers.
fn first(before: &ToldScreening, after: &ToldScreening) -> Vec<String> {
    let mut said = Vec::new();
    if before.reference != after.reference {
        said.push(format!(
            "These are two patients: {} before, {} now.",
            before.reference, after.reference
        ));
    }
    if before.rule_set != after.rule_set {
        let of = |it: &ToldScreening| {
            let set = &it.rule_set;
            let digest = set.digest.trim_start_matches("sha256:");
            format!(
                "{} {} (sha256 {})",
                set.id,
                set.edition,
                words::short(digest)
            )
        };
        said.push(format!(
            "The rule sets are not the same: {} before, {} now.",
            of(before),
            of(after)
        ));
    }
    let files = [
        ("local policy", &before.local_policy, &after.local_policy),
        ("clinic's file", &before.clinic, &after.clinic),
    ];
    for (what, was, is) in files {
        match (was, is) {
            (None, Some(_)) => {
                said.push(format!("There was no {what} before, and there is one now."))
            }
            (Some(_), None) => {
                said.push(format!("There was a {what} before, and there is none now."))
            }
            (Some(was), Some(is)) if was.digest != is.digest => {
                said.push(format!("The {what} is not the same."));
            }
            _ => {}
        }
    }
    if before.as_of != after.as_of {
        said.push(format!(
            "Screened on {} before, on {} now.",
            words::day(before.as_of),
            words::day(after.as_of)
        ));
    }
    if before.procedure_on != after.procedure_on {
        let of = |it: &ToldScreening| {
            it.procedure_on
                .clone()
                .unwrap_or_else(|| "a day not known".into())
        };
        said.push(format!(
            "Surgery on {} before, on {} now.",
            of(before),
            of(after)
        ));
    }
    if before.tool.version != after.tool.version {
        said.push(format!(
            "The program was version {} before, and is {} now.",
            before.tool.version, after.tool.version
        ));
    }
    said
}
