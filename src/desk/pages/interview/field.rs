//! One question on a page, drawn as a part of a form.

use chrono::NaiveDate;
use maud::{Markup, html};

use crate::desk::page::hidden;
use crate::desk::pages::interview::answer::{
    DECLINED, LONGEST, NONE, NOT_KNOWN, Raw, SOME, Sent, Slip, TAKEN_BACK,
};
use crate::desk::visit::capital;
use crate::questionnaire::edit::{self, Entered, Understood};
use crate::questionnaire::facts::Given;
use crate::rule_set::local::Offered;
use crate::rule_set::{Answer, Choice, Drawing, Idx, Question, RuleSet};
use crate::screening::screener::Referral;

/// A question on a page.
pub(crate) struct Field<'a> {
    /// The question.
    pub(crate) question: &'a Question,
    /// What is not understood of what was typed.
    pub(crate) slips: Vec<Slip>,
    /// What was understood, of an answer that is more than a choice.
    pub(crate) understood: Option<Understood>,
    raw: Raw,
    /// What is in the register.
    stored: Raw,
    /// The drawing on which its options are chosen.
    drawing: Option<&'a Drawing>,
    /// The solutions of local anaesthetic that the clinic offers, where it is one of them that is asked for.
    offered: Vec<String>,
}

impl<'a> Field<'a> {
    /// A question as the register has it.
    pub(crate) fn stored(
        rule_set: &'a RuleSet,
        at: Idx<Question>,
        referral: Option<&Referral>,
        today: NaiveDate,
    ) -> Self {
        let question = &rule_set.catalogue.questions[at];
        let given = referral.and_then(|it| it.answers.given.get(&at));
        let given: Option<&Given> = given.filter(|it| !it.standing);
        let offered = referral.map_or_else(Vec::new, |it| offered(rule_set, question, it));
        let raw = Raw::stored(question, given, &offered);
        let understood = (!raw.is_blank())
            .then(|| raw.entered(question, today).ok())
            .flatten()
            .filter(|it| !matches!(it, Entered::Options(_)))
            .and_then(|it| edit::understood(rule_set, at, &it, today).ok());
        Self {
            question,
            slips: Vec::new(),
            understood,
            stored: raw.clone(),
            raw,
            drawing: question.drawing.map(|at| &rule_set.catalogue.drawings[at]),
            offered,
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

    /// Whether "no to the rest" answers it.
    pub(crate) fn is_of_the_rest(&self) -> bool {
        let may = matches!(self.question.answer, Answer::YesNo | Answer::SeveralOf(_));
        may && self.raw.is_blank()
    }

    /// Where links to its slip lead.
    pub(crate) fn id(&self) -> String {
        format!("q-{}", self.question.id)
    }

    fn named(&self, kind: &str) -> String {
        format!("{kind}.{}", self.question.id)
    }

    /// As a part of a form. Its first stop is focussed at once, if wanted.
    pub(crate) fn draw(&self, has_focus: bool) -> Markup {
        let question = self.question;
        match &question.answer {
            Answer::YesNo => {
                let choices = [("yes", "yes"), ("no", "no")];
                self.group("line rest", &self.radios(&choices, has_focus))
            }
            Answer::OneOf(options) => {
                let words = |it: &'a Choice| (it.id.as_str(), it.text.as_str());
                let choices: Vec<(&str, &str)> = question.options().iter().map(words).collect();
                let is_short = options.iter().all(|it| it.text.len() < 12);
                let class = if is_short { "line" } else { "" };
                self.group(class, &self.radios(&choices, has_focus))
            }
            Answer::SeveralOf(options) => {
                let class = match self.drawing {
                    Some(_) => "drawn rest",
                    None => "several rest",
                };
                self.group(class, &self.several(options, has_focus))
            }
            Answer::Anaesthetic if !self.offered.is_empty() => {
                self.group("solutions", &self.solutions(has_focus))
            }
            Answer::Medicines | Answer::Allergies | Answer::Anaesthetic => {
                self.group("written", &self.lines(has_focus))
            }
            _ => self.typed(has_focus),
        }
    }

    /// Choices under the wording of the question.
    fn group(&self, class: &str, choices: &Markup) -> Markup {
        html! {
            fieldset.field.(class) id=(self.named("f")) aria-describedby=(self.named("said")) {
                legend { (self.question.ask) }
                (hidden(&self.named("was"), &self.stored.packed()))
                div.choices { (choices) }
                (self.said())
            }
        }
    }

    /// Beside a field: what it was understood as, what is wrong with it, how it is filled in.
    fn said(&self) -> Markup {
        let nearest = self.understood.iter().flat_map(|it| &it.unrecognised);
        let nearest =
            nearest.filter_map(|(entry, near)| Some((before_dose(entry), near.as_ref()?)));
        html! {
            div.said id=(self.named("said")) aria-live="polite" {
                @for it in &self.slips { p.slip { strong { (capital(&it.title)) "." } " " (capital(&it.help)) } }
                @if let Some(it) = &self.understood { p.understood { "Understood as " strong { (it.words) } } }
                @for (name, near) in nearest {
                    label.understood {
                        input type="checkbox" name=(self.named("k")) value={ (name) "\n" (near) };
                        " Write " strong { (near) } " instead of " strong { (name) }
                    }
                }
                @if let Some(it) = &self.question.help { p.hint { (it) } }
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
                input type="radio" id=(id) name=(self.named("a")) value=(value) checked[self.raw.choice == value] autofocus[has_focus && is_first];
                " " (words)
            }
        }
    }

    fn radios(&self, choices: &[(&str, &str)], has_focus: bool) -> Markup {
        html! {
            @for (at, (value, words)) in choices.iter().enumerate() { (self.radio(value, words, at == 0, has_focus)) }
            (self.last_radios())
        }
    }

    fn last_radios(&self) -> Markup {
        html! {
            (self.radio(NOT_KNOWN, "not known", false, false))
            (self.radio(DECLINED, "declined", false, false))
            @if !self.stored.is_blank() { (self.radio(TAKEN_BACK, "take the answer back", false, false)) }
        }
    }

    fn several(&self, options: &[Choice], has_focus: bool) -> Markup {
        html! {
            (self.radio(NONE, "none of these", true, has_focus))
            (self.radio(SOME, "these:", false, false))
            @if let Some(drawing) = self.drawing { (self.drawn(drawing, options)) }
            @else {
                div.options { @for it in options { label { (self.tick(it)) " " (it.text) } } }
            }
            (self.last_radios())
        }
    }

    fn tick(&self, option: &Choice) -> Markup {
        let id = format!("{}-{}", self.id(), option.id);
        let is_chosen = self.raw.options.contains(&option.id);
        html! { input type="checkbox" id=(id) name=(self.named("o")) value=(option.id) checked[is_chosen]; }
    }

    /// Each option as a box on its place, and its words beside, which are its label. By attributes alone: a page has no style of its own.
    fn drawn(&self, drawing: &Drawing, options: &[Choice]) -> Markup {
        let (width, height) = drawing.size;
        let placed = options
            .iter()
            .filter_map(|it| Some((it, drawing.place(&it.id)?)));
        let chosen = options
            .iter()
            .filter(|it| self.raw.options.contains(&it.id));
        let chosen: Vec<&str> = chosen.map(|it| it.text.as_str()).collect();
        html! {
            div.options {
                svg.drawing viewBox={ "0 0 " (width) " " (height) } width=(width) height=(height) {
                    @for it in &drawing.outline { path d=(it) fill="none" stroke="currentColor" stroke-width="1.5" {} }
                    @for (text, x, y) in &drawing.words { text x=(x) y=(y) text-anchor="middle" font-size="14" fill="currentColor" { (text) } }
                    @for (it, at) in placed {
                        foreignObject x=(at.x - at.rx) y=(at.y - at.ry) width=(2.0 * at.rx) height=(2.0 * at.ry) {
                            label.place { (self.tick(it)) }
                        }
                    }
                }
                ol { @for it in options { li { label for={ (self.id()) "-" (it.id) } { (it.text) } } } }
                @if !chosen.is_empty() { p.understood { "Chosen: " strong { (chosen.join(", ")) } } }
            }
        }
    }

    /// One of the solutions offered and its volume, or a plan that is written out.
    fn solutions(&self, has_focus: bool) -> Markup {
        let volume = format!("{}-volume", self.id());
        html! {
            @for (at, it) in self.offered.iter().enumerate() { (self.radio(it, it, at == 0, has_focus)) }
            label.beside for=(volume) { "How much of it in all (mL)" }
            (self.beside(&volume))
            (self.radio(SOME, "written out:", false, false))
            div.options { (self.lines(false)) }
            (self.last_radios())
        }
    }

    fn beside(&self, id: &str) -> Markup {
        html! {
            input.short id=(id) name=(self.named("d")) value=(self.raw.beside) autocomplete="off" spellcheck="false" maxlength="40"
                aria-describedby=(self.named("said")) aria-invalid=[self.is_wrong()];
        }
    }

    fn is_wrong(&self) -> Option<&'static str> {
        (!self.slips.is_empty()).then_some("true")
    }

    /// A line for each entry of a list, and some to spare.
    fn lines(&self, has_focus: bool) -> Markup {
        const SPARE: usize = 4;
        let (list, how) = match self.question.answer {
            Answer::Medicines => (
                Some("medicine-names"),
                "One a line, by generic name; a dose may follow. none, if none. ? if not known.",
            ),
            Answer::Allergies => (
                Some("substance-names"),
                "One a line, such as latex: rash. none, if none. ? if not known.",
            ),
            _ => (None, "One a line: agent, strength, volume."),
        };
        let written: Vec<&str> = self.raw.text.lines().collect();
        let lines = written.iter().copied().chain([""; SPARE]);
        html! {
            @for (at, text) in lines.enumerate() {
                input.entry id=[(at == 0 && self.offered.is_empty()).then(|| self.id())] name=(self.named("t")) value=(text) list=[list]
                    aria-label={ "Line " (at + 1) } autocomplete="off" spellcheck="false" maxlength=(LONGEST)
                    aria-describedby=(self.named("said")) aria-invalid=[self.is_wrong()] autofocus[has_focus && at == 0];
            }
            p.hint { (how) }
        }
    }

    fn typed(&self, has_focus: bool) -> Markup {
        let (unit, how) = how(self.question);
        html! {
            div.field.typed id=(self.named("f")) {
                (hidden(&self.named("was"), &self.stored.packed()))
                label for=(self.id()) { (self.question.ask) }
                input.short[unit.is_some() || self.question.dated] id=(self.id()) name=(self.named("t")) value=(self.raw.text) autocomplete="off" spellcheck="false" maxlength=(LONGEST)
                    aria-describedby=(self.named("said")) aria-invalid=[self.is_wrong()] autofocus[has_focus];
                @if let Some(unit) = unit { " " (unit) }
                @if self.question.dated {
                    @let day = format!("{}-day", self.id());
                    label.beside for=(day) { "Day of this result" }
                    (self.beside(&day))
                }
                p.hint { (how) }
                (self.said())
            }
        }
    }
}

/// An entry up to its first number: a name that is put right keeps its dose.
fn before_dose(entry: &str) -> &str {
    let mut spaces = entry.match_indices(' ');
    let dose = spaces.find(|(at, _)| {
        let behind = entry.get(at + 1..).and_then(|it| it.chars().next());
        behind.is_some_and(|it| it.is_ascii_digit())
    });
    dose.and_then(|(at, _)| entry.get(..at)).unwrap_or(entry)
}

/// The unit that stands beside a field, and how to fill it in.
fn how(question: &Question) -> (Option<&'static str>, String) {
    let (unit, how) = match &question.answer {
        Answer::Quantity { unit, units, .. } if units.is_empty() => (Some(*unit), String::new()),
        Answer::Quantity { unit, units, .. } => (
            Some(*unit),
            format!(
                "Or with its unit ({}). A number alone is taken only where no other unit would be plausible.",
                units.join(", ")
            ),
        ),
        Answer::Number { whole: true } => (None, "A whole number.".into()),
        Answer::Number { whole: false } => (None, "A number with a decimal point.".into()),
        Answer::Date => (None, A_DAY.into()),
        _ => (None, String::new()),
    };
    let day = if question.dated { A_DAY } else { "" };
    let parts = [how.as_str(), day, "? if not known."];
    let parts: Vec<&str> = parts.into_iter().filter(|it| !it.is_empty()).collect();
    (unit, parts.join(" "))
}

const A_DAY: &str = "A day such as 3 Dec 2026, 20261203 or today; without a year the nearest one.";

/// The solutions that the clinic offers, as they are written.
fn offered(rule_set: &RuleSet, question: &Question, referral: &Referral) -> Vec<String> {
    match referral.facts.offers().get(&question.slot) {
        Some(Offered::Solutions(all)) => all
            .iter()
            .map(|(agent, percent)| {
                let percent = crate::quantity::tidy(*percent, None);
                format!("{} {percent} %", rule_set.agents[*agent].id)
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// The names that a browser may suggest while a list is typed.
pub(crate) fn names(rule_set: &RuleSet, fields: &[Field<'_>]) -> Markup {
    let has = |of: &Answer| fields.iter().any(|it| it.question.answer == *of);
    let list = |id: &str, mut names: Vec<&str>| {
        names.sort_unstable();
        names.dedup();
        html! { datalist id=(id) { @for it in names { option value=(it) {} } } }
    };
    let register = &rule_set.medicines.medicines;
    let medicines = register.iter().flat_map(|it| {
        let also = it.also.iter().map(String::as_str);
        [it.name.as_str()].into_iter().chain(also)
    });
    let substances = rule_set.allergens.names.keys().map(String::as_str);
    html! {
        @if has(&Answer::Medicines) { (list("medicine-names", medicines.collect())) }
        @if has(&Answer::Allergies) { (list("substance-names", substances.collect())) }
    }
}
