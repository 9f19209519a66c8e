//! A row and the type that is read by it.

use std::marker::PhantomData;
use std::ops::Deref;

use crate::key::Key;

/// A row whose values are of type `T`.
#[derive(Debug)]
pub struct Typed<T> {
    /// The row.
    pub row: Key,
    of: PhantomData<fn() -> T>,
}

impl<T> Typed<T> {
    /// A row as one of this type.
    pub const fn new(row: Key) -> Self {
        Self {
            row,
            of: PhantomData,
        }
    }
}

impl<T> Clone for Typed<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Typed<T> {}

impl<T> Deref for Typed<T> {
    type Target = Key;
    fn deref(&self) -> &Key {
        &self.row
    }
}

/// What stands at keys of several shapes, tables and lists: the reader of the section takes it apart.
#[derive(Clone, Copy, Debug)]
pub struct Any;

/// The keys of one section: a constant with one typed field a key, and its [`Table`](crate::key::Table).
///
/// A key's name is the field's, so it stands nowhere else. With `in` the rows belong to a section that stands elsewhere.
macro_rules! keys {
    (
        $(#[$meta:meta])*
        $constant:ident: $type:ident = $name:literal, $heading:literal, $about:literal,
        { $($key:ident: $of:ty = $row:expr,)* }
    ) => {
        $crate::key::keys! {
            $(#[$meta])*
            $constant: $type in $name, { $($key: $of = $row,)* }
        }

        impl $type {
            /// The section as lists, schema and reader see it.
            pub(crate) const TABLE: $crate::key::Table = $crate::key::Table {
                name: $name,
                heading: $heading,
                about: $about,
                keys: &[$($constant.$key.row,)*],
            };
        }
    };
    (
        $(#[$meta:meta])*
        $constant:ident: $type:ident in $name:literal,
        { $($key:ident: $of:ty = $row:expr,)* }
    ) => {
        #[doc = concat!("Keys of `", $name, "`.")]
        #[derive(Clone, Copy, Debug)]
        pub(crate) struct $type { $(pub(crate) $key: $crate::key::Typed<$of>,)* }

        $(#[$meta])*
        pub(crate) const $constant: $type = $type {
            $($key: $crate::key::Typed::new($row.named($name, stringify!($key))),)*
        };
    };
}
pub(crate) use keys;
