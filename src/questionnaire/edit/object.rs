//! A questionnaire in JSON, with another value at a place.
//!
//! Layout means nothing in JSON, and it has no comments: the whole is written anew, its keys in the order in which they stand.

use serde_json::{Map, Value};

use crate::document::shape::to_json;
use crate::questionnaire::edit::PathKey;
use crate::questionnaire::frame;

/// The text with this value, written as YAML, at the end of the path, or with nothing there; `None` where it has no place.
pub fn changed(text: &str, path: &[PathKey<'_>], value: Option<&str>) -> Option<String> {
    let mut whole: Value = serde_json::from_str(text).ok()?;
    let value = match value {
        Some(value) => Some(read(value)?),
        None => None,
    };
    set(&mut whole, path, value)?;
    let end = text.strip_prefix(text.trim_end())?;
    let is_on_one_line = !text.trim().contains('\n');
    let written = if is_on_one_line {
        serde_json::to_string(&whole)
    } else {
        serde_json::to_string_pretty(&whole)
    };
    Some(written.ok()? + end)
}

/// A text of YAML as JSON.
pub fn written(yaml: &str) -> Option<String> {
    let root = frame::tree("the questionnaire", yaml.as_bytes()).root?;
    serde_json::to_string_pretty(&to_json(&root)).ok()
}

/// A value of YAML.
fn read(value: &str) -> Option<Value> {
    let root = frame::tree("this answer", format!("value: {value}\n").as_bytes()).root?;
    root.get("value").map(to_json)
}

fn set(at: &mut Value, path: &[PathKey<'_>], value: Option<Value>) -> Option<()> {
    let Some((step, rest)) = path.split_first() else {
        *at = value.unwrap_or(Value::Null);
        return Some(());
    };
    if at.get(step.key).is_none() {
        if value.is_none() {
            return Some(());
        }
        if at.is_null() {
            *at = Value::Object(Map::new());
        }
        let keys = at.as_object_mut()?;
        let earlier = keys
            .keys()
            .rposition(|it| step.before.contains(&it.as_str()));
        let place = earlier.map_or(0, |it| it + 1);
        keys.shift_insert(place, step.key.to_owned(), Value::Null);
    }
    set(at.get_mut(step.key)?, rest, value)
}
