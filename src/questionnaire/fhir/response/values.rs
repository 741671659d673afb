//! What each answer of a response says, as it would stand in a questionnaire's file.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use crate::document::diagnostic::{Code, listed};
use crate::document::reading::Tells;
use crate::document::source::{MapEntry, Node, NodeKind};
use crate::quantity::Measure;
use crate::questionnaire::facts::{Given, dated};
use crate::questionnaire::fhir::links::ItemKind;
use crate::questionnaire::fhir::response::{
    Coded, DAY, Elements, ItemAnswer, QUANTITY, Reader, is_part_of_a_date, key_of,
};
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, NOT_KNOWN, UCUM, codes, is_timed, system, system_of, taken_on_id, value_id,
    value_of_number,
};
use crate::rule_set::{Answer, Question};

/// An item within an answer.
const DETAIL: Elements = Elements {
    read: &["linkId", "answer"],
    passed_over: &["id", "definition", "text"],
};
/// Signs before a number that make it a bound.
const COMPARATORS: [&str; 4] = ["<", "<=", ">=", ">"];

impl<'a> Reader<'a> {
    /// The answer to a question, as it would stand in a questionnaire's file.
    pub(super) fn question(&mut self, question: &Question) -> Option<Given> {
        let value = self.part(question, &value_id(question), false);
        let day = if question.dated {
            self.part(question, &taken_on_id(question), true)
        } else {
            None
        };
        let key_span = value.as_ref().or(day.as_ref())?.0.clone();
        let [value, day] = [value, day].map(|part| part.map(|(_, node)| node));
        let node = if question.dated {
            dated(&key_span, value, day)?
        } else {
            value?
        };
        Some(Given {
            source: Arc::clone(self.source),
            key_span,
            node,
            standing: false,
        })
    }

    /// The item of an answer, or the one beside it that says why there is none.
    fn part(
        &mut self,
        question: &Question,
        link: &str,
        is_day: bool,
    ) -> Option<(Range<usize>, Node)> {
        let answer = self.items.get(link).copied();
        let absent = self.items.get(&format!("{link}.absent")).copied();
        let read = answer.and_then(|item| {
            let key = key_of(item);
            let answers = self.answers(item);
            let node = self.value(question, link, is_day, &answers)?;
            Some((key, node))
        });
        let said = absent.and_then(|item| {
            let word = self.absent_word(item)?;
            Some((key_of(item), word))
        });
        match (read, said) {
            (Some(_), Some((key, _))) => {
                let title = format!("`{link}` is answered, and said to have no answer");
                self.wrong(Code::NotTogether, &key, title, "beside an answer")
                    .help("keep the one that is so")
                    .none()
            }
            (read, said) => read.or(said),
        }
    }

    /// The word for why there is no answer, at its place.
    fn absent_word(&mut self, item: &'a Node) -> Option<Node> {
        let only = self.detail(item)?;
        let coding = self.typed(&only, "valueCoding")?;
        match self.coding(coding, ABSENT, &[])? {
            Coded::Absent(word) => Some(Node::of_text(coding, word)),
            Coded::Own(_) | Coded::None => {
                let title = "the form does not have that reason";
                self.wrong(Code::AnswerOption, coding, title, "not an option")
                    .help(format!("`{NOT_KNOWN}` or `{DECLINED}`"))
                    .none()
            }
        }
    }

    /// The one answer of an item that takes one.
    fn only<'r>(&mut self, answers: &'r [ItemAnswer<'a>]) -> Option<&'r ItemAnswer<'a>> {
        if let Some(second) = answers.get(1) {
            let title = "the question takes one answer";
            return self
                .wrong(Code::NotTogether, &second.span, title, "a second answer")
                .help("keep the one that counts")
                .none();
        }
        answers.first()
    }

    /// The one answer of an item that has none within it.
    fn detail(&mut self, item: &'a Node) -> Option<ItemAnswer<'a>> {
        let mut answers = self.answers(item);
        for answer in &answers {
            self.within(answer, "", &[]);
        }
        self.only(&answers)?;
        answers.pop()
    }

    fn value(
        &mut self,
        question: &Question,
        link: &str,
        is_day: bool,
        answers: &[ItemAnswer<'a>],
    ) -> Option<Node> {
        if question.is_list() && !is_day {
            return self.list(question, link, answers);
        }
        let help = question.help.as_ref().filter(|_| !is_day).map(|_| "help");
        let only = self.only(answers)?;
        let may_have_time = is_day || is_timed(question);
        let is_day = is_day || matches!(question.answer, Answer::Date);
        let time = (is_day && may_have_time).then_some("time");
        let children: Vec<&str> = help.into_iter().chain(time).collect();
        let within = self.within(only, link, &children);
        if is_day {
            return self.day(question, only, within.get("time").copied());
        }
        match &question.answer {
            Answer::Number { whole } => self.typed(only, value_of_number(*whole)).cloned(),
            Answer::Quantity { measure, .. } => self.quantity(question, *measure, only),
            Answer::Text => self.typed(only, "valueString").cloned(),
            _ => {
                let coding = self.typed(only, "valueCoding")?;
                let own = system_of(self.canonical, question);
                match self.coding(coding, &own, &codes(self.rule_set, question))? {
                    Coded::Own(code) => Some(code.clone()),
                    Coded::Absent(word) => Some(Node::of_text(coding, word)),
                    Coded::None => {
                        let title = format!("`{}` has no option for none", question.id);
                        self.wrong(Code::AnswerOption, coding, title, "not an option")
                            .help("take one of the form's options")
                            .none()
                    }
                }
            }
        }
    }

    /// A list of options or names. None of them, not known and declined stand alone.
    fn list(
        &mut self,
        question: &Question,
        link: &str,
        answers: &[ItemAnswer<'a>],
    ) -> Option<Node> {
        let own = system_of(self.canonical, question);
        let codes = codes(self.rule_set, question);
        let is_open = matches!(question.answer, Answer::Medicines | Answer::Allergies);
        let span = answers.first()?.span.start..answers.last()?.span.end;
        let mut items = Vec::new();
        let mut alone: Option<(Range<usize>, Option<&'static str>)> = None;
        let mut complete = true;
        for answer in answers {
            let name = if is_open && answer.value.key == "valueString" {
                self.typed(answer, "valueString").cloned()
            } else {
                let coding = self.typed(answer, "valueCoding");
                match coding.and_then(|it| self.coding(it, &own, &codes)) {
                    Some(Coded::Own(code)) => Some(code.clone()),
                    Some(said) => {
                        let word = match said {
                            Coded::Absent(word) => Some(word),
                            Coded::Own(_) | Coded::None => None,
                        };
                        self.within(answer, link, &["help"]);
                        alone = Some((answer.span.clone(), word));
                        continue;
                    }
                    None => None,
                }
            };
            match name.and_then(|name| self.list_entry(question, link, answer, name)) {
                Some(item) => items.push(item),
                None => complete = false,
            }
        }
        if let Some((span, word)) = alone {
            if answers.len() > 1 {
                let title = format!("`{}` has this beside another answer", question.id);
                return self
                    .wrong(Code::NotTogether, &span, title, "cannot both be so")
                    .help("keep it, or the answers beside it")
                    .none();
            }
            return Some(match word {
                Some(word) => Node::of_text(&span, word),
                None => Node::new(&span, NodeKind::List(Vec::new())),
            });
        }
        complete.then(|| Node::new(&span, NodeKind::List(items)))
    }

    /// One entry of a list with its details.
    fn list_entry(
        &mut self,
        question: &Question,
        link: &str,
        answer: &ItemAnswer<'a>,
        name: Node,
    ) -> Option<Node> {
        let details: &[&str] = match question.answer {
            Answer::Medicines => &["daily", "for"],
            Answer::Allergies => &["reaction"],
            Answer::Anaesthetic => &["strength", "volume"],
            _ => &[],
        };
        let help = question.help.as_ref().map(|_| "help");
        let children: Vec<&str> = details.iter().copied().chain(help).collect();
        let within = self.within(answer, link, &children);
        let is_plan = matches!(question.answer, Answer::Anaesthetic);
        let name_key = match question.answer {
            Answer::Allergies => "to",
            Answer::Anaesthetic => "agent",
            _ => "name",
        };
        let key = name.span.clone();
        let mut entries = vec![MapEntry::new(name_key, &key, name.clone())];
        for detail in details {
            let Some(item) = within.get(detail).copied() else {
                if is_plan {
                    entries.push(MapEntry::new(detail, &key, Node::new(&key, NodeKind::Null)));
                }
                continue;
            };
            let only = self.detail(item)?;
            let node = match *detail {
                "strength" => self.quantity(question, Measure::Strength, &only),
                "volume" => self.quantity(question, Measure::Volume, &only),
                "reaction" => {
                    let coding = self.typed(&only, "valueCoding")?;
                    let reactions = self.rule_set.allergens.reactions.iter();
                    let codes: Vec<(&str, &str)> = reactions
                        .map(|it| (it.id.as_str(), it.text.as_str()))
                        .collect();
                    match self.coding(coding, &system(self.canonical, "reactions"), &codes)? {
                        Coded::Own(code) => Some(code.clone()),
                        Coded::Absent(word) => Some(Node::of_text(coding, word)),
                        Coded::None => {
                            let title = "the form has no reaction for none";
                            self.wrong(Code::AnswerOption, coding, title, "not an option")
                                .help("take one of the form's options")
                                .none()
                        }
                    }
                }
                _ => self.typed(&only, "valueString").cloned(),
            };
            entries.push(MapEntry::new(detail, &key_of(item), node?));
        }
        if entries.len() == 1 {
            return Some(name);
        }
        Some(Node::new(&answer.span, NodeKind::Map(entries)))
    }

    /// The items within an answer that have answers themselves, by the last part of their link id.
    fn within<'k>(
        &mut self,
        answer: &ItemAnswer<'a>,
        link: &str,
        known: &[&'k str],
    ) -> BTreeMap<&'k str, &'a Node> {
        let mut found = BTreeMap::new();
        for item in answer.within {
            self.elements(item, &DETAIL);
            let written = item.get("linkId").map_or("", |it| it.shown(self.source));
            let span = key_of(item);
            let part = known.iter().find(|it| written == format!("{link}.{it}"));
            let is_answered = item.entry("answer").is_some();
            match part {
                Some(&"help") if is_answered => {
                    let title = format!("`{written}` is no question");
                    self.wrong(Code::WrongType, &span, title, "an answer to no question")
                        .help("move the answer to the item of its question");
                }
                Some(part) if found.contains_key(part) => {
                    let title = format!("`{written}` is answered twice");
                    self.wrong(Code::DuplicateKey, &span, title, "a second time")
                        .help("keep one of the two");
                }
                Some(part) if is_answered => {
                    found.insert(*part, item);
                }
                Some(_) => {}
                None => {
                    let title = format!("the form has no item `{written}` within this answer");
                    let label = "not an item of the form";
                    self.wrong(Code::UnknownQuestion, &span, title, label)
                        .help("move it to where the form has it");
                }
            }
        }
        found
    }

    /// A number with its unit. What is only a bound is not known, and told.
    fn quantity(
        &mut self,
        question: &Question,
        measure: Measure,
        answer: &ItemAnswer<'a>,
    ) -> Option<Node> {
        let quantity = self.typed(answer, "valueQuantity")?;
        self.elements(quantity, &QUANTITY);
        let number = quantity
            .get("value")
            .filter(|it| matches!(it.kind, NodeKind::Number(_)));
        let Some(number) = number else {
            let span = quantity.get("value").map_or(&quantity.span, |it| &it.span);
            let title = "the quantity has no number";
            return self
                .wrong(Code::NotANumber, span, title, "not a number")
                .help("write `\"value\": 81`, without quotes")
                .none();
        };
        let number = number.shown(self.source);
        let of = quantity.get("system").and_then(Node::text);
        let code = quantity.get("code");
        let unit = code.and_then(Node::text).and_then(|it| measure.of_ucum(it));
        let (Some(UCUM), Some(unit)) = (of, unit) else {
            let span = code.map_or_else(|| quantity.span.clone(), |it| it.span.clone());
            let codes: Vec<&str> = measure.units().iter().map(|it| measure.ucum(it)).collect();
            let title = "the quantity has no unit that is known here";
            let help = format!(
                "`\"system\": \"{UCUM}\"` with a `code` of {}; the `unit` is for people and never read",
                listed(&codes)
            );
            return self
                .wrong(Code::AnswerUnit, &span, title, "not a known code of UCUM")
                .help(help)
                .none();
        };
        let shown = quantity.get("unit");
        let in_words = shown.and_then(Node::text);
        let other = in_words.and_then(|it| measure.unit(it).or_else(|| measure.of_ucum(it)));
        if let Some((shown, other)) = shown.zip(other)
            && other != unit
        {
            let title = format!("the code is of {unit}, and {other} is shown");
            return self
                .wrong(Code::NotTogether, shown, title, "another unit")
                .help("find out which of the two is so")
                .none();
        }
        let Some(comparator) = quantity.get("comparator") else {
            return Some(Node::of_text(quantity, &format!("{number} {unit}")));
        };
        let sign = comparator.shown(self.source);
        if !COMPARATORS.contains(&sign) {
            let title = "the comparator is none of the standard's";
            return self
                .wrong(Code::NotAnOption, comparator, title, "not a comparator")
                .help(format!("one of {}", listed(&COMPARATORS)))
                .none();
        }
        let words = format!(
            "{} {sign} {number} {unit}: a bound and no measured value, so it counts as not known.",
            question.ask
        );
        self.tell(&section_of(question), words, &quantity.span);
        Some(Node::of_text(quantity, "unknown"))
    }

    /// A day, with its time if one is told. Part of a date is not known, and told.
    fn day(
        &mut self,
        question: &Question,
        answer: &ItemAnswer<'a>,
        time: Option<&'a Node>,
    ) -> Option<Node> {
        let minutes = match time {
            Some(item) => Some(self.minutes(item)?),
            None => None,
        };
        let at = minutes.map_or_else(String::new, |it| format!(" {it}"));
        let node = self.typed(answer, "valueDate")?;
        let day = node.shown(self.source);
        if is_part_of_a_date(day) {
            let words = format!(
                "{} {day}{at}: a part of a date, so it counts as not known.",
                question.ask
            );
            self.tell(&section_of(question), words, &node.span);
            return Some(Node::of_text(node, "unknown"));
        }
        // Whatever else could stand for a day in a questionnaire's file is none of the standard's.
        let is_day = |it: u8| it.is_ascii_digit() || it == b'-';
        if day.len() != DAY || !day.bytes().all(is_day) {
            let title = "the answer is not a day";
            let help = "write year, month and day as `2026-11-24`; a time stands in the item within, if the form has one";
            return self
                .wrong(Code::NotADate, node, title, "not a date of the standard")
                .help(help)
                .none();
        }
        Some(Node::of_text(node, &format!("{day}{at}")))
    }

    /// A time of day to the minute, as everywhere here; the standard demands seconds, and they are left out.
    fn minutes(&mut self, item: &'a Node) -> Option<&'a str> {
        let only = self.detail(item)?;
        let node = self.typed(&only, "valueTime")?;
        let is_number = |it: &str| !it.is_empty() && it.bytes().all(|byte| byte.is_ascii_digit());
        let minutes = node.text().and_then(|it| {
            let (minutes, seconds) = it.split_at_checked(5)?;
            let seconds = seconds.strip_prefix(':')?;
            let (whole, part) = seconds.split_once('.').unwrap_or((seconds, "0"));
            let is_second = whole.len() == 2 && is_number(whole) && whole <= "60";
            (is_second && is_number(part)).then_some(minutes)
        });
        if minutes.is_none() {
            let title = "the answer is not a time of day";
            self.wrong(Code::NotADate, node, title, "not a time of the standard")
                .help("write hours, minutes and seconds as `09:30:00`");
        }
        minutes
    }

    /// The notes of the form.
    pub(super) fn noted(&mut self) {
        let notes: Vec<(String, &'a Node)> = self
            .items
            .iter()
            .filter(|(id, _)| {
                self.links
                    .get(*id)
                    .is_some_and(|it| it.kind == ItemKind::Note)
            })
            .map(|(id, item)| (id.clone(), *item))
            .collect();
        for (id, item) in notes {
            let section = id.strip_suffix(".note").unwrap_or("").to_owned();
            for answer in self.answers(item) {
                self.within(&answer, "", &[]);
                if let Some(node) = self.typed(&answer, "valueString") {
                    let words = node.shown(self.source).trim_end().to_owned();
                    self.tell(&section, words, &node.span);
                }
            }
        }
    }
}

/// The section of a question, by its id.
fn section_of(question: &Question) -> String {
    let section = question.id.split_once('.');
    section.map_or_else(String::new, |(section, _)| section.to_owned())
}
