//! Choices: closed lists of words, read with "did you mean".

use crate::reader::{Faulty, Reader};

/// A value out of a closed list of words.
pub trait Choice: Copy + Eq + std::fmt::Debug + 'static {
    /// What the list is, for messages: `a regulator kind`.
    const NAME: &'static str;
    /// Every value with its word.
    const WORDS: &'static [(Self, &'static str)];

    /// The word of a value.
    fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(value, _)| *value == self).map_or("", |(_, word)| word)
    }

    /// The value of a word, in any case.
    fn from_word(word: &str) -> Option<Self> {
        let found = Self::WORDS.iter().find(|(_, known)| is_word(word, known));
        found.map(|(value, _)| *value)
    }

    /// The words, for help: `"yes", "no"`.
    fn list() -> String {
        let words: Vec<&str> = Self::WORDS.iter().map(|(_, word)| *word).collect();
        quoted(&words)
    }
}

/// Whether a text is that word, in any case.
fn is_word(text: &str, word: &str) -> bool {
    word.eq_ignore_ascii_case(text.trim())
}

fn quoted(words: &[&str]) -> String {
    let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
    words.join(", ")
}

/// Reads a word; returns its place in the list. One piece of code for every list.
pub(crate) fn read_word(
    from: Reader<'_>,
    what: &'static str,
    words: &[&str],
) -> Result<usize, Faulty> {
    let text = from.text(&"a string")?;
    words
        .iter()
        .position(|word| is_word(text, word))
        .ok_or_else(|| Faulty::at(choice_error(text, what, words, &quoted(words)), from.span()))
}

/// The known word most like `word`, close enough to be meant.
pub fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = word.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for candidate in known {
        let score = strsim::jaro_winkler(&folded, &candidate.to_lowercase());
        if score > best.map_or(0.8, |(score, _)| score) {
            best = Some((score, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// The line that a failed choice leaves for the diagnostics: message, place in the text, help.
pub(crate) fn choice_error(word: &str, name: &str, words: &[&str], list: &str) -> String {
    let help = match did_you_mean(word, words.iter().copied()) {
        Some(meant) => format!("did you mean \"{meant}\"?"),
        None => format!("one of {list} fits"),
    };
    format!("\"{word}\" is not {name} [bytes 0..{}] help: {help}", word.len())
}

/// Declares an enum of words with everything a document needs of it.
macro_rules! choices {
    ($($(#[$meta:meta])* pub enum $name:ident: $what:literal { $($(#[$variant_meta:meta])* $variant:ident = $word:literal,)* })*) => {$(
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$variant_meta])* $variant,)* }

        impl $crate::choice::Choice for $name {
            const NAME: &'static str = $what;
            const WORDS: &'static [(Self, &'static str)] = &[$((Self::$variant, $word)),*];
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str($crate::choice::Choice::word(*self))
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str($crate::choice::Choice::word(*self))
            }
        }

        impl $crate::reader::Read for $name {
            fn blank() -> Self {
                <Self as $crate::choice::Choice>::WORDS[0].0
            }

            fn fill(&mut self, from: $crate::reader::Reader<'_>) -> Result<(), $crate::reader::Faulty> {
                let place = $crate::choice::read_word(from, $what, &[$($word),*])?;
                *self = [$(Self::$variant),*][place];
                Ok(())
            }
        }

        impl $crate::walk::Walk for $name {}

        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                schemars::json_schema!({ "type": "string", "enum": [$($word),*], "description": $what })
            }
        }
    )*};
}
pub(crate) use choices;

choices! {
    /// Yes or no; unknown is not one of them, it is [`crate::Seen::Unknown`].
    pub enum YesNo: "yes or no" {
        /// Yes.
        Yes = "yes",
        /// No.
        No = "no",
    }

    /// Where a figure comes from.
    pub enum Kind: "a kind of figure" {
        /// Measured, here or by the source named.
        Measured = "measured",
        /// A data sheet's typical value.
        Typical = "data sheet typical",
        /// A data sheet's maximum.
        Maximum = "data sheet maximum",
        /// A data sheet's minimum.
        Minimum = "data sheet minimum",
        /// A published paper, standard or parameter set.
        Published = "published",
        /// Assumed, the reason in the source.
        Assumed = "assumed",
        /// Recalled, without a source at hand.
        FromMemory = "from memory",
        /// Common practice of the trade, without a source.
        CommonPractice = "common practice",
        /// Invented for the demo.
        Invented = "invented for the demo",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_both_ways() {
        assert_eq!(YesNo::from_word(" Yes "), Some(YesNo::Yes));
        assert_eq!(Kind::Typical.word(), "data sheet typical");
        assert_eq!(did_you_mean("regualtor", ["regulator", "charger"]), Some("regulator"));
        assert_eq!(did_you_mean("zzz", ["regulator", "charger"]), None);
    }
}
