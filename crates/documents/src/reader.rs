//! From a parsed TOML table to the types of a document, through one small deserializer.
//!
//! The one of `toml` itself offers every type three kinds of map (tables, dates, spanned values), an array in place of a
//! table, and owned as well as borrowed texts; each is compiled anew for each type of a document. Here a struct comes from a
//! table and from nothing else, a text is a text, and a fault is one pointer: the engine inside the page becomes a third
//! smaller, and a list where a table belongs is told instead of read in the order of the fields.

use std::fmt;
use std::ops::Range;

use serde::de::{self, DeserializeSeed, Expected, Unexpected, Visitor};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

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

    /// The place, where an inner one has not told a better one.
    #[cold]
    fn or_at(mut self, span: Range<usize>) -> Self {
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
    fn span(self) -> Range<usize> {
        self.value.span()
    }

    /// The fault of a value of another kind than wanted.
    #[cold]
    fn wrong(self, wanted: &dyn Expected) -> Faulty {
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

    fn number<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        if !matches!(self.value.get_ref(), DeValue::Integer(_) | DeValue::Float(_)) {
            return Err(self.wrong(&visitor));
        }
        match self.figure()? {
            Figure::Whole(number) => visitor.visit_i64(number),
            Figure::Large(number) => visitor.visit_u64(number),
            Figure::Broken(number) => visitor.visit_f64(number),
        }
    }

    fn text<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::String(text) => visitor.visit_str(text),
            _ => Err(self.wrong(&visitor)),
        }
    }

    fn list<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::Array(values) => visitor.visit_seq(List { values: values.iter() }),
            _ => Err(self.wrong(&visitor)),
        }
    }

    fn table<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::Table(table) => visitor.visit_map(Entries::of(table)),
            _ => Err(self.wrong(&visitor)),
        }
    }

    /// The text of a date, without a time that may follow it.
    fn date(self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::Datetime(moment) => {
                Some(moment.date.map_or_else(|| moment.to_string(), |date| date.to_string()))
            }
            _ => None,
        }
    }
}

macro_rules! forward {
    ($($how:ident: $($method:ident)*;)*) => {$($(
        fn $method<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
            self.$how(visitor).map_err(|fault| fault.or_at(self.span()))
        }
    )*)*};
}

impl<'de> de::Deserializer<'de> for Reader<'de> {
    type Error = Faulty;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::String(_) => self.text(visitor),
            DeValue::Integer(_) | DeValue::Float(_) => self.number(visitor),
            DeValue::Boolean(truth) => visitor.visit_bool(*truth),
            DeValue::Datetime(_) => visitor.visit_str(&self.date().unwrap_or_default()),
            DeValue::Array(_) => self.list(visitor),
            DeValue::Table(_) => self.table(visitor),
        }
        .map_err(|fault| fault.or_at(self.span()))
    }

    forward! {
        number: deserialize_u8 deserialize_u16 deserialize_u32 deserialize_u64 deserialize_i8 deserialize_i16 deserialize_i32
            deserialize_i64 deserialize_f32 deserialize_f64;
        text: deserialize_str deserialize_string deserialize_char deserialize_identifier deserialize_bytes deserialize_byte_buf;
        list: deserialize_seq;
        table: deserialize_map;
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        match self.value.get_ref() {
            DeValue::Boolean(truth) => visitor.visit_bool(*truth),
            _ => Err(self.wrong(&visitor).or_at(self.span())),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        visitor.visit_some(self)
    }

    fn deserialize_unit<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        Err(self.wrong(&visitor).or_at(self.span()))
    }

    fn deserialize_unit_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        self.deserialize_unit(visitor)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Faulty> {
        self.deserialize_seq(visitor)
    }

    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: usize,
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        self.deserialize_seq(visitor)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        self.deserialize_map(visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        self.variant()
            .and_then(|variant| visitor.visit_enum(variant))
            .map_err(|fault| fault.or_at(self.span()))
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        visitor.visit_unit()
    }
}

impl<'de> Reader<'de> {
    fn variant(self) -> Result<Variant<'de>, Faulty> {
        match self.value.get_ref() {
            DeValue::String(text) => Ok(Variant { name: text, place: self.span(), content: None }),
            DeValue::Table(table) => {
                let mut entries = table.iter();
                match (entries.next(), entries.next()) {
                    (Some((key, content)), None) => Ok(Variant {
                        name: key.get_ref(),
                        place: key.span(),
                        content: Some(Self { value: content }),
                    }),
                    (None, _) => {
                        Err(Faulty::new("wanted exactly 1 element, found 0 elements".into(), None))
                    }
                    _ => Err(Faulty::new(
                        "wanted exactly 1 element, more than 1 element".into(),
                        None,
                    )),
                }
            }
            _ => Err(Faulty::new("wanted string or table".into(), None)),
        }
    }
}

/// The elements of an array.
struct List<'de> {
    values: std::slice::Iter<'de, Spanned<DeValue<'de>>>,
}

impl<'de> de::SeqAccess<'de> for List<'de> {
    type Error = Faulty;

    fn next_element_seed<T: DeserializeSeed<'de>>(
        &mut self,
        seed: T,
    ) -> Result<Option<T::Value>, Faulty> {
        self.values.next().map(|value| seed.deserialize(Reader { value })).transpose()
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.values.len())
    }
}

type Entry<'de> = (&'de Spanned<toml::de::DeString<'de>>, &'de Spanned<DeValue<'de>>);

/// The keys and values of a table.
struct Entries<'de> {
    entries: std::vec::IntoIter<Entry<'de>>,
    value: Option<Reader<'de>>,
}

impl<'de> Entries<'de> {
    fn of(table: &'de DeTable<'de>) -> Self {
        Self { entries: table.iter().collect::<Vec<_>>().into_iter(), value: None }
    }
}

impl<'de> de::MapAccess<'de> for Entries<'de> {
    type Error = Faulty;

    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, Faulty> {
        let Some((key, value)) = self.entries.next() else { return Ok(None) };
        self.value = Some(Reader { value });
        seed.deserialize(Name(key.get_ref())).map(Some).map_err(|fault| fault.or_at(key.span()))
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Faulty> {
        match self.value.take() {
            Some(reader) => seed.deserialize(reader).map_err(|fault| fault.or_at(reader.span())),
            None => Err(Faulty::new("a value without its key".into(), None)),
        }
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.entries.len())
    }
}

/// A key or the name of a variant.
struct Name<'de>(&'de str);

impl<'de> de::Deserializer<'de> for Name<'de> {
    type Error = Faulty;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Faulty> {
        visitor.visit_str(self.0)
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

/// A variant: a text, or a table with one key.
struct Variant<'de> {
    name: &'de str,
    place: Range<usize>,
    content: Option<Reader<'de>>,
}

impl<'de> de::EnumAccess<'de> for Variant<'de> {
    type Error = Faulty;
    type Variant = Self;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Self), Faulty> {
        let name =
            seed.deserialize(Name(self.name)).map_err(|fault| fault.or_at(self.place.clone()))?;
        Ok((name, self))
    }
}

impl Variant<'_> {
    #[cold]
    fn bare(wanted: &str) -> Faulty {
        <Faulty as de::Error>::invalid_type(Unexpected::UnitVariant, &wanted)
    }
}

impl<'de> de::VariantAccess<'de> for Variant<'de> {
    type Error = Faulty;

    fn unit_variant(self) -> Result<(), Faulty> {
        match self.content {
            None => Ok(()),
            Some(reader) => match reader.value.get_ref() {
                DeValue::Table(table) if table.is_empty() => Ok(()),
                _ => Err(Faulty::new("expected empty table".into(), Some(reader.span()))),
            },
        }
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Faulty> {
        match self.content {
            Some(reader) => seed.deserialize(reader),
            None => Err(Self::bare("newtype variant")),
        }
    }

    fn tuple_variant<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Faulty> {
        match self.content {
            Some(reader) => de::Deserializer::deserialize_seq(reader, visitor),
            None => Err(Self::bare("tuple variant")),
        }
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Faulty> {
        match self.content {
            Some(reader) => de::Deserializer::deserialize_map(reader, visitor),
            None => Err(Self::bare("struct variant")),
        }
    }
}

/// Reads a document's file from its table: one key, the kind's, and the document in it.
pub(crate) fn read<'de, T: de::Deserialize<'de>>(
    table: &'de Spanned<DeTable<'de>>,
    key: &'static str,
) -> Result<T, Faulty> {
    for name in table.get_ref().keys() {
        if name.get_ref() != key {
            let message = format!("unknown field `{}`, expected `{key}`", name.get_ref());
            return Err(Faulty::new(message, Some(name.span())));
        }
    }
    match table.get_ref().get(key) {
        Some(value) => T::deserialize(Reader { value }),
        None => Err(Faulty::new(format!("missing field `{key}`"), Some(table.span()))),
    }
}
