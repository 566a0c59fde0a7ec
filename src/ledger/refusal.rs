//! What the ledger won't do, in words, with what to type instead.

use thiserror::Error;

/// Something the ledger won't do, in words, with what to type instead.
#[derive(Debug, Error)]
#[error("{message}")]
pub struct Refusal {
    /// What was asked and why it can't be.
    pub message: String,
    /// Commands or facts that help. One that begins with `gritledger` is a command and nothing else, as it can be typed.
    pub hints: Vec<String>,
}

impl Refusal {
    /// Returns a refusal in those words.
    pub fn new(message: impl Into<String>) -> Refusal {
        Refusal {
            message: message.into(),
            hints: Vec::new(),
        }
    }

    /// Adds a hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Refusal {
        self.hints.push(hint.into());
        self
    }
}

/// Writes a name as it is typed in a shell: in quotes where it isn't one plain word.
pub fn typed(name: &str) -> String {
    let plain = |sign: char| sign.is_alphanumeric() || "-_./,:".contains(sign);
    if !name.is_empty() && name.chars().all(plain) {
        return name.to_owned();
    }
    let mut text = String::from('"');
    for sign in name.chars() {
        if "\"\\$`".contains(sign) {
            text.push('\\');
        }
        text.push(sign);
    }
    text.push('"');
    text
}

/// Returns early with a [`Refusal`].
macro_rules! refuse {
    ($($message:tt)*) => {
        return Err(anyhow::Error::new($crate::ledger::Refusal::new(format!($($message)*))))
    };
}
pub(crate) use refuse;
