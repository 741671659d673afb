//! JSON Schema (draft-07) as the judge of shape, and its errors in words at exact places.

use std::sync::Arc;

use include_dir::{Dir, include_dir};
use jsonschema::error::{TypeKind, ValidationErrorKind};
use serde_json::Value;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed, nearest};
use crate::document::renamed::renamed;
use crate::document::source::{Node, NodeKind, Source};

static SCHEMAS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/schemas");

/// The text of an embedded schema, by the name of its file kind.
pub fn schema(name: &str) -> Option<&'static str> {
    SCHEMAS
        .get_file(format!("{name}.schema.json"))?
        .contents_utf8()
}

/// The names of all embedded schemas, sorted.
pub(crate) fn schema_names() -> Vec<String> {
    let mut names: Vec<String> = SCHEMAS
        .files()
        .filter_map(|file| {
            file.path()
                .to_str()?
                .strip_suffix(".schema.json")
                .map(str::to_owned)
        })
        .collect();
    names.sort();
    names
}

/// Checks a tree against an embedded schema. An unknown schema name is itself reported.
pub fn check(schema_name: &str, source: &Arc<Source>, root: &Node) -> Vec<Diagnostic> {
    let schema = schema(schema_name).and_then(|text| serde_json::from_str::<Value>(text).ok());
    let Some(schema) = schema else {
        return vec![Diagnostic::bare(
            Code::Unreadable,
            format!("the schema `{schema_name}` is missing from this program"),
        )];
    };
    check_against(&schema, source, root)
}

/// Checks a tree against a schema.
pub fn check_against(schema: &Value, source: &Arc<Source>, root: &Node) -> Vec<Diagnostic> {
    let built = jsonschema::draft7::options()
        .should_validate_formats(true)
        .should_ignore_unknown_formats(false)
        .build(schema);
    let validator = match built {
        Ok(validator) => validator,
        Err(error) => {
            return vec![Diagnostic::bare(
                Code::Unreadable,
                format!("a schema of this program is broken: {}", error.masked()),
            )];
        }
    };
    let value = to_json(root);
    let mut found = Vec::new();
    for error in validator.iter_errors(&value) {
        let pointer = error.instance_path().as_str().to_owned();
        let schema_path = error.schema_path().as_str().to_owned();
        describe(
            schema,
            source,
            root,
            &pointer,
            &schema_path,
            error.kind(),
            &mut found,
        );
    }
    found.dedup();
    // A misspelt key that is also needed is one mistake, not two.
    let misspelt: Vec<String> = found
        .iter()
        .filter(|it| it.code == Code::UnknownKey)
        .filter_map(|diagnostic| {
            diagnostic
                .help
                .strip_prefix("did you mean `")?
                .strip_suffix("`?")
                .map(str::to_owned)
        })
        .collect();
    found.retain(|diagnostic| {
        diagnostic.code != Code::MissingKey
            || !misspelt
                .iter()
                .any(|key| diagnostic.title.ends_with(&format!("has no `{key}`")))
    });
    found
}

/// The tree as JSON. Places are lost, values are not.
pub fn to_json(node: &Node) -> Value {
    match &node.kind {
        NodeKind::Null => Value::Null,
        NodeKind::Bool(it) => Value::Bool(*it),
        NodeKind::Number(number) => {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "whole and within 2^53, checked"
            )]
            let whole = (number.fract() == 0.0 && number.abs() <= 9_007_199_254_740_992.0)
                .then_some(*number as i64);
            match whole {
                Some(whole) => Value::from(whole),
                None => Value::from(*number),
            }
        }
        NodeKind::Text(text) => Value::String(text.clone()),
        NodeKind::List(items) => Value::Array(items.iter().map(to_json).collect()),
        NodeKind::Map(entries) => Value::Object(
            entries
                .iter()
                .map(|it| (it.key.clone(), to_json(&it.value)))
                .collect(),
        ),
    }
}

/// What a JSON pointer leads to: the node, and the span of its key or of its parent's.
struct PointedAt<'a> {
    node: &'a Node,
    key: Option<std::ops::Range<usize>>,
}

fn follow<'a>(root: &'a Node, pointer: &str) -> PointedAt<'a> {
    let mut place = PointedAt {
        node: root,
        key: None,
    };
    for step in pointer.split('/').skip(1) {
        let step = step.replace("~1", "/").replace("~0", "~");
        match &place.node.kind {
            NodeKind::Map(entries) => match entries.iter().find(|it| it.key == step) {
                Some(entry) => {
                    place = PointedAt {
                        node: &entry.value,
                        key: Some(entry.key_span.clone()),
                    }
                }
                None => break,
            },
            NodeKind::List(items) => {
                match step.parse::<usize>().ok().and_then(|at| items.get(at)) {
                    Some(item) => {
                        place = PointedAt {
                            node: item,
                            key: None,
                        }
                    }
                    None => break,
                }
            }
            _ => break,
        }
    }
    place
}

/// The subschema that holds the keyword at the end of a schema path.
fn subschema<'a>(schema: &'a Value, schema_path: &str) -> Option<&'a Value> {
    let parent = schema_path
        .rsplit_once('/')
        .map_or("", |(parent, _)| parent);
    let mut at = schema;
    for step in parent.split('/').skip(1) {
        let step = step.replace("~1", "/").replace("~0", "~");
        if step == "$ref" {
            continue;
        }
        at = resolve(schema, at);
        at = match at {
            Value::Object(map) => map.get(&step)?,
            Value::Array(items) => items.get(step.parse::<usize>().ok()?)?,
            _ => return None,
        };
    }
    Some(resolve(schema, at))
}

fn resolve<'a>(schema: &'a Value, at: &'a Value) -> &'a Value {
    let target = at
        .get("$ref")
        .and_then(Value::as_str)
        .and_then(|it| it.strip_prefix('#'));
    target
        .and_then(|pointer| schema.pointer(pointer))
        .unwrap_or(at)
}

fn known_keys(schema: &Value, schema_path: &str) -> Vec<String> {
    let properties = subschema(schema, schema_path)
        .and_then(|it| it.get("properties"))
        .and_then(Value::as_object);
    properties
        .into_iter()
        .flat_map(|it| it.keys().cloned())
        .collect()
}

fn describe(
    schema: &Value,
    source: &Arc<Source>,
    root: &Node,
    pointer: &str,
    schema_path: &str,
    kind: &ValidationErrorKind,
    found: &mut Vec<Diagnostic>,
) {
    let place = follow(root, pointer);
    let node = place.node;
    let value = match &place.key {
        Some(key) if node.span.is_empty() => key,
        _ => &node.span,
    };
    let at_value = |code: Code, title: String, label: &str| {
        Diagnostic::at(code, source, value, title, label).help_if(example(schema, schema_path))
    };
    let written = node.written(source).unwrap_or("this");
    let one =
        match kind {
            ValidationErrorKind::AdditionalProperties { unexpected } => {
                let unknown = |key: &String| unknown_key(schema, schema_path, source, node, key);
                found.extend(unexpected.iter().map(unknown));
                return;
            }
            ValidationErrorKind::Required { property } => {
                let key = property.as_str().unwrap_or("");
                let (span, who) = owner(source, &place);
                let title = format!("{who} has no `{key}`");
                let label = format!("`{key}` is missing");
                Diagnostic::at(Code::MissingKey, source, &span, title, label)
                    .help(format!("add a line `{key}: ...`"))
            }
            ValidationErrorKind::Type { kind } => {
                let needed = match kind {
                    TypeKind::Single(one) => in_words(&one.to_string()).to_owned(),
                    TypeKind::Multiple(several) => {
                        let words: Vec<&str> =
                            several.iter().map(|it| in_words(&it.to_string())).collect();
                        listed(&words).replace('`', "")
                    }
                };
                let label = format!("this is {}", node.kind_in_words());
                at_value(Code::WrongType, format!("{needed} must stand here"), &label)
            }
            ValidationErrorKind::Enum { options } => {
                let options = options.as_array().into_iter().flatten();
                let options: Vec<&str> = options.filter_map(Value::as_str).collect();
                let title = format!("`{written}` is not one of the words that may stand here");
                at_value(Code::NotAnOption, title, "not one of these")
                    .help(format!("one of {}", listed(&options)))
                    .help_if(did_you_mean(written, options.iter().copied()))
            }
            ValidationErrorKind::Constant { expected_value } => {
                let title = format!("only {expected_value} may stand here");
                at_value(Code::NotAnOption, title, "another value")
            }
            ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => {
                let title = format!("`{written}` does not have the form that is needed here");
                at_value(Code::WrongForm, title, "wrong form")
            }
            ValidationErrorKind::MinItems { .. } | ValidationErrorKind::MinLength { .. } => {
                let (title, label) = match kind {
                    ValidationErrorKind::MinItems { limit } if !node.items().is_empty() => (
                        format!("{limit} entries or more must stand here"),
                        format!("only {} here", node.items().len()),
                    ),
                    _ => (
                        "something must stand here".to_owned(),
                        "nothing is listed".to_owned(),
                    ),
                };
                let key = pointer.rsplit_once('/').map_or(pointer, |(_, key)| key);
                at_value(Code::WrongForm, title, &label).help_if(described_above(
                    schema,
                    schema_path,
                    key,
                ))
            }
            ValidationErrorKind::UniqueItems => {
                let title = "the list names something twice".to_owned();
                at_value(Code::DuplicateId, title, "in this list").help("delete one of the two")
            }
            ValidationErrorKind::FalseSchema => {
                let span = place.key.as_ref().unwrap_or(value);
                let key = source.slice(span);
                let title = format!("`{key}` cannot stand here");
                let label = "not with the other keys";
                Diagnostic::at(Code::NotTogether, source, span, title, label)
                    .help_if(described_above(schema, schema_path, key))
            }
            ValidationErrorKind::MaxProperties { .. }
            | ValidationErrorKind::MinProperties { .. }
            | ValidationErrorKind::Not { .. } => {
                let (span, _) = owner(source, &place);
                let title = "exactly one of several keys must stand here";
                Diagnostic::at(Code::NotTogether, source, &span, title, "none, or too many")
                    .help_if(example(schema, schema_path))
            }
            ValidationErrorKind::Minimum { limit } => {
                let title = format!("`{written}` is too low");
                at_value(Code::WrongForm, title, &format!("{limit} or more"))
            }
            ValidationErrorKind::ExclusiveMinimum { limit } => {
                let title = format!("`{written}` is too low");
                at_value(Code::WrongForm, title, &format!("above {limit}"))
            }
            ValidationErrorKind::Maximum { limit } => {
                let title = format!("`{written}` is too high");
                at_value(Code::WrongForm, title, &format!("{limit} or less"))
            }
            ValidationErrorKind::MaxLength { .. } | ValidationErrorKind::MaxItems { .. } => {
                at_value(Code::WrongForm, "this is too long".to_owned(), "too long")
            }
            other => {
                let title = format!("this breaks `{}` of the schema", other.keyword());
                at_value(Code::WrongForm, title, "here")
            }
        };
    found.push(one);
}

/// A key that the schema does not know at a place.
fn unknown_key(
    schema: &Value,
    schema_path: &str,
    source: &Arc<Source>,
    node: &Node,
    key: &str,
) -> Diagnostic {
    let known = known_keys(schema, schema_path);
    let names = || known.iter().map(String::as_str);
    let span = node.entry(key).map_or(&node.span, |it| &it.key_span);
    let title = format!("the key `{key}` is not known here");
    Diagnostic::at(Code::UnknownKey, source, span, title, "not known here")
        .help_if(example(schema, schema_path).filter(|_| known.is_empty()))
        .help_if(did_you_mean(key, names()))
        .help_if(exclusive(schema, schema_path).filter(|_| nearest(key, names()).is_none()))
        .help_if(
            renamed(key)
                .filter(|new| names().any(|key| key == *new))
                .map(|new| format!("its name is `{new}` now")),
        )
}

/// The nearest `description` of the schema: the help line.
fn example(schema: &Value, schema_path: &str) -> Option<String> {
    let mut path = schema_path;
    while let Some((parent, _)) = path.rsplit_once('/') {
        if let Some(text) = subschema(schema, path).and_then(|it| it.get("description")?.as_str()) {
            return Some(text.to_owned());
        }
        path = parent;
    }
    None
}

/// What the schema says of keys of which one may stand, if that is what it says of this place.
fn exclusive(schema: &Value, schema_path: &str) -> Option<String> {
    example(schema, schema_path).filter(|it| it.to_lowercase().contains("exactly one"))
}

/// What the schema says of a key that is forbidden here: the nearest description further up.
fn described_above(schema: &Value, schema_path: &str, key: &str) -> Option<String> {
    let mut path = schema_path;
    while let Some((parent, _)) = path.rsplit_once('/') {
        let described = subschema(schema, path)
            .and_then(|it| it.get("properties")?.get(key))
            .and_then(|it| resolve_description(schema, it));
        if described.is_some() {
            return described;
        }
        path = parent;
    }
    None
}

/// The description beside a reference tells the purpose; the one behind it, the form.
fn resolve_description(schema: &Value, at: &Value) -> Option<String> {
    at.get("description")
        .or_else(|| resolve(schema, at).get("description"))?
        .as_str()
        .map(str::to_owned)
}

/// Where to point when a mapping lacks something: its id if it has one, else its key, else its first line.
fn owner(source: &Arc<Source>, place: &PointedAt<'_>) -> (std::ops::Range<usize>, String) {
    for key in ["id", "case", "name"] {
        if let Some(id) = place.node.get(key)
            && let Some(text) = id.written(source)
        {
            return (id.span.clone(), format!("`{text}`"));
        }
    }
    match &place.key {
        Some(key) => (key.clone(), format!("`{}`", source.slice(key))),
        None => (place.node.span.clone(), "this entry".into()),
    }
}

fn in_words(json_type: &str) -> &'static str {
    match json_type {
        "string" => "a text",
        "number" => "a number",
        "integer" => "a whole number",
        "boolean" => "true/false",
        "array" => "a list",
        "object" => "a mapping",
        _ => "nothing",
    }
}
