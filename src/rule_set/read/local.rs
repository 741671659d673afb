//! Local policy: a clinic's changes, put over the rule set while it is read, so that every name resolves as usual.
//!
//! Each step is taken when what it changes has just been read: limits before anything uses them, names before any
//! condition names them, rules last. What is wrong is told at its place in the clinic's own file.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::ops::Range;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, Source};
use crate::quantity::tidy;
use crate::rule_set::files::Parsed;
use crate::rule_set::files::{TextFile, sha256};
use crate::rule_set::local::loosened_by_limit;
use crate::rule_set::read::registers::{date, limit_value};
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{
    Answer, Basis, Citation, Idx, Limit, LimitValue, LocalChange, LocalKind, LocalPolicy, Loosens,
    Offered, Question, Rule, RuleSet,
};
use crate::truth::FactSlot;

pub(crate) mod name;
mod rule;

/// Understands the offers of the mapping at a node, which is written like the answers of a clinic's file. INVARIANT: answers
/// are understood above the rule set, so that whoever reads a policy says how.
pub(crate) type ReadOffers = fn(&RuleSet, &Arc<Source>, &Node) -> (Vec<KeptOffer>, Vec<Diagnostic>);

/// A local policy as it was found, and how what it offers is understood.
#[derive(Clone, Copy)]
pub(crate) struct Policy<'a> {
    /// Its file.
    pub file: &'a TextFile,
    /// Understands what it offers.
    pub offers: ReadOffers,
}

/// What a clinic keeps of one choice of the plan.
pub(crate) struct KeptOffer {
    /// The choice.
    pub question: Idx<Question>,
    /// Where it is named.
    pub key_span: Range<usize>,
    /// What is offered of it.
    pub offered: Offered,
}

/// Parses a local policy; `None` after a diagnostic.
pub(crate) fn parse(file: &TextFile, diagnostics: &mut Vec<Diagnostic>) -> Option<Parsed> {
    let begin = diagnostics.len();
    let parsed = file.parsed(diagnostics);
    for it in diagnostics
        .iter_mut()
        .skip(begin)
        .filter(|it| it.code == Code::Empty)
    {
        it.help = "`preblock schema local` says what a local policy holds".to_owned();
    }
    parsed
}

/// A local policy while the rule set under it is read.
pub(crate) struct Overlay<'a> {
    parsed: &'a Parsed,
    policy: Policy<'a>,
    reading: Reading<'a>,
    changes: Vec<LocalEdit<'a>>,
    /// Where each thing was changed first.
    seen: HashMap<(&'static str, String), Range<usize>>,
    /// Limits that something else than a rule uses.
    fed: HashSet<String>,
}

/// One change of the file.
struct LocalEdit<'a> {
    node: &'a Node,
    kind: LocalKind,
    /// What it does; `None` until its step was taken, and after a diagnostic.
    done: Option<Done>,
    /// For a limit: how it moved.
    moved: Option<Moved>,
}

/// A limit that has another value now.
struct Moved {
    /// Which one.
    limit: Idx<Limit>,
    /// Whether it rose.
    rises: bool,
    /// Its value before, as written.
    before: String,
}

/// What a change does.
struct Done {
    about: String,
    what: String,
    loosens: Loosens,
    how: Option<String>,
}

impl Done {
    /// A change that cannot loosen anything.
    fn new(about: &str, what: String) -> Self {
        Self {
            about: about.to_owned(),
            what,
            loosens: Loosens::No,
            how: None,
        }
    }

    /// A change that loosens the rule set, and how.
    fn loosening(about: &str, what: String, how: &str) -> Self {
        Self {
            about: about.to_owned(),
            what,
            loosens: Loosens::Yes,
            how: Some(how.to_owned()),
        }
    }
}

impl<'a> Overlay<'a> {
    /// Begins with the form of the file.
    pub(crate) fn new(parsed: &'a Parsed, policy: Policy<'a>) -> Self {
        let mut reading = parsed.reading("local");
        let mut changes = Vec::new();
        for node in parsed.root.list("changes") {
            match LocalKind::ALL
                .into_iter()
                .find(|it| node.get(it.word()).is_some())
            {
                Some(kind) => changes.push(LocalEdit {
                    node,
                    kind,
                    done: None,
                    moved: None,
                }),
                None => reading.pass_over(
                    node,
                    &format!(
                        "a change with {}",
                        listed(&LocalKind::ALL.map(LocalKind::word))
                    ),
                ),
            }
        }
        Self {
            parsed,
            policy,
            reading,
            changes,
            seen: HashMap::new(),
            fed: HashSet::new(),
        }
    }

    /// Takes the step of every change of a kind: what it is about stands under the kind's own key.
    fn each(
        &mut self,
        kind: LocalKind,
        mut step: impl FnMut(&mut Self, &'a Node, &'a Node, &mut Option<Moved>) -> Option<Done>,
    ) {
        for at in 0..self.changes.len() {
            let Some(node) = self
                .changes
                .get(at)
                .filter(|it| it.kind == kind)
                .map(|it| it.node)
            else {
                continue;
            };
            let Some(about) = node.get(kind.word()) else {
                continue;
            };
            let mut moved = None;
            let done = step(self, node, about, &mut moved);
            if let Some(change) = self.changes.get_mut(at) {
                (change.done, change.moved) = (done, moved);
            }
        }
    }

    /// Whether this is the first change of something; reports a second one.
    fn first(&mut self, what: &'static str, id: &str, span: &Range<usize>) -> bool {
        let Some(first) = self.seen.insert((what, id.to_owned()), span.clone()) else {
            return true;
        };
        let title = format!("the {what} `{id}` is changed twice");
        self.reading
            .wrong(Code::LocalTwice, span, title, "second change")
            .also(&first, "first change");
        false
    }

    fn nothing_changed(&mut self, span: &Range<usize>, title: String) {
        self.reading
            .wrong(Code::LocalNothing, span, title, "as it is already");
    }

    /// Puts the clinic's values in place of the limits that were just read.
    pub(crate) fn limits(&mut self, names: &mut Names) {
        self.each(LocalKind::Limit, |this, node, about, moved| {
            let at = names.limit_of(&mut this.reading, node)?;
            let place = node.get("value")?;
            let value = limit_value(&mut this.reading, place)?;
            let written = place.written(this.reading.source)?.to_owned();
            let limit = &mut names.limits[at];
            if !this.first("limit", &limit.id, &about.span) {
                return None;
            }
            let Some((old, new)) = same_form(&limit.value, &value) else {
                let title = format!(
                    "the limit `{}` is {}, in another form",
                    limit.id, limit.written
                );
                let help =
                    "write the value in the form that limits.yaml has it, with the same unit";
                return this
                    .reading
                    .wrong(Code::WrongUnit, place, title, "another form")
                    .help(help)
                    .none();
            };
            if old.total_cmp(&new).is_eq() {
                this.nothing_changed(
                    &place.span,
                    format!("the limit `{}` is {} already", limit.id, limit.written),
                );
                return None;
            }
            let done = Done::new(
                &limit.id,
                format!("limit {}: {written} instead of {}", limit.id, limit.written),
            );
            limit.value = value;
            *moved = Some(Moved {
                limit: at,
                rises: new > old,
                before: std::mem::replace(&mut limit.written, written),
            });
            Some(done)
        });
    }

    /// Remembers the limits that a file other than the rules uses.
    pub(crate) fn note_fed(&mut self, other: &Parsed) {
        let mut open: Vec<&Node> = vec![&other.root];
        while let Some(node) = open.pop() {
            self.fed.extend(
                node.get("limit")
                    .and_then(|it| it.written(&other.source))
                    .map(str::to_owned),
            );
            open.extend(node.items());
            open.extend(node.entries().iter().map(|it| &it.value));
        }
    }

    /// Says of each changed limit whether that loosens the rules as they were read.
    fn judge_limits(&mut self, rules: &[Rule]) {
        for change in &mut self.changes {
            let (Some(moved), Some(done)) = (&change.moved, &mut change.done) else {
                continue;
            };
            let looser = loosened_by_limit(rules, moved.limit, moved.rises);
            let fed = self.fed.contains(&done.about);
            (done.loosens, done.how) = match (looser.is_empty(), fed) {
                (false, _) => (
                    Loosens::Yes,
                    Some(format!(
                        "fewer patients may come under {}",
                        looser.join(", ")
                    )),
                ),
                (true, true) => (
                    Loosens::Perhaps,
                    Some("it is part of a computation, whose form does not tell".to_owned()),
                ),
                (true, false) => (Loosens::No, None),
            };
        }
    }

    /// What the clinic keeps to.
    fn offers(&mut self, rule_set: &RuleSet) -> BTreeMap<FactSlot, Offered> {
        let mut all = BTreeMap::new();
        self.each(LocalKind::Offers, |this, _, about, _| {
            let (kept, wrong) = (this.policy.offers)(rule_set, this.reading.source, about);
            let mut complete = wrong.is_empty() && !kept.is_empty();
            wrong.into_iter().for_each(|it| this.reading.report(it));
            let (mut ids, mut parts) = (Vec::new(), Vec::new());
            for KeptOffer {
                question,
                key_span,
                offered,
            } in kept
            {
                let question = &rule_set.catalogue.questions[question];
                if !this.first("offer of", &question.id, &key_span) {
                    complete = false;
                } else if Some(&offered) == every_option(question).as_ref() {
                    complete = false;
                    this.nothing_changed(
                        &key_span,
                        format!("every option of `{}` is offered", question.id),
                    );
                }
                ids.push(question.id.as_str());
                parts.push(format!(
                    "for {}: only {}",
                    question.id,
                    in_words(rule_set, question, &offered)
                ));
                all.insert(question.slot, offered);
            }
            complete.then(|| Done::new(&ids.join(", "), format!("offers {}", parts.join("; "))))
        });
        all
    }

    /// Completes the rule set; gives the diagnostics of the file. Those of the rule set itself stand beside.
    pub(crate) fn finish(
        mut self,
        rule_set: Option<&mut RuleSet>,
        diagnostics: &[Diagnostic],
    ) -> Vec<Diagnostic> {
        if !diagnostics.is_empty() {
            self.reading.excuse();
        }
        let Some(rule_set) = rule_set else {
            return self.reading.finish();
        };
        self.written_for(rule_set);
        // Where the questions or the anaesthetics could not be read, what is offered cannot be looked up.
        let unread = |diagnostic: &Diagnostic| {
            diagnostic.source.as_ref().is_none_or(|it| {
                it.name().ends_with("questions.yaml") || it.name().ends_with("anaesthetics.yaml")
            })
        };
        let offers = if diagnostics.iter().any(unread) {
            BTreeMap::new()
        } else {
            self.offers(rule_set)
        };
        let root = &self.parsed.root;
        let clinic = self.reading.needed(root, "clinic").unwrap_or_default();
        let mut changes = Vec::new();
        for edit in std::mem::take(&mut self.changes) {
            let terms = self.terms(edit.node);
            let (Some(done), Some(terms)) = (edit.done, terms) else {
                self.reading.pass_over(edit.node, "a whole change");
                continue;
            };
            if let Some(moved) = edit.moved {
                let limit = &mut rule_set.limits[moved.limit];
                // What the rule set cites stands behind its own value, not behind the clinic's.
                let basis = format!(
                    "local policy of {clinic}, agreed by {} on {}: {}",
                    terms.agreed_by, terms.agreed_on, terms.reason
                );
                limit.citations = vec![Citation {
                    basis: Basis::LocalProposal(basis),
                    at: None,
                }];
                let others = limit.other_figures.take();
                let others = others.map_or(String::new(), |it| format!("; {it}"));
                limit.other_figures =
                    Some(format!("{} in the rule set itself{others}", moved.before));
            }
            changes.push(LocalChange {
                kind: edit.kind,
                about: done.about,
                what: done.what,
                reason: terms.reason,
                agreed_by: terms.agreed_by,
                agreed_on: terms.agreed_on,
                review_by: terms.review_by,
                loosens: done.loosens,
                how: done.how,
            });
        }
        rule_set.local = Some(LocalPolicy {
            clinic,
            path: self.policy.file.name().to_owned(),
            digest: sha256(self.policy.file.bytes()),
            changes,
            offers,
        });
        self.reading.finish()
    }

    /// Whether the file was written for this rule set.
    fn written_for(&mut self, rule_set: &RuleSet) {
        for (key, is) in [("of", &rule_set.id), ("edition", &rule_set.edition)] {
            let Some(place) = self.parsed.root.get(key) else {
                continue;
            };
            let Some(written) = place.written(self.reading.source).filter(|it| it != is) else {
                continue;
            };
            let what = if key == "of" { "rule set" } else { "edition" };
            let title = format!("this local policy is for the {what} `{written}`, not `{is}`");
            let help = (key == "of")
                .then(|| "use the local policy that was written for this rule set".to_owned());
            self.reading
                .wrong(Code::LocalOther, place, title, format!("another {what}"))
                .help_if(help);
        }
    }

    /// Why, by whom and until when; `None` after a diagnostic.
    fn terms(&mut self, node: &Node) -> Option<Terms> {
        let reason = self.reading.needed(node, "reason");
        let agreed_by = self.reading.needed(node, "agreed_by");
        let agreed_on = date(&mut self.reading, node, "agreed_on");
        let review_by = date(&mut self.reading, node, "review_by");
        if let (Some(on), Some(by), Some(place)) = (agreed_on, review_by, node.get("review_by"))
            && by < on
        {
            let title = "the review date lies before the day of the agreement";
            let help = "write the day by which the change must be looked at again";
            self.reading
                .wrong(Code::BadRange, place, title, "too early")
                .help(help);
        }
        Some(Terms {
            reason: reason?,
            agreed_by: agreed_by?,
            agreed_on: agreed_on?,
            review_by: review_by?,
        })
    }

    /// Takes over what is said of a rule set's own file only because a limit has the clinic's value: the rules are not at
    /// fault. Each thing is told once, with the first place where the value does not fit.
    pub(crate) fn claim(&mut self, diagnostics: &mut Vec<Diagnostic>) {
        let mut own: Vec<Diagnostic> = Vec::new();
        for change in self.changes.iter().filter(|it| it.moved.is_some()) {
            let (Some(done), Some(place)) = (&change.done, change.node.get("value")) else {
                continue;
            };
            let named = |diagnostic: &Diagnostic| {
                let (Some(source), Some(label)) = (&diagnostic.source, diagnostic.labels.first())
                else {
                    return false;
                };
                let words = source
                    .slice(&label.span)
                    .split(|it: char| !it.is_ascii_alphanumeric() && it != '-');
                diagnostic.code == Code::BadRange && words.into_iter().any(|it| it == done.about)
            };
            let (mine, rest): (Vec<Diagnostic>, Vec<Diagnostic>) =
                diagnostics.drain(..).partition(named);
            *diagnostics = rest;
            for it in mine {
                if own.iter().all(|told| told.title != it.title) {
                    let label = it.place().map_or_else(
                        || "does not fit".to_owned(),
                        |place| format!("does not fit {place}"),
                    );
                    own.push(
                        Diagnostic::at(it.code, self.reading.source, &place.span, it.title, label)
                            .help(it.help),
                    );
                }
            }
        }
        own.into_iter().for_each(|it| self.reading.report(it));
    }
}

/// What stands beside every change.
struct Terms {
    reason: String,
    agreed_by: String,
    agreed_on: NaiveDate,
    review_by: NaiveDate,
}

/// The numbers of two values of the same form, to compare them; `None` if the forms differ.
fn same_form(old: &LimitValue, new: &LimitValue) -> Option<(f64, f64)> {
    match (old, new) {
        (
            LimitValue::Number { value, unit },
            LimitValue::Number {
                value: other,
                unit: other_unit,
            },
        ) if unit == other_unit => Some((*value, *other)),
        (LimitValue::Span(span), LimitValue::Span(other)) if span.unit == other.unit => {
            Some((f64::from(span.count), f64::from(other.count)))
        }
        _ => None,
    }
}

/// Every option of a choice of the plan; `None` for solutions, which nobody can list.
fn every_option(question: &Question) -> Option<Offered> {
    let n_options = match &question.answer {
        Answer::YesNo => 2,
        Answer::OneOf(options) | Answer::SeveralOf(options) => options.len(),
        _ => return None,
    };
    Some(Offered::Options(
        (0..n_options).fold(0, |bits, at| bits | 1 << at),
    ))
}

/// What is offered, by the words that are written in files.
fn in_words(rule_set: &RuleSet, question: &Question, offered: &Offered) -> String {
    let words: Vec<String> = match offered {
        Offered::Solutions(solutions) => solutions
            .iter()
            .map(|(at, percent)| format!("{} {} %", rule_set.agents[*at].id, tidy(*percent, None)))
            .collect(),
        Offered::Options(bits) => (0..64)
            .filter(|at| bits >> at & 1 == 1)
            .map(|at| question.option_id(at).to_owned())
            .collect(),
    };
    words.join(", ")
}
