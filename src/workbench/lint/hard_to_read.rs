//! Questions for patients whose wording is hard to read, by the readability index LIX.
//!
//! LIX = words / sentences + 100 x long words / words, where a word is long with more than six letters (C. H. Björnsson,
//! Läsbarhet, Stockholm 1968; from memory). It counts letters and not syllables, so it needs no list of words.
//!
//! - A sentence ends at a full stop, colon, question or exclamation mark after a word, and at the end of each text: a text
//!   without any mark, as each option is, is one sentence.
//! - A point within a word or number ("2.5") ends no sentence; nor does one after a single letter or a known abbreviation.
//! - Hyphens and apostrophes are part of a word and no letters. A number is a word and never long.

use crate::document::diagnostic::Code;
use crate::rule_set::Question;
use crate::rule_set::catalogue::Who;
use crate::workbench::lint::{Remark, Subject};

/// From here on a text is too hard for a form that everybody must understand. Björnsson's bands, from memory: below 30 very
/// easy (books for children), to 40 easy (stories), to 50 middling (newspapers), to 60 difficult, above very difficult.
const HARDEST: f64 = 40.0;

/// Shorter texts are not judged. In a question of five words one long name of an illness makes 20 points; only over some
/// sentences does the share of long words say anything about the wording.
const FEWEST_WORDS: usize = 20;

/// Letters of the longest word that is not long.
const SHORT: usize = 6;

/// Abbreviations whose point ends no sentence.
const ABBREVIATIONS: &[&str] = &[
    "dr", "mr", "mrs", "ms", "e.g", "i.e", "etc", "approx", "no", "vs",
];

/// A remark for each wording of each question.
pub(crate) fn find(subject: &Subject<'_>) -> Vec<Remark> {
    let questions = &subject.rule_set.catalogue.questions;
    let patients = questions.iter().filter(|it| it.from == Who::Patient);
    let wordings = patients.flat_map(|question| {
        wordings(question)
            .into_iter()
            .map(move |(key, texts)| (question, key, texts))
    });
    wordings
        .filter_map(|(question, key, texts)| {
            let counted = texts.iter().map(|it| Counted::of(it)).fold(Counted::default(), Counted::and);
            let lix = counted.lix().filter(|it| counted.words >= FEWEST_WORDS && *it > HARDEST)?;
            let title = format!("the wording of `{}` is hard to read (LIX {lix:.0}, at most {HARDEST:.0} for patients)", question.id);
            let entry = subject.files.question(&question.id);
            let told = format!("{} words, {} sentences, {} long words", counted.words, counted.sentences, counted.long);
            let remark = Remark::new(Code::HardToRead, &question.id, title).on(entry, key, "hard to read");
            Some(remark.help(format!("use shorter sentences and everyday words ({told})")))
        })
        .collect()
}

/// What a patient hears of a question, and what a letter asks where it has words of its own, each with the key it stands under.
fn wordings(question: &Question) -> Vec<(&'static str, Vec<&str>)> {
    let options = question.options();
    let heard = [Some(question.ask.as_str()), question.help.as_deref()]
        .into_iter()
        .flatten()
        .chain(options.iter().map(|it| it.text.as_str()))
        .collect();
    let read = question.ask_patient.as_deref().map(|ask| {
        let options = options
            .iter()
            .map(|it| it.text_patient.as_deref().unwrap_or(&it.text));
        ("ask_patient", std::iter::once(ask).chain(options).collect())
    });
    std::iter::once(("ask", heard)).chain(read).collect()
}

/// The counts that LIX is made of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counted {
    /// Words, numbers among them.
    pub words: usize,
    /// Sentences.
    pub sentences: usize,
    /// Words of more than six letters.
    pub long: usize,
}

impl Counted {
    /// Counts one text.
    pub fn of(text: &str) -> Self {
        let mut counted = Self::default();
        let mut open = false;
        for piece in text.split_whitespace() {
            let word = piece.trim_matches(|it: char| !it.is_alphanumeric());
            if !word.is_empty() {
                counted.words += 1;
                counted.long +=
                    usize::from(word.chars().filter(|it| it.is_alphabetic()).count() > SHORT);
                open = true;
            }
            if open && ends(piece, word) {
                counted.sentences += 1;
                open = false;
            }
        }
        counted.sentences += usize::from(open);
        counted
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            words: self.words + other.words,
            sentences: self.sentences + other.sentences,
            long: self.long + other.long,
        }
    }

    /// The index; `None` without words.
    pub fn lix(self) -> Option<f64> {
        let number = |it: usize| u32::try_from(it).ok().map(f64::from);
        let (words, sentences, long) = (
            number(self.words)?,
            number(self.sentences)?,
            number(self.long)?,
        );
        (self.words > 0).then(|| words / sentences + 100.0 * long / words)
    }
}

/// Whether a sentence ends with this piece of a text.
fn ends(piece: &str, word: &str) -> bool {
    let marks = piece.trim_end_matches(['"', '\'', ')', '\u{2019}', '\u{201d}']);
    if marks.ends_with(['?', '!', ':']) {
        return true;
    }
    let initial = word.chars().count() == 1 && word.chars().all(char::is_alphabetic);
    marks.ends_with('.') && !initial && !ABBREVIATIONS.contains(&word.to_lowercase().as_str())
}
