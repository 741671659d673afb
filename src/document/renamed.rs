//! Names of the rules' files that were others once, so that an older rule set is told the new one.

/// Each old name with the new one.
const RENAMED: [(&str, &str); 4] = [
    ("volume-per-toe", "volume-per-site"),
    ("digit-load", "site-load"),
    ("toes", "sites"),
    ("per_digit", "per_site"),
];

/// What has this name now, if it had another one.
pub(crate) fn renamed(old: &str) -> Option<&'static str> {
    RENAMED
        .iter()
        .find(|(name, _)| *name == old)
        .map(|(_, new)| *new)
}
