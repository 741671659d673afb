//! Deciding: what was read is what is signed, each finding that a decision goes against is set aside by itself.

use axum::http::StatusCode;
use maud::{Markup, html};

use crate::desk::guard::token;
use crate::desk::page::{hidden, of_referral, see};
use crate::desk::screened::{Extent, Seen, digest, screened, seen};
use crate::desk::visit::{Fields, NoReply, Reply, Visit, capital};
use crate::outcome::Outcome;
use crate::register::decide::{Lacking, against, may_decide};
use crate::register::happening::{Decided, Happening, RuleSetAside, RuleTold, Screened};
use crate::register::people::Person;
use crate::register::state::ReferralState;
use crate::report::brief::Brief;
use crate::report::html as report;
use crate::rule_set::{MaySetAside, RuleSet};
use crate::screening::result::Screening;

/// The page.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let screening = screening(visit, &state)?;
    let form = token()?;
    let body = page(visit, &state, &screening, &form, &[])?;
    Ok(visit.page(&format!("Decide, {}", state.reference), body))
}

/// What is decided on: the screening of today.
fn screening(visit: &Visit<'_>, state: &ReferralState) -> Result<Screening, NoReply> {
    match seen(&visit.screener(), state) {
        Seen::Screening(it) => Ok(*it),
        Seen::Refused(_) => Err(NoReply::Form(
            "The answers cannot be screened as they stand, so nothing can be decided on them."
                .into(),
        )),
        Seen::Nothing => Err(NoReply::Form("No answer was given yet.".into())),
    }
}

/// The sentence that is signed. Its digests fix what was read.
fn sentence(
    person: &Person,
    reference: &str,
    seen: &str,
    screening: &Screening,
    outcome: &str,
) -> String {
    let short = |it: &str| it.chars().take(12).collect::<String>();
    format!(
        "I, {}, have read the screening of {reference} of {} ({}; seen as {}) by rule set {} {} ({}), and decide {outcome}.",
        person.initials,
        screening.as_of.format("%-d %b %Y"),
        screening.verdict().verdict_words(),
        short(seen),
        screening.rule_set.id,
        screening.rule_set.edition,
        short(&screening.rule_set.digest),
    )
}

fn page(
    visit: &Visit<'_>,
    state: &ReferralState,
    screening: &Screening,
    form: &str,
    wrong: &[String],
) -> Result<Markup, NoReply> {
    let person = visit.person()?;
    let seen = digest(screening);
    let short = Screened::of(screening, serde_json::Value::Null, false);
    let typed = &visit.form;
    let is_chosen = |it: Outcome| typed.get("outcome") == Some(it.word());
    let standing = against(&short, Outcome::Go);
    Ok(html! {
        article.report { (report::one(&Brief::of(screening))) }
        section {
            h2 { "Decision on " a href=(of_referral(&state.reference, "")) { (state.reference) } ", screened as " (screening.verdict().verdict_words()) }
            @if !wrong.is_empty() {
                div.errors role="alert" tabindex="-1" {
                    h3 { "Not signed" }
                    ul { @for it in wrong { li { (capital(it)) "." } } }
                }
            }
            form method="post" action=(of_referral(&state.reference, "/decide")) {
                (visit.token_field())
                (hidden("version", &state.version.to_string()))
                (hidden("seen", &seen))
                (hidden("once", form))
                fieldset.field {
                    legend { "Decision" }
                    div.choices {
                        @for it in [Outcome::Go, Outcome::Defer, Outcome::Refer] {
                            label { input type="radio" name="outcome" value=(it.word()) required checked[is_chosen(it)]; " " (it.word()) }
                        }
                    }
                }
                @if !short.to_read.is_empty() {
                    fieldset.field {
                        legend { "Read" }
                        @for it in &short.to_read { (to_read(typed, it)) }
                    }
                }
                @if !standing.is_empty() {
                    h3 { "Set aside" }
                    p { "Only for a decision less cautious than " (screening.verdict().verdict_words()) ": each rule that then stands against it, one by one. Leave the others empty." }
                    @for rule in &standing { (aside(visit.rule_set(), typed, rule)) }
                }
                (signing(visit.rule_set(), &standing))
                p { (sentence(person, &state.reference, &seen, screening, "as chosen above")) }
                div.field {
                    label for="passphrase" { "Passphrase of " (person.initials) ", again" }
                    input id="passphrase" name="passphrase" type="password" autocomplete="off" required;
                }
                button { "Sign" }
            }
        }
    })
}

fn to_read(typed: &Fields, text: &str) -> Markup {
    let is_read = typed.all("read").any(|it| it.replace("\r\n", "\n") == text);
    html! {
        div.choices { label { input type="checkbox" name="read" value=(text) checked[is_read]; " I have read: " q.quoted { (text) } } }
    }
}

/// The fields by which one rule is set aside, or that nobody may.
fn aside(rule_set: &RuleSet, typed: &Fields, rule: &RuleTold) -> Markup {
    let may = may_set_aside(rule_set, &rule.rule);
    let (reason, why) = (
        format!("reason.{}", rule.rule),
        format!("why.{}", rule.rule),
    );
    html! {
        fieldset.field.aside {
            legend { (rule.title) " (" (rule.outcome.word()) ")" }
            @if may == MaySetAside::Never {
                p { "Nobody may set this aside: what it says must change first." }
            } @else {
                @if may == MaySetAside::Two { p { "Two clinicians must sign." } }
                div.field {
                    label for=(reason) { "Reason" }
                    select id=(reason) name=(reason) {
                        option value="" { "not set aside" }
                        @for it in &rule_set.reasons { option value=(it.id) selected[typed.get(&reason) == Some(&it.id)] { (it.text) } }
                    }
                }
                div.field {
                    label for=(why) { "In a sentence" }
                    input id=(why) name=(why) maxlength="1000" value=[typed.get(&why)] autocomplete="off";
                }
            }
        }
    }
}

fn may_set_aside(rule_set: &RuleSet, rule: &str) -> MaySetAside {
    // A rule that is not known is not one that somebody may set aside.
    let known = rule_set.judging.iter().find(|it| it.id == rule);
    known.map_or(MaySetAside::Never, |it| it.set_aside)
}

/// Where a second clinician signs, if some rule asks for two.
fn signing(rule_set: &RuleSet, standing: &[&RuleTold]) -> Markup {
    let needs_two = standing
        .iter()
        .any(|it| may_set_aside(rule_set, &it.rule) == MaySetAside::Two);
    html! {
        @if needs_two {
            fieldset.field {
                legend { "The second clinician, if a rule above needs two" }
                div.field { label for="second" { "Initials" } input id="second" name="second" maxlength="12" autocomplete="off"; }
                div.field { label for="second-passphrase" { "Passphrase" } input id="second-passphrase" name="second-passphrase" type="password" autocomplete="off"; }
            }
        }
    }
}

/// Signs. Nothing is written unless all of it is right.
pub(crate) fn sign(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    visit.must_be_current()?;
    let screening = screening(visit, &state)?;
    let once = visit.text("once")?;
    let mut wrong = Vec::new();
    if visit.field("version")? != state.version.to_string()
        || visit.field("seen")? != digest(&screening)
    {
        wrong.push("what is signed is not what was read: something was written since, or it is another day. Read it again below".to_owned());
    }
    let outcome = visit.form.get("outcome").and_then(Outcome::from_word);
    let Some(outcome) = outcome else {
        return refused(
            visit,
            &state,
            &screening,
            &once,
            &["choose what is decided".to_owned()],
        );
    };
    let short = Screened::of(&screening, serde_json::Value::Null, false);
    let person = visit.person()?.clone();
    let set_aside: Vec<RuleSetAside> = against(&short, Outcome::Go)
        .into_iter()
        .filter_map(|rule| {
            let of = |field: &str| {
                visit
                    .form
                    .trimmed(&format!("{field}.{}", rule.rule))
                    .to_owned()
            };
            let (reason, sentence) = (of("reason"), of("why"));
            let rule = rule.rule.clone();
            (!reason.is_empty() || !sentence.is_empty()).then_some(RuleSetAside {
                rule,
                reason,
                sentence,
            })
        })
        .collect();
    let second = visit.form.trimmed("second").to_owned();
    let mut decided = Decided {
        screening: 0,
        outcome,
        set_aside,
        read: visit
            .form
            .all("read")
            .map(|it| it.replace("\r\n", "\n"))
            .collect(),
        second: (!second.is_empty()).then(|| second.clone()),
        sentence: sentence(
            &person,
            &state.reference,
            &digest(&screening),
            &screening,
            outcome.word(),
        ),
    };
    let mut signs = vec![person.clone()];
    if !second.is_empty() {
        let passphrase = visit.form.trimmed("second-passphrase").to_owned();
        match visit.verify(&second, &passphrase)? {
            Ok(second) => signs.push(second),
            Err(why) => wrong.push(format!("the second signature: {why}")),
        }
    }
    if let Err(lacking) = may_decide(visit.rule_set(), &short, &decided, &signs) {
        wrong.extend(lacking.iter().map(Lacking::to_string));
    }
    if wrong.is_empty() {
        // Last, so that a slip elsewhere does not cost a passphrase.
        let passphrase = visit.field("passphrase")?.to_owned();
        if let Err(why) = visit.verify(&person.initials, &passphrase)? {
            wrong.push(why);
        }
    }
    if !wrong.is_empty() {
        return refused(visit, &state, &screening, &once, &wrong);
    }
    let reference = state.reference.clone();
    // The screening that was read is the next entry; the register holds the decision to it.
    decided.screening = visit.register().head()?.seq.saturating_add(1);
    let both = vec![
        screened(&visit.screener(), &screening, Extent::Whole),
        Happening::Decided(decided),
    ];
    visit.write_all(&reference, Some(once), both)?;
    Ok(see(&of_referral(&reference, "")))
}

/// The page again, with what is wrong and all that was chosen; never with a passphrase.
fn refused(
    visit: &Visit<'_>,
    state: &ReferralState,
    screening: &Screening,
    once: &str,
    wrong: &[String],
) -> Reply {
    let body = page(visit, state, screening, once, wrong)?;
    Ok(visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not signed", body))
}
