//! Answers that are lists of entries: medicines, allergies, the anaesthetic plan.

use crate::document::diagnostic::{Code, did_you_mean, listed, nearest};
use crate::document::source::{Node, NodeKind};
use crate::quantity::span::Span;
use crate::quantity::{Measure, Parts, read_quantity, tidy};
use crate::questionnaire::facts::answers::{AnswerReader, MOST_ENTRIES, is_misspelt, missing_word};
use crate::questionnaire::facts::{
    AllergyEntry, Fact, MedicineEntry, PlannedAgent, Value, joined_or_none, plan_in_words,
};
use crate::rule_set::course::{Course, milligrams};
use crate::rule_set::recognise;
use crate::rule_set::recognise::Recognised;
use crate::rule_set::{Agent, Idx, Medicine, Reaction};

/// The keys of a line of the plan; the first one names it.
const PLAN_KEYS: [&str; 3] = ["agent", "strength", "volume"];
const SOLUTION_KEYS: [&str; 2] = ["agent", "strength"];

/// Two amounts that differ by less, as a share, are the same: only their conversion differs.
const SAME: f64 = 1e-9;

impl<'a> AnswerReader<'a> {
    /// The entries of a list answer; `None` after a diagnostic.
    fn entries<'n>(&mut self, node: &'n Node, needed: &str) -> Option<&'n [Node]> {
        let NodeKind::List(items) = &node.kind else {
            self.wrong_kind(node, needed);
            return None;
        };
        if items.len() > MOST_ENTRIES {
            self.too_many(node);
            return None;
        }
        Some(items)
    }

    /// Reports the keys of a mapping that are not known.
    pub(super) fn check_keys(&mut self, node: &Node, known: &[&str], complete: &mut bool) {
        for entry in node.entries() {
            if !known.contains(&entry.key.as_str()) {
                *complete = false;
                let help = did_you_mean(&entry.key, known.iter().copied()).unwrap_or_default();
                let title = format!("the key `{}` is not known here", entry.key);
                self.wrong(Code::UnknownKey, entry, title, "not known here")
                    .help(help);
            }
        }
    }

    pub(super) fn medicines(&mut self, node: &Node) -> Option<Fact> {
        let items = self.entries(node, "a list of medicines")?;
        let mut found = Vec::new();
        let mut complete = true;
        for item in items {
            let words = ("a medicine has no `name`", "the name of a medicine");
            let known = ["name", "daily", "for"];
            let Some((place, text)) = self.entry_name(item, &known, words, &mut complete) else {
                complete = false;
                continue;
            };
            let mut course = Course::UNTOLD;
            complete &= self.dose_details(item, &mut course);
            let register = &self.rule_set.medicines;
            let recognised = if self.suggests {
                recognise::medicine_and_course(register, text)
            } else {
                recognise::known_medicine(register, text)
                    .map_or(Recognised::Not { nearest: None }, Recognised::As)
            };
            let (medicine, nearest) = match recognised {
                Recognised::As((at, told)) => {
                    complete &= self.agree(item, &mut course, told)
                        && self.daily_plausible(item, at, course.daily_mg);
                    (Some(at), None)
                }
                Recognised::Not { nearest } => {
                    (None, nearest.filter(|_| missing_word(place).is_none()))
                }
            };
            let told = |key: &str| item.get(key).and_then(Node::text);
            let daily = told("daily").map(|it| format!("{it} daily"));
            let course_for = told("for").map(|it| format!("for {it}"));
            let details: Vec<String> = daily.into_iter().chain(course_for).collect();
            let details = if details.is_empty() {
                String::new()
            } else {
                format!(" ({})", details.join(", "))
            };
            let Course { daily_mg, days, .. } = course;
            found.push(MedicineEntry {
                text: text.to_owned(),
                details,
                daily_mg,
                days,
                medicine,
                nearest,
                place: self.place(&place.span),
            });
        }
        let shown = joined_or_none(found.iter().map(MedicineEntry::shown), ", ");
        complete.then(|| self.known(Value::Medicines(found), shown, node))
    }

    /// `daily: 5 mg` and `for: 3 months` of a medicine: shown with it and perhaps counted, so they must be readable.
    ///
    /// A dose that is no mass, such as `2 puffs`, is shown and never counted.
    fn dose_details(&mut self, item: &Node, course: &mut Course) -> bool {
        let mut fine = true;
        if let Some(daily) = item.get("daily").filter(|it| missing_word(it).is_none()) {
            let read = daily.text().map(read_quantity);
            if let Some(Ok(
                [
                    Parts {
                        number,
                        unit: Some(_),
                        ..
                    },
                ],
            )) = read.as_ref().map(|it| it.as_deref())
                && *number >= 0.0
            {
                course.daily_mg = daily.text().and_then(milligrams);
            } else {
                fine = false;
                let title = "the daily dose is not a number with its unit";
                self.wrong(Code::NeedsUnit, daily, title, "cannot be read")
                    .help("write the dose of a whole day with its unit, such as `daily: 5 mg`");
            }
        }
        if let Some(span) = item.get("for").filter(|it| missing_word(it).is_none()) {
            course.days = span.text().and_then(Span::read).map(Span::fewest_days);
            if course.days.is_none() {
                fine = false;
                let title = "this is not a length of time";
                let help = "write how long it has been taken, such as `for: 3 months`; `unknown` if it is not known";
                self.wrong(Code::AnswerType, span, title, "cannot be read")
                    .help(help);
            }
        }
        fine
    }

    /// Holds what the text of an entry says of dose and duration against its keys, and fills in what they leave out.
    fn agree(&mut self, item: &Node, course: &mut Course, told: Course) -> bool {
        let differ = |one: Option<f64>, other: Option<f64>| {
            one.zip(other)
                .is_some_and(|(a, b)| (a - b).abs() > SAME * a.max(b))
        };
        // A tablet may be halved. Words that hold more than two days of it, understood or not, are about another dose.
        let beyond = told.daily_mg.is_none()
            && course
                .daily_mg
                .zip(told.mass_mg)
                .is_some_and(|(daily, mass)| mass > 2.0 * daily);
        let mut fine = true;
        for (key, differs, what) in [
            (
                "daily",
                beyond || differ(course.daily_mg, told.daily_mg),
                "the dose of a whole day",
            ),
            ("for", differ(course.days, told.days), "the length of time"),
        ] {
            if let Some(place) = item.get(key).filter(|_| differs) {
                fine = false;
                let title = format!("{what} is not the one that stands with the name");
                let label = "another one stands with the name";
                self.wrong(Code::DosesDisagree, place, title, label)
                    .help("write it once, as it is");
            }
        }
        course.daily_mg = course.daily_mg.or(told.daily_mg);
        course.days = course.days.or(told.days);
        fine
    }

    /// Refuses a daily dose that nobody takes of this medicine.
    fn daily_plausible(
        &mut self,
        item: &Node,
        medicine: Idx<Medicine>,
        daily_mg: Option<f64>,
    ) -> bool {
        let medicine = &self.rule_set.medicines.medicines[medicine];
        let (Some((low, high)), Some(daily)) = (medicine.plausible_daily, daily_mg) else {
            return true;
        };
        if (low..=high).contains(&daily) {
            return true;
        }
        let place = item.get("daily").unwrap_or(item);
        let title = format!(
            "{} mg a day is not plausible for {}",
            tidy(daily, None),
            medicine.name
        );
        let (low, high) = (tidy(low, None), tidy(high, None));
        let help = format!(
            "anything from {low} to {high} mg a day is taken; check the number, its unit, and that it is for a whole day"
        );
        let label = "outside the plausible range";
        self.wrong(Code::Implausible, place, title, label)
            .help(help);
        false
    }

    pub(super) fn allergies(&mut self, node: &Node) -> Option<Fact> {
        let items = self.entries(node, "a list of allergies")?;
        let mut found = Vec::new();
        let mut complete = true;
        for item in items {
            let words = ("an allergy does not say to what", "the name of a substance");
            let known = ["to", "reaction"];
            let Some((place, text)) = self.entry_name(item, &known, words, &mut complete) else {
                complete = false;
                continue;
            };
            let word = item.get("reaction");
            let word = word.filter(|it| missing_word(it).is_none());
            let reaction = word.and_then(|it| self.reaction(it));
            complete &= word.is_none() || reaction.is_some();
            let register = &self.rule_set.allergens;
            let recognised = if self.suggests {
                recognise::substance(register, text)
            } else {
                recognise::known_substance(register, text)
                    .map_or(Recognised::Not { nearest: None }, Recognised::As)
            };
            let (substances, nearest) = match recognised {
                Recognised::As(bits) => (Some(bits), None),
                Recognised::Not { nearest } => {
                    (None, nearest.filter(|_| missing_word(place).is_none()))
                }
            };
            let details = reaction.map_or_else(String::new, |at| {
                format!(" ({})", self.rule_set.allergens.reactions[at].id)
            });
            found.push(AllergyEntry {
                text: text.to_owned(),
                details,
                substances,
                nearest,
                reaction,
                place: self.place(&place.span),
            });
        }
        let shown = joined_or_none(found.iter().map(AllergyEntry::shown), ", ");
        complete.then(|| self.known(Value::Allergies(found), shown, node))
    }

    /// The name of an entry, with its place: the whole entry, or what stands under the first of the known keys; `None` after a
    /// diagnostic. `words` say that it has none, and what is needed.
    fn entry_name<'n>(
        &mut self,
        item: &'n Node,
        known: &[&str],
        (missing, needed): (&str, &str),
        complete: &mut bool,
    ) -> Option<(&'n Node, &'n str)> {
        match &item.kind {
            NodeKind::Text(text) => Some((item, text)),
            NodeKind::Map(_) => {
                self.check_keys(item, known, complete);
                self.named(item, known, missing)
            }
            _ => {
                self.wrong_kind(item, needed);
                None
            }
        }
    }

    /// The text under the first of the known keys, by which an entry is named, after its node; `None` after a diagnostic.
    fn named<'n>(
        &mut self,
        item: &'n Node,
        known: &[&str],
        title: &str,
    ) -> Option<(&'n Node, &'n str)> {
        let key = *known.first()?;
        if let Some(named) = item.get(key).and_then(|name| Some((name, name.text()?))) {
            return Some(named);
        }
        match item.get(key) {
            Some(name) if name.kind != NodeKind::Null => {
                self.wrong_kind(name, &format!("a text as `{key}`"))
            }
            None if is_misspelt(item, known, key) => {}
            _ => {
                let label = format!("`{key}` is missing");
                self.wrong(Code::MissingKey, item, title, label)
                    .help(format!("add `{key}: ...`"));
            }
        }
        None
    }

    fn reaction(&mut self, word: &Node) -> Option<Idx<Reaction>> {
        let Some(written) = word.written(self.source).map(str::to_owned) else {
            self.wrong_kind(word, "one word as `reaction`");
            return None;
        };
        let found = self
            .rule_set
            .allergens
            .reactions
            .position(|it| it.id == written);
        if found.is_none() {
            let known: Vec<&str> = self
                .rule_set
                .allergens
                .reactions
                .iter()
                .map(|it| it.id.as_str())
                .chain(["unknown"])
                .collect();
            let help = nearest(&written, known.iter().copied()).map_or_else(
                || format!("one of {}", listed(&known)),
                |it| format!("did you mean `{it}`?"),
            );
            let title = format!("`{written}` is not a known reaction");
            self.wrong(Code::AnswerOption, word, title, "not an option")
                .help(help);
        }
        found
    }

    pub(super) fn plan(&mut self, node: &Node) -> Option<Fact> {
        let items = self.entries(node, "a list of local anaesthetics")?;
        let mut found = Vec::new();
        let mut complete = true;
        for item in items {
            if !matches!(item.kind, NodeKind::Map(_)) {
                complete = false;
                self.wrong_kind(item, "agent, strength and volume");
                continue;
            }
            self.check_keys(item, &PLAN_KEYS, &mut complete);
            let Some((at, agent)) =
                self.agent(item, &PLAN_KEYS, "a planned anaesthetic has no `agent`")
            else {
                complete = false;
                continue;
            };
            let percent = self.amount(
                item,
                "strength",
                Measure::Strength,
                "%",
                agent.strengths,
                &mut complete,
            );
            let volume_ml = self.amount(
                item,
                "volume",
                Measure::Volume,
                "mL",
                self.rule_set.volumes_ml,
                &mut complete,
            );
            found.push(PlannedAgent {
                agent: at,
                percent,
                volume_ml,
            });
        }
        let shown = plan_in_words(&self.rule_set.agents, &found);
        complete.then(|| self.known(Value::Plan(found), shown, node))
    }

    /// A solution that the clinic offers: agent and strength.
    pub(super) fn solution(&mut self, item: &Node) -> Option<(Idx<Agent>, f64)> {
        if !matches!(item.kind, NodeKind::Map(_)) {
            self.wrong_kind(item, "agent and strength");
            return None;
        }
        let mut complete = true;
        self.check_keys(item, &SOLUTION_KEYS, &mut complete);
        let (at, agent) = self.agent(
            item,
            &SOLUTION_KEYS,
            "an offered anaesthetic has no `agent`",
        )?;
        let percent = self.amount(
            item,
            "strength",
            Measure::Strength,
            "%",
            agent.strengths,
            &mut complete,
        );
        match percent {
            Some(percent) if complete => Some((at, percent)),
            None if complete => {
                // Written as `unknown`: a clinic knows what it has.
                let place = item.get("strength").unwrap_or(item);
                let title = "the strength of an offered anaesthetic must be known";
                self.wrong(Code::AnswerType, place, title, "not known")
                    .help("write the strength on the ampoule, such as `2 %`")
                    .none()
            }
            _ => None,
        }
    }

    /// The agent of an entry, with its position; `None` after a diagnostic.
    fn agent(
        &mut self,
        item: &Node,
        known: &[&str],
        title: &str,
    ) -> Option<(Idx<Agent>, &'a Agent)> {
        let (name_node, name) = self.named(item, known, title)?;
        let wanted = name.to_lowercase();
        let agents = &self.rule_set.agents;
        let found = agents
            .entries()
            .find(|(_, it)| it.id == wanted || it.also.contains(&wanted));
        if found.is_none() {
            let known: Vec<&str> = agents.iter().map(|it| it.id.as_str()).collect();
            let near =
                nearest(name, known.iter().copied()).map(|it| format!("did you mean `{it}`? "));
            let near = near.unwrap_or_else(|| format!("the agents are {}. ", listed(&known)));
            let help =
                format!("{near}If the agent is not decided yet, write `anaesthetic: unknown`");
            let title = format!("`{name}` is not a local anaesthetic of the rule set");
            let label = "not in anaesthetics.yaml";
            self.wrong(Code::UnknownAgent, name_node, title, label)
                .help(help);
        }
        found
    }

    /// Strength or volume of a planned agent: `None` if missing, or after a diagnostic.
    fn amount(
        &mut self,
        item: &Node,
        key: &str,
        measure: Measure,
        unit: &'static str,
        range: (f64, f64),
        complete: &mut bool,
    ) -> Option<f64> {
        let Some(node) = item.get(key) else {
            *complete = false;
            if is_misspelt(item, &PLAN_KEYS, key) {
                return None;
            }
            let title = format!("a planned anaesthetic has no `{key}`");
            let label = format!("`{key}` is missing");
            return self
                .wrong(Code::MissingKey, item, title, label)
                .help(format!("add `{key}: ... {unit}`, or `{key}: unknown`"))
                .none();
        };
        if missing_word(node).is_some() {
            return None;
        }
        // Told even if something else of the entry is wrong already: all slips come in one run.
        let value = self.amount_in(node, key, measure, unit, range);
        *complete &= value.is_some();
        value
    }

    /// The amount at a node in a unit; `None` after a diagnostic.
    fn amount_in(
        &mut self,
        node: &Node,
        key: &str,
        measure: Measure,
        unit: &'static str,
        (least, most): (f64, f64),
    ) -> Option<f64> {
        let text = match &node.kind {
            NodeKind::Text(text) => text.as_str(),
            NodeKind::Number(_) => {
                self.needs_unit(node, key, measure.units());
                return None;
            }
            _ => {
                self.wrong_kind(node, &format!("a number with its unit as `{key}`"));
                return None;
            }
        };
        let parts = match read_quantity(text) {
            Ok(parts) => parts,
            Err(error) => {
                self.unreadable(node, &error);
                return None;
            }
        };
        let [part] = parts.as_slice() else {
            self.wrong_kind(node, "one number with one unit");
            return None;
        };
        let Some(written) = &part.unit else {
            self.needs_unit(node, key, measure.units());
            return None;
        };
        let known = measure.unit(written);
        let Some(value) = known.and_then(|it| measure.convert(part.number, it, unit)) else {
            let title = format!("`{written}` is not a unit of {}", measure.name());
            return self
                .wrong(Code::AnswerUnit, node, title, "wrong unit")
                .help(format!("use {}", listed(measure.units())))
                .none();
        };
        if (least..=most).contains(&value) {
            return Some(value);
        }
        let title = format!("{} {unit} is not plausible as `{key}`", tidy(value, None));
        let label = "outside the plausible range";
        let (least, most) = (tidy(least, None), tidy(most, None));
        let help = format!(
            "anything from {least} to {most} {unit} is taken; a decimal point in the wrong place is common"
        );
        self.wrong(Code::Implausible, node, title, label)
            .help(help)
            .none()
    }
}
