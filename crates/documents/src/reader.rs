//! From a parsed TOML table to the types of a document, by one small trait.
//!
//! serde's derived readers take a table's keys as they come: for every type a matcher of names, a state for every key and a
//! list of what is still missing, compiled anew. [`Read`] asks the table for one key after the other instead: one line of code
//! for a key, and everything that does not depend on a type exists once. The engine inside the page is a sixth smaller for it.
//! A struct comes from a table and from nothing else, a text is a text, a fault is one pointer. The words of the faults are
//! serde's, which `fault.rs` turns into plain ones.

use std::fmt;
use std::marker::PhantomData;
use std::ops::Range;

use overwinter_quantity::{Accuracy, AnyQuantity, Dimension, Money, OfDimension, Quantity};
use serde::de::{self, DeserializeSeed, Expected, Unexpected, Visitor};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::date::Date;

/// What is wrong and, once known, at which bytes.
#[derive(Debug)]
pub(crate) struct Fault {
    pub(crate) message: String,
    pub(crate) span: Option<Range<usize>>,
}

/// One pointer: every result of every type carries it.
#[derive(Debug)]
pub(crate) struct Faulty(pub(crate) Box<Fault>);

impl Faulty {
    #[cold]
    fn new(message: String, span: Option<Range<usize>>) -> Self {
        Self(Box::new(Fault { message, span }))
    }

    /// A fault whose place is known.
    #[cold]
    pub(crate) fn at(message: String, span: Range<usize>) -> Self {
        Self::new(message, Some(span))
    }

    /// The place, where an inner one has not told a better one.
    #[cold]
    pub(crate) fn or_at(mut self, span: Range<usize>) -> Self {
        self.0.span.get_or_insert(span);
        self
    }
}

impl From<toml::de::Error> for Faulty {
    fn from(error: toml::de::Error) -> Self {
        Self::new(error.message().to_owned(), error.span())
    }
}

impl fmt::Display for Faulty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.message)
    }
}

impl std::error::Error for Faulty {}

impl de::Error for Faulty {
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self::new(message.to_string(), None)
    }
}

/// A number as TOML writes it.
enum Figure {
    Whole(i64),
    Large(u64),
    Broken(f64),
}

/// A value with its place.
#[derive(Clone, Copy)]
pub(crate) struct Reader<'de> {
    value: &'de Spanned<DeValue<'de>>,
}

impl<'de> Reader<'de> {
    pub(crate) fn span(self) -> Range<usize> {
        self.value.span()
    }

    /// The fault of a value of another kind than wanted.
    #[cold]
    pub(crate) fn wrong(self, wanted: &dyn Expected) -> Faulty {
        let found = match self.value.get_ref() {
            DeValue::String(text) => Unexpected::Str(text),
            DeValue::Integer(_) | DeValue::Float(_) => match self.figure() {
                Ok(Figure::Whole(number)) => Unexpected::Signed(number),
                Ok(Figure::Large(number)) => Unexpected::Unsigned(number),
                Ok(Figure::Broken(number)) => Unexpected::Float(number),
                Err(fault) => return fault,
            },
            DeValue::Boolean(truth) => Unexpected::Bool(*truth),
            DeValue::Datetime(_) => Unexpected::Other("a date"),
            DeValue::Array(_) => Unexpected::Seq,
            DeValue::Table(_) => Unexpected::Map,
        };
        <Faulty as de::Error>::invalid_type(found, wanted)
    }

    /// The number that stands here; a value of another kind has no number and is an error.
    fn figure(self) -> Result<Figure, Faulty> {
        match self.value.get_ref() {
            DeValue::Integer(number) => {
                let (digits, radix) = (number.as_str(), number.radix());
                i64::from_str_radix(digits, radix)
                    .map(Figure::Whole)
                    .or_else(|_| u64::from_str_radix(digits, radix).map(Figure::Large))
                    .map_err(|_overflow| Faulty::new("integer number overflowed".to_owned(), None))
            }
            DeValue::Float(number) => match number.as_str().parse::<f64>() {
                Ok(value) if value.is_finite() || number.as_str().contains(['i', 'n']) => {
                    Ok(Figure::Broken(value))
                }
                _ => Err(Faulty::new("floating-point number overflowed".to_owned(), None)),
            },
            _ => Err(Faulty::new("this is no number".to_owned(), None)),
        }
    }

    /// The text that stands here; `wanted` is what a value of another kind is told to be instead.
    pub(crate) fn text(self, wanted: &dyn Expected) -> Result<&'de str, Faulty> {
        match self.value.get_ref() {
            DeValue::String(text) => Ok(text),
            _ => Err(self.wrong(wanted).or_at(self.span())),
        }
    }

    /// The elements of the array that stands here.
    fn list(self) -> Result<impl ExactSizeIterator<Item = Reader<'de>>, Faulty> {
        match self.value.get_ref() {
            DeValue::Array(values) => Ok(values.iter().map(|value| Reader { value })),
            _ => Err(self.wrong(&"a sequence").or_at(self.span())),
        }
    }

    /// The table that stands here, with no other keys than `keys`.
    pub(crate) fn fields(
        self,
        wanted: &'static str,
        keys: &'static [&'static str],
    ) -> Result<Fields<'de>, Faulty> {
        let DeValue::Table(table) = self.value.get_ref() else {
            return Err(self.wrong(&wanted).or_at(self.span()));
        };
        for key in table.keys() {
            if !keys.contains(&key.get_ref().as_ref()) {
                let fault = <Faulty as de::Error>::unknown_field(key.get_ref(), keys);
                return Err(fault.or_at(key.span()));
            }
        }
        Ok(Fields { table, span: self.span() })
    }

    /// Whether a text, a number or a date stands here.
    pub(crate) fn is_leaf(self) -> bool {
        !matches!(self.value.get_ref(), DeValue::Boolean(_) | DeValue::Array(_) | DeValue::Table(_))
    }

    /// Whether a table stands here.
    pub(crate) fn is_table(self) -> bool {
        matches!(self.value.get_ref(), DeValue::Table(_))
    }

    /// A value that reads itself from a text or a number.
    pub(crate) fn leaf<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Faulty> {
        seed.deserialize(self).map_err(|fault| fault.or_at(self.span()))
    }
}

/// What reads itself from a text or a number may use serde for it.
impl<'de> de::Deserializer<'de> for Reader<'de> {
    type Error = Faulty;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::String(text) => visitor.visit_str(text),
            DeValue::Integer(_) | DeValue::Float(_) => match self.figure()? {
                Figure::Whole(number) => visitor.visit_i64(number),
                Figure::Large(number) => visitor.visit_u64(number),
                Figure::Broken(number) => visitor.visit_f64(number),
            },
            // A date is its text, without a time that may follow it.
            DeValue::Datetime(moment) => visitor.visit_str(
                &moment.date.map_or_else(|| moment.to_string(), |date| date.to_string()),
            ),
            _ => Err(self.wrong(&visitor)),
        }
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

/// A value of a document. It is filled in where it stands, so that reading a key is one call whatever its type.
pub(crate) trait Read {
    /// The value before it is read; also what a key means that is left out, where it may be.
    fn blank() -> Self
    where
        Self: Sized;

    /// Reads it from its place.
    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty>;

    /// Whether its key may be left out.
    fn may_be_left_out(&self) -> bool {
        false
    }
}

/// A table whose keys are known to fit.
pub(crate) struct Fields<'de> {
    table: &'de DeTable<'de>,
    span: Range<usize>,
}

impl<'de> Fields<'de> {
    fn find(&self, key: &str) -> Option<Reader<'de>> {
        self.table.get(key).map(|value| Reader { value })
    }

    #[cold]
    fn missing(&self, key: &'static str) -> Faulty {
        <Faulty as de::Error>::missing_field(key).or_at(self.span.clone())
    }

    /// Reads the value of a key.
    pub(crate) fn fill(&self, key: &'static str, value: &mut dyn Read) -> Result<(), Faulty> {
        match self.find(key) {
            Some(reader) => value.fill(reader),
            None if value.may_be_left_out() => Ok(()),
            None => Err(self.missing(key)),
        }
    }

    /// Reads the value of a key that may be left out.
    pub(crate) fn fill_some(&self, key: &str, value: &mut dyn Read) -> Result<(), Faulty> {
        self.find(key).map_or(Ok(()), |reader| value.fill(reader))
    }

    /// The value of a key that reads itself from a text or a number.
    pub(crate) fn leaf<T: DeserializeSeed<'de>>(
        &self,
        key: &'static str,
        seed: T,
    ) -> Result<T::Value, Faulty> {
        self.find(key).ok_or_else(|| self.missing(key))?.leaf(seed)
    }
}

/// Reads a key by what its attributes say: `#[serde(default)]`, which the schema reads too, lets it be left out.
macro_rules! fill_field {
    ($fields:ident, $key:expr, $value:expr, #[serde(default)] $($rest:tt)*) => { $fields.fill_some($key, $value)? };
    ($fields:ident, $key:expr, $value:expr, #$other:tt $($rest:tt)*) => {
        $crate::reader::fill_field!($fields, $key, $value, $($rest)*)
    };
    ($fields:ident, $key:expr, $value:expr,) => { $fields.fill($key, $value)? };
}
pub(crate) use fill_field;

/// Declares how an enum is read: a text names a variant without content, a table with one key one that has some.
macro_rules! read_variants {
    ($name:ident { blank: $blank:expr; alone: $($bare:ident = $bare_word:literal),*; filled: $($filled:ident = $word:literal),* $(,)? }) => {
        impl $crate::reader::Read for $name {
            fn blank() -> Self {
                $blank
            }

            fn fill(&mut self, from: $crate::reader::Reader<'_>) -> Result<(), $crate::reader::Faulty> {
                let variant = from.variant()?;
                *self = match variant.name() {
                    $($bare_word => variant.bare().map(|()| Self::$bare),)*
                    $($word => variant.content().map(Self::$filled),)*
                    _ => Err(variant.unknown(&[$($bare_word,)* $($word,)*])),
                }?;
                Ok(())
            }
        }
    };
}
pub(crate) use read_variants;

/// A variant: a text, or a table with one key.
pub(crate) struct Variant<'de> {
    name: &'de str,
    place: Range<usize>,
    whole: Reader<'de>,
    content: Option<Reader<'de>>,
}

impl<'de> Reader<'de> {
    /// The variant that stands here.
    pub(crate) fn variant(self) -> Result<Variant<'de>, Faulty> {
        let wrong = |message: &str| Err(Faulty::new(message.to_owned(), Some(self.span())));
        match self.value.get_ref() {
            DeValue::String(text) => {
                Ok(Variant { name: text, place: self.span(), whole: self, content: None })
            }
            DeValue::Table(table) => {
                let mut entries = table.iter();
                match (entries.next(), entries.next()) {
                    (Some((key, value)), None) => Ok(Variant {
                        name: key.get_ref(),
                        place: key.span(),
                        whole: self,
                        content: Some(Self { value }),
                    }),
                    (None, _) => wrong("wanted exactly 1 element, found 0 elements"),
                    _ => wrong("wanted exactly 1 element, more than 1 element"),
                }
            }
            _ => wrong("wanted string or table"),
        }
    }
}

impl<'de> Variant<'de> {
    /// Its name.
    pub(crate) fn name(&self) -> &'de str {
        self.name
    }

    /// A variant without content.
    pub(crate) fn bare(&self) -> Result<(), Faulty> {
        match self.content {
            None => Ok(()),
            Some(reader) => match reader.value.get_ref() {
                DeValue::Table(table) if table.is_empty() => Ok(()),
                _ => Err(Faulty::new("expected empty table".into(), Some(reader.span()))),
            },
        }
    }

    /// The content of a variant that has some.
    pub(crate) fn content<T: Read>(&self) -> Result<T, Faulty> {
        read_new(self.content.ok_or_else(|| self.empty())?)
    }

    #[cold]
    fn empty(&self) -> Faulty {
        <Faulty as de::Error>::invalid_type(Unexpected::UnitVariant, &"newtype variant")
            .or_at(self.whole.span())
    }

    /// The fault of a name that none of the variants has.
    #[cold]
    pub(crate) fn unknown(&self, names: &'static [&'static str]) -> Faulty {
        <Faulty as de::Error>::unknown_variant(self.name, names).or_at(self.place.clone())
    }
}

fn read_new<T: Read>(from: Reader<'_>) -> Result<T, Faulty> {
    let mut value = T::blank();
    value.fill(from)?;
    Ok(value)
}

impl Read for String {
    fn blank() -> Self {
        Self::new()
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        from.text(&"a string")?.clone_into(self);
        Ok(())
    }
}

macro_rules! read_number {
    ($($type:ident),*) => {$(
        impl Read for $type {
            fn blank() -> Self {
                0
            }

            fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
                if let DeValue::Datetime(_) = from.value.get_ref() {
                    return Err(from.wrong(&stringify!($type)).or_at(from.span()));
                }
                *self = from.leaf(PhantomData::<Self>)?;
                Ok(())
            }
        }
    )*};
}
read_number!(u32, u8);

macro_rules! read_leaf {
    ($($type:ident: $blank:expr;)*) => {$(
        impl Read for $type {
            fn blank() -> Self {
                $blank
            }

            fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
                *self = from.leaf(PhantomData::<Self>)?;
                Ok(())
            }
        }
    )*};
}
read_leaf! {
    Accuracy: Accuracy::blank();
    AnyQuantity: AnyQuantity::blank();
    Date: Date { year: 1, month: 1, day: 1 };
    Money: Money { amount: 0.0, currency: String::new() };
}

impl<D: Dimension> Read for Quantity<D> {
    fn blank() -> Self {
        Self::from_si(f64::NAN)
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        *self = from.leaf(OfDimension(D::INFO))?.into();
        Ok(())
    }
}

impl<T: Read> Read for Option<T> {
    fn blank() -> Self {
        None
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        self.insert(T::blank()).fill(from)
    }

    fn may_be_left_out(&self) -> bool {
        true
    }
}

impl<T: Read> Read for Box<T> {
    fn blank() -> Self {
        Self::new(T::blank())
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        (**self).fill(from)
    }
}

impl<T: Read> Read for Vec<T> {
    fn blank() -> Self {
        Self::new()
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        for (place, element) in from.list()?.enumerate() {
            self.push(T::blank());
            self[place].fill(element)?;
        }
        Ok(())
    }
}

/// Reads a document's file from its table: one key, the kind's, and the document in it.
pub(crate) fn read(
    table: &Spanned<DeTable<'_>>,
    key: &'static str,
    document: &mut dyn Read,
) -> Result<(), Faulty> {
    for name in table.get_ref().keys() {
        if name.get_ref() != key {
            let message = format!("unknown field `{}`, expected `{key}`", name.get_ref());
            return Err(Faulty::new(message, Some(name.span())));
        }
    }
    match table.get_ref().get(key) {
        Some(value) => document.fill(Reader { value }),
        None => Err(Faulty::new(format!("missing field `{key}`"), Some(table.span()))),
    }
}

#[cfg(test)]
#[allow(unreachable_pub, reason = "`record!` declares what other crates see")]
mod tests {
    use super::*;

    crate::layer::record! {
        /// Keys that must stand and keys that may be left out.
        pub struct Small {
            /// Must stand.
            pub name: String,
            /// Must stand, if only empty.
            pub marks: Vec<String>,
            /// May be left out.
            pub count: Option<u32>,
            /// May be left out.
            #[serde(default)]
            pub others: Vec<u32>,
        }
    }

    fn small(text: &str) -> Result<Small, (String, Option<&str>)> {
        let table = DeTable::parse(text).unwrap();
        let mut small = Small::blank();
        read(&table, "small", &mut small)
            .map(|()| small)
            .map_err(|fault| (fault.to_string(), fault.0.span.map(|span| &text[span])))
    }

    #[test]
    fn only_what_must_stand_is_missed() {
        let read = small("small = { name = \"a\", marks = [] }").unwrap();
        assert_eq!((read.name.as_str(), read.count, read.others), ("a", None, Vec::new()));
        let (message, place) = small("small = { name = \"a\" }").unwrap_err();
        assert_eq!(message, "missing field `marks`");
        assert_eq!(place, Some("{ name = \"a\" }"));
    }

    #[test]
    fn faults_stand_at_their_place() {
        let fault = |line: &'static str| small(line).unwrap_err();
        let (message, place) = fault("small = { name = \"a\", marks = [\"b\", 3] }");
        assert_eq!(
            (message.as_str(), place),
            ("invalid type: integer `3`, expected a string", Some("3"))
        );
        let (message, place) = fault("small = { nam = \"a\" }");
        assert!(
            message.starts_with("unknown field `nam`, expected one of `name`, `marks`"),
            "{message}"
        );
        assert_eq!(place, Some("nam"));
        let (message, place) = fault("small = 3");
        assert_eq!(
            (message.as_str(), place),
            ("invalid type: integer `3`, expected struct Small", Some("3"))
        );
        let (message, place) = fault("small = { name = \"a\", marks = [], count = -1 }");
        assert_eq!(
            (message.as_str(), place),
            ("invalid value: integer `-1`, expected u32", Some("-1"))
        );
    }
}
