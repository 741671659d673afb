//! A screening as cards of CDS Hooks 2.0 (HL7 International, CDS Hooks, release 2.0, 2022): the verdict always, and one for each
//! finding that stands against surgery.
//!
//! INVARIANT: there is always a card. In that standard no card means that there is nothing to say, which of a patient whom nobody
//! could screen would be taken for a go. No card suggests or changes anything in a record.

use chrono::NaiveDate;
use serde_json::{Value, json};

use crate::document::diagnostic::Diagnostic;
use crate::outcome::{Outcome, Standing, Urgency};
use crate::report::list::nothing_against;
use crate::report::markdown::escape::{code, inline};
use crate::report::outward::{Outward, some, uuid, uuid_of, with};
use crate::report::page::one_line;
use crate::report::words::counted;
use crate::report::{SAFETY, markdown, words};
use crate::rule_set::{MaySetAside, Status};
use crate::screening::result::{Cited, Finding, Refusal, Screening};

/// The standard's bound of a summary: fewer letters than this. They are counted as most clients count them, in units of UTF-16.
const SUMMARY: usize = 140;

/// What stands at the end of a summary that had to be cut.
const CUT: &str = " ... (more below)";

/// One card.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// Its id: the same for the same screening and rule.
    pub uuid: String,
    /// The rule it is about; `None` for the verdict.
    pub rule: Option<String>,
    /// What it says in a sentence.
    pub summary: String,
    /// The card as the standard has it.
    pub shown: Value,
}

/// The cards of one patient: the verdict, then what stands against surgery, worst first.
pub fn cards(outward: &Outward<'_>, screening: &Screening) -> Vec<Card> {
    let against = screening.against();
    std::iter::once(verdict(outward, screening))
        .chain(against.map(|it| finding(outward, screening, it)))
        .collect()
}

/// The card for an appointment on a day for which nobody screened.
pub fn for_another_day(outward: &Outward<'_>, screening: &Screening, booked: NaiveDate) -> Card {
    let uuid = uuid(screening, &format!("card of {booked}"));
    let text = format!(
        "{}: the appointment is on {}, and the surgery is planned for another day",
        screening.reference,
        words::day(booked)
    );
    let planned = words::surgery(screening);
    let planned = planned.map_or_else(|| "no day".to_owned(), |it| inline(&it));
    let detail = format!(
        "The answers plan {planned}, and the verdict holds for that alone: results age, and what is taken changes. \
         If the surgery is on {}, change the plan in the answers and screen them again.\n\n**{}**\n",
        words::day(booked),
        inline(SAFETY)
    );
    of_no_rule(outward, uuid, &text, detail)
}

/// The card of a file that was not screened.
pub fn refused(outward: &Outward<'_>, refusal: &Refusal) -> Card {
    let titles = refusal.problems.iter().map(|it| it.title.as_str());
    let name = titles.clone().collect::<Vec<&str>>().join("\n");
    let uuid = uuid_of(&format!("{}\n{name}", refusal.path));
    let n = counted(refusal.problems.len(), "problem", "problems");
    let problems: String = refusal.problems.iter().map(problem).collect();
    let of = refusal.reference.as_deref().unwrap_or("A patient");
    let text = format!("{of}: NOT SCREENED, and not a go. The answers were refused ({n})");
    let detail = format!("{problems}\n**{}**\n", inline(SAFETY));
    of_no_rule(outward, uuid, &text, detail)
}

/// A card that warns of what no rule says.
fn of_no_rule(outward: &Outward<'_>, uuid: String, text: &str, detail: String) -> Card {
    let summary = summary(outward, text);
    let shown = json!({
        "uuid": uuid,
        "summary": summary,
        "detail": detail,
        "indicator": "warning",
        "source": { "label": label(outward) },
    });
    Card {
        uuid,
        rule: None,
        summary,
        shown,
    }
}

/// An entry of a list.
fn problem(found: &Diagnostic) -> String {
    let place = found
        .place()
        .map_or_else(String::new, |it| format!("{it}: "));
    let words = inline(&format!("{place}{}. {}", found.title, found.help));
    format!("- {words} ({})\n", code(found.code.name()))
}

/// What a service answers with.
pub fn object(cards: &[Card]) -> Value {
    json!({ "cards": cards.iter().map(|it| &it.shown).collect::<Vec<&Value>>() })
}

fn verdict(outward: &Outward<'_>, screening: &Screening) -> Card {
    let verdict = screening.verdict();
    let word = verdict.outcome.word();
    let uuid = uuid(screening, "card of the verdict");
    let text = format!(
        "{}: {}. {}",
        screening.reference,
        verdict.verdict_words(),
        in_short(screening)
    );
    let summary = summary(outward, &text);
    let shown = json!({
        "uuid": uuid,
        "summary": summary,
        "detail": markdown::one(screening, false),
        "indicator": indicator(verdict),
        "source": { "label": label(outward), "topic": outward.coding("verdicts", word, word) },
    });
    let fires = screening.findings.iter().map(|it| (&it.rule, it.outcome));
    let waits = screening.undetermined.iter();
    let against = fires
        .chain(waits.map(|it| (&it.rule, it.outcome_if_fires)))
        .filter(|(_, outcome)| *outcome > Outcome::Go);
    let rules: Vec<&str> = against.map(|(rule, _)| rule.as_str()).collect();
    Card {
        uuid,
        rule: None,
        summary,
        shown: with(shown, "overrideReasons", reasons(outward, &rules)),
    }
}

fn finding(outward: &Outward<'_>, screening: &Screening, finding: &Finding) -> Card {
    let standing = finding.standing();
    let uuid = uuid(screening, &format!("card of {}", finding.rule));
    let text = format!(
        "{}: {} ({})",
        screening.reference,
        finding.title,
        standing.words()
    );
    let topic = outward.coding("rules", &finding.rule, &finding.title);
    let summary = summary(outward, &text);
    let shown = json!({
        "uuid": uuid,
        "summary": summary,
        "detail": format!("{}{}", markdown::against_it(finding), set_aside(outward, finding)),
        "indicator": indicator(standing),
        "source": { "label": label(outward), "topic": topic },
    });
    let shown = with(shown, "links", some(links(outward, &finding.citations)));
    Card {
        uuid,
        rule: Some(finding.rule.clone()),
        summary,
        shown: with(shown, "overrideReasons", reasons(outward, &[&finding.rule])),
    }
}

/// Who may decide against a finding. A card that is put aside decides nothing.
fn set_aside(outward: &Outward<'_>, finding: &Finding) -> String {
    let rule = outward.rule(&finding.rule);
    let by = rule.map_or(MaySetAside::Never, |it| it.set_aside).words();
    format!(
        "\nThe finding may be set aside {by}, at the desk; whoever puts this card aside has not done so.\n"
    )
}

/// What the verdict rests on in a few words, none of them from the patient's file. A go says that nothing else was looked at: of
/// what no rule looks at it says nothing.
fn in_short(screening: &Screening) -> String {
    let mut against = screening.against();
    let first = against.next();
    let reason = match (first, against.count(), screening.unrecognised.len()) {
        (Some(first), 0, _) => first.title.clone(),
        (Some(first), n, _) => format!("{}; {n} more", first.title),
        (None, _, 0) => nothing_against(screening),
        (None, _, n) => counted(n, "name not recognised", "names not recognised"),
    };
    let could_be = screening.span.could_be();
    let could_be = could_be.map_or_else(String::new, |it| format!("Could be {}. ", it.words()));
    let n = screening.rule_set.concerns.len();
    let looked_at = counted(n, "concern", "concerns");
    match screening.verdict().outcome {
        Outcome::Go => format!("{looked_at} looked at, nothing else; {reason}"),
        Outcome::Defer | Outcome::Refer => format!("{could_be}{reason}"),
    }
}

/// By how fast somebody must act, whatever the verdict.
fn indicator(standing: Standing) -> &'static str {
    match (standing.urgency, standing.outcome) {
        (Some(Urgency::Urgent | Urgency::SameDay), _) => "critical",
        (_, Outcome::Defer | Outcome::Refer) => "warning",
        (_, Outcome::Go) => "info",
    }
}

/// Where a card comes from: the rule set, and how far it has come.
fn label(outward: &Outward<'_>) -> String {
    one_line(&words::edition(outward.rule_set)).into_owned()
}

/// The reasons for which a clinician may decide against all of these rules; none where one of them may be set aside by nobody.
fn reasons(outward: &Outward<'_>, rules: &[&str]) -> Option<Value> {
    let may_be = |rule: &&str| {
        let rule = outward.rule(rule);
        rule.is_some_and(|it| it.set_aside != MaySetAside::Never)
    };
    if rules.is_empty() || !rules.iter().all(may_be) {
        return None;
    }
    let reasons = outward.rule_set.reasons.iter();
    let reasons = reasons.map(|it| outward.coding("reasons", &it.id, &it.text));
    some(reasons.collect())
}

/// The publishers' pages of what is cited, each once.
fn links(outward: &Outward<'_>, citations: &[Cited]) -> Vec<Value> {
    let mut told: Vec<&str> = Vec::new();
    let mut links = Vec::new();
    for cited in citations {
        let Some(url) = outward.link(cited).filter(|it| !told.contains(it)) else {
            continue;
        };
        told.push(url);
        let label = words::cited(cited);
        links.push(json!({ "label": one_line(&label), "url": url, "type": "absolute" }));
    }
    links
}

/// A summary that fits, with what must be known of the rule set before anything else. What does not fit is cut at a word, and says
/// so: all of it stands in the detail.
fn summary(outward: &Outward<'_>, text: &str) -> String {
    let status = match outward.rule_set.status {
        Status::Draft => "DRAFT RULES. ",
        Status::Approved => "",
        Status::Withdrawn => "WITHDRAWN RULES. ",
    };
    let text = format!("{status}{}", one_line(text));
    let units = |text: &str| text.encode_utf16().count();
    if units(&text) < SUMMARY {
        return text;
    }
    let mut cut = String::new();
    for word in text.split_inclusive(' ') {
        if units(&cut) + units(word.trim_end()) + units(CUT) >= SUMMARY {
            break;
        }
        cut.push_str(word);
    }
    format!("{}{CUT}", cut.trim_end())
}
