//! Walks once over a line of JSON, without a tree: keys, and the bytes of each value.
//!
//! It takes only what it knows for certain, and gives up (`None`) on anything else, which the reader of trees then judges.
//! What stands in a value is nobody's business here but where it ends: whoever understands it reads it whole, as a text of
//! JSON by itself. Brackets are therefore counted and not matched.

/// Deepest nesting of a value that is taken.
const DEEPEST: usize = 8;

/// What is left of a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cursor<'a> {
    rest: &'a [u8],
}

impl<'a> Cursor<'a> {
    /// At the start of some bytes.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// Passes over white space; a line end is none, since a line has none.
    pub(super) fn space(&mut self) {
        while let [b' ' | b'\t', rest @ ..] = self.rest {
            self.rest = rest;
        }
    }

    /// Passes over some bytes, if they come next.
    pub(super) fn passes(&mut self, bytes: &[u8]) -> bool {
        let rest = self.rest.strip_prefix(bytes);
        self.rest = rest.unwrap_or(self.rest);
        rest.is_some()
    }

    /// Passes over a sign and the white space around it, if it comes next.
    pub(super) fn sign(&mut self, sign: u8) -> bool {
        self.space();
        let found = self.passes(&[sign]);
        self.space();
        found
    }

    /// Passes over what stands behind an entry: a comma, or the sign that closes. Says whether it is a comma; `None` if it is
    /// neither.
    pub(super) fn goes_on(&mut self, closing: u8) -> Option<bool> {
        self.space();
        let (sign, rest) = self.rest.split_first()?;
        self.rest = rest;
        self.space();
        (*sign == b',' || *sign == closing).then_some(*sign == b',')
    }

    /// What comes next.
    pub(super) fn next(&self) -> Option<u8> {
        self.rest.first().copied()
    }

    /// Whether nothing is left.
    pub(super) fn is_at_end(&self) -> bool {
        self.rest.is_empty()
    }

    /// A key and its colon. One with an escape is not taken.
    pub(super) fn key(&mut self) -> Option<&'a [u8]> {
        let text = self.rest.strip_prefix(b"\"")?;
        let (key, rest) = text.split_at_checked(special(text))?;
        self.rest = rest.strip_prefix(b"\"")?;
        self.sign(b':').then_some(key)
    }

    /// Passes over the bytes of a value, if [`Cursor::value`] would give just these; no value is empty.
    pub(super) fn passes_value(&mut self, value: &[u8]) -> bool {
        let Some(first) = value.first() else {
            return false;
        };
        let Some(rest) = self.rest.strip_prefix(value) else {
            return false;
        };
        // Whatever begins with one of these says itself where it ends.
        let ends = matches!(first, b'"' | b'[' | b'{') || rest.first().is_some_and(ends_bare);
        if ends {
            self.rest = rest;
        }
        ends
    }

    /// The bytes of a value.
    pub(super) fn value(&mut self) -> Option<&'a [u8]> {
        let length = match self.next()? {
            b'"' => text_length(self.rest)?,
            b'[' | b'{' => self.bracket_length()?,
            _ => self.rest.iter().position(ends_bare)?,
        };
        let (value, rest) = self.rest.split_at_checked(length)?;
        self.rest = rest;
        Some(value)
    }

    fn bracket_length(&self) -> Option<usize> {
        let (mut at, mut depth) = (0, 0_usize);
        loop {
            at += match self.rest.get(at)? {
                b'"' => text_length(self.rest.get(at..)?)?,
                b'[' | b'{' => {
                    depth += 1;
                    1
                }
                b']' | b'}' => {
                    depth = depth.checked_sub(1)?;
                    1
                }
                b'\0'..=b'\x08' | b'\x0a'..=b'\x1f' => return None,
                _ => 1,
            };
            if depth == 0 {
                return Some(at);
            }
            if depth > DEEPEST {
                return None;
            }
        }
    }
}

/// Whether a byte ends a number or a word.
fn ends_bare(byte: &u8) -> bool {
    matches!(byte, b',' | b'}' | b']' | b' ' | b'\t')
}

/// How many bytes a text has at the start of some bytes, with its quotes.
fn text_length(bytes: &[u8]) -> Option<usize> {
    let mut at = 1;
    loop {
        at += special(bytes.get(at..)?);
        match bytes.get(at)? {
            b'"' => return Some(at + 1),
            b'\\' => at += 2,
            _ => return None,
        }
    }
}

/// Where the first quote, backslash or control character stands; the length, if there is none.
fn special(bytes: &[u8]) -> usize {
    const ONES: u64 = u64::MAX / 255;
    const HIGH: u64 = ONES << 7;
    // The lowest bit that is set tells the first byte that is zero, and the same of one below 32; higher ones may be wrong.
    let zero = |word: u64| word.wrapping_sub(ONES) & !word & HIGH;
    let mut at = 0;
    while let Some(word) = bytes.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        let word = u64::from_le_bytes(*word);
        let found = zero(word ^ (ONES * u64::from(b'"')))
            | zero(word ^ (ONES * u64::from(b'\\')))
            | (word.wrapping_sub(ONES * 32) & !word & HIGH);
        if found != 0 {
            return at + found.trailing_zeros() as usize / 8;
        }
        at += 8;
    }
    let is_special = |byte: &u8| matches!(byte, b'"' | b'\\' | b'\0'..=b'\x1f');
    let rest = bytes.get(at..).unwrap_or(&[]);
    at + rest.iter().position(is_special).unwrap_or(rest.len())
}

/// What stands in a text of JSON that is nothing but printable ASCII without an escape: what every reader takes it for.
pub(super) fn plain(value: &[u8]) -> Option<&str> {
    let inner = value.strip_prefix(b"\"")?.strip_suffix(b"\"")?;
    let is_plain = |byte: &u8| matches!(byte, b' '..=b'~') && *byte != b'"' && *byte != b'\\';
    if inner.iter().all(is_plain) {
        std::str::from_utf8(inner).ok()
    } else {
        None
    }
}
