//! What is to be done next, as JSON.

use serde::Serialize;

use super::{Change, changes};
use crate::screening;

#[derive(Serialize)]
pub(super) struct Next<'a> {
    kind: &'static str,
    plan: Vec<Change<'a>>,
    is_offered: bool,
    read: &'a [String],
    clear_up: usize,
    ask: Vec<Asked>,
    wait_for: &'a [String],
    refer_to: &'a [String],
    urgency: Option<&'static str>,
}

#[derive(Serialize)]
struct Asked {
    from: &'static str,
    n: usize,
}

impl<'a> Next<'a> {
    pub(super) fn of(it: &'a screening::Next) -> Self {
        Self {
            kind: it.kind.word(),
            plan: changes(&it.plan),
            is_offered: it.is_offered,
            read: &it.read,
            clear_up: it.clear_up,
            ask: it.ask.iter().map(|it| Asked { from: it.from, n: it.n }).collect(),
            wait_for: &it.wait_for,
            refer_to: &it.refer_to,
            urgency: it.urgency.map(|it| it.word()),
        }
    }
}
