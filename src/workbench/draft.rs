//! A new rule as a draft: its text in the file of its concern, and cases in which it fires, stays quiet and is
//! undetermined, each run before it is written.
//!
//! A draft is a place to begin. Its condition tests one answer; every text says that it is still to be written, which
//! `rules check` reports and which an approved rule set may not have.

use chrono::{Days, NaiveDate};

use crate::document::append::at_end_of_list;
use crate::document::diagnostic::Diagnostic;
use crate::outcome::State;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::rule_set::files::{Parsed, RuleFiles};
use crate::rule_set::read::drafts::TO_BE_WRITTEN;
use crate::rule_set::{Idx, Kind, Question, Rule, RuleSet};
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, standing};
use crate::workbench::cases;
use crate::workbench::cases::CaseRun;
use crate::workbench::cases::read;
use crate::workbench::cases::read::{Case, PEOPLE, people};

mod forms;
mod gate;

/// Within how many days somebody must look at a draft.
const DAYS_TO_REVIEW: u64 = 28;

/// Which rule is wanted.
#[derive(Debug, Clone)]
pub(crate) struct WantedRule<'a> {
    /// Full id, `concern/rule`. It is well formed, new, and of a concern that is there.
    pub id: &'a str,
    /// What its condition tests.
    pub question: &'a Question,
    /// With what the answer is compared; one that fits, if `None`.
    pub value: Option<&'a str>,
    /// What it asks for.
    pub outcome: Outcome,
    /// How fast, for a referral.
    pub urgency: Option<Urgency>,
    /// Contraindication or caution.
    pub kind: Kind,
    /// The day on which it is drafted.
    pub on: NaiveDate,
}

impl WantedRule<'_> {
    fn concern(&self) -> &str {
        self.id.split_once('/').map_or("", |(concern, _)| concern)
    }

    fn name(&self) -> &str {
        self.id.split_once('/').map_or("", |(_, name)| name)
    }

    fn standing(&self) -> Standing {
        Standing::new(self.outcome, self.urgency)
    }

    /// The file of its concern.
    fn path(&self) -> String {
        format!("concerns/{}.yaml", self.concern())
    }
}

/// A draft, as the files that hold it.
#[derive(Debug)]
pub(crate) struct Draft {
    /// The rule as it stands in its file.
    pub rule: String,
    /// The file of its concern, by path within the rule set, and its new text.
    pub concern: (String, String),
    /// The new file of its cases, and its text.
    pub cases: (String, String),
    /// How many cases that are there already come out otherwise with it.
    pub changed: usize,
}

/// Why there is no draft.
#[derive(Debug)]
pub(crate) enum NoDraft {
    /// In words.
    Because(String),
    /// The rule set with it, or its cases, are refused.
    Refused(Vec<Diagnostic>),
}

/// A form of the condition on one person: the bodies of the cases in which it should fire, stay quiet, be undetermined.
struct DraftTrial {
    form: usize,
    bodies: [String; 3],
}

/// Drafts a rule.
///
/// # Errors
/// If the file of the concern cannot take a rule at its end, if the value does not fit the question, or if no person of
/// people.yaml can be changed so that the rule comes out in all three states.
pub(crate) fn draft(
    files: &RuleFiles,
    rule_set: &RuleSet,
    wanted: &WantedRule<'_>,
) -> Result<Draft, NoDraft> {
    let (people, as_of) = people(files);
    let on = as_of.unwrap_or(wanted.on);
    let mut forms =
        forms::forms(rule_set, wanted.question, wanted.value, on).map_err(NoDraft::Because)?;
    if let Some(gate) = gate::condition(files, wanted.question) {
        forms.iter_mut().for_each(|it| {
            it.when = format!("\n      all:\n        - {gate}\n        - {}", it.when)
        });
    }
    let there = read::cases(files, rule_set).map_err(NoDraft::Refused)?;
    // All forms at once, as rules of their own, tried on every person and on the cases that are there.
    let named: Vec<(String, &str)> = forms
        .iter()
        .enumerate()
        .map(|(at, it)| (format!("{}-form-{at}", wanted.name()), it.when.as_str()))
        .collect();
    let with = WithDraft::new(files, wanted, &named)?;
    // Each person as they are, and with the answers that open the gate; quiet as they are, or with another answer.
    let opened = gate::answers(rule_set, wanted.question).filter(|it| !it.is_empty());
    let mut trials = Vec::new();
    for (form, it) in forms.iter().enumerate() {
        for person in &people {
            for before in [Some(&Vec::new()), opened.as_ref()].into_iter().flatten() {
                for quiet in [None, Some(it.quiet.as_str())] {
                    let body = |answer: Option<&str>| body(person, before, wanted.question, answer);
                    trials.push(DraftTrial {
                        form,
                        bodies: [body(Some(&it.fires)), body(quiet), body(Some("unknown"))],
                    });
                }
            }
        }
    }
    let runs = with.tried(trials.iter().flat_map(|it| &it.bodies))?;
    let n_disturbed = with.disturbed(&there);
    let best = trials.iter().zip(runs.chunks(3)).filter(|(trial, runs)| {
        let states = runs.iter().map(|it| with.state(it, trial.form));
        states.eq([State::Fires, State::StaysQuiet, State::Undetermined].map(Some))
    });
    // What leaves most of the cases as they are, then a person for whom nothing but the rule decides the verdict (one with a precaution
    // goes), then one against whom nothing else speaks, then the one about whom least else is said.
    let best = best.min_by_key(|(trial, runs)| {
        let states = runs.iter().filter_map(|it| it.states.as_ref()).flatten();
        let told = states.filter(|it| **it != State::StaysQuiet).count();
        let others: usize = runs.iter().take(2).map(|it| with.against(it)).sum();
        let fires = runs.first().and_then(|it| it.states.as_ref());
        let verdict = fires.map(|it| standing(&with.rule_set, it));
        (
            n_disturbed.get(trial.form).copied(),
            verdict != Some(wanted.standing()),
            others,
            told,
        )
    });
    let Some((trial, form)) = best.and_then(|(trial, _)| Some((trial, forms.get(trial.form)?)))
    else {
        let why = "no person of cases/people.yaml can be changed by this one answer so that the rule fires, stays quiet and is \
                   undetermined; try another value or question, or add a person";
        return Err(NoDraft::Because(why.into()));
    };
    finish(files, wanted, &form.when, &trial.bodies, &there)
}

/// A rule set with drafted rules at the end of their concern.
struct WithDraft {
    files: RuleFiles,
    rule_set: RuleSet,
    compiled: Compiled,
    /// Where the drafted rules stand among all rules.
    at: Vec<Idx<Rule>>,
}

impl WithDraft {
    /// Puts rules of these names and conditions at the end of the concern.
    fn new(
        files: &RuleFiles,
        wanted: &WantedRule<'_>,
        rules: &[(String, &str)],
    ) -> Result<Self, NoDraft> {
        let all: String = rules
            .iter()
            .map(|(name, when)| entry(wanted, name, when))
            .collect();
        let mut files = files.clone();
        files.set(wanted.path(), appended(&files, &wanted.path(), &all)?);
        let rule_set = crate::rule_set::read::rule_set(&files).map_err(NoDraft::Refused)?;
        let place = |name: &String| {
            rule_set
                .judging
                .position(|it| it.id == format!("{}/{name}", wanted.concern()))
        };
        let at = rules.iter().filter_map(|(name, _)| place(name)).collect();
        Ok(Self {
            files,
            compiled: Compiled::new(&rule_set),
            rule_set,
            at,
        })
    }

    /// The state of a drafted rule; `None` if the case was refused.
    fn state(&self, run: &CaseRun, draft: usize) -> Option<State> {
        run.state(*self.at.get(draft)?)
    }

    /// How many rules that are no draft speak against surgery.
    fn against(&self, run: &CaseRun) -> usize {
        self.rule_set
            .rule_entries()
            .filter(|(at, rule)| {
                !self.at.contains(at)
                    && run.state(*at) == Some(State::Fires)
                    && rule.outcome > Outcome::Go
            })
            .count()
    }

    /// For each drafted rule, in how many cases it does not stay quiet.
    fn disturbed(&self, cases: &[Case]) -> Vec<usize> {
        let runs = cases::run_all(&self.rule_set, &self.compiled, cases);
        let is_quiet = |run: &CaseRun, draft| self.state(run, draft) == Some(State::StaysQuiet);
        (0..self.at.len())
            .map(|draft| runs.iter().filter(|it| !is_quiet(it, draft)).count())
            .collect()
    }

    /// What cases of these bodies come to.
    fn tried<'a>(&self, bodies: impl Iterator<Item = &'a String>) -> Result<Vec<CaseRun>, NoDraft> {
        let mut files = self.files.clone();
        let of_cases = |path: &&str| path.starts_with("cases/") && *path != PEOPLE;
        for path in self.files.paths().filter(of_cases) {
            files.remove(path);
        }
        let listed: String = bodies
            .map(|it| format!("  - case: a trial\n{it}    expect: {{ verdict: go }}\n"))
            .collect();
        files.set("cases/trial.yaml", format!("cases:\n{listed}"));
        let cases = read::cases(&files, &self.rule_set).map_err(NoDraft::Refused)?;
        Ok(cases::run_all(&self.rule_set, &self.compiled, &cases))
    }
}

/// Writes the cases down with what they come to, and runs them as they are written.
fn finish(
    files: &RuleFiles,
    wanted: &WantedRule<'_>,
    when: &str,
    bodies: &[String; 3],
    there: &[Case],
) -> Result<Draft, NoDraft> {
    let name = wanted.name();
    let mut with = WithDraft::new(files, wanted, &[(name.to_owned(), when)])?;
    let runs = with.tried(bodies.iter())?;
    let titles = ["fires", "stays quiet", "undetermined"];
    let written: Vec<String> = titles
        .iter()
        .zip(bodies)
        .zip(&runs)
        .filter_map(|((title, body), run)| {
            let expected = expected(&with.rule_set, run.states.as_ref()?);
            Some(format!(
                "  - case: {name}, {title}\n{body}    expect: {expected}\n"
            ))
        })
        .collect();
    let id = wanted.id;
    let text = format!(
        "{}# First cases of {id}; `preblock rules test` says which are missing.\ncases:\n{}",
        schema_line(files),
        written.join("\n")
    );
    let path = format!("cases/{}-{name}.yaml", wanted.concern());
    let shown = files.name_of(&path);
    if with.files.file(&path).is_some() {
        return Err(NoDraft::Because(format!(
            "`{shown}` is there already; move it away first"
        )));
    }
    with.files.set(path.as_str(), text.as_str());
    let mut mine = read::cases(&with.files, &with.rule_set).map_err(NoDraft::Refused)?;
    mine.retain(|it| it.source.name() == shown);
    let wrong = |cases: &[Case]| {
        cases::run_all(&with.rule_set, &with.compiled, cases)
            .iter()
            .filter(|it| !it.differences.is_empty())
            .count()
    };
    if mine.len() != titles.len() || wrong(&mine) > 0 {
        return Err(NoDraft::Because(
            "the cases of the draft do not come out as they say".into(),
        ));
    }
    let changed = wrong(there);
    let concern = with
        .files
        .file(&wanted.path())
        .map_or_else(String::new, |it| {
            String::from_utf8_lossy(it.bytes()).into_owned()
        });
    Ok(Draft {
        rule: entry(wanted, name, when),
        concern: (wanted.path(), concern),
        cases: (path, text),
        changed,
    })
}

/// The text of a rule as an entry of its file, after an empty line.
fn entry(wanted: &WantedRule<'_>, name: &str, when: &str) -> String {
    let open = |key: &str, what: &str| format!("    {key}: \"{TO_BE_WRITTEN} {what}\"");
    let on = wanted.on;
    let review_by = on.checked_add_days(Days::new(DAYS_TO_REVIEW));
    let review_by = review_by.unwrap_or(NaiveDate::MAX);
    let mut lines = vec![
        String::new(),
        format!("  - id: {name}"),
        open("title", "the hazard in a few words"),
        format!("    kind: {}", wanted.kind.word()),
        format!("    outcome: {}", wanted.outcome.word()),
    ];
    lines.extend(
        wanted
            .urgency
            .map(|it| format!("    urgency: {}", it.word())),
    );
    lines.extend([
        format!(
            "    when:{}{when}",
            if when.starts_with('\n') { "" } else { " " }
        ),
        open("reason", "what is so"),
        open("action", "what to do"),
    ]);
    lines.extend(match wanted.outcome {
        Outcome::Go => None,
        Outcome::Defer => Some(open("cleared_by", "what would lift it")),
        Outcome::Refer => Some(open("refer_to", "to whom")),
    });
    lines.extend([
        "    citations:".into(),
        format!("      - {{ local_proposal: \"{TO_BE_WRITTEN} what it rests on; better, a source of sources.yaml\" }}"),
        format!("    in_force_from: {on}"),
        format!("    last_reviewed: {on}"),
        format!("    review_by: {review_by}"),
    ]);
    lines.join("\n") + "\n"
}

/// The file of a concern with a text at its end, if that is where its rules end.
fn appended(files: &RuleFiles, path: &str, rules: &str) -> Result<String, NoDraft> {
    let name = files.name_of(path);
    let not_so = |why: &str| {
        NoDraft::Because(format!(
            "a rule cannot be put at the end of `{name}`: {why}"
        ))
    };
    let mut found = Vec::new();
    let Some(Parsed { source, root, .. }) = files.file(path).and_then(|it| it.parsed(&mut found))
    else {
        return Err(NoDraft::Refused(found));
    };
    at_end_of_list(&source, &root, "rules", rules).map_err(|why| not_so(&why))
}

/// A case up to what is expected of it: a person, answers that come before, and one to the question itself.
fn body(
    person: &str,
    before: &[(String, String)],
    question: &Question,
    answer: Option<&str>,
) -> String {
    let before = before.iter().map(|(id, answer)| format!("{id}: {answer}"));
    let changes: Vec<String> = before
        .chain(answer.map(|it| format!("{}: {it}", question.id)))
        .collect();
    let change = if changes.is_empty() {
        String::new()
    } else {
        format!("    change: {{ {} }}\n", changes.join(", "))
    };
    format!("    like: {person}\n{change}")
}

/// What a case came to, as it is written down.
fn expected(rule_set: &RuleSet, states: &States) -> String {
    let of = |wanted: State| {
        let rules = rule_set.rule_entries();
        let rules = rules.filter(|(at, _)| states[*at] == wanted);
        let ids: Vec<&str> = rules.map(|(_, it)| it.id.as_str()).collect();
        ids.join(", ")
    };
    let standing = standing(rule_set, states);
    let mut parts = vec![format!("verdict: {}", standing.outcome.word())];
    parts.extend(
        standing
            .urgency
            .filter(|_| standing.outcome == Outcome::Refer)
            .map(|it| format!("urgency: {}", it.word())),
    );
    for (key, ids) in [
        ("fires", of(State::Fires)),
        ("undetermined", of(State::Undetermined)),
    ] {
        if !ids.is_empty() {
            parts.push(format!("{key}: [{ids}]"));
        }
    }
    format!("{{ {} }}", parts.join(", "))
}

/// Where editors find the schema of cases: beside that of the people, if their file says where that is.
fn schema_line(files: &RuleFiles) -> String {
    let people = files
        .file(PEOPLE)
        .map(|it| String::from_utf8_lossy(it.bytes()));
    let line = people.as_deref().and_then(|it| it.lines().next());
    line.filter(|it| it.starts_with('#') && it.contains("people.schema.json"))
        .map_or_else(String::new, |it| {
            it.replace("people.schema.json", "cases.schema.json") + "\n"
        })
}
