//! The interview as lines said and lines typed. Knows no terminal and no file, so that a test can hold it.

use std::collections::BTreeSet;

use crate::cli::ask::typed;
use crate::cli::ask::typed::Word;
use crate::cli::draw::counted;
use crate::document::diagnostic::Diagnostic;
use crate::questionnaire::edit;
use crate::questionnaire::edit::{Entered, Understood};
use crate::report::words;
use crate::rule_set::{Answer, Idx, Question, RuleSet, Section};
use crate::screening::interview::{Ask, Interview};
use crate::screening::result::{Refusal, WhyAsked};
use crate::screening::screener::{Referral, Screener};

/// Most rules named that wait for an answer.
const MOST_NAMED: usize = 5;

/// An interview under way. What was answered is in its text.
#[derive(Debug)]
pub struct Dialogue<'a> {
    screener: &'a Screener<'a>,
    name: String,
    text: String,
    referral: Referral,
    interview: Interview,
    awaited: Awaited,
    /// The questions answered in this run, in order.
    answered: Vec<Idx<Question>>,
    /// Questions left for later.
    later: BTreeSet<Idx<Question>>,
    /// Questions asked in an earlier run whose answers are not known, until somebody says whether to go through them.
    unknown: Vec<Idx<Question>>,
    /// Those of them that are still to be gone through.
    through: Vec<Idx<Question>>,
    /// The heading that was said last.
    heading: Option<Idx<Section>>,
    /// Whether to ask on once the verdict is settled, without an offer to stop.
    everything: bool,
}

/// What the next line answers.
#[derive(Debug, Clone, PartialEq)]
enum Awaited {
    /// A question.
    Question(Idx<Question>),
    /// The day of a result.
    Day(Idx<Question>, Entered),
    /// One more entry of a list.
    Entry(Idx<Question>, Vec<Vec<(String, String)>>),
    /// Whether the nearest known name was meant by the last entry.
    Nearest(Idx<Question>, Vec<Vec<(String, String)>>, String),
    /// Whether to go on although the verdict is settled.
    GoOn,
    /// Whether to go through what is not known.
    Again,
    /// Nothing more.
    End(End),
}

impl Awaited {
    /// One more entry of a list, or the list itself while it has none.
    fn one_more(at: Idx<Question>, entries: Vec<Vec<(String, String)>>) -> Self {
        if entries.is_empty() {
            Self::Question(at)
        } else {
            Self::Entry(at, entries)
        }
    }
}

/// How an interview ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Everything was asked that matters.
    Asked,
    /// Somebody wanted to stop.
    Stopped,
}

/// What is asked next, for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prompt {
    /// What is said, line by line.
    pub lines: Vec<String>,
    /// The words that may be chosen, each with its meaning; empty where something is typed.
    pub choices: Vec<(String, String)>,
    /// Whether several of them may be.
    pub several: bool,
    /// Whether it is a question, which may be not known, declined and left for later.
    pub is_question: bool,
}

/// What a line came to.
#[derive(Debug, Default)]
pub struct DialogueReply {
    /// What is said to it.
    pub lines: Vec<String>,
    /// Whether the text has changed and is to be kept before anything else is asked.
    pub changed: bool,
    /// Whether the line was refused, so that it may be corrected.
    pub is_refused: bool,
}

impl DialogueReply {
    fn said(line: impl Into<String>) -> Self {
        Self {
            lines: vec![line.into()],
            ..Self::default()
        }
    }
}

impl<'a> Dialogue<'a> {
    /// Takes up a questionnaire, by the name that its reader knows it by. `everything` asks on once the verdict is settled.
    ///
    /// # Errors
    /// What is wrong with the questionnaire; nothing is asked about one that cannot be screened.
    pub fn new(
        screener: &'a Screener<'a>,
        name: &str,
        text: String,
        everything: bool,
    ) -> Result<Self, Refusal> {
        let referral = screener.read(name, text.as_bytes())?;
        let interview = screener.interview(&referral);
        let before = interview.asks.iter().filter(|it| it.is_answered);
        let mut dialogue = Self {
            screener,
            name: name.to_owned(),
            text,
            unknown: before.map(|it| it.question).collect(),
            referral,
            interview,
            through: Vec::new(),
            awaited: Awaited::End(End::Asked),
            answered: Vec::new(),
            later: BTreeSet::new(),
            heading: None,
            everything,
        };
        dialogue.go_on();
        Ok(dialogue)
    }

    /// The questionnaire as it is now.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The patient as known now.
    pub fn referral(&self) -> &Referral {
        &self.referral
    }

    /// How many answers were given in this run.
    pub fn n_answered(&self) -> usize {
        self.answered.len()
    }

    /// How it ended; `None` while it is under way.
    pub fn end(&self) -> Option<End> {
        match self.awaited {
            Awaited::End(end) => Some(end),
            _ => None,
        }
    }

    /// What was typed and is in no answer yet: a result without its day, a list that has not ended.
    pub fn is_halfway(&self) -> bool {
        !matches!(
            self.awaited,
            Awaited::Question(_) | Awaited::GoOn | Awaited::Again | Awaited::End(_)
        )
    }

    /// How many questions were left for later.
    pub fn n_later(&self) -> usize {
        self.later.len()
    }

    fn rule_set(&self) -> &'a RuleSet {
        self.screener.rule_set()
    }

    fn question(&self, at: Idx<Question>) -> &'a Question {
        &self.rule_set().catalogue.questions[at]
    }

    /// Goes on to the next question that is open, or to what stands at the end.
    fn go_on(&mut self) {
        let next = self.interview.open().map(|it| it.question);
        let next = next.into_iter().find(|it| !self.later.contains(it));
        let asks = self.interview.asks.iter().map(|it| it.question);
        let asks: BTreeSet<Idx<Question>> = asks.collect();
        self.through.retain(|it| asks.contains(it));
        let next = next.or_else(|| (!self.through.is_empty()).then(|| self.through.remove(0)));
        let is_settled = self.interview.is_settled();
        self.awaited = match next {
            Some(_) if is_settled && !self.everything => Awaited::GoOn,
            Some(question) => Awaited::Question(question),
            None if !is_settled && self.unknown.iter().any(|it| asks.contains(it)) => {
                Awaited::Again
            }
            None => Awaited::End(End::Asked),
        };
    }

    /// What is asked now.
    pub fn prompt(&mut self) -> Prompt {
        let mut prompt = Prompt {
            lines: Vec::new(),
            choices: Vec::new(),
            several: false,
            is_question: false,
        };
        let yes_no = || [("yes", "yes"), ("no", "no")].map(|(a, b)| (a.to_owned(), b.to_owned()));
        match &self.awaited {
            Awaited::Question(at) => {
                let at = *at;
                let question = self.question(at);
                if self.heading != Some(question.section) {
                    self.heading = Some(question.section);
                    let title = &self.rule_set().catalogue.sections[question.section].title;
                    prompt.lines.extend([String::new(), title.clone()]);
                }
                prompt.lines.extend([String::new(), self.progress()]);
                prompt
                    .lines
                    .push(format!("{} ({})", question.ask, question.from.word()));
                if !matches!(question.answer, Answer::YesNo | Answer::OneOf(_)) {
                    prompt.lines.push(format!("({})", typed::hint(question)));
                }
                if let Some(now) = self.answer_now(at) {
                    prompt
                        .lines
                        .push(format!("Answered: {now}. An empty line keeps it."));
                }
                let choices = typed::choices(question).into_iter();
                prompt.choices = choices.map(|(a, b)| (a.to_owned(), b.to_owned())).collect();
                prompt.several = matches!(question.answer, Answer::SeveralOf(_));
                prompt.is_question = true;
            }
            Awaited::Day(..) => prompt
                .lines
                .push("On which day was that taken? (year-month-day, or unknown)".to_owned()),
            Awaited::Entry(_, entries) => prompt.lines.push(format!(
                "Another one? {} so far; an empty line ends the list.",
                entries.len()
            )),
            Awaited::Nearest(_, _, nearest) => {
                prompt.lines.push(format!("Is it {nearest}? (yes or no)"));
                prompt.choices = yes_no().to_vec();
            }
            Awaited::GoOn => {
                prompt.lines.extend([String::new(), self.settled()]);
                prompt
                    .lines
                    .push("Ask on all the same? (yes or no)".to_owned());
                prompt.choices = yes_no().to_vec();
            }
            Awaited::Again => {
                prompt.lines.extend([String::new(), self.not_known()]);
                prompt
                    .lines
                    .push("Go through them now? (yes or no)".to_owned());
                prompt.choices = yes_no().to_vec();
            }
            Awaited::End(_) => {}
        }
        prompt
    }

    /// How far it is: "12 questions, 20 at most; 3 could settle it. Now: defer, could be refer, same-day."
    fn progress(&self) -> String {
        let span = self.interview.span;
        let now = counted(self.interview.open().count(), "question");
        let at_most = self.interview.at_most;
        if self.interview.is_settled() {
            return format!(
                "{now}, {at_most} at most. Settled: {}.",
                span.verdict().words()
            );
        }
        let could_be = span
            .could_be()
            .map_or_else(String::new, |it| format!(", could be {}", it.words()));
        format!(
            "{now}, {at_most} at most; {} could settle it. Now: {}{could_be}.",
            self.interview.fewest,
            span.verdict().words()
        )
    }

    fn settled(&self) -> String {
        let left = counted(self.interview.at_most, "further answer");
        format!(
            "The verdict is settled: {}. {left} cannot change that.",
            self.interview.span.verdict().words()
        )
    }

    fn not_known(&self) -> String {
        let n = self.again().len();
        let answers = words::counted(n, "answer is", "answers are");
        format!("{answers} not known from before.")
    }

    /// What was asked in an earlier run and is not known, as far as it still matters.
    fn again(&self) -> Vec<Idx<Question>> {
        let asks = self.interview.asks.iter().map(|it| it.question);
        asks.filter(|it| self.unknown.contains(it)).collect()
    }

    /// What a question is answered by now, as understood.
    fn answer_now(&self, at: Idx<Question>) -> Option<String> {
        let given = self.referral.answers.given.get(&at)?;
        let text = given.source.slice(&given.node.span);
        (!text.trim().is_empty()).then(|| text.split_whitespace().collect::<Vec<_>>().join(" "))
    }

    /// Takes a line.
    pub fn take(&mut self, line: &str) -> DialogueReply {
        let line = line.trim();
        match self.awaited.clone() {
            Awaited::End(_) => DialogueReply::default(),
            Awaited::GoOn | Awaited::Again | Awaited::Nearest(..) => self.decided(line),
            Awaited::Question(at) => self.answer_question(at, line),
            Awaited::Day(at, value) => self.answer_day(at, value, line),
            Awaited::Entry(at, entries) => self.answer_entry(at, entries, line),
        }
    }

    /// A line that answers yes or no to something of our own.
    fn decided(&mut self, line: &str) -> DialogueReply {
        let word = line.to_lowercase();
        if Word::read(line) == Some(Word::Stop) {
            return match self.awaited.clone() {
                Awaited::Nearest(at, entries, _) => self.answer_entry(at, entries, line),
                _ => self.stop(),
            };
        }
        if Word::read(line) == Some(Word::Back)
            && matches!(self.awaited, Awaited::GoOn | Awaited::Again)
        {
            return self.back();
        }
        let yes = match word.as_str() {
            "yes" | "y" | "1" => true,
            "no" | "n" | "2" => false,
            _ => return DialogueReply::said("Please answer yes or no."),
        };
        match (
            std::mem::replace(&mut self.awaited, Awaited::End(End::Asked)),
            yes,
        ) {
            (Awaited::GoOn, true) => {
                self.everything = true;
                self.go_on();
            }
            (Awaited::GoOn, false) => self.awaited = Awaited::End(End::Stopped),
            (Awaited::Again, yes) => {
                let again = self.again();
                self.unknown.clear();
                if yes {
                    self.through = again;
                }
                self.go_on();
            }
            (Awaited::Nearest(at, mut entries, nearest), yes) => {
                if let (true, Some(name)) = (yes, entries.last_mut().and_then(|it| it.first_mut()))
                {
                    name.1 = nearest;
                }
                let said = entries
                    .last()
                    .map(|it| self.understood(at, &Entered::Entries(vec![it.clone()])));
                self.awaited = Awaited::Entry(at, entries);
                if let Some(Ok(understood)) = said {
                    return DialogueReply::said(format!("  {}", understood.words));
                }
            }
            (awaited, _) => self.awaited = awaited,
        }
        DialogueReply::default()
    }

    fn stop(&mut self) -> DialogueReply {
        self.awaited = Awaited::End(End::Stopped);
        DialogueReply::default()
    }

    /// Back to the question answered before this one, or before what stands at the end.
    fn back(&mut self) -> DialogueReply {
        let here = match self.awaited {
            Awaited::Question(at) => self.answered.iter().position(|it| *it == at),
            _ => None,
        };
        let before = here.unwrap_or(self.answered.len()).checked_sub(1);
        match before.and_then(|at| self.answered.get(at)) {
            Some(before) => {
                self.awaited = Awaited::Question(*before);
                DialogueReply::default()
            }
            None => DialogueReply::said("This is the first question of this run."),
        }
    }

    fn answer_question(&mut self, at: Idx<Question>, line: &str) -> DialogueReply {
        let question = self.question(at);
        let is_choice = typed::choices(question).iter().any(|(it, _)| *it == line);
        match Word::read(line).filter(|_| !is_choice) {
            Some(Word::Help) => return self.help(at),
            Some(Word::Back) => return self.back(),
            Some(Word::Stop) => return self.stop(),
            Some(Word::Later) => {
                self.later.insert(at);
                self.go_on();
                return DialogueReply::said("Left for later.");
            }
            None => {}
        }
        if line.is_empty() {
            if self.answer_now(at).is_some() {
                self.go_on();
                return DialogueReply::said("Kept.");
            }
            return DialogueReply::said(format!(
                "Type {}, or a word: {}.",
                typed::hint(question),
                known_words()
            ));
        }
        let answer = typed::entered(question, line);
        let given = !matches!(
            answer,
            Entered::NotKnown | Entered::Declined | Entered::NoneOfThese
        );
        if given && typed::is_list(question) {
            return self.answer_entry(at, Vec::new(), line);
        }
        if given && question.dated {
            let undated = Entered::Dated {
                value: Box::new(answer.clone()),
                taken_on: "unknown".to_owned(),
            };
            return match self.understood(at, &undated) {
                Err(problems) => self.refused(&problems),
                Ok(_) => {
                    self.awaited = Awaited::Day(at, answer);
                    DialogueReply::default()
                }
            };
        }
        self.keep(at, &answer)
    }

    fn answer_day(&mut self, at: Idx<Question>, value: Entered, line: &str) -> DialogueReply {
        match Word::read(line) {
            Some(Word::Back) => {
                self.awaited = Awaited::Question(at);
                return DialogueReply::default();
            }
            Some(Word::Stop) => {
                let mut taken = self.stop();
                taken
                    .lines
                    .push("The result was not saved: its day was not given.".to_owned());
                return taken;
            }
            Some(Word::Later) | Some(Word::Help) => {
                return DialogueReply::said(
                    "The day of the result, as year-month-day; unknown if nobody knows it.",
                );
            }
            None if line.is_empty() => {
                return DialogueReply::said(
                    "A result counts only with its day; unknown if nobody knows it.",
                );
            }
            None => {}
        }
        let taken_on = if line.eq_ignore_ascii_case("not known") {
            "unknown"
        } else {
            line
        };
        let answer = Entered::Dated {
            value: Box::new(value),
            taken_on: taken_on.to_owned(),
        };
        self.keep(at, &answer)
    }

    fn answer_entry(
        &mut self,
        at: Idx<Question>,
        mut entries: Vec<Vec<(String, String)>>,
        line: &str,
    ) -> DialogueReply {
        let question = self.question(at);
        match Word::read(line) {
            Some(Word::Help) => return self.help(at),
            Some(Word::Back) => {
                let said = match entries.pop() {
                    Some(_) => DialogueReply::said("The last entry is taken back."),
                    None => DialogueReply::default(),
                };
                self.awaited = Awaited::one_more(at, entries);
                return said;
            }
            // A list that is cut short must not pass for a whole one.
            Some(Word::Stop) => {
                let entries = entries.iter().filter_map(|it| it.first());
                let names: Vec<&str> = entries.map(|(_, name)| name.as_str()).collect();
                self.awaited = Awaited::End(End::Stopped);
                return DialogueReply::said(format!(
                    "Not saved, since the list may not be whole: {}.",
                    names.join(", ")
                ));
            }
            Some(Word::Later) => {
                return DialogueReply::said(
                    "An empty line ends the list; back takes the last entry back.",
                );
            }
            None => {}
        }
        if line.is_empty() {
            return self.keep(at, &Entered::Entries(entries));
        }
        let entry = typed::entry(self.rule_set(), question, line);
        match self.understood(at, &Entered::Entries(vec![entry.clone()])) {
            Err(problems) => {
                self.awaited = Awaited::one_more(at, entries);
                self.refused(&problems)
            }
            Ok(Understood {
                words,
                unrecognised,
            }) => {
                entries.push(entry);
                let nearest = unrecognised.into_iter().find_map(|(_, nearest)| nearest);
                self.awaited = match nearest {
                    Some(nearest) => Awaited::Nearest(at, entries, nearest),
                    None => Awaited::Entry(at, entries),
                };
                DialogueReply::said(format!("  {words}"))
            }
        }
    }

    fn understood(
        &self,
        at: Idx<Question>,
        answer: &Entered,
    ) -> Result<Understood, Vec<Diagnostic>> {
        edit::understood(self.rule_set(), at, answer, self.screener.as_of())
    }

    /// Puts an answer into the text, if the questionnaire can still be read with it.
    fn keep(&mut self, at: Idx<Question>, answer: &Entered) -> DialogueReply {
        let understood = match self.understood(at, answer) {
            Ok(it) => it,
            Err(problems) => return self.refused(&problems),
        };
        let text = match edit::with_answer(self.rule_set(), &self.text, at, answer) {
            Ok(text) => text,
            Err(problems) => return self.refused(&problems),
        };
        match self.screener.read(&self.name, text.as_bytes()) {
            Err(refusal) => {
                self.awaited = Awaited::Question(at);
                self.refused(&refusal.problems)
            }
            Ok(referral) => {
                self.interview = self.screener.interview(&referral);
                self.referral = referral;
                self.text = text;
                if !self.answered.contains(&at) {
                    self.answered.push(at);
                }
                self.later.remove(&at);
                self.go_on();
                DialogueReply {
                    lines: vec![format!("  {}", understood.words)],
                    changed: true,
                    is_refused: false,
                }
            }
        }
    }

    /// Says what is wrong, in the words of the diagnostics.
    fn refused(&self, problems: &[Diagnostic]) -> DialogueReply {
        let lines = problems
            .iter()
            .map(|it| format!("{}: {}", it.title, it.help));
        DialogueReply {
            lines: lines.collect(),
            changed: false,
            is_refused: true,
        }
    }

    /// What is asked, why, and how it is answered.
    fn help(&self, at: Idx<Question>) -> DialogueReply {
        let question = self.question(at);
        let mut lines: Vec<String> = question.help.iter().cloned().collect();
        lines.push(format!("Type {}.", typed::hint(question)));
        let ask = self.interview.asks.iter().find(|it| it.question == at);
        lines.extend(ask.map(|it| self.why(it)).into_iter().flatten());
        lines.push(format!("Words: {}.", known_words()));
        DialogueReply {
            lines,
            ..DialogueReply::default()
        }
    }

    fn why(&self, ask: &Ask) -> Vec<String> {
        let mut lines = Vec::new();
        if let WhyAsked::Unsettled(what) = &ask.why {
            lines.push(format!("The answer settles nothing yet: {what}."));
        }
        let waiting = ask.rules.iter().filter_map(|it| {
            let mut rules = self.rule_set().judging.iter();
            let rule = rules.find(|rule| rule.id == *it)?;
            Some(format!("  {}: {}", rule.standing().words(), rule.title))
        });
        let waiting: Vec<String> = waiting.collect();
        let wait = words::counted(waiting.len(), "rule waits", "rules wait");
        lines.push(format!("{wait} for it:"));
        let more = waiting.len().saturating_sub(MOST_NAMED);
        lines.extend(waiting.into_iter().take(MOST_NAMED));
        if more > 0 {
            lines.push(format!("  and {more} more"));
        }
        lines
    }
}

fn known_words() -> String {
    typed::WORDS.map(|(word, _)| word).join(", ")
}
