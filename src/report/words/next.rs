//! What is to be done next, in one line.

use crate::outcome::Urgency;
use crate::report::words::{counted, plan};
use crate::screening::result::{Asked, Next, NextKind, Screening};

/// Most things to wait for that are named before the rest is counted.
const MOST_WAITS: usize = 2;

/// The whole line: "change the plan: one method instead of another; then ask 2 answers (patient 1, record 1)".
pub fn next(next: &Next) -> String {
    next_waiting(next, &wait(next, MOST_WAITS))
}

/// The same in a list, where one thing to wait for stands for all.
pub fn next_in_a_row(next: &Next) -> String {
    next_waiting(next, &wait(next, 1))
}

/// The same above findings that each say what would lift them.
pub fn next_above(next: &Next) -> String {
    let wait = match next.wait_for.len() {
        1 => "wait for what lifts it",
        _ => "wait for what lifts each finding",
    };
    next_waiting(next, wait)
}

fn next_waiting(next: &Next, wait: &str) -> String {
    let asks = asks(&next.ask);
    let (before, after) = match next.kind {
        NextKind::Book => ("book".to_owned(), None),
        NextKind::Refer => (
            refer(next),
            asks.map(|it| format!("first {it}, which could make it more pressing")),
        ),
        NextKind::ChangePlan => (change_plan(next), asks.map(|it| format!("then {it}"))),
        NextKind::Wait => (wait.to_owned(), asks.map(|it| format!("meanwhile {it}"))),
        NextKind::Ask => {
            let then = if next.plan.is_empty() {
                (!next.wait_for.is_empty()).then(|| wait.to_owned())
            } else {
                Some(change_plan(next))
            };
            (ask(next, asks), then.map(|it| format!("then {it}")))
        }
    };
    after.map_or(before.clone(), |after| format!("{before}; {after}"))
}

/// Whether precautions are worth printing: not where the patient goes elsewhere, whatever the plan.
pub fn may_go_ahead(screening: &Screening) -> bool {
    screening
        .next
        .as_ref()
        .is_none_or(|it| it.kind != NextKind::Refer)
}

fn refer(next: &Next) -> String {
    let to = match next.refer_to.split_last() {
        None => String::new(),
        Some((last, [])) => format!(" to {last}"),
        Some((last, rest)) => format!(" to {} and {last}", rest.join(", ")),
    };
    let how_fast = match next.urgency {
        Some(Urgency::SameDay) => ", the same day",
        Some(Urgency::Urgent) => ", urgently",
        Some(Urgency::Routine) | None => "",
    };
    format!("refer{to}{how_fast}")
}

fn change_plan(next: &Next) -> String {
    let plan = plan(&next.plan);
    let plan = plan.strip_prefix("with ").unwrap_or(&plan);
    let perhaps = if next.is_offered {
        ""
    } else {
        " (if the clinic offers that; its file does not say)"
    };
    format!("change the plan: {plan}{perhaps}")
}

fn wait(next: &Next, most: usize) -> String {
    let named: Vec<&str> = next
        .wait_for
        .iter()
        .take(most)
        .map(String::as_str)
        .collect();
    let more = match next.wait_for.len() - named.len() {
        0 => String::new(),
        n => format!("; and {}", counted(n, "more thing", "more things")),
    };
    format!("wait for {}{more}", named.join("; and for "))
}

/// What is to be read, cleared up and asked.
fn ask(next: &Next, asks: Option<String>) -> String {
    let read = match next.read.as_slice() {
        [] => None,
        [one] => Some(format!("find out what \"{one}\" is")),
        several => Some(format!(
            "find out what {} are",
            counted(several.len(), "unrecognised name", "unrecognised names")
        )),
    };
    let clear_up = (next.clear_up > 0).then(|| {
        format!(
            "clear up {}",
            counted(next.clear_up, "contradiction", "contradictions")
        )
    });
    let parts: Vec<String> = [read, clear_up, asks].into_iter().flatten().collect();
    if parts.is_empty() {
        "see what is not decided yet".to_owned()
    } else {
        parts.join("; ")
    }
}

/// "ask 4 answers (patient 3, record 1)"; nothing where there is none to ask.
fn asks(asked: &[Asked]) -> Option<String> {
    let n: usize = asked.iter().map(|it| it.n).sum();
    let each: Vec<String> = asked
        .iter()
        .map(|it| format!("{} {}", it.from.word(), it.n))
        .collect();
    (n > 0).then(|| {
        format!(
            "ask {} ({})",
            counted(n, "answer", "answers"),
            each.join(", ")
        )
    })
}
