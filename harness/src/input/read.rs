//! A `serde` deserialiser of parsed TOML that continues after the first error.
//!
//! A derived `Deserialize` stops at the first error. So this deserialiser returns none: it records the error
//! with its location and returns a placeholder value, and [`Document::read`] drops the result. All errors of
//! a file are thus reported at once. Unknown keys are refused, as `deny_unknown_fields` would.
//!
//! Numbers must be finite; an integer is accepted as a number. An absent list is empty; any other absent key
//! is an error unless the field is an `Option`.

use serde::de::value::{Error, MapDeserializer, SeqDeserializer, StrDeserializer};
use serde::de::{self, DeserializeOwned, Deserializer, IntoDeserializer, Visitor};
use serde::forward_to_deserialize_any;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::document::Document;
use super::suggest::nearest;

impl Document<'_> {
    /// Deserialises the file into `T`. Every unknown key, missing key and wrong type is recorded; `None` if
    /// there is any.
    #[must_use]
    pub fn read<T: DeserializeOwned>(&self) -> Option<T> {
        let read = T::deserialize(Reader::root(self));
        match read {
            Ok(value) if self.is_clean() => Some(value),
            Ok(_) => None,
            Err(refusal) => {
                if self.is_clean() {
                    self.refuse(0..0, refusal.to_string(), None);
                }
                None
            }
        }
    }
}

/// One value of the file, or a missing one.
#[derive(Clone, Copy)]
pub(super) struct Reader<'d, 's> {
    document: &'d Document<'s>,
    node: Node<'d, 's>,
}

#[derive(Clone, Copy)]
enum Node<'d, 's> {
    Root,
    Value(&'d Spanned<DeValue<'s>>),
    /// The key is missing from the table at this range; `None` if the table itself has been refused.
    Absent(&'static str, Option<(usize, usize)>),
}

impl<'d, 's> Reader<'d, 's> {
    pub(super) fn root(document: &'d Document<'s>) -> Self {
        Self { document, node: Node::Root }
    }

    fn value(&self) -> Option<&'d DeValue<'s>> {
        match self.node {
            Node::Value(value) => Some(value.get_ref()),
            Node::Root | Node::Absent(..) => None,
        }
    }

    fn table(&self) -> Option<&'d DeTable<'s>> {
        match self.node {
            Node::Root => Some(self.document.root().get_ref()),
            Node::Value(value) => value.get_ref().as_table(),
            Node::Absent(..) => None,
        }
    }

    /// Records that the value is not what is `required`.
    fn refuse(&self, required: &str) {
        match self.node {
            Node::Root => {}
            Node::Value(value) => {
                let found = description(value.get_ref());
                self.document.refuse(value.span(), format!("expected {required}, found {found}"), None);
            }
            Node::Absent(key, Some((start, end))) => {
                let help = Some(format!("`{key}` is {required}"));
                self.document.refuse(start..end, format!("missing key `{key}`"), help);
            }
            Node::Absent(_, None) => {}
        }
    }

    fn whole_number(&self) -> Option<i128> {
        let number = self.value()?.as_integer()?;
        i128::from_str_radix(number.as_str(), number.radix()).ok()
    }

    fn number(&self) -> f64 {
        let found = match self.value() {
            Some(DeValue::Float(number)) => number.as_str().parse::<f64>().ok(),
            Some(DeValue::Integer(_)) => self.whole_number().map(|number| number as f64),
            _ => None,
        };
        found.filter(|number| number.is_finite()).unwrap_or_else(|| {
            self.refuse("a finite number");
            0.0
        })
    }

    fn unsigned(&self, largest: u64) -> u64 {
        let found = self.whole_number().and_then(|number| u64::try_from(number).ok());
        found.filter(|&number| number <= largest).unwrap_or_else(|| {
            self.refuse("a whole number, 0 or more");
            0
        })
    }

    fn text(&self, required: &str) -> &'d str {
        self.value().and_then(DeValue::as_str).unwrap_or_else(|| {
            self.refuse(required);
            ""
        })
    }

    fn elements(&self, required: &str) -> Vec<Self> {
        match self.value() {
            Some(DeValue::Array(list)) => {
                list.iter().map(|value| Self { document: self.document, node: Node::Value(value) }).collect()
            }
            _ => {
                self.refuse(required);
                Vec::new()
            }
        }
    }

    fn absent(&self, key: &'static str) -> Node<'d, 's> {
        let table = match self.node {
            Node::Root => Some((0, 0)),
            Node::Value(value) if value.get_ref().is_table() => Some((value.span().start, value.span().end)),
            _ => None,
        };
        Node::Absent(key, table)
    }
}

fn description(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(_) => "a text".to_owned(),
        DeValue::Integer(number) => format!("the number {number}"),
        DeValue::Float(number) => format!("the number {number}"),
        DeValue::Boolean(value) => format!("{value}"),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(list) => format!("a list of {}", list.len()),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

impl<'de> Deserializer<'de> for Reader<'de, '_> {
    type Error = Error;

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, Error> {
        Err(de::Error::custom("a field of this type cannot be read"))
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        let found = self.value().and_then(DeValue::as_bool).unwrap_or_else(|| {
            self.refuse("true or false");
            false
        });
        visitor.visit_bool(found)
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        visitor.visit_f64(self.number())
    }

    fn deserialize_u64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        // TOML integers are signed, 64 bits.
        visitor.visit_u64(self.unsigned(i64::MAX as u64))
    }

    fn deserialize_u32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        visitor.visit_u64(self.unsigned(u64::from(u32::MAX)))
    }

    /// A text goes to a terminal, a page and other files: it has no control characters except line ends and
    /// tabulators.
    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        let text = self.text("a text");
        if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
            self.refuse("a text without control characters");
        }
        visitor.visit_str(text)
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        self.deserialize_str(visitor)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        match self.node {
            Node::Absent(..) => visitor.visit_none(),
            Node::Root | Node::Value(_) => visitor.visit_some(self),
        }
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        let elements = match self.node {
            Node::Absent(..) => Vec::new(),
            Node::Root | Node::Value(_) => self.elements("a list ([[double brackets]] for each entry)"),
        };
        visitor.visit_seq(SeqDeserializer::new(elements.into_iter()))
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, len: usize, visitor: V) -> Result<V::Value, Error> {
        let required = format!("a list of {len}");
        let mut elements = self.elements(&required);
        if elements.len() != len {
            if self.value().is_some_and(DeValue::is_array) {
                self.refuse(&required);
            }
            let placeholder = Self { document: self.document, node: Node::Absent("", None) };
            elements.resize(len, placeholder);
        }
        visitor.visit_seq(SeqDeserializer::new(elements.into_iter()))
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Error> {
        let table = self.table();
        if table.is_none() {
            self.refuse(&format!("a table of {}", fields.join(", ")));
        }
        let mut suggested = Vec::new();
        for (key, _) in
            table.into_iter().flatten().filter(|(key, _)| !fields.contains(&key.get_ref().as_ref()))
        {
            let found = key.get_ref().as_ref();
            if self.document.is_full() {
                self.document.refuse(key.span(), "", None);
                continue;
            }
            let nearest = nearest(found, fields);
            self.document.refuse(key.span(), format!("unknown key `{found}`"), Some(nearest.help));
            suggested.extend(nearest.word);
        }
        let entries = fields.iter().map(|&field| {
            let value = table.and_then(|table| table.get(field));
            let node = match value {
                Some(value) => Node::Value(value),
                // A misspelt key is not reported as missing, too.
                None if suggested.contains(&field) => Node::Absent(field, None),
                None => self.absent(field),
            };
            (field, Self { document: self.document, node })
        });
        visitor.visit_map(MapDeserializer::new(entries))
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Error> {
        let found = self.text(&format!("one of the words {}", variants.join(", ")));
        let variant = variants.iter().copied().find(|&variant| variant == found).unwrap_or_else(|| {
            if let (Node::Value(value), Some(DeValue::String(_))) = (self.node, self.value()) {
                let reason = format!("unknown word \"{found}\"");
                self.document.refuse(value.span(), reason, Some(nearest(found, variants).help));
            }
            variants.first().copied().unwrap_or_default()
        });
        let variant: StrDeserializer<'_, Error> = variant.into_deserializer();
        visitor.visit_enum(variant)
    }

    forward_to_deserialize_any! {
        i8 i16 i32 i64 i128 u8 u16 u128 f32 char bytes byte_buf unit unit_struct newtype_struct tuple_struct map
        identifier ignored_any
    }
}

impl<'d> IntoDeserializer<'d, Error> for Reader<'d, '_> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}
