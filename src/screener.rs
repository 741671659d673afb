//! The one way to screen: a rule set, a day, a clinic and what is wished for; then one questionnaire after another.
//!
//! Like all that it uses it has no file, clock or printing: texts come as bytes, and the day is an argument.

use std::sync::Arc;

use chrono::{NaiveDate, Weekday};

use crate::diagnostic::{Diagnostic, in_file_order};
use crate::evaluate::alternatives::alternatives;
use crate::evaluate::dates::dates;
use crate::evaluate::lifts::lifts;
use crate::evaluate::next::next;
use crate::evaluate::search::{Links, Trials};
use crate::evaluate::{self, Compiled, Subject};
use crate::facts::{self, Facts, Gathered};
use crate::load::files::sha256;
use crate::load::questionnaire::{self, over};
use crate::model::RuleSet;
use crate::outcome::Outcome;
use crate::screening::{Refusal, Screening, SourceStamp};

/// Screens one questionnaire after another with the same rule set, as of the same day, for the same clinic.
///
/// Cheap to clone: clones share the compiled rules.
#[derive(Debug, Clone)]
pub struct Screener<'a> {
    rule_set: &'a RuleSet,
    compiled: Arc<Compiled>,
    links: Arc<Links>,
    as_of: NaiveDate,
    clinic: Option<Clinic>,
    searches: bool,
    alternatives: bool,
    days: Option<usize>,
}

/// What a clinic answers once for all its patients.
#[derive(Debug, Clone)]
struct Clinic {
    answers: Gathered,
    weekdays: Option<Vec<Weekday>>,
    stamp: SourceStamp,
}

/// One patient's questionnaire that was read and may be screened.
#[derive(Debug, Clone)]
pub struct Referral {
    /// The patient's reference.
    pub reference: String,
    /// The questionnaire's file.
    pub source: SourceStamp,
    /// What is known and not known, the clinic's own answers included.
    pub facts: Facts,
}

impl<'a> Screener<'a> {
    /// Compiles the rules. Patients are screened as of this day, in no particular clinic.
    pub fn new(rule_set: &'a RuleSet, as_of: NaiveDate) -> Self {
        Self {
            rule_set,
            compiled: Arc::new(Compiled::new(rule_set)),
            links: Arc::new(Links::new(rule_set)),
            as_of,
            clinic: None,
            searches: true,
            alternatives: false,
            days: None,
        }
    }

    /// Lays the answers of a clinic's file under those of every patient, and keeps plans to what it offers.
    ///
    /// # Errors
    /// Every diagnostic of the file. It is understood once by itself, so that a slip in it is told once and not for every
    /// patient.
    pub fn clinic(self, name: &str, bytes: &[u8]) -> Result<Self, Vec<Diagnostic>> {
        let (read, mut problems) = questionnaire::clinic(self.rule_set, name, bytes);
        let Some(read) = read else { return Err(problems) };
        let (_, wrong) = facts::read(self.rule_set, &read.answers, self.as_of);
        problems.extend(wrong);
        if !problems.is_empty() {
            return Err(problems);
        }
        let clinic = Clinic { answers: read.answers, weekdays: read.weekdays, stamp: stamp(name, bytes) };
        Ok(Self { clinic: Some(clinic), ..self })
    }

    /// Looks for nothing that would give a better verdict: a screening then says neither what would lift its verdict, nor
    /// which other plan would do, nor what is to be done next.
    pub fn without_search(self) -> Self {
        Self { searches: false, ..self }
    }

    /// Whether a screening shows the other plans with a better verdict.
    pub fn alternatives(self, wanted: bool) -> Self {
        Self { alternatives: wanted, ..self }
    }

    /// On how many of the next procedure days a screening says what it would come to, if on any.
    pub fn days(self, n_days: Option<usize>) -> Self {
        Self { days: n_days, ..self }
    }

    /// Screens a questionnaire. `name` is what its reader knows it by; one that ends with `.json` is JSON, any other YAML.
    ///
    /// # Errors
    /// Every diagnostic of the file, in its order; nothing is screened then.
    pub fn screen(&self, name: &str, bytes: &[u8]) -> Result<Screening, Vec<Diagnostic>> {
        match self.read(name, bytes) {
            Ok(referral) => Ok(self.screening(&referral)),
            Err(refusal) => Err(refusal.problems),
        }
    }

    /// Reads a questionnaire, so that it can be screened.
    ///
    /// # Errors
    /// Every diagnostic of the file, and the patient's reference if that much could be read.
    pub fn read(&self, name: &str, bytes: &[u8]) -> Result<Referral, Refusal> {
        let refused = |reference: String, problems: Vec<Diagnostic>| {
            let reference = Some(reference).filter(|it| !it.is_empty());
            Refusal { reference, path: name.to_owned(), notices: Vec::new(), problems }
        };
        let (read, mut problems) = questionnaire::questionnaire(self.rule_set, name, bytes);
        let Some(read) = read else { return Err(refused(String::new(), problems)) };
        let standing = self.clinic.as_ref().map(|it| it.answers.clone()).unwrap_or_default();
        let (facts, wrong) = facts::read(self.rule_set, &over(&standing, &read.answers), self.as_of);
        problems.extend(wrong);
        if problems.is_empty() {
            Ok(Referral { reference: read.reference, source: stamp(name, bytes), facts })
        } else {
            Err(refused(read.reference, in_file_order(problems)))
        }
    }

    /// Screens a patient whose questionnaire was read.
    pub fn screening(&self, referral: &Referral) -> Screening {
        let facts = &referral.facts;
        let subject = Subject {
            reference: referral.reference.clone(),
            source: referral.source.clone(),
            clinic: self.clinic.as_ref().map(|it| it.stamp.clone()),
        };
        let mut screening = evaluate::screen(self.rule_set, &self.compiled, facts, &subject);
        if self.searches {
            let mut plans = Vec::new();
            if screening.verdict != Outcome::Go {
                let trials = Trials::new(self.rule_set, &self.compiled, &self.links, facts);
                let (found, complete) = lifts(&trials);
                screening.lifts = found;
                let (found, complete_plans) = alternatives(&trials);
                plans = found;
                screening.cut_short = !(complete && complete_plans);
            }
            screening.next = Some(next(self.rule_set, facts, &screening, &plans));
            screening.alternatives = self.alternatives.then_some(plans);
        }
        let weekdays = self.clinic.as_ref().and_then(|it| it.weekdays.as_deref());
        screening.dates = self.days.map(|n_days| dates(self.rule_set, &self.compiled, facts, weekdays, n_days));
        screening
    }
}

fn stamp(name: &str, bytes: &[u8]) -> SourceStamp {
    SourceStamp { path: name.to_owned(), digest: sha256(bytes) }
}
