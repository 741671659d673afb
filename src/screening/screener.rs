//! The one way to screen: a rule set, a day, a clinic and what is wished for; then one questionnaire after another.
//!
//! Like all that it uses it has no file, clock or printing: texts come as bytes, and the day is an argument.

use std::sync::{Arc, OnceLock};

use chrono::{NaiveDate, Weekday};

use crate::document::diagnostic::{Diagnostic, in_file_order};
use crate::document::rows::SheetRow;
use crate::outcome::Standing;
use crate::outcome::State;
use crate::questionnaire::facts;
use crate::questionnaire::facts::{Facts, Gathered};
use crate::questionnaire::frame;
use crate::questionnaire::frame::{Questionnaire, over};
use crate::questionnaire::mapping;
use crate::questionnaire::mapping::Mapping;
use crate::questionnaire::sheet::Heading;
use crate::rule_set::RuleSet;
use crate::rule_set::files::sha256;
use crate::screening::asks::Open;
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, of_state};
use crate::screening::interview::Interview;
use crate::screening::result::{
    Alternative, Finding, Lift, Refusal, RuleSetStamp, Screening, SourceStamp,
};
use crate::screening::what_if::alternatives::alternatives;
use crate::screening::what_if::days::{dates, procedure_days};
use crate::screening::what_if::next::{Said, next};
use crate::screening::what_if::remedies::lifts;
use crate::screening::what_if::search::{Links, Trials};
use crate::screening::{dose, evaluate, explain, notices};

/// Screens one questionnaire after another with the same rule set, as of the same day, for the same clinic.
///
/// Cheap to clone: clones share the compiled rules.
#[derive(Debug, Clone)]
pub struct Screener<'a> {
    rule_set: &'a RuleSet,
    compiled: Arc<Compiled>,
    /// Made once somebody looks for a better verdict.
    links: Arc<OnceLock<Links>>,
    as_of: NaiveDate,
    /// The clinic's file, if one was given; what it answers once for all patients; the days on which it operates, if it says.
    clinic: Option<SourceStamp>,
    clinic_name: Option<String>,
    standing: Gathered,
    weekdays: Option<Vec<Weekday>>,
    nurse_may_book: bool,
    /// What the columns and items of another program mean, if that was said.
    mapping: Option<Arc<Mapping>>,
    searches: bool,
    alternatives: bool,
    days: Option<usize>,
}

/// One patient's questionnaire that was read and may be screened.
#[derive(Debug, Clone)]
pub struct Referral {
    /// The patient's reference.
    pub reference: String,
    /// The questionnaire's file.
    pub source: SourceStamp,
    /// The answers as written, the clinic's own among them.
    pub answers: Gathered,
    /// What is known and not known by them.
    pub facts: Facts,
}

impl<'a> Screener<'a> {
    /// Compiles the rules. Patients are screened as of this day, in no particular clinic.
    pub fn new(rule_set: &'a RuleSet, as_of: NaiveDate) -> Self {
        Self {
            rule_set,
            compiled: Arc::new(Compiled::new(rule_set)),
            links: Arc::default(),
            as_of,
            clinic: None,
            clinic_name: None,
            standing: Gathered::default(),
            weekdays: None,
            nurse_may_book: false,
            mapping: None,
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
        let (read, mut problems) = frame::clinic(self.rule_set, name, bytes);
        let Some(read) = read else {
            return Err(problems);
        };
        let (_, wrong) = facts::read(self.rule_set, &read.answers, self.as_of);
        problems.extend(wrong);
        if !problems.is_empty() {
            return Err(problems);
        }
        Ok(Self {
            clinic: Some(stamp(name, bytes)),
            clinic_name: Some(read.reference),
            standing: read.answers,
            weekdays: read.weekdays,
            nurse_may_book: read.nurse_may_book,
            ..self
        })
    }

    /// Reads what another program says by a mapping file: responses to its form, and rows of its sheets.
    ///
    /// # Errors
    /// Every diagnostic of the file.
    pub fn mapped(self, name: &str, bytes: &[u8]) -> Result<Self, Vec<Diagnostic>> {
        let mapping = mapping::read(self.rule_set, name, bytes)?;
        Ok(Self {
            mapping: Some(Arc::new(mapping)),
            ..self
        })
    }

    /// What the columns and items of another program mean, if that was said.
    pub fn mapping(&self) -> Option<&Mapping> {
        self.mapping.as_deref()
    }

    /// The same clinic and the same wishes, as of another day.
    pub fn on(self, as_of: NaiveDate) -> Self {
        Self { as_of, ..self }
    }

    /// Looks for nothing that would give a better verdict: a screening then says neither what would lift its verdict, nor
    /// which other plan would do, nor what is to be done next.
    pub fn without_search(self) -> Self {
        Self {
            searches: false,
            ..self
        }
    }

    /// Whether a screening shows the other plans with a better verdict.
    pub fn alternatives(self, wanted: bool) -> Self {
        Self {
            alternatives: wanted,
            ..self
        }
    }

    /// On how many of the next procedure days a screening says what it would come to, if on any.
    pub fn days(self, n_days: Option<usize>) -> Self {
        Self {
            days: n_days,
            ..self
        }
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
        self.understood(
            name,
            bytes,
            true,
            frame::by_mapping(self.rule_set, self.mapping(), name, bytes),
        )
    }

    /// Reads a questionnaire that is one line of many: JSON, whatever it is called. `suggests` says whether somebody is told which
    /// known name is near one that is not recognised.
    ///
    /// # Errors
    /// As [`Screener::read`].
    pub(crate) fn read_record(
        &self,
        name: &str,
        line: &[u8],
        suggests: bool,
    ) -> Result<Referral, Refusal> {
        self.understood(
            name,
            line,
            suggests,
            frame::record(self.rule_set, self.mapping(), name, line),
        )
    }

    /// Reads a row of a sheet.
    ///
    /// # Errors
    /// As [`Screener::read`].
    pub fn read_row(&self, heading: &Heading<'_>, row: &SheetRow<'_>) -> Result<Referral, Refusal> {
        let read = heading.questionnaire(row);
        let mut understood = self.understood(&heading.name_of(row), row.bytes, true, read);
        if let Err(refusal) = &mut understood {
            heading.tell_columns(&mut refusal.problems);
        }
        understood
    }

    /// Lays what was read over the clinic's answers, and understands all of them.
    fn understood(
        &self,
        name: &str,
        bytes: &[u8],
        suggests: bool,
        (read, mut problems): (Option<Questionnaire>, Vec<Diagnostic>),
    ) -> Result<Referral, Refusal> {
        let refused = |reference: String, problems: Vec<Diagnostic>| {
            let reference = Some(reference).filter(|it| !it.is_empty());
            Refusal {
                reference,
                path: name.to_owned(),
                notices: Vec::new(),
                problems,
            }
        };
        let Some(read) = read else {
            return Err(refused(String::new(), problems));
        };
        let answers = over(&self.standing, &read.answers);
        let (facts, wrong) = facts::read_for(self.rule_set, &answers, self.as_of, suggests);
        problems.extend(wrong);
        if problems.is_empty() {
            Ok(Referral {
                reference: read.reference,
                source: stamp(name, bytes),
                answers,
                facts,
            })
        } else {
            Err(refused(read.reference, in_file_order(problems)))
        }
    }

    /// Understands answers that were gathered already, the clinic's own among them.
    ///
    /// # Errors
    /// Every diagnostic of the answers, by file and place.
    pub(crate) fn facts(&self, answers: &Gathered) -> Result<Facts, Vec<Diagnostic>> {
        let (facts, problems) = facts::read(self.rule_set, answers, self.as_of);
        if problems.is_empty() {
            Ok(facts)
        } else {
            Err(problems)
        }
    }

    /// What each rule that can judge a patient comes to, in their order.
    pub fn states(&self, facts: &Facts) -> States {
        self.compiled.run(facts)
    }

    /// The day of the screening.
    pub fn as_of(&self) -> NaiveDate {
        self.as_of
    }

    /// The next day after the screening's on which the clinic operates.
    pub(crate) fn next_procedure_day(&self) -> Option<NaiveDate> {
        procedure_days(self.as_of.succ_opt()?, self.weekdays.as_deref(), 1).next()
    }

    /// The clinic's file, if it was given.
    pub(crate) fn clinic_file(&self) -> Option<&SourceStamp> {
        self.clinic.as_ref()
    }

    /// What the clinic answers once for all patients, and what it offers.
    pub(crate) fn standing(&self) -> &Gathered {
        &self.standing
    }

    /// The name of the clinic, if its file was given.
    pub(crate) fn clinic_name(&self) -> Option<&str> {
        self.clinic_name.as_deref()
    }

    /// Whether the clinic lets a nurse book, without a decision, a go with nothing to heed and nothing to read.
    pub fn nurse_may_book(&self) -> bool {
        self.nurse_may_book
    }

    /// The rule set that it screens by.
    pub fn rule_set(&self) -> &'a RuleSet {
        self.rule_set
    }

    /// Screens a patient whose questionnaire was read. Explanations are built only for rules that fire or are undetermined.
    pub fn screening(&self, referral: &Referral) -> Screening {
        let (rule_set, facts) = (self.rule_set, &referral.facts);
        let states = self.states(facts);
        let span = evaluate::span(rule_set, &states);
        let findings: Vec<Finding> = of_state(rule_set, &states, State::Fires)
            .into_iter()
            .map(|rule| explain::finding(rule_set, facts, rule))
            .collect();
        let Open {
            undetermined,
            to_ask,
        } = Open::of(rule_set, &self.compiled, facts, &states);
        let unrecognised = explain::unrecognised(rule_set, facts);
        let better = self.better(facts, span.verdict());
        let said = Said {
            span,
            findings: &findings,
            to_ask: &to_ask,
            unrecognised: &unrecognised,
        };
        let next = self
            .searches
            .then(|| next(rule_set, facts, &said, &better.plans));
        Screening {
            notices: notices::notices(
                rule_set,
                facts.as_of(),
                facts.procedure_on().map(|it| it.date),
            ),
            rule_set: RuleSetStamp::of(rule_set),
            local_policy: notices::local(rule_set, facts.as_of()),
            reference: referral.reference.clone(),
            source: referral.source.clone(),
            clinic: self.clinic.clone(),
            completed_on: facts.completed_on(),
            as_of: facts.as_of(),
            procedure_on: facts.procedure_on().map(|it| it.to_string()),
            span,
            next,
            findings,
            undetermined,
            to_ask,
            anaesthetic: dose::arithmetic(rule_set, facts),
            notes: facts.notes().iter().map(explain::note).collect(),
            unrecognised,
            set_aside: explain::set_aside(rule_set, facts),
            lifts: better.lifts,
            alternatives: (self.searches && self.alternatives).then_some(better.plans),
            dates: self.days.map(|n_days| {
                dates(
                    rule_set,
                    &self.compiled,
                    facts,
                    self.weekdays.as_deref(),
                    n_days,
                )
            }),
            cut_short: better.cut_short,
        }
    }

    /// What is still to be asked about a patient now, and when asking may stop.
    pub fn interview(&self, referral: &Referral) -> Interview {
        let facts = &referral.facts;
        Interview::of(self.rule_set, &self.compiled, facts, &self.states(facts))
    }

    /// What would give a better verdict. Nothing is looked for where nobody asked for it, nor of a patient who goes.
    fn better(&self, facts: &Facts, verdict: Standing) -> Better {
        if !self.searches || verdict == Standing::GO {
            return Better::default();
        }
        let trials = Trials::new(
            self.rule_set,
            &self.compiled,
            self.links.get_or_init(|| Links::new(self.rule_set)),
            facts,
        );
        let (lifts, all_lifts) = lifts(&trials);
        let (plans, all_plans) = alternatives(&trials);
        Better {
            lifts,
            plans,
            cut_short: !(all_lifts && all_plans),
        }
    }
}

/// What was found that would give a better verdict.
#[derive(Default)]
struct Better {
    lifts: Vec<Lift>,
    plans: Vec<Alternative>,
    cut_short: bool,
}

fn stamp(name: &str, bytes: &[u8]) -> SourceStamp {
    SourceStamp {
        path: name.to_owned(),
        digest: sha256(bytes),
    }
}
