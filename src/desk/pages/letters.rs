//! Letters: chosen, shown as they would be, made, printed, marked sent.

use maud::{Markup, html};

use crate::desk::page::{hidden, moment, of_referral, see};
use crate::desk::screened::file_name;
use crate::desk::visit::{NoReply, Reply, Visit, capital, words};
use crate::register::entry::RegisterEntry;
use crate::register::happening::Happening;
use crate::register::state::ReferralState;
use crate::report::letter::{Letter, LetterDetails, letter};
use crate::rule_set::letter::LetterKind;

/// What letters of a referral may be made of now.
struct Writing {
    state: ReferralState,
    details: LetterDetails,
}

impl Writing {
    fn of(visit: &Visit<'_>) -> Result<Self, NoReply> {
        let state = visit.referral()?;
        let head = visit.register().head()?;
        let details = LetterDetails {
            clinic: visit.clinic().map(str::to_owned),
            made_on: visit.today(),
            head: u64::try_from(head.seq).ok().map(|seq| (seq, head.digest)),
            decided: state.standing_decision().map(|it| it.decided.outcome),
        };
        Ok(Self { state, details })
    }

    /// The letter, or why there is none in words.
    fn letter(&self, visit: &Visit<'_>, kind: LetterKind) -> Result<Letter, String> {
        let text = self
            .state
            .questionnaire
            .as_deref()
            .ok_or("No answer was given yet.")?;
        let screener = visit.screener();
        let referral = screener
            .read(&file_name(&self.state.reference), text.as_bytes())
            .map_err(|refusal| words(&refusal.problems))?;
        let screening = screener.screening(&referral);
        letter(visit.rule_set(), kind, &referral, &screening, &self.details)
            .map_err(|why| format!("{}.", capital(&why.words())))
    }
}

fn kind(visit: &Visit<'_>) -> Result<LetterKind, NoReply> {
    let word = visit.path.get("kind").ok_or(NoReply::NotFound)?;
    LetterKind::from_word(word).ok_or(NoReply::NotFound)
}

/// Which letters there may be, and which were made.
pub(crate) fn choose(visit: &mut Visit<'_>) -> Reply {
    let writing = Writing::of(visit)?;
    let reference = &writing.state.reference;
    let body = html! {
        h1 { "Letters, " a href=(of_referral(reference, "")) { (reference) } }
        section {
            h2 { "To make" }
            ul {
                @for kind in LetterKind::ALL {
                    li {
                        @match writing.letter(visit, kind) {
                            Ok(_) => a href=(of_referral(reference, &format!("/letters/{}", kind.word()))) { (kind.title()) },
                            Err(why) => { (kind.title()) ": " (why) }
                        }
                    }
                }
            }
        }
        (made_before(&writing.state))
    };
    Ok(visit.page(&format!("Letters, {reference}"), body))
}

fn made_before(state: &ReferralState) -> Markup {
    html! {
        @if !state.letters.is_empty() {
            section {
                h2 { "Made" }
                ul {
                    @for it in state.letters.iter().rev() {
                        @let title = LetterKind::from_word(&it.letter).map_or(it.letter.clone(), |kind| kind.title().to_owned());
                        li {
                            a href=(of_referral(&state.reference, &format!("/letter/{}", it.seq))) { (title) ", " (moment(it.made)) }
                            @match it.sent { Some(at) => { ", sent " (at.format("%-d %b %Y")) }, None => ", not sent yet" }
                        }
                    }
                }
            }
        }
    }
}

/// A letter as it would be.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let (kind, writing) = (kind(visit)?, Writing::of(visit)?);
    let reference = &writing.state.reference;
    let letter = writing.letter(visit, kind).map_err(NoReply::Form)?;
    let body = html! {
        div.actions {
            p { "As it would be, " a href=(of_referral(reference, "/letters")) { "letters of " (reference) } }
            form method="post" action=(of_referral(reference, &format!("/letters/{}", kind.word()))) {
                (visit.token_field())
                (hidden("version", &writing.state.version.to_string()))
                button autofocus { "Make this letter" }
            }
        }
        (letter.markup())
    };
    Ok(visit.page(&format!("{}, {reference}", kind.title()), body))
}

/// Makes a letter.
pub(crate) fn make(visit: &mut Visit<'_>) -> Reply {
    let (kind, writing) = (kind(visit)?, Writing::of(visit)?);
    visit.must_be_current()?;
    visit.must_be_of(&writing.state)?;
    let letter = writing.letter(visit, kind).map_err(NoReply::Form)?;
    let reference = writing.state.reference.clone();
    let happening = Happening::LetterMade {
        letter: kind.word().to_owned(),
        text: letter.text(),
    };
    let entry = visit.write(Some(&reference), happening)?;
    Ok(see(&of_referral(
        &reference,
        &format!("/letter/{}", entry.seq),
    )))
}

/// A letter that was made, to be printed and marked sent.
pub(crate) fn made(visit: &mut Visit<'_>) -> Reply {
    let writing = Writing::of(visit)?;
    let (seq, reference) = (made_seq(visit)?, writing.state.reference.clone());
    let kept = writing
        .state
        .letters
        .iter()
        .find(|it| it.seq == seq)
        .ok_or(NoReply::NotFound)?;
    let entries = visit.register().entries(&reference)?;
    let entry = entries
        .iter()
        .find(|it| it.seq == seq)
        .ok_or(NoReply::NotFound)?;
    let Some(Happening::LetterMade { letter: word, text }) = &entry.happening else {
        return Err(NoReply::NotFound);
    };
    let body = html! {
        div.actions {
            p { "Made " (moment(kept.made)) ", entry " (seq) ". " a href=(of_referral(&reference, "/letters")) { "Letters of " (reference) } }
            @match kept.sent {
                Some(at) => p { "Sent " (moment(at)) "." },
                None => {
                    p { "Print it from the browser, then:" }
                    form method="post" action=(of_referral(&reference, &format!("/letter/{seq}"))) {
                        (visit.token_field())
                        button { "Mark as sent" }
                    }
                }
            }
        }
        (as_made(visit, writing.state.clone(), entry, word, text))
    };
    Ok(visit.page(&format!("Letter, {reference}"), body))
}

/// A letter as it was made: with its boxes and lines while the answers still give it word for word, else its words alone.
fn as_made(
    visit: &Visit<'_>,
    state: ReferralState,
    entry: &RegisterEntry,
    word: &str,
    text: &str,
) -> Markup {
    let details = LetterDetails {
        clinic: visit.clinic().map(str::to_owned),
        made_on: entry.at.date_naive(),
        head: u64::try_from(entry.seq - 1)
            .ok()
            .map(|seq| (seq, entry.previous.clone())),
        decided: state.standing_decision().map(|it| it.decided.outcome),
    };
    let again = Writing { state, details };
    let letter = LetterKind::from_word(word).and_then(|kind| again.letter(visit, kind).ok());
    match letter.filter(|it| it.text() == text) {
        Some(letter) => letter.markup(),
        None => html! { article.letter.words { (text) } },
    }
}

fn made_seq(visit: &Visit<'_>) -> Result<i64, NoReply> {
    let entry = visit.path.get("entry").ok_or(NoReply::NotFound)?;
    entry.parse().map_err(|_| NoReply::NotFound)
}

/// Marks a letter as sent. One that asks counts as having asked.
pub(crate) fn sent(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let made = made_seq(visit)?;
    let reference = state.reference.clone();
    let kept = state
        .letters
        .iter()
        .find(|it| it.seq == made)
        .ok_or(NoReply::NotFound)?;
    let mut all = vec![Happening::LetterSent { made }];
    let asks = LetterKind::from_word(&kept.letter).and_then(LetterKind::asks);
    let asked = asks.map(|to| (to, state.to_ask(to)));
    if let Some((to, questions)) = asked.filter(|(_, it)| !it.is_empty()) {
        let how = "letter".to_owned();
        all.push(Happening::QuestionSent { questions, to, how });
    }
    visit.write_all(&reference, None, all)?;
    Ok(see(&of_referral(&reference, "/letters")))
}
