//! The macros that turn a readable table of the standard into types: `element!` for an element
//! with its attributes and children, `code!` for an enumeration, `id!` for an identifier.

/// An element: its attributes by the standard's letter, then its children.
///
/// `required` attributes and `one` (exactly one) child are plain fields and arguments of `new`;
/// `optional` attributes and `maybe` (at most one) child are options, `many` children a list.
macro_rules! element {
    (
        $(#[$doc:meta])*
        $name:ident = $tag:literal
        $(required { $($(#[$rdoc:meta])* $rkey:ident $rfield:ident: $rtype:ty,)+ })?
        $(optional { $($(#[$odoc:meta])* $okey:ident $ofield:ident: $otype:ty,)+ })?
        $(one { $($(#[$cdoc:meta])* $cfield:ident: $ctype:ty,)+ })?
        $(maybe { $($(#[$ydoc:meta])* $yfield:ident: $ytype:ty,)+ })?
        $(many { $($(#[$mdoc:meta])* $mfield:ident: $mtype:ty,)+ })?
    ) => {
        $(#[$doc])*
        #[doc = concat!("\n\nElement `", $tag, "`.")]
        #[derive(Clone, Debug, PartialEq, Eq)]
        pub struct $name {
            $($($(#[$rdoc])* #[doc = concat!("\n\nAttribute `", stringify!($rkey), "`.")] pub $rfield: $rtype,)+)?
            $($($(#[$odoc])* #[doc = concat!("\n\nAttribute `", stringify!($okey), "`.")] pub $ofield: Option<$otype>,)+)?
            $($($(#[$cdoc])* pub $cfield: $ctype,)+)?
            $($($(#[$ydoc])* pub $yfield: Option<$ytype>,)+)?
            $($($(#[$mdoc])* pub $mfield: Vec<$mtype>,)+)?
        }

        impl $name {
            /// With what the standard requires, and nothing else.
            #[allow(clippy::new_without_default, clippy::too_many_arguments)]
            pub fn new($($($rfield: $rtype,)+)? $($($cfield: $ctype,)+)?) -> Self {
                Self {
                    $($($rfield,)+)?
                    $($($ofield: None,)+)?
                    $($($cfield,)+)?
                    $($($yfield: None,)+)?
                    $($($mfield: Vec::new(),)+)?
                }
            }
        }

        impl $crate::taskdata::xml::Element for $name {
            const TAG: &'static str = $tag;

            fn to_node(&self) -> $crate::taskdata::xml::Node {
                #[allow(unused_mut)]
                let mut node = $crate::taskdata::xml::Node::new($tag);
                $($(node.set(stringify!($rkey), Some(&self.$rfield));)+)?
                $($(node.set(stringify!($okey), self.$ofield.as_ref());)+)?
                $($(node.add(std::slice::from_ref(&self.$cfield));)+)?
                $($(node.add(self.$yfield.as_slice());)+)?
                $($(node.add(&self.$mfield);)+)?
                node
            }

            fn from_node(
                node: &$crate::taskdata::xml::Node,
            ) -> Result<Self, $crate::taskdata::xml::ReadError> {
                Ok(Self {
                    $($($rfield: node.required(stringify!($rkey))?,)+)?
                    $($($ofield: node.optional(stringify!($okey))?,)+)?
                    $($($cfield: node.one()?,)+)?
                    $($($yfield: node.maybe()?,)+)?
                    $($($mfield: node.many()?,)+)?
                })
            }
        }

        #[cfg(test)]
        impl $crate::taskdata::sample::Sample for $name {
            #[allow(unused_variables)]
            fn sample(source: &mut $crate::taskdata::sample::Source) -> Self {
                Self {
                    $($($rfield: source.value(),)+)?
                    $($($ofield: source.option(),)+)?
                    $($($cfield: source.value(),)+)?
                    $($($yfield: source.option(),)+)?
                    $($($mfield: source.list(),)+)?
                }
            }
        }
    };
}

/// An enumeration of the standard: each name with its code.
macro_rules! code {
    (
        $(#[$doc:meta])*
        $name:ident { $($(#[$vdoc:meta])* $variant:ident = $code:literal,)+ }
    ) => {
        $(#[$doc])*
        #[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[repr(u8)]
        pub enum $name { $($(#[$vdoc])* $variant = $code,)+ }

        impl $name {
            /// Every value, in the order of the codes.
            pub const ALL: &[Self] = &[$(Self::$variant,)+];
        }

        impl $crate::taskdata::value::Attribute for $name {
            fn to_text(&self) -> String {
                (*self as u8).to_string()
            }
            fn from_text(text: &str) -> Result<Self, String> {
                match text {
                    $(stringify!($code) => Ok(Self::$variant),)+
                    _ => Err(format!("`{text}` is none of the codes {}", [$(stringify!($code)),+].join(", "))),
                }
            }
        }

        #[cfg(test)]
        impl $crate::taskdata::sample::Sample for $name {
            fn sample(source: &mut $crate::taskdata::sample::Source) -> Self {
                Self::ALL[source.below(Self::ALL.len())]
            }
        }
    };
}

/// Identifiers: one type for each element, so that a farm is never referred to as a field.
macro_rules! id {
    ($($(#[$doc:meta])* $name:ident = $tag:literal;)+) => {
        $(
            $(#[$doc])*
            #[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
            pub struct $name(Number);

            impl $name {
                /// Made by the farm office, written without a hyphen.
                pub const fn office(number: u32) -> Self {
                    Self(Number::Office(number))
                }
                /// Made by the machine, written with a hyphen.
                pub const fn machine(number: u32) -> Self {
                    Self(Number::Machine(number))
                }
            }

            impl $crate::taskdata::value::Attribute for $name {
                fn to_text(&self) -> String {
                    self.0.after($tag)
                }
                fn from_text(text: &str) -> Result<Self, String> {
                    Number::read($tag, text).map(Self)
                }
            }

            #[cfg(test)]
            impl $crate::taskdata::sample::Sample for $name {
                fn sample(source: &mut $crate::taskdata::sample::Source) -> Self {
                    let number = source.number() as u32;
                    if source.below(2) == 0 { Self::office(number) } else { Self::machine(number) }
                }
            }

            impl From<$name> for ObjectRef {
                fn from(id: $name) -> Self {
                    Self { tag: $tag, number: id.0 }
                }
            }
        )+

        /// The tags of the elements that have an identifier.
        const TAGS: &[&str] = &[$($tag,)+];
    };
}
