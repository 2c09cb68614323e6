//! A value as flat lists, through serde: its `f32` numbers by name, and all else (whole numbers, flags,
//! options, variants).
//!
//! Whatever the value consists of, no part of it needs to know of this.

use serde::de::value::U32Deserializer;
use serde::de::{DeserializeOwned, DeserializeSeed, IntoDeserializer, SeqAccess, Visitor};
use serde::ser::{self, Serialize};
use std::fmt::Display;

/// A value in flat lists.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Flat {
    /// The numbers.
    pub numbers: Vec<f32>,
    /// All else.
    pub discrete: Vec<u64>,
    /// First and number of components of unit length: attitudes and headings.
    pub units: Vec<(usize, usize)>,
}

/// A value that is not flat, or lists that do not make up a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct NotFlat(String);

impl Display for NotFlat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for NotFlat {}

impl ser::Error for NotFlat {
    fn custom<T: Display>(text: T) -> Self {
        Self(text.to_string())
    }
}

impl serde::de::Error for NotFlat {
    fn custom<T: Display>(text: T) -> Self {
        Self(text.to_string())
    }
}

impl Flat {
    /// The lists of a value.
    pub(crate) fn of(value: &impl Serialize) -> Result<Self, NotFlat> {
        let mut writer = Writer::default();
        value.serialize(&mut writer)?;
        Ok(writer.flat)
    }

    /// The names of the numbers of a value.
    pub(crate) fn names(value: &impl Serialize) -> Result<Vec<String>, NotFlat> {
        let mut writer = Writer { names: Some(Vec::new()), ..Writer::default() };
        value.serialize(&mut writer)?;
        Ok(writer.names.unwrap_or_default())
    }

    /// The value of the lists. Components of unit length are normalised first.
    pub(crate) fn value<T: DeserializeOwned>(&mut self) -> Result<T, NotFlat> {
        for &(first, count) in &self.units {
            let parts = &mut self.numbers[first..first + count];
            let squared: f64 = parts.iter().map(|part| f64::from(*part).powi(2)).sum();
            if (squared - 1.0).abs() > 1e-6 {
                let per_length = 1.0 / libm::sqrt(squared);
                parts.iter_mut().for_each(|part| *part = (f64::from(*part) * per_length) as f32);
            }
        }
        T::deserialize(&mut Reader { numbers: self.numbers.iter(), discrete: self.discrete.iter() })
    }
}

#[derive(Default)]
struct Writer {
    flat: Flat,
    /// The names so far, where needed, and the path to the present number.
    names: Option<Vec<String>>,
    path: Vec<String>,
    /// Elements so far of each open sequence.
    counts: Vec<usize>,
}

impl Writer {
    fn discrete(&mut self, value: u64) -> Result<(), NotFlat> {
        self.flat.discrete.push(value);
        Ok(())
    }

    fn under(
        &mut self,
        key: impl FnOnce() -> String,
        value: &(impl Serialize + ?Sized),
    ) -> Result<(), NotFlat> {
        if self.names.is_none() {
            return value.serialize(self);
        }
        self.path.push(key());
        let done = value.serialize(&mut *self);
        self.path.pop();
        done
    }

    fn element(&mut self, value: &(impl Serialize + ?Sized)) -> Result<(), NotFlat> {
        let count = self.counts.last_mut().map_or(0, |count| {
            *count += 1;
            *count - 1
        });
        self.under(|| count.to_string(), value)
    }

    fn open(&mut self) -> Result<&mut Self, NotFlat> {
        self.counts.push(0);
        Ok(self)
    }

    fn close(&mut self) -> Result<(), NotFlat> {
        self.counts.pop();
        Ok(())
    }
}

macro_rules! write_whole {
    ($($method:ident: $type:ty),*) => {
        $(fn $method(self, value: $type) -> Result<(), NotFlat> {
            self.discrete(value as u64)
        })*
    };
}

macro_rules! refuse {
    ($($method:ident($($type:ty),*) -> $output:ty;)*) => {
        $(fn $method(self, $(_: $type),*) -> Result<$output, NotFlat> {
            Err(NotFlat(concat!(stringify!($method), ": not a flat value").into()))
        })*
    };
}

impl ser::Serializer for &mut Writer {
    type Ok = ();
    type Error = NotFlat;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = ser::Impossible<(), NotFlat>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    write_whole! {
        serialize_bool: bool, serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u32: u32, serialize_u64: u64, serialize_char: char
    }

    refuse! {
        serialize_f64(f64) -> ();
        serialize_str(&str) -> ();
        serialize_bytes(&[u8]) -> ();
        serialize_map(Option<usize>) -> Self::SerializeMap;
    }

    fn serialize_f32(self, value: f32) -> Result<(), NotFlat> {
        self.flat.numbers.push(value);
        if let Some(names) = &mut self.names {
            names.push(self.path.join("."));
        }
        Ok(())
    }

    fn serialize_none(self) -> Result<(), NotFlat> {
        self.discrete(0)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), NotFlat> {
        self.discrete(1)?;
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), NotFlat> {
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<(), NotFlat> {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Result<(), NotFlat> {
        self.discrete(u64::from(index))
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        name: &'static str,
        value: &T,
    ) -> Result<(), NotFlat> {
        if name == "Attitude" {
            self.flat.units.push((self.flat.numbers.len(), 4));
        }
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), NotFlat> {
        self.discrete(u64::from(index))?;
        value.serialize(self)
    }

    fn serialize_seq(self, length: Option<usize>) -> Result<Self, NotFlat> {
        let length = length.ok_or_else(|| NotFlat("a sequence without a length".into()))?;
        self.discrete(length as u64)?;
        self.open()
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, NotFlat> {
        self.open()
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, NotFlat> {
        self.open()
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, NotFlat> {
        self.discrete(u64::from(index))?;
        self.open()
    }

    fn serialize_struct(self, name: &'static str, _: usize) -> Result<Self, NotFlat> {
        if name == "Heading" {
            self.flat.units.push((self.flat.numbers.len(), 2));
        }
        self.open()
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, NotFlat> {
        self.discrete(u64::from(index))?;
        self.open()
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

macro_rules! elements {
    ($($parts:ident::$method:ident),*) => {
        $(impl ser::$parts for &mut Writer {
            type Ok = ();
            type Error = NotFlat;

            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NotFlat> {
                self.element(value)
            }

            fn end(self) -> Result<(), NotFlat> {
                self.close()
            }
        })*
    };
}

macro_rules! fields {
    ($($parts:ident),*) => {
        $(impl ser::$parts for &mut Writer {
            type Ok = ();
            type Error = NotFlat;

            fn serialize_field<T: Serialize + ?Sized>(
                &mut self,
                key: &'static str,
                value: &T,
            ) -> Result<(), NotFlat> {
                self.under(|| key.to_owned(), value)
            }

            fn end(self) -> Result<(), NotFlat> {
                self.close()
            }
        })*
    };
}

elements!(
    SerializeSeq::serialize_element,
    SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field,
    SerializeTupleVariant::serialize_field
);
fields!(SerializeStruct, SerializeStructVariant);

struct Reader<'a> {
    numbers: std::slice::Iter<'a, f32>,
    discrete: std::slice::Iter<'a, u64>,
}

impl Reader<'_> {
    fn discrete(&mut self) -> Result<u64, NotFlat> {
        self.discrete.next().copied().ok_or_else(|| NotFlat("too few values".into()))
    }
}

macro_rules! read_whole {
    ($($method:ident: $visit:ident $type:ty),*) => {
        $(fn $method<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
            let value = self.discrete()?;
            visitor.$visit(value as $type)
        })*
    };
}

macro_rules! refuse_to_read {
    ($($method:ident),*) => {
        $(fn $method<V: Visitor<'de>>(self, _: V) -> Result<V::Value, NotFlat> {
            Err(NotFlat(concat!(stringify!($method), ": not a flat value").into()))
        })*
    };
}

impl<'de> serde::Deserializer<'de> for &mut Reader<'_> {
    type Error = NotFlat;

    read_whole! {
        deserialize_i8: visit_i8 i8, deserialize_i16: visit_i16 i16, deserialize_i32: visit_i32 i32,
        deserialize_i64: visit_i64 i64, deserialize_u8: visit_u8 u8, deserialize_u16: visit_u16 u16,
        deserialize_u32: visit_u32 u32, deserialize_u64: visit_u64 u64
    }

    refuse_to_read!(
        deserialize_any,
        deserialize_f64,
        deserialize_char,
        deserialize_str,
        deserialize_string,
        deserialize_bytes,
        deserialize_byte_buf,
        deserialize_map,
        deserialize_identifier,
        deserialize_ignored_any
    );

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
        let value = self.discrete()?;
        visitor.visit_bool(value != 0)
    }

    fn deserialize_f32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
        let value = self.numbers.next().copied().ok_or_else(|| NotFlat("too few numbers".into()))?;
        visitor.visit_f32(value)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
        if self.discrete()? == 0 { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_unit<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
        visitor.visit_unit()
    }

    fn deserialize_unit_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_unit()
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, NotFlat> {
        let left = self.discrete()? as usize;
        visitor.visit_seq(Elements { reader: self, left })
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, left: usize, visitor: V) -> Result<V::Value, NotFlat> {
        visitor.visit_seq(Elements { reader: self, left })
    }

    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        left: usize,
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_seq(Elements { reader: self, left })
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_seq(Elements { reader: self, left: fields.len() })
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_enum(self)
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

struct Elements<'a, 'b> {
    reader: &'a mut Reader<'b>,
    left: usize,
}

impl<'de> SeqAccess<'de> for Elements<'_, '_> {
    type Error = NotFlat;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, NotFlat> {
        if self.left == 0 {
            return Ok(None);
        }
        self.left -= 1;
        seed.deserialize(&mut *self.reader).map(Some)
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.left)
    }
}

impl<'de> serde::de::EnumAccess<'de> for &mut Reader<'_> {
    type Error = NotFlat;
    type Variant = Self;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Self), NotFlat> {
        let index: U32Deserializer<NotFlat> = (self.discrete()? as u32).into_deserializer();
        Ok((seed.deserialize(index)?, self))
    }
}

impl<'de> serde::de::VariantAccess<'de> for &mut Reader<'_> {
    type Error = NotFlat;

    fn unit_variant(self) -> Result<(), NotFlat> {
        Ok(())
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, NotFlat> {
        seed.deserialize(self)
    }

    fn tuple_variant<V: Visitor<'de>>(self, left: usize, visitor: V) -> Result<V::Value, NotFlat> {
        visitor.visit_seq(Elements { reader: self, left })
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, NotFlat> {
        visitor.visit_seq(Elements { reader: self, left: fields.len() })
    }
}

#[cfg(test)]
#[path = "flat_tests.rs"]
mod tests;
