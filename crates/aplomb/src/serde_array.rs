//! Arrays whose length is a const generic, for serde: as a tuple, the form that serde itself gives arrays of
//! fixed length.

use core::fmt;
use core::marker::PhantomData;

use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeTuple, Serializer};

pub fn serialize<T: Serialize, S: Serializer, const N: usize>(
    values: &[T; N],
    serializer: S,
) -> Result<S::Ok, S::Error> {
    let mut tuple = serializer.serialize_tuple(N)?;
    for value in values {
        tuple.serialize_element(value)?;
    }
    tuple.end()
}

pub fn deserialize<'de, T: Deserialize<'de> + Copy, D: Deserializer<'de>, const N: usize>(
    deserializer: D,
) -> Result<[T; N], D::Error> {
    deserializer.deserialize_tuple(N, ArrayVisitor(PhantomData))
}

struct ArrayVisitor<T, const N: usize>(PhantomData<T>);

impl<'de, T: Deserialize<'de> + Copy, const N: usize> Visitor<'de> for ArrayVisitor<T, N> {
    type Value = [T; N];

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{N} values")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut sequence: A) -> Result<Self::Value, A::Error> {
        let mut values = heapless::Vec::<T, N>::new();
        while let Some(value) = sequence.next_element()? {
            values.push(value).map_err(|_| A::Error::invalid_length(N.saturating_add(1), &self))?;
        }
        let length = values.len();
        values.into_array().map_err(|_| A::Error::invalid_length(length, &self))
    }
}
