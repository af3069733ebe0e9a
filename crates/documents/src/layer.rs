//! Layers: a specimen over its revision over its model, a cell over its chemistry. What a layer leaves out, the one below tells.

use crate::seen::Seen;

/// A value that can be laid over another one.
pub trait Layer {
    /// `self` where it says something, `below` elsewhere.
    #[must_use]
    fn over(&self, below: &Self) -> Self;
}

impl<T: Clone> Layer for Option<T> {
    fn over(&self, below: &Self) -> Self {
        self.clone().or_else(|| below.clone())
    }
}

impl<T: Clone> Layer for Seen<T> {
    fn over(&self, below: &Self) -> Self {
        if matches!(self, Self::Unknown) { below.clone() } else { self.clone() }
    }
}

impl<T: Clone> Layer for Vec<T> {
    fn over(&self, below: &Self) -> Self {
        if self.is_empty() { below.clone() } else { self.clone() }
    }
}

/// Declares a struct of a document: strict keys, reader, schema.
macro_rules! record {
    ($($(#[$meta:meta])* pub struct $name:ident { $($(#$field_meta:tt)* pub $field:ident: $type:ty,)* })*) => {$(
        $(#[$meta])*
        #[derive(Clone, Debug, PartialEq, serde::Serialize, schemars::JsonSchema)]
        #[schemars(deny_unknown_fields)]
        pub struct $name { $($(#$field_meta)* pub $field: $type,)* }
        $crate::walk::walk_fields!($name { $($field)* });

        impl $crate::reader::Read for $name {
            fn blank() -> Self {
                Self { $($field: $crate::reader::Read::blank(),)* }
            }

            fn fill(&mut self, from: $crate::reader::Reader<'_>) -> Result<(), $crate::reader::Faulty> {
                let fields = from.fields(concat!("struct ", stringify!($name)), &[$(stringify!($field)),*])?;
                $($crate::reader::fill_field!(fields, stringify!($field), &mut self.$field, $(#$field_meta)*);)*
                Ok(())
            }
        }
    )*};
}
pub(crate) use record;

/// Declares a struct of which every key may be left out.
macro_rules! sparse {
    ($($(#[$meta:meta])* pub struct $name:ident { $($(#[$field_meta:meta])* pub $field:ident: $type:ty,)* })*) => {$(
        $(#[$meta])*
        #[derive(Clone, Debug, Default, PartialEq, serde::Serialize, schemars::JsonSchema)]
        #[serde(default)]
        #[schemars(deny_unknown_fields)]
        pub struct $name { $($(#[$field_meta])* pub $field: $type,)* }
        $crate::walk::walk_fields!($name { $($field)* });

        impl $crate::reader::Read for $name {
            fn blank() -> Self {
                Self::default()
            }

            fn fill(&mut self, from: $crate::reader::Reader<'_>) -> Result<(), $crate::reader::Faulty> {
                let fields = from.fields(concat!("struct ", stringify!($name)), &[$(stringify!($field)),*])?;
                $(fields.fill_some(stringify!($field), &mut self.$field)?;)*
                Ok(())
            }
        }
    )*};
}
pub(crate) use sparse;

/// Declares a struct of which every key may be left out, with its [`Layer`].
macro_rules! layered {
    ($($(#[$meta:meta])* pub struct $name:ident { $($(#[$field_meta:meta])* pub $field:ident: $type:ty,)* })*) => {$(
        $crate::layer::sparse! {
            $(#[$meta])*
            pub struct $name { $($(#[$field_meta])* pub $field: $type,)* }
        }

        impl $crate::layer::Layer for $name {
            fn over(&self, below: &Self) -> Self {
                Self { $($field: $crate::layer::Layer::over(&self.$field, &below.$field),)* }
            }
        }
    )*};
}
pub(crate) use layered;
