//! One answer as a form holds it: what stands in a file, what a browser sends, and what that says.
//!
//! What a person left as the page showed it is never written: each field carries what it showed. So an answer that somebody else
//! gave meanwhile is not taken back by a page that was older.

use chrono::NaiveDate;

use crate::desk::pages::interview::typed;
use crate::desk::visit::Fields;
use crate::document::diagnostic::Diagnostic;
use crate::document::source::{Node, NodeKind, Source};
use crate::quantity::read_number;
use crate::questionnaire::edit::Entered;
use crate::questionnaire::facts::Given;
use crate::rule_set::{Answer, Idx, Question, RuleSet};

/// Values of the radio buttons that are no options. No option begins so.
pub(crate) const NOT_KNOWN: &str = "?";
/// Asked, and not answered.
pub(crate) const DECLINED: &str = "?declined";
/// Asked, and none of the options.
pub(crate) const NONE: &str = "?none";
/// The options that are ticked, or the lines that are written.
pub(crate) const SOME: &str = "?some";
/// Not asked after all.
pub(crate) const TAKEN_BACK: &str = "?nothing";

/// Most letters of a field or a line: as many as the page lets anybody type.
pub(crate) const LONGEST: usize = 2000;

/// An answer as it stands in a form.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Raw {
    /// The radio button: one of the values above, an option, or a solution that the clinic offers.
    pub(crate) choice: String,
    /// The boxes that are ticked.
    pub(crate) options: Vec<String>,
    /// What was typed; of a list, a line for each entry.
    pub(crate) text: String,
    /// What was typed beside it: the day of a result, the volume of a solution.
    pub(crate) beside: String,
}

impl Raw {
    /// What stands in a file. A plan of one of the solutions offered is a choice.
    pub(crate) fn stored(question: &Question, given: Option<&Given>, offered: &[String]) -> Self {
        let Some(given) = given else {
            return Self::default();
        };
        let source = &given.source;
        let (value, taken_on) = match (question.dated, &given.node.kind) {
            (true, NodeKind::Map(_)) => (given.node.get("value"), given.node.get("taken_on")),
            _ => (Some(&given.node), None),
        };
        let mut raw = Self {
            beside: taken_on.map_or_else(String::new, |it| typed_for(it, source)),
            ..Self::default()
        };
        let Some(value) = value else { return raw };
        let written = value.written(source).map(str::trim);
        match (&question.answer, written) {
            (_, None) if matches!(value.kind, NodeKind::Null) => {}
            (Answer::YesNo | Answer::OneOf(_), _) => raw.choice = chosen(value, source),
            (Answer::SeveralOf(_), Some(_)) => raw.choice = chosen(value, source),
            (Answer::SeveralOf(_), None) if value.items().is_empty() => raw.choice = NONE.into(),
            (Answer::SeveralOf(_), None) => {
                raw.choice = SOME.into();
                let items = value.items().iter();
                raw.options = items
                    .filter_map(|it| Some(it.written(source)?.to_owned()))
                    .collect();
            }
            (Answer::Medicines | Answer::Allergies | Answer::Anaesthetic, None) => {
                let lines: Vec<String> = value.items().iter().map(|it| line(it, source)).collect();
                raw.text = if lines.is_empty() {
                    "none".into()
                } else {
                    lines.join("\n")
                };
            }
            _ => raw.text = typed_for(value, source),
        }
        if !offered.is_empty() && !raw.text.is_empty() {
            raw.choose(offered);
        }
        raw
    }

    /// A plan as a choice among the solutions offered.
    fn choose(&mut self, offered: &[String]) {
        let solution = offered.iter().find_map(|it| {
            let volume = self.text.strip_prefix(it.as_str())?.strip_prefix(' ')?;
            (!volume.contains('\n')).then(|| (it.clone(), volume.to_owned()))
        });
        match (self.text.as_str(), solution) {
            (_, Some((choice, volume))) => {
                *self = Self {
                    choice,
                    beside: volume,
                    ..Self::default()
                };
            }
            ("?", _) => {
                self.choice = NOT_KNOWN.into();
                self.text.clear();
            }
            _ => self.choice = SOME.into(),
        }
    }

    /// What a browser sent for a question.
    fn sent(question: &Question, form: &Fields) -> Self {
        let named = |kind: &str| format!("{kind}.{}", question.id);
        let one = |kind: &str| form.trimmed(&named(kind)).replace("\r\n", "\n");
        let written = named("t");
        let lines = form.all(&written).flat_map(str::lines).map(str::trim);
        let mut lines: Vec<String> = lines
            .filter(|it| !it.is_empty())
            .map(str::to_owned)
            .collect();
        // A name that nobody recognised, and the known one that was ticked to stand in its place.
        for pair in form.all(&named("k")) {
            let pair = pair.replace("\r\n", "\n");
            let Some((name, nearest)) = pair.split_once('\n') else {
                continue;
            };
            if let Some(line) = lines.iter_mut().find(|it| it.starts_with(name)) {
                *line = line.replacen(name, nearest, 1);
            }
        }
        Self {
            choice: one("a"),
            options: form.all(&named("o")).map(str::to_owned).collect(),
            text: lines.join("\n"),
            beside: one("d"),
        }
    }

    /// One text for all of it, to be carried by the form.
    pub(crate) fn packed(&self) -> String {
        [
            &self.choice,
            &self.options.join(","),
            &self.beside,
            &self.text,
        ]
        .map(String::as_str)
        .join("\n")
    }

    pub(crate) fn is_blank(&self) -> bool {
        *self == Self::default()
    }

    /// The answer that it is.
    ///
    /// # Errors
    /// What contradicts itself.
    pub(crate) fn entered(&self, question: &Question, today: NaiveDate) -> Result<Entered, Slip> {
        let mut typed = self.text.lines().chain([self.beside.as_str()]);
        if typed.any(|it| it.chars().count() > LONGEST) {
            return Err(Slip {
                title: format!("more than {LONGEST} letters"),
                help: "write what was asked, and the rest into the note".into(),
            });
        }
        match (self.choice.as_str(), &question.answer) {
            (NOT_KNOWN, _) => return Ok(Entered::NotKnown),
            (DECLINED, _) => return Ok(Entered::Declined),
            (TAKEN_BACK, _) => return Ok(Entered::Nothing),
            (NONE, _) if !self.options.is_empty() => {
                return Err(Slip {
                    title: "none of these, and some of them".into(),
                    help: "take the ticks away, or choose \"these\"".into(),
                });
            }
            (NONE, _) => return Ok(Entered::NoneOfThese),
            ("" | SOME, Answer::Anaesthetic) => {}
            (_, Answer::Anaesthetic) if !self.text.is_empty() => {
                return Err(Slip {
                    title: "a solution is chosen, and lines are written as well".into(),
                    help: "choose \"written out\", or take the lines away".into(),
                });
            }
            (solution, Answer::Anaesthetic) => {
                let volume = match self.beside.as_str() {
                    "?" => "unknown".to_owned(),
                    alone if read_number(alone).is_ok() => format!("{alone} mL"),
                    written => written.to_owned(),
                };
                return Ok(Entered::Entries(lines(
                    question,
                    &format!("{solution} {volume}"),
                )));
            }
            (SOME, _) if self.options.is_empty() => {
                return Err(Slip {
                    title: "\"these\" was chosen, and none is ticked".into(),
                    help: "tick what is so, or choose \"none of these\"".into(),
                });
            }
            (_, Answer::SeveralOf(_)) if !self.options.is_empty() => {
                return Ok(Entered::Options(self.options.clone()));
            }
            ("", Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_)) => {
                return Ok(Entered::Nothing);
            }
            (choice, Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_)) => {
                return Ok(Entered::Options(vec![choice.to_owned()]));
            }
            _ => {}
        }
        Ok(self.written(question, today))
    }

    fn written(&self, question: &Question, today: NaiveDate) -> Entered {
        let text = self.text.as_str();
        let is_list = matches!(
            question.answer,
            Answer::Medicines | Answer::Allergies | Answer::Anaesthetic
        );
        let in_full = || match question.answer {
            Answer::Date => typed::day(text, today, question.past),
            _ => typed::with_unit(question, text),
        };
        match text {
            "" if self.beside.is_empty() => Entered::Nothing,
            "?" if self.beside.is_empty() || self.beside == "?" => Entered::NotKnown,
            "none" | "0" | "[]" if is_list => Entered::NoneOfThese,
            "declined" => Entered::Declined,
            _ if is_list => Entered::Entries(lines(question, text)),
            _ if question.dated => Entered::Dated {
                value: Box::new(Entered::Typed(if text == "?" {
                    "unknown".into()
                } else {
                    in_full()
                })),
                taken_on: match self.beside.as_str() {
                    // Only `?` says that the day is not known: a blank is a slip.
                    "?" => "unknown".into(),
                    written => typed::day(written, today, true),
                },
            },
            _ => Entered::Typed(in_full()),
        }
    }
}

fn chosen(value: &Node, source: &Source) -> String {
    match (&value.kind, value.written(source)) {
        (NodeKind::Bool(true), _) => "yes".into(),
        (NodeKind::Bool(false), _) => "no".into(),
        (_, Some("unknown")) => NOT_KNOWN.into(),
        (_, Some("declined")) => DECLINED.into(),
        (_, written) => written.map_or_else(String::new, str::to_owned),
    }
}

fn typed_for(value: &Node, source: &Source) -> String {
    match value.written(source).map(str::trim) {
        Some("unknown") => "?".into(),
        Some(written) => written.to_owned(),
        None => source.slice(&value.span).trim().to_owned(),
    }
}

/// An entry of a list in a line, as it may be typed.
fn line(item: &Node, source: &Source) -> String {
    if let Some(written) = item.written(source) {
        return written.trim().to_owned();
    }
    let of = |key: &str| item.get(key).map(|it| typed_for(it, source));
    if let Some(to) = of("to") {
        return of("reaction").map_or_else(|| to.clone(), |it| format!("{to}: {it}"));
    }
    if let Some(agent) = of("agent") {
        let rest = [of("strength"), of("volume")];
        let words = [Some(agent)].into_iter().chain(rest).flatten();
        return words.collect::<Vec<String>>().join(" ");
    }
    let daily = of("daily").map(|it| format!("{it} daily"));
    let course = of("for").map(|it| format!("for {it}"));
    let words = [of("name"), daily, course].into_iter().flatten();
    words.collect::<Vec<String>>().join(" ")
}

/// Something that is not understood, in the words of a diagnostic.
#[derive(Debug, Clone)]
pub(crate) struct Slip {
    /// What is wrong.
    pub(crate) title: String,
    /// What to do.
    pub(crate) help: String,
}

impl Slip {
    /// Each diagnostic as one.
    pub(crate) fn all(found: Vec<Diagnostic>) -> Vec<Self> {
        let slip = |it: Diagnostic| Self {
            title: it.title,
            help: it.help,
        };
        found.into_iter().map(slip).collect()
    }
}

/// What a browser sent for one question of a page.
pub(crate) struct Sent {
    /// The question.
    pub(crate) question: Idx<Question>,
    /// What stands in its field.
    pub(crate) raw: Raw,
    was: String,
}

impl Sent {
    /// Each question that stood on the page, in order.
    pub(crate) fn all(rule_set: &RuleSet, form: &Fields) -> Vec<Self> {
        let sent = |(at, question): (Idx<Question>, &Question)| {
            let was = form.get(&format!("was.{}", question.id))?;
            Some(Self {
                question: at,
                raw: Raw::sent(question, form),
                was: was.replace("\r\n", "\n"),
            })
        };
        let questions = rule_set.catalogue.questions.entries();
        questions.filter_map(sent).collect()
    }

    /// Whether the person left it as the page showed it.
    pub(crate) fn is_untouched(&self) -> bool {
        self.raw.packed() == self.was
    }

    /// Answers no, or none of these, if the page showed it blank and it is left so.
    pub(crate) fn no_if_blank(&mut self, question: &Question) {
        if !self.raw.is_blank() || !self.is_untouched() {
            return;
        }
        match question.answer {
            Answer::YesNo => self.raw.choice = "no".into(),
            Answer::SeveralOf(_) => self.raw.choice = NONE.into(),
            _ => {}
        }
    }
}

/// Each line as an entry of a list.
fn lines(question: &Question, text: &str) -> Vec<Vec<(String, String)>> {
    let pair = |key: &str, text: &str| (key.to_owned(), text.trim().to_owned());
    let entry = |line: &str| match question.answer {
        Answer::Allergies => match line.split_once(':') {
            Some((to, reaction)) => vec![pair("to", to), pair("reaction", reaction)],
            None => vec![pair("to", line)],
        },
        Answer::Anaesthetic => {
            let digits = line
                .find(|it: char| it.is_ascii_digit())
                .unwrap_or(line.len());
            let (agent, rest) = line.split_at(digits);
            let (strength, volume) = match rest.split_once('%') {
                Some((strength, volume)) => (format!("{} %", strength.trim()), volume),
                None => (rest.to_owned(), ""),
            };
            let parts = [
                pair("agent", agent),
                pair("strength", &strength),
                pair("volume", volume),
            ];
            parts.into_iter().filter(|(_, it)| !it.is_empty()).collect()
        }
        _ => vec![pair("name", line)],
    };
    let lines = text.lines().map(str::trim).filter(|it| !it.is_empty());
    lines.map(entry).collect()
}
