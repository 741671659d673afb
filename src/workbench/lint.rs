//! Checks of a rule set that could be loaded: what is well formed and still likely to be a mistake.
//!
//! A lint is a plain function from what it may look at to its remarks, all in one list, and its file bears the name of its
//! code: `lint/band-gap` is found in `band_gap.rs`. A lint may miss a mistake, but must not accuse wrongly; what is meant
//! stands in allowances.yaml with its reason. Its page, and whether its remarks are problems or notices, stand with its code.

use std::cell::{RefCell, RefMut};
use std::ops::Range;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, Severity};
use crate::exact::{Decider, TooLarge};
use crate::rule_set::files::RuleFiles;
use crate::rule_set::{Rule, RuleSet};
use crate::screening::compile::Compiled;
use crate::workbench::allowances::Allowance;
use crate::workbench::cases;
use crate::workbench::cases::CaseRun;
use crate::workbench::cases::read::Case;
use crate::workbench::coverage;
use crate::workbench::coverage::Gap;
use crate::workbench::places::Entry;
use crate::workbench::sources::HeldAgainst;
use crate::workbench::sources::Whole;

mod allowance_unused;
mod always_fires;
mod approval_ahead;
mod band_gap;
mod band_overlap;
mod derived_unused;
mod duplicate_condition;
pub mod hard_to_read;
mod limit_unused;
mod loosens;
mod name_collision;
mod names_confusable;
mod never_fires;
mod no_guarantees;
mod number_untested;
mod plan_refers;
mod question_unused;
mod review_due;
mod review_overdue;
mod same_edition;
mod source_never_opened;
mod source_superseded;
mod source_uncited;
mod stops_medicine;
mod subsumed;
mod to_be_written;
mod unasked;
mod unrelated_classes;
mod untested;

/// What a lint may look at.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// Every possible questionnaire, or why it cannot be laid out.
    pub space: &'a RefCell<Result<Decider<'a>, TooLarge>>,
    /// The rule set.
    pub rule_set: &'a RuleSet,
    /// Its texts, for places.
    pub files: &'a RuleFiles,
    /// The worked cases.
    pub cases: &'a [Case],
    /// What each case came to.
    pub runs: &'a [CaseRun],
    /// What no case reaches and nothing waives.
    pub gaps: &'a [Gap],
    /// Which remarks the rule set lives with.
    pub allowances: &'a [Allowance],
    /// The local policy that is held against the rule set.
    pub local: Option<&'a HeldAgainst>,
    /// The day of the check.
    pub as_of: NaiveDate,
    /// What the lints before this one in the list have said.
    pub earlier: &'a RefCell<Vec<Remark>>,
}

/// What a lint says about one thing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// What is so, and where.
    pub diagnostic: Diagnostic,
    /// What it is about, as an allowance names it: the id of a rule, limit, fact or source, or a name of a register.
    pub about: String,
}

/// One lint.
#[derive(Debug, Clone, Copy)]
pub struct Lint {
    /// Its code, which all its remarks carry.
    pub code: Code,
    /// What it finds.
    pub find: fn(&Subject<'_>) -> Vec<Remark>,
}

impl Lint {
    const fn new(code: Code, find: fn(&Subject<'_>) -> Vec<Remark>) -> Self {
        Self { code, find }
    }
}

/// All lints, in the order in which they are asked.
pub const LINTS: &[Lint] = &[
    Lint::new(Code::ToBeWritten, to_be_written::find),
    Lint::new(Code::ReviewOverdue, review_overdue::find),
    Lint::new(Code::ReviewDue, review_due::find),
    Lint::new(Code::SameEdition, |subject| {
        Vec::from_iter(same_edition::find(subject))
    }),
    Lint::new(Code::ApprovalAhead, |subject| {
        Vec::from_iter(approval_ahead::find(subject))
    }),
    Lint::new(Code::NoGuarantees, |subject| {
        Vec::from_iter(no_guarantees::find(subject))
    }),
    Lint::new(Code::SourceNeverOpened, source_never_opened::find),
    Lint::new(Code::SourceSuperseded, source_superseded::find),
    Lint::new(Code::NeverFires, never_fires::find),
    Lint::new(Code::AlwaysFires, always_fires::find),
    Lint::new(Code::DuplicateCondition, duplicate_condition::find),
    Lint::new(Code::Subsumed, subsumed::find),
    Lint::new(Code::PlanRefers, plan_refers::find),
    Lint::new(Code::BandGap, band_gap::find),
    Lint::new(Code::BandOverlap, band_overlap::find),
    Lint::new(Code::Unasked, unasked::find),
    Lint::new(Code::LimitUnused, limit_unused::find),
    Lint::new(Code::QuestionUnused, question_unused::find),
    Lint::new(Code::DerivedUnused, derived_unused::find),
    Lint::new(Code::SourceUncited, source_uncited::find),
    Lint::new(Code::NameCollision, name_collision::find),
    Lint::new(Code::NamesConfusable, names_confusable::find),
    Lint::new(Code::UnrelatedClasses, unrelated_classes::find),
    Lint::new(Code::NumberUntested, number_untested::find),
    Lint::new(Code::StopsMedicine, stops_medicine::find),
    Lint::new(Code::HardToRead, hard_to_read::find),
    Lint::new(Code::Untested, untested::find),
    Lint::new(Code::Loosens, loosens::find),
    // Last: it looks at what the others have said.
    Lint::new(Code::AllowanceUnused, allowance_unused::find),
];

/// A remark, and what allows it.
#[derive(Debug, Clone)]
pub struct Judged<'a> {
    /// The remark.
    pub remark: Remark,
    /// What allows it; `None` if nothing does.
    pub allowance: Option<&'a Allowance>,
}

impl Judged<'_> {
    /// Whether it stands and is of this severity.
    pub fn stands_as(&self, severity: Severity) -> bool {
        self.allowance.is_none() && self.remark.diagnostic.code.severity() == severity
    }
}

/// Asks every lint on a day. Remarks come by file, then by place.
pub fn check(whole: &Whole, as_of: NaiveDate) -> Vec<Judged<'_>> {
    let rule_set = &whole.rule_set;
    let compiled = Compiled::new(rule_set);
    let runs = cases::run_all(rule_set, &compiled, &whole.cases);
    let space = RefCell::new(Decider::new(&[rule_set], &[], as_of));
    let gaps = coverage::open_gaps(
        rule_set,
        &whole.cases,
        &runs,
        space.borrow_mut().as_mut().ok(),
        &whole.waivers.gaps,
    );
    let found = RefCell::new(Vec::new());
    if let Err(TooLarge { fact, of }) = &*space.borrow() {
        let title = format!(
            "`{fact}` has {of}: too many to look at every questionnaire, so that only the worked cases speak"
        );
        let entry = whole
            .files
            .question(fact)
            .or_else(|| whole.files.derived(fact));
        found
            .borrow_mut()
            .push(Remark::new(Code::Undecided, fact, title).on(entry, "id", "too many to decide"));
    }
    for lint in LINTS {
        let subject = Subject {
            space: &space,
            rule_set,
            files: &whole.files,
            cases: &whole.cases,
            runs: &runs,
            gaps: &gaps,
            allowances: &whole.allowances,
            local: whole.local.as_ref(),
            as_of,
            earlier: &found,
        };
        let more = (lint.find)(&subject);
        found.borrow_mut().extend(more);
    }
    let mut found = found.take();
    let place = |remark: &Remark| {
        (
            remark
                .diagnostic
                .source
                .as_ref()
                .map(|it| it.name().to_owned()),
            remark.diagnostic.offset(),
        )
    };
    found.sort_by_cached_key(place);
    let allows = |it: &&Allowance, remark: &Remark| {
        it.lint == remark.diagnostic.code && it.on == remark.about
    };
    let judged = found.into_iter().map(|remark| Judged {
        allowance: whole.allowances.iter().find(|it| allows(it, &remark)),
        remark,
    });
    judged.collect()
}

impl<'a> Subject<'a> {
    /// Every possible questionnaire; `None` where there are too many, which is told once.
    fn decider(&self) -> Option<RefMut<'a, Decider<'a>>> {
        RefMut::filter_map(self.space.borrow_mut(), |it| it.as_mut().ok()).ok()
    }

    /// A remark at the value of a key of a rule.
    fn on_rule(&self, code: Code, rule: &Rule, key: &str, title: String, label: &str) -> Remark {
        Remark::new(code, &rule.id, title).on(self.files.rule(&rule.id), key, label)
    }

    /// What could be neither shown nor shut out, so that nobody takes silence for a proof.
    fn undecided(&self, rule: &Rule, fact: &str, whether: &str) -> Remark {
        let id = &rule.id;
        let title = format!("whether {whether} was not decided, because of `{fact}`: `{id}`");
        self.on_rule(Code::Undecided, rule, "when", title, "not decided")
    }
}

impl Remark {
    /// What is so, of what: a remark without a place.
    pub(crate) fn new(code: Code, about: &str, title: impl Into<String>) -> Self {
        Self {
            diagnostic: Diagnostic::bare(code, title),
            about: about.to_owned(),
        }
    }

    /// Puts it at the value of a key of an entry, if the entry is found.
    #[must_use]
    pub(crate) fn on(self, entry: Option<Entry<'_>>, key: &str, label: &str) -> Self {
        self.at(entry, entry.map(|it| it.place(key)), label)
    }

    /// Puts it at a place of an entry, if both are found.
    #[must_use]
    pub(crate) fn at(
        mut self,
        entry: Option<Entry<'_>>,
        place: Option<Range<usize>>,
        label: &str,
    ) -> Self {
        if let (Some(entry), Some(place)) = (entry, place) {
            let it = self.diagnostic;
            let placed = Diagnostic::at(it.code, entry.source, &place, it.title, label);
            self.diagnostic = placed.help(it.help);
        }
        self
    }

    /// Adds what to do next.
    #[must_use]
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.diagnostic = self.diagnostic.help(help);
        self
    }

    /// Adds a second place, if it stands in the same file; a drawing shows one file only.
    #[must_use]
    pub(crate) fn also(mut self, entry: Option<Entry<'_>>, key: &str, label: &str) -> Self {
        if let Some(entry) = entry
            && self
                .diagnostic
                .source
                .as_ref()
                .is_some_and(|it| Arc::ptr_eq(it, entry.source))
        {
            self.diagnostic = self.diagnostic.also(&entry.place(key), label);
        }
        self
    }
}
