//! One question on a page: drawn as a form, read from what a browser sends, and back.
//!
//! What a person left as the page showed it is never written: each field carries what it showed. So an answer that somebody else
//! gave meanwhile is not taken back by a page that was older.

use maud::{Markup, html};

use crate::desk::page::hidden;
use crate::desk::visit::{Fields, capital};
use crate::document::diagnostic::Diagnostic;
use crate::document::source::{Node, NodeKind, Source};
use crate::questionnaire::edit;
use crate::questionnaire::edit::Entered;
use crate::questionnaire::facts::Given;
use crate::rule_set::{Answer, Choice, Idx, Question, RuleSet, Section};

use chrono::NaiveDate;

/// Values of the radio buttons that are no options. No option begins so.
const NOT_KNOWN: &str = "?";
const DECLINED: &str = "?declined";
const NONE: &str = "?none";
const SOME: &str = "?some";
const TAKEN_BACK: &str = "?nothing";

/// An answer as it stands in a form.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Raw {
    /// The radio button.
    choice: String,
    /// The boxes that are ticked.
    options: Vec<String>,
    /// What was typed.
    text: String,
    /// The day that was typed beside it.
    taken_on: String,
}

impl Raw {
    /// What stands in a file.
    fn stored(question: &Question, given: Option<&Given>) -> Self {
        let Some(given) = given else {
            return Self::default();
        };
        let source = &given.source;
        let (value, taken_on) = match (question.dated, &given.node.kind) {
            (true, NodeKind::Map(_)) => (given.node.get("value"), given.node.get("taken_on")),
            _ => (Some(&given.node), None),
        };
        let mut raw = Self {
            taken_on: taken_on.map_or_else(String::new, |it| typed_for(it, source)),
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
        raw
    }

    /// What a browser sent for a question.
    fn sent(question: &Question, form: &Fields) -> Self {
        let named = |kind: &str| format!("{kind}.{}", question.name());
        let text = |kind: &str| form.trimmed(&named(kind)).replace("\r\n", "\n");
        Self {
            choice: text("a"),
            options: form.all(&named("o")).map(str::to_owned).collect(),
            text: text("t"),
            taken_on: text("d"),
        }
    }

    /// One text for all of it, to be carried by the form.
    fn packed(&self) -> String {
        [
            &self.choice,
            &self.options.join(","),
            &self.taken_on,
            &self.text,
        ]
        .map(String::as_str)
        .join("\n")
    }

    fn is_blank(&self) -> bool {
        *self == Self::default()
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

/// What a browser sent for the questions of a section.
pub(crate) struct Answers {
    /// Each question that stood on its page, in order.
    pub(crate) answers: Vec<Sent>,
}

/// What a browser sent for one question.
pub(crate) struct Sent {
    /// The question.
    pub(crate) question: Idx<Question>,
    raw: Raw,
    was: String,
}

impl Answers {
    /// Of the questions that the page showed.
    pub(crate) fn of(rule_set: &RuleSet, section: Idx<Section>, form: &Fields) -> Self {
        let of_section = rule_set
            .catalogue
            .questions
            .entries()
            .filter(|(_, it)| it.section == section);
        let sent = |(at, question): (Idx<Question>, &Question)| {
            let was = form.get(&format!("was.{}", question.name()))?;
            Some(Sent {
                question: at,
                raw: Raw::sent(question, form),
                was: was.replace("\r\n", "\n"),
            })
        };
        Self {
            answers: of_section.filter_map(sent).collect(),
        }
    }
}

impl Sent {
    /// Whether the person left it as the page showed it.
    pub(crate) fn is_untouched(&self) -> bool {
        self.raw.packed() == self.was
    }

    /// The answer that was given.
    ///
    /// # Errors
    /// What contradicts itself.
    pub(crate) fn entered(&self, question: &Question) -> Result<Entered, Slip> {
        entered(question, &self.raw)
    }
}

fn entered(question: &Question, raw: &Raw) -> Result<Entered, Slip> {
    match (raw.choice.as_str(), &question.answer) {
        (NOT_KNOWN, _) => return Ok(Entered::NotKnown),
        (DECLINED, _) => return Ok(Entered::Declined),
        (TAKEN_BACK, _) => return Ok(Entered::Nothing),
        (NONE, _) if !raw.options.is_empty() => {
            return Err(Slip {
                title: "none of these, and some of them".into(),
                help: "take the ticks away, or choose \"these\"".into(),
            });
        }
        (NONE, _) => return Ok(Entered::NoneOfThese),
        (SOME, _) if raw.options.is_empty() => {
            return Err(Slip {
                title: "\"these\" was chosen, and none is ticked".into(),
                help: "tick what is so, or choose \"none of these\"".into(),
            });
        }
        (_, Answer::SeveralOf(_)) if !raw.options.is_empty() => {
            return Ok(Entered::Options(raw.options.clone()));
        }
        ("", Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_)) => {
            return Ok(Entered::Nothing);
        }
        (choice, Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_)) => {
            return Ok(Entered::Options(vec![choice.to_owned()]));
        }
        _ => {}
    }
    let text = raw.text.as_str();
    let is_list = matches!(
        question.answer,
        Answer::Medicines | Answer::Allergies | Answer::Anaesthetic
    );
    Ok(match text {
        "" if raw.taken_on.is_empty() => Entered::Nothing,
        "?" if raw.taken_on.is_empty() || raw.taken_on == "?" => Entered::NotKnown,
        "none" | "0" | "[]" if is_list => Entered::NoneOfThese,
        "declined" => Entered::Declined,
        _ if is_list => Entered::Entries(lines(question, text)),
        _ if question.dated => Entered::Dated {
            value: Box::new(Entered::Typed(if text == "?" {
                "unknown".into()
            } else {
                text.to_owned()
            })),
            taken_on: match raw.taken_on.as_str() {
                // Only `?` says that the day is not known: a blank is a slip.
                "?" => "unknown".into(),
                day => day.to_owned(),
            },
        },
        _ => Entered::Typed(text.to_owned()),
    })
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

/// A question on a page.
pub(crate) struct Field {
    /// Its wording.
    pub(crate) ask: String,
    /// What is not understood of what was typed.
    pub(crate) slips: Vec<Slip>,
    name: String,
    help: Option<String>,
    answer: Answer,
    is_dated: bool,
    units: Vec<String>,
    raw: Raw,
    /// What is in the register.
    stored: Raw,
    understood: Option<String>,
}

impl Field {
    /// A question as the register has it.
    pub(crate) fn stored(
        rule_set: &RuleSet,
        at: Idx<Question>,
        given: Option<&Given>,
        today: NaiveDate,
    ) -> Self {
        let question = &rule_set.catalogue.questions[at];
        let given = given.filter(|it| !it.standing);
        let raw = Raw::stored(question, given);
        let understood = (!raw.is_blank())
            .then(|| entered(question, &raw).ok())
            .flatten()
            .filter(|it| !matches!(it, Entered::Options(_)))
            .and_then(|it| edit::understood(rule_set, at, &it, today).ok())
            .map(|it| it.words);
        let units = match &question.answer {
            Answer::Quantity { unit, units, .. } => {
                let all = [*unit].into_iter().chain(units.iter().copied());
                all.map(str::to_owned).collect()
            }
            _ => Vec::new(),
        };
        Self {
            ask: question.ask.clone(),
            slips: Vec::new(),
            name: question.name().to_owned(),
            help: question.help.clone(),
            answer: question.answer.clone(),
            is_dated: question.dated,
            units,
            stored: raw.clone(),
            raw,
            understood,
        }
    }

    /// The same with what was typed instead.
    pub(crate) fn with(self, sent: &Sent, slips: Vec<Slip>) -> Self {
        Self {
            raw: sent.raw.clone(),
            understood: None,
            slips,
            ..self
        }
    }

    /// Whether nothing stands in it.
    pub(crate) fn is_blank(&self) -> bool {
        self.raw.is_blank()
    }

    /// Where links to its slip lead.
    pub(crate) fn id(&self) -> String {
        format!("q-{}", self.name)
    }

    /// As a part of a form.
    pub(crate) fn draw(&self, has_focus: bool) -> Markup {
        let said = format!("said-{}", self.name);
        html! {
            (hidden(&format!("was.{}", self.name), &self.stored.packed()))
            @match &self.answer {
                Answer::YesNo => (self.among(&[("yes", "yes"), ("no", "no")], &said, has_focus)),
                Answer::OneOf(options) => {
                    @let options: Vec<(&str, &str)> = options.iter().map(|it| (it.id.as_str(), it.text.as_str())).collect();
                    (self.among(&options, &said, has_focus))
                },
                Answer::SeveralOf(options) => (self.several(options, &said, has_focus)),
                _ => (self.typed(&said, has_focus)),
            }
        }
    }

    /// Beside a field: how it is filled in, what it was understood as, what is wrong with it.
    fn said(&self, id: &str) -> Markup {
        html! {
            div.said id=(id) {
                @for it in &self.slips { p.slip { strong { (capital(&it.title)) "." } " " (capital(&it.help)) } }
                @if let Some(it) = &self.understood { p.understood { "Understood as " strong { (it) } } }
                @if let Some(it) = &self.help { p.hint { (it) } }
            }
        }
    }

    fn radio(&self, value: &str, words: &str, is_first: bool, has_focus: bool) -> Markup {
        let id = if is_first {
            self.id()
        } else {
            format!("{}-{value}", self.id())
        };
        html! {
            label {
                input type="radio" id=(id) name={ "a." (self.name) } value=(value) checked[self.raw.choice == value] autofocus[has_focus && is_first];
                " " (words)
            }
        }
    }

    fn last_radios(&self) -> Markup {
        html! {
            (self.radio(NOT_KNOWN, "not known", false, false))
            (self.radio(DECLINED, "declined", false, false))
            @if !self.stored.is_blank() { (self.radio(TAKEN_BACK, "take the answer back", false, false)) }
        }
    }

    fn among(&self, options: &[(&str, &str)], said: &str, has_focus: bool) -> Markup {
        let is_short = options.iter().all(|(_, words)| words.len() < 12);
        html! {
            fieldset.field.line[is_short] aria-describedby=(said) {
                legend { (self.ask) }
                div.choices {
                    @for (at, (value, words)) in options.iter().enumerate() { (self.radio(value, words, at == 0, has_focus)) }
                    (self.last_radios())
                }
                (self.said(said))
            }
        }
    }

    fn several(&self, options: &[Choice], said: &str, has_focus: bool) -> Markup {
        html! {
            fieldset.field.several aria-describedby=(said) {
                legend { (self.ask) }
                div.choices {
                    (self.radio(NONE, "none of these", true, has_focus))
                    (self.radio(SOME, "these:", false, false))
                    div.options {
                        @for it in options {
                            label {
                                input type="checkbox" name={ "o." (self.name) } value=(it.id) checked[self.raw.options.contains(&it.id)];
                                " " (it.text)
                            }
                        }
                    }
                    (self.last_radios())
                }
                (self.said(said))
            }
        }
    }

    fn typed(&self, said: &str, has_focus: bool) -> Markup {
        let name = format!("t.{}", self.name);
        let is_wrong = (!self.slips.is_empty()).then_some("true");
        html! {
            div.field.typed {
                label for=(self.id()) { (self.ask) }
                @match &self.answer {
                    Answer::Medicines | Answer::Allergies | Answer::Anaesthetic => {
                        textarea id=(self.id()) name=(name) rows="3" data-list[matches!(self.answer, Answer::Medicines)]
                            spellcheck="false" autocomplete="off" aria-describedby=(said) aria-invalid=[is_wrong] autofocus[has_focus] { "\n" (self.raw.text) }
                    },
                    _ => {
                        input id=(self.id()) name=(name) value=(self.raw.text) autocomplete="off" spellcheck="false" maxlength="2000"
                            aria-describedby=(said) aria-invalid=[is_wrong] autofocus[has_focus];
                    },
                }
                @if self.is_dated {
                    label.beside for={ (self.id()) "-day" } { "Day of this result" }
                    input id={ (self.id()) "-day" } name={ "d." (self.name) } value=(self.raw.taken_on) autocomplete="off" maxlength="40" aria-describedby=(said) aria-invalid=[is_wrong];
                }
                p.hint { (self.how()) }
                (self.said(said))
            }
        }
    }

    fn how(&self) -> String {
        let how = match &self.answer {
            Answer::Quantity { .. } => {
                format!("A number with its unit ({}).", self.units.join(", "))
            }
            Answer::Number { whole: true } => "A whole number.".into(),
            Answer::Number { whole: false } => "A number with a decimal point.".into(),
            Answer::Date => "A day such as 2026-12-03.".into(),
            Answer::Medicines => {
                "One a line, by generic name; a dose may follow. none, if none.".into()
            }
            Answer::Allergies => "One a line, such as latex: rash. none, if none.".into(),
            Answer::Anaesthetic => "One a line: agent, strength, volume.".into(),
            _ => String::new(),
        };
        let day = if self.is_dated {
            " The day as 2026-12-03."
        } else {
            ""
        };
        format!("{how}{day} ? if not known.").trim().to_owned()
    }
}
