//! Structs that stand for tables, and visitors of their keys.

use std::collections::BTreeMap;

use super::spec::KeySpec;
use super::value::Value;

/// A struct that stands for a table of a file.
pub trait Keyed {
    /// Goes through every key of the table, in the order in which they are printed.
    fn keys(&mut self, keys: &mut impl Keys);
}

/// Defines a struct that stands for a table: for each field its default, its key and the key's [`KeySpec`].
macro_rules! keyed {
    (
        $(#[$about:meta])*
        pub struct $table:ident {
            $($(#[$doc:meta])* $field:ident: $of:ty = $default:expr, $key:literal, $spec:expr;)*
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $table {
            $($(#[$doc])* pub $field: $of,)*
        }

        impl Default for $table {
            fn default() -> Self {
                $table { $($field: $default,)* }
            }
        }

        impl $crate::keys::Keyed for $table {
            fn keys(&mut self, keys: &mut impl $crate::keys::Keys) {
                $(keys.key($key, &mut self.$field, $spec);)*
            }
        }
    };
}
pub(crate) use keyed;

/// A visitor of the keys of a table: the reader of a file, or the list of what a file would say.
///
/// `says` is one line on a table, for a page that explains it.
pub trait Keys: Sized {
    /// Visits a key with a value.
    fn key<V: Value>(&mut self, name: &str, value: &mut V, spec: KeySpec);

    /// Visits a table, `[name]`. Where the file has none, the value stays as it is.
    fn table<T: Keyed>(&mut self, name: &str, value: &mut T, says: &'static str);

    /// Visits a table that may be left out and then is `None`. Where there is one, keys that it lacks are those of
    /// `blank`.
    fn optional_table<T: Keyed>(
        &mut self,
        name: &str,
        value: &mut Option<T>,
        blank: T,
        says: &'static str,
    );

    /// Visits any number of tables, each headed `[[name]]`; `example` is listed where there is none.
    fn tables<T: Keyed + Default>(
        &mut self,
        name: &str,
        list: &mut Vec<T>,
        example: T,
        says: &'static str,
    );

    /// Visits a table with names of the user's own; `entry` visits one of them, as a key or a table of that name.
    fn map<T: Default>(
        &mut self,
        name: &str,
        map: &mut BTreeMap<String, T>,
        entry: impl Fn(&mut Self, &str, &mut T),
    );

    /// Whether the file being read has `name`, whatever its value.
    fn is_given(&self, _name: &str) -> bool {
        false
    }

    /// Checks several keys together when a file is read: `faults` gives each key concerned (dotted, from this table)
    /// and what was expected of it.
    fn check(&mut self, _faults: impl FnOnce() -> Vec<(String, String)>) {}
}
