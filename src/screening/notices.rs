//! What must be known of a rule set before a screening with it is read: its approval, its dates, its local policy.
//!
//! Rules are evaluated whatever `in_force_from` says: leaving one out because of its date would be
//! less cautious. The date is for the record.

use chrono::NaiveDate;

use crate::rule_set::{LocalPolicy, RuleSet, Status};
use crate::screening::result::{LocalShown, LocalStamp, SourceStamp};

/// Whole sentences, the gravest first; none for an approved rule set in force.
///
/// # Missing data
/// While the day of surgery is not known, the day of the screening counts for whether the rule set is in force.
pub fn notices(
    rule_set: &RuleSet,
    as_of: NaiveDate,
    procedure_on: Option<NaiveDate>,
) -> Vec<String> {
    let mut found = Vec::new();
    found.extend(match (rule_set.status, &rule_set.approval, &rule_set.withdrawn) {
        (Status::Draft, _, _) => Some("This rule set is a draft: nobody has approved it for use.".to_owned()),
        (Status::Withdrawn, _, withdrawn) => {
            let on = withdrawn.as_ref().map_or(String::new(), |it| format!(" on {}", day(it.on)));
            Some(format!("This rule set was withdrawn{on}: nobody may use it."))
        }
        (Status::Approved, Some(approval), _) if approval.digest != rule_set.digest => {
            let on = day(approval.on);
            Some(format!("This rule set is not the one that was approved on {on}: its content has changed since."))
        }
        (Status::Approved, Some(approval), _) if approval.on > as_of => {
            Some(format!("This rule set is to be approved only on {}: on the day of this screening nobody has.", day(approval.on)))
        }
        (Status::Approved, _, _) => None,
    });
    if rule_set.review_by < as_of {
        found.push(format!(
            "This rule set was to be reviewed by {}; that day has passed.",
            day(rule_set.review_by)
        ));
    }
    let (counts, what) = procedure_on.map_or((as_of, "screening"), |on| (on, "surgery"));
    if counts < rule_set.in_force_from {
        found.push(format!(
            "This rule set is in force only from {}, and the {what} is on {}.",
            day(rule_set.in_force_from),
            day(counts)
        ));
    }
    found.extend(rule_set.local.iter().flat_map(|it| early(it, as_of)));
    found
}

/// Changes that count although nobody had agreed to them by the day of the screening.
fn early(local: &LocalPolicy, as_of: NaiveDate) -> impl Iterator<Item = String> {
    local
        .changes
        .iter()
        .filter(move |it| it.agreed_on > as_of)
        .map(|it| format!("The local policy has a change that is agreed only on {}, after this screening: {}.", day(it.agreed_on), it.what))
}

/// What the clinic changed, as of a day; `None` without a local policy.
pub fn local(rule_set: &RuleSet, as_of: NaiveDate) -> Option<LocalStamp> {
    let local = rule_set.local.as_ref()?;
    Some(LocalStamp {
        clinic: local.clinic.clone(),
        source: SourceStamp {
            path: local.path.clone(),
            digest: local.digest.clone(),
        },
        changes: local
            .changes
            .iter()
            .map(|change| LocalShown {
                change: change.clone(),
                overdue: change.review_by < as_of,
            })
            .collect(),
    })
}

fn day(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}
