//! Drawings on which options are chosen. Each option of a question with one has a place there, and each place an option.

use crate::document::diagnostic::{Code, did_you_mean};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{Node, NodeKind};
use crate::rule_set::{Answer, Choice, Drawing, Ellipse, Idx, Table};

/// Reads one drawing. What is wrong with it is told, and the drawing is left out.
pub(super) fn read(reading: &mut Reading<'_>, drawings: &mut Table<Drawing>, node: &Node) {
    let Some(id) = reading.needed(node, "id") else {
        return;
    };
    if drawings.iter().any(|it| it.id == id) {
        let span = node.get("id").map_or(&node.span, |it| &it.span);
        let title = format!("drawing `{id}` stands here twice");
        reading
            .wrong(Code::DuplicateId, span, title, "a second time")
            .help("choose another word");
        return;
    }
    let texts = |key: &str| node.list(key).iter().filter_map(Node::text);
    let outline = texts("outline").map(str::to_owned).collect();
    let words = node.mapping("words").iter().filter_map(|it| {
        let [x, y] = numbers(&it.value)?;
        Some((it.key.clone(), x, y))
    });
    let places = node.mapping("places").iter().filter_map(|it| {
        let [x, y, rx, ry] = numbers(&it.value)?;
        Some((it.key.clone(), Ellipse { x, y, rx, ry }))
    });
    let (words, places) = (words.collect(), places.collect::<Vec<_>>());
    let Some([width, height]) = node.get("size").and_then(numbers) else {
        return reading.pass_over(node, "a drawing with its width and height");
    };
    let outside = node
        .mapping("places")
        .iter()
        .zip(&places)
        .find(|(_, (_, it))| {
            it.x - it.rx < 0.0
                || it.x + it.rx > width
                || it.y - it.ry < 0.0
                || it.y + it.ry > height
        });
    if let Some((entry, _)) = outside {
        let title = format!("the place of `{}` is not on the drawing", entry.key);
        let help = format!(
            "the drawing is {width} wide and {height} high; a place is its middle and half its width and height"
        );
        reading
            .wrong(Code::BadRange, &entry.value, title, "out of the drawing")
            .help(help);
    }
    drawings.push(Drawing {
        id,
        size: (width, height),
        outline,
        words,
        places,
    });
}

/// So many numbers of a list.
fn numbers<const N: usize>(node: &Node) -> Option<[f64; N]> {
    let number = |it: &Node| match it.kind {
        NodeKind::Number(it) => Some(it),
        _ => None,
    };
    let all: Option<Vec<f64>> = node.items().iter().map(number).collect();
    all?.try_into().ok()
}

/// The drawing of a question.
pub(super) fn of_question(
    reading: &mut Reading<'_>,
    drawings: &Table<Drawing>,
    node: &Node,
    answer: &Answer,
) -> Option<Idx<Drawing>> {
    let place = node.get("drawing")?;
    let id = place.shown(reading.source);
    let Some((at, drawing)) = drawings.entries().find(|(_, it)| it.id == id) else {
        let near = did_you_mean(id, drawings.iter().map(|it| it.id.as_str()));
        let help =
            near.unwrap_or_else(|| "drawings stand under `drawings` in this file".to_owned());
        let title = format!("`{id}` is not one of the drawings");
        return reading
            .wrong(Code::WrongForm, place, title, "no such drawing")
            .help(help)
            .none();
    };
    let Answer::SeveralOf(options) = answer else {
        return None;
    };
    let has_place = |it: &&Choice| drawing.place(&it.id).is_some();
    let is_option = |id: &str| options.iter().any(|it| it.id == id);
    let lacks = options
        .iter()
        .find(|it| !has_place(it))
        .map(|it| it.id.as_str());
    let idle = drawing
        .places
        .iter()
        .map(|(id, _)| id.as_str())
        .find(|id| !is_option(id));
    if let Some(id) = lacks.or(idle) {
        let title = format!("`{id}` is not both an option and a place on the drawing");
        return reading
            .wrong(Code::WrongForm, place, title, "does not fit the options")
            .help("each option needs a place under its id, and each place an option")
            .none();
    }
    Some(at)
}
