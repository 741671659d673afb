//! The reductions of anaesthetics.yaml: who has less than the usual limits. Their conditions need the questions.

use std::collections::HashMap;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::rule_set::files::Parsed;
use crate::rule_set::read::condition;
use crate::rule_set::read::registers::unique;
use crate::rule_set::read::symbols::Names;
use crate::rule_set::{LimitValue, Reduction};

/// The second reading of anaesthetics.yaml. `told` says that the first one found something, the form included.
pub(crate) fn read(
    parsed: &Parsed,
    names: &Names,
    told: bool,
) -> (Vec<Reduction>, Vec<Diagnostic>) {
    let mut reading = Reading::new(&parsed.source, Vec::new());
    if told {
        reading.excuse();
    }
    let mut seen = HashMap::new();
    let mut found = Vec::new();
    for node in parsed.root.list("reductions") {
        unique(&mut reading, &mut seen, node, "reductions");
        let id = reading.needed(node, "id");
        let about = reading.needed(node, "about");
        let when = node
            .get("when")
            .and_then(|it| condition::read(names, &mut reading, it));
        let share = node.get("to").and_then(|it| share(&mut reading, names, it));
        let citations = names.citations(&mut reading, node);
        match (id, about, when, share) {
            (Some(id), Some(about), Some(when), Some(share)) => found.push(Reduction {
                id,
                about,
                when,
                share,
                citations,
            }),
            _ => reading.pass_over(node, "a whole reduction"),
        }
    }
    (found, reading.finish())
}

/// The share that a limit leaves; `None` after a diagnostic.
fn share(reading: &mut Reading<'_>, names: &Names, node: &Node) -> Option<f64> {
    let limit = &names.limits[names.limit_of(reading, node)?];
    match &limit.value {
        LimitValue::Number { value, unit: None } if *value > 0.0 && *value <= 1.0 => Some(*value),
        _ => {
            let title = format!("limit `{}` is not a share of the usual limit", limit.id);
            let help = "name a limit that is a plain number above 0 and at most 1";
            reading
                .wrong(Code::BadRange, node, title, "does not fit")
                .help(help)
                .none()
        }
    }
}
