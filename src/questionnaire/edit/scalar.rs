//! A text as YAML that every reader reads as that text.

/// A text as it stands behind a key: plain where that cannot be misread, else in double quotes.
///
/// Plain texts are those that readers of YAML 1.1 and 1.2 agree on: letters, digits and a few signs between them, no word
/// that some reader takes for a truth value or for nothing, and no number but inside of a quantity.
pub fn scalar(text: &str) -> String {
    if is_plain(text) {
        return text.to_owned();
    }
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\r' => quoted.push_str("\\r"),
            '\t' => quoted.push_str("\\t"),
            _ => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}

/// Words that some reader of YAML takes for something else than a text.
const WORDS: [&str; 11] = [
    "null", "true", "false", "yes", "no", "y", "n", "on", "off", "nan", "inf",
];

fn is_plain(text: &str) -> bool {
    let fits = text
        .chars()
        .all(|it| it.is_alphanumeric() || " ._%/+-".contains(it));
    let (Some(first), Some(last)) = (text.chars().next(), text.chars().next_back()) else {
        return false;
    };
    if !fits || last == ' ' || !first.is_alphanumeric() {
        return false;
    }
    if first.is_numeric() {
        is_day(text) || is_quantity(text)
    } else {
        !WORDS.contains(&text.to_lowercase().as_str())
    }
}

/// Digits, perhaps with a decimal point, as every reader reads a number: no leading zero, no exponent.
pub fn is_plain_number(text: &str) -> bool {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |it: &str| !it.is_empty() && it.bytes().all(|byte| byte.is_ascii_digit());
    digits(whole) && digits(decimals) && (whole == "0" || !whole.starts_with('0'))
}

/// `2026-12-03`.
fn is_day(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let digits = parts
        .iter()
        .all(|it| it.bytes().all(|byte| byte.is_ascii_digit()));
    digits && parts.iter().map(|it| it.len()).eq([4, 2, 2])
}

/// A number and something behind it that is none: `81 kg`, `5 ft 7 in`.
fn is_quantity(text: &str) -> bool {
    text.split_once(' ').is_some_and(|(number, unit)| {
        is_plain_number(number) && unit.contains(|it: char| it.is_alphabetic() || it == '%')
    })
}
