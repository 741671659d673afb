//! Deciding, in two steps: first what is decided, each finding that it goes against set aside by itself; then the sentence that
//! says so, and the passphrase. INVARIANT: what is signed is byte for byte the sentence that was shown.

use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use serde_json::Value;

use crate::desk::guard::token;
use crate::desk::page::{hidden, of_referral, see};
use crate::desk::screened::{Extent, Seen, digest, screened, seen};
use crate::desk::visit::{Fields, NoReply, Reply, Visit, capital};
use crate::outcome::Outcome;
use crate::register::decide::{Lacking, against, may_decide};
use crate::register::happening::{Decided, Happening, RuleSetAside, RuleTold, Screened};
use crate::register::state::ReferralState;
use crate::report::brief::Brief;
use crate::report::html as report;
use crate::rule_set::{MaySetAside, RuleSet};
use crate::screening::result::Screening;

/// The first step.
pub(crate) fn show(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    let screening = screening(visit, &state)?;
    let body = choosing(visit, &state, &screening, &[]);
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
    visit: &Visit<'_>,
    screening: &Screening,
    decided: &Decided,
) -> Result<String, NoReply> {
    let short = |it: &str| it.chars().take(12).collect::<String>();
    let rule_set = &screening.rule_set;
    let mut files = vec![format!("the answers {}", short(&screening.source.digest))];
    files.push(format!(
        "rule set {} {} ({})",
        rule_set.id,
        rule_set.edition,
        short(&rule_set.digest)
    ));
    let clinic = screening.clinic.as_ref();
    files.extend(clinic.map(|it| format!("the clinic's file {}", short(&it.digest))));
    let local = screening.local_policy.as_ref();
    files.extend(local.map(|it| format!("the local policy {}", short(&it.source.digest))));
    let asides: Vec<String> = decided
        .set_aside
        .iter()
        .map(|it| format!("{} ({}: {})", it.rule, it.reason, it.sentence))
        .collect();
    let aside = if asides.is_empty() {
        String::new()
    } else {
        format!(", setting aside {}", asides.join("; "))
    };
    let second = decided.second.as_ref();
    Ok(format!(
        "I, {}{}, have read the screening of {} of {} by preblock {}: {} (seen as {}), of {}; and decide {}{aside}.",
        visit.person()?.initials,
        second.map_or_else(String::new, |it| format!(", and I, {it}")),
        screening.reference,
        screening.as_of.format("%-d %b %Y"),
        env!("CARGO_PKG_VERSION"),
        screening.verdict().verdict_words(),
        short(&digest(screening)),
        files.join(", "),
        decided.outcome.word(),
    ))
}

/// The page on which somebody chooses, with what is wrong and all that was chosen before.
fn choosing(
    visit: &Visit<'_>,
    state: &ReferralState,
    screening: &Screening,
    wrong: &[String],
) -> Markup {
    let short = Screened::of(screening, Value::Null, false);
    let typed = &visit.form;
    let is_chosen = |it: Outcome| typed.get("outcome") == Some(it.word());
    let standing = against(&short, Outcome::Go);
    let needs_two = standing
        .iter()
        .any(|it| may_set_aside(visit.rule_set(), &it.rule) == MaySetAside::Two);
    html! {
        article.report { (report::one(&Brief::of(screening))) }
        section {
            h2 { "Decision on " a href=(of_referral(&state.reference, "")) { (state.reference) } ", screened as " (screening.verdict().verdict_words()) }
            (told(wrong))
            form method="post" action=(of_referral(&state.reference, "/decide")) {
                (visit.token_field())
                (hidden("version", &state.version.to_string()))
                (hidden("seen", &digest(screening)))
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
                        @for (n, it) in (1..).zip(&short.to_read) { (to_read(typed, n, it)) }
                    }
                }
                @if !standing.is_empty() {
                    h3 { "Set aside" }
                    p { "Only for a decision less cautious than " (screening.verdict().verdict_words()) ": each rule that then stands against it, one by one. Leave the others empty." }
                    @for rule in &standing { (aside(visit.rule_set(), typed, rule)) }
                }
                @if needs_two {
                    div.field {
                        label for="second" { "Initials of the second clinician, if a rule that is set aside needs two" }
                        input id="second" name="second" maxlength="12" autocomplete="off" value=[typed.get("second")];
                    }
                }
                button { "Read what is signed" }
            }
        }
    }
}

/// What is wrong, if anything is.
fn told(wrong: &[String]) -> Markup {
    html! {
        @if !wrong.is_empty() {
            div.errors role="alert" tabindex="-1" {
                h3 { "Not signed" }
                ul { @for it in wrong { li { (capital(it)) "." } } }
            }
        }
    }
}

/// The page on which the sentence stands and is signed. It carries all that was chosen.
fn signing(
    visit: &Visit<'_>,
    state: &ReferralState,
    decided: &Decided,
    once: &str,
    wrong: &[String],
) -> Result<Markup, NoReply> {
    let to = |page: &str| of_referral(&state.reference, page);
    let is_carried = |name: &str| {
        ![
            "form",
            "once",
            "sentence",
            "passphrase",
            "second-passphrase",
        ]
        .contains(&name)
    };
    let passphrase = |id: &str, initials: &str| {
        html! {
            div.field {
                label for=(id) { "Passphrase of " (initials) ", again" }
                input id=(id) name=(id) type="password" autocomplete="off" required;
            }
        }
    };
    Ok(html! {
        h1 { "Sign, " a href=(to("")) { (state.reference) } }
        (told(wrong))
        p { "This is what is signed, word for word:" }
        blockquote.quoted { (decided.sentence) }
        form method="post" action=(to("/sign")) {
            (visit.token_field())
            @for (name, value) in visit.form.iter().filter(|(name, _)| is_carried(name)) { (hidden(name, value)) }
            (hidden("once", once))
            (hidden("sentence", &decided.sentence))
            (passphrase("passphrase", &visit.person()?.initials))
            @if let Some(second) = &decided.second { (passphrase("second-passphrase", second)) }
            button { "Sign" }
        }
        p { a href=(to("/decide")) { "Choose again" } }
    })
}

/// By its number: a text may come back from a browser otherwise than it went there.
fn to_read(typed: &Fields, n: usize, text: &str) -> Markup {
    html! {
        div.choices { label { input type="checkbox" name="read" value=(n) checked[is_read(typed, n)]; " I have read: " q.quoted { (text) } } }
    }
}

fn is_read(typed: &Fields, n: usize) -> bool {
    typed.all("read").any(|it| it.parse() == Ok(n))
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

/// What somebody chose, or all that it lacks.
fn chosen(
    visit: &Visit<'_>,
    state: &ReferralState,
    screening: &Screening,
) -> Result<Result<Decided, Vec<String>>, NoReply> {
    if visit.field("version")? != state.version.to_string()
        || visit.field("seen")? != digest(screening)
    {
        return Ok(Err(vec!["what is signed is not what was read: something was written since, or it is another day. Read it again above".to_owned()]));
    }
    let outcome = visit.form.get("outcome").and_then(Outcome::from_word);
    let Some(outcome) = outcome else {
        return Ok(Err(vec!["choose what is decided".to_owned()]));
    };
    let short = Screened::of(screening, Value::Null, false);
    let set_aside = against(&short, Outcome::Go).into_iter().filter_map(|rule| {
        let of = |field: &str| visit.form.trimmed(&format!("{field}.{}", rule.rule));
        let (reason, sentence) = (of("reason"), of("why"));
        (!reason.is_empty() || !sentence.is_empty()).then(|| RuleSetAside {
            rule: rule.rule.clone(),
            reason: reason.to_owned(),
            sentence: sentence.to_owned(),
        })
    });
    let second = Some(visit.form.trimmed("second")).filter(|it| !it.is_empty());
    let mut decided = Decided {
        screening: 0,
        outcome,
        set_aside: set_aside.collect(),
        read: (1..)
            .zip(&short.to_read)
            .filter(|(n, _)| is_read(&visit.form, *n))
            .map(|(_, it)| it.clone())
            .collect(),
        second: second.map(str::to_owned),
        sentence: String::new(),
    };
    decided.sentence = sentence(visit, screening, &decided)?;
    let mut signs = vec![visit.person()?.clone()];
    if let Some(second) = second {
        let people = visit.register().people()?;
        match people.into_iter().find(|it| it.initials == second) {
            Some(second) => signs.push(second),
            None => {
                return Ok(Err(vec![
                    "the second clinician is nobody of this register".to_owned(),
                ]));
            }
        }
    }
    Ok(may_decide(visit.rule_set(), &short, &decided, &signs)
        .map(|()| decided)
        .map_err(|lacking| lacking.iter().map(Lacking::to_string).collect()))
}

/// The second step, once nothing is lacking. Nothing is written.
pub(crate) fn choose(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    visit.must_be_current()?;
    let screening = screening(visit, &state)?;
    match chosen(visit, &state, &screening)? {
        Ok(decided) => {
            let body = signing(visit, &state, &decided, &token()?, &[])?;
            Ok(visit.page(&format!("Sign, {}", state.reference), body))
        }
        Err(wrong) => Ok(refused(visit, choosing(visit, &state, &screening, &wrong))),
    }
}

/// Signs. Nothing is written unless all of it is right.
pub(crate) fn sign(visit: &mut Visit<'_>) -> Reply {
    let state = visit.referral()?;
    visit.must_be_current()?;
    let screening = screening(visit, &state)?;
    let once = visit.text("once")?;
    let decided = match chosen(visit, &state, &screening)? {
        Ok(decided) if visit.field("sentence")? == decided.sentence => Ok(decided),
        Ok(_) => Err(vec![
            "the sentence is not the one that was shown".to_owned(),
        ]),
        Err(wrong) => Err(wrong),
    };
    let mut decided = match decided {
        Ok(decided) => decided,
        Err(wrong) => return Ok(refused(visit, choosing(visit, &state, &screening, &wrong))),
    };
    let mut wrong = Vec::new();
    let second = decided.second.clone().map(|it| (it, "second-passphrase"));
    let first = (visit.person()?.initials.clone(), "passphrase");
    for (initials, field) in second.into_iter().chain([first]) {
        // A slip of the second one costs the first no passphrase.
        if wrong.is_empty() {
            let passphrase = visit.form.get(field).map(str::to_owned);
            let refused = match passphrase.filter(|it| !it.is_empty()) {
                Some(passphrase) => visit.verify(&initials, &passphrase)?.err(),
                None => Some("the passphrase is missing".to_owned()),
            };
            wrong.extend(refused.map(|why| format!("{initials}: {why}")));
        }
    }
    if !wrong.is_empty() {
        let body = signing(visit, &state, &decided, &once, &wrong)?;
        return Ok(refused(visit, body));
    }
    // The screening that was read is the next entry; the register holds the decision to it.
    decided.screening = visit.register().head()?.seq.saturating_add(1);
    let both = vec![
        screened(&visit.screener(), &screening, Extent::Whole),
        Happening::Decided(decided),
    ];
    visit.write_all(&state.reference, Some(once), both)?;
    Ok(see(&of_referral(&state.reference, "")))
}

/// A page of what came to nothing; never with a passphrase.
fn refused(visit: &Visit<'_>, body: Markup) -> Response {
    visit.page_with(StatusCode::UNPROCESSABLE_ENTITY, "Not signed", body)
}
