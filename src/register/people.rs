//! Who may do what, and the passphrase by which they are known.

use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};

/// Fewest letters of a passphrase.
pub const SHORTEST_PASSPHRASE: usize = 12;
/// Most bytes of a passphrase: hashing is bounded, whatever somebody sends.
const LONGEST_PASSPHRASE: usize = 1_024;

/// What somebody may do at the desk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PersonRole {
    /// Asks, sends, books; does not decide.
    Nurse,
    /// Decides and signs.
    Clinician,
    /// Reads the figures, keeps people and files.
    Governance,
}

impl PersonRole {
    /// Every role, in the order in which they are named.
    pub const ALL: [Self; 3] = [Self::Nurse, Self::Clinician, Self::Governance];

    /// The word used in registers and on pages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Nurse => "nurse",
            Self::Clinician => "clinician",
            Self::Governance => "governance",
        }
    }

    /// Reads the word; `None` for anything else.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|it| it.word() == word)
    }
}

/// A person of the desk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The initials by which entries name them.
    pub initials: String,
    /// What they may do.
    pub role: PersonRole,
    /// Whether they may sign in.
    pub is_on: bool,
    /// The passphrase, hashed.
    pub hash: String,
}

/// Whether initials are such as an entry may name: one to twelve letters, figures or hyphens of ASCII.
pub fn are_initials(text: &str) -> bool {
    (1..=12).contains(&text.len())
        && text
            .bytes()
            .all(|it| it.is_ascii_alphanumeric() || it == b'-')
}

/// What they must be.
pub const NO_INITIALS: &str = "initials are one to twelve letters or figures, without spaces";

/// Argon2id with 19 MiB, two passes and one lane: the least that OWASP's cheat sheet on storing passwords advises.
fn argon2() -> Argon2<'static> {
    Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::default())
}

/// Hashes a passphrase.
///
/// # Errors
/// Why it will not do, in words.
pub fn hashed(passphrase: &str) -> Result<String, String> {
    if passphrase.chars().count() < SHORTEST_PASSPHRASE {
        return Err(format!(
            "a passphrase has at least {SHORTEST_PASSPHRASE} letters; four words that nobody would put together do well"
        ));
    }
    if passphrase.len() > LONGEST_PASSPHRASE {
        return Err("the passphrase is too long".into());
    }
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|it| format!("the system gives no random bytes: {it}"))?;
    SaltString::encode_b64(&bytes)
        .and_then(|salt| {
            Ok(argon2()
                .hash_password(passphrase.as_bytes(), &salt)?
                .to_string())
        })
        .map_err(|it| format!("the passphrase cannot be hashed: {it}"))
}

/// Whether a passphrase is the one of a hash. Takes as long for a person who is not there.
pub fn is_passphrase(passphrase: &str, hash: Option<&str>) -> bool {
    // The hash of nothing that anybody could type, with the same parameters.
    const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5bm9ib2R5$v0kEGrxIlfzYNtgHl3bg8Jk4dA8hQpTW1cYbLxvmZ2E";
    if passphrase.len() > LONGEST_PASSPHRASE {
        return false;
    }
    let matches = PasswordHash::new(hash.unwrap_or(NOBODY))
        .and_then(|it| argon2().verify_password(passphrase.as_bytes(), &it));
    matches.is_ok() && hash.is_some()
}
