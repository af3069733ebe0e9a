//! Walking over a document: every quantity with its key path, and the document's own kind and source given to figures
//! that state none.

use overwinter_quantity::{Accuracy, AnyQuantity, Dimension, DimensionInfo, Money, Quantity};

use crate::choice::{Choice, Kind};
use crate::date::Date;
use crate::figure::Figure;
use crate::locate::KeyPath;
use crate::seen::Seen;

/// A quantity met on the way.
#[derive(Clone, Copy, Debug)]
pub struct Leaf {
    /// Its dimension.
    pub info: &'static DimensionInfo,
    /// Its value in SI.
    pub si: f64,
}

/// A part of a document that can be walked over. The defaults are for parts without quantities.
pub trait Walk {
    /// Calls `visit` with every quantity inside and its key path, `path` being that of `self`.
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        let _ = (path, visit);
    }

    /// Gives kind and source to the figures inside that state none.
    fn stamp(&mut self, kind: Option<Kind>, source: Option<&str>) {
        let _ = (kind, source);
    }
}

macro_rules! walk_fields {
    ($name:ident { $($field:ident)* }) => {
        impl $crate::walk::Walk for $name {
            fn walk(&self, path: &$crate::locate::KeyPath, visit: &mut dyn FnMut(&$crate::locate::KeyPath, $crate::walk::Leaf)) {
                $($crate::walk::Walk::walk(&self.$field, &path.key(stringify!($field)), visit);)*
            }

            fn stamp(&mut self, kind: Option<$crate::choice::Kind>, source: Option<&str>) {
                $($crate::walk::Walk::stamp(&mut self.$field, kind, source);)*
            }
        }
    };
}
pub(crate) use walk_fields;

macro_rules! walk_variants {
    ($name:ident { $($variant:ident)* }) => {
        impl $crate::walk::Walk for $name {
            fn walk(&self, path: &$crate::locate::KeyPath, visit: &mut dyn FnMut(&$crate::locate::KeyPath, $crate::walk::Leaf)) {
                #[allow(unreachable_patterns, reason = "not every enum has a variant without content")]
                match self {
                    $(Self::$variant(inner) => $crate::walk::Walk::walk(inner, &path.key(&$crate::walk::snake(stringify!($variant))), visit),)*
                    _ => {}
                }
            }

            fn stamp(&mut self, kind: Option<$crate::choice::Kind>, source: Option<&str>) {
                #[allow(unreachable_patterns, reason = "not every enum has a variant without content")]
                match self {
                    $(Self::$variant(inner) => $crate::walk::Walk::stamp(inner, kind, source),)*
                    _ => {}
                }
            }
        }
    };
}
pub(crate) use walk_variants;

/// `SetCurrent` → `set_current`, as serde spells it.
pub(crate) fn snake(camel: &str) -> String {
    let mut out = String::new();
    for c in camel.chars() {
        if c.is_ascii_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.push(c.to_ascii_lowercase());
    }
    out
}

macro_rules! without_quantities {
    ($($type:ty),*) => {$(impl Walk for $type {})*};
}
without_quantities!(String, u32, u8, Money, Date, Accuracy);

impl<T: Choice> Walk for Seen<T> {}

impl<T: Walk> Walk for Option<T> {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        if let Some(inner) = self {
            inner.walk(path, visit);
        }
    }

    fn stamp(&mut self, kind: Option<Kind>, source: Option<&str>) {
        if let Some(inner) = self {
            inner.stamp(kind, source);
        }
    }
}

impl<T: Walk> Walk for Box<T> {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        (**self).walk(path, visit);
    }

    fn stamp(&mut self, kind: Option<Kind>, source: Option<&str>) {
        (**self).stamp(kind, source);
    }
}

impl<T: Walk> Walk for Vec<T> {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        for (index, inner) in self.iter().enumerate() {
            inner.walk(&path.index(index), visit);
        }
    }

    fn stamp(&mut self, kind: Option<Kind>, source: Option<&str>) {
        for inner in self {
            inner.stamp(kind, source);
        }
    }
}

impl<D: Dimension> Walk for Quantity<D> {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        visit(path, Leaf { info: D::INFO, si: self.si() });
    }
}

impl Walk for AnyQuantity {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        visit(path, Leaf { info: self.dimension(), si: self.si() });
    }
}

impl<D: Dimension> Walk for Figure<D> {
    fn walk(&self, path: &KeyPath, visit: &mut dyn FnMut(&KeyPath, Leaf)) {
        // Where the figure is a text, the locator stops at the text itself.
        self.value.walk(&path.key("value"), visit);
    }

    fn stamp(&mut self, kind: Option<Kind>, source: Option<&str>) {
        if self.kind.is_none() {
            self.kind = kind;
        }
        if self.source.is_none() {
            self.source = source.map(str::to_owned);
        }
    }
}
