//! Parameter block: a whole configuration as a few hundred bytes for flash memory, so that parameters change
//! without a new build of the firmware.
//!
//! All numbers are little-endian, nothing is aligned, and the size does not depend on the values:
//!
//! | bytes | contents |
//! | --- | --- |
//! | 4 | `MAGIC` |
//! | 2 | format of this table, [`VERSION`] |
//! | 2 | size of the whole block, [`SIZE`] |
//! | 4 | [`LAYOUT`]: checksum over the names and kinds of all values, so that another order or another field is refused |
//! | | the values in the order of [`visit`]: `f32` and `u16` as they are; a flag and a [`Spin`] one byte, 0 or 1, 1 for set and for counter-clockwise; a number that may be absent a flag and an `f32` |
//! | 4 | CRC-32 (ISO/IEC 3309) of everything before it |
//!
//! ```
//! use aplomb::{FlightController, Spin, flight::{Airframe, Config}, mix::Geometry, parameters};
//! let x = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
//! let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], x, 6.5))?;
//! let mut block = parameters::write(&config);
//! assert_eq!(parameters::read(&block), Ok(config));
//! block[100] ^= 1;
//! assert_eq!(parameters::read(&block), Err(parameters::ReadError::Damaged));
//! # Ok::<(), aplomb::ConfigError>(())
//! ```

mod crc;
mod layout;

use crate::Spin;
use crate::flight::Config;
use crc::crc32;
use layout::{Bytes, Parameter};

const MAGIC: [u8; 4] = *b"aplb";
const HEAD: usize = 12;

/// Format of the block around its values.
pub const VERSION: u16 = 1;
/// Bytes of a block.
pub const SIZE: usize = HEAD + Config::SIZE + 4;
/// Checksum over the names and kinds of the values.
pub const LAYOUT: u32 = Config::LAYOUT;

/// One value of a configuration.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Value {
    /// A number.
    Number(f32),
    /// A whole number.
    Count(u16),
    /// A flag.
    Flag(bool),
    /// A sense of rotation.
    Spin(Spin),
    /// A number that may be absent.
    Optional(Option<f32>),
    /// Three components.
    Vector([f32; 3]),
}

impl Value {
    /// Size in a block in bytes.
    #[must_use]
    pub const fn size(&self) -> usize {
        match self {
            Self::Number(_) => f32::SIZE,
            Self::Count(_) => u16::SIZE,
            Self::Flag(_) => bool::SIZE,
            Self::Spin(_) => Spin::SIZE,
            Self::Optional(_) => <Option<f32>>::SIZE,
            Self::Vector(_) => 3 * f32::SIZE,
        }
    }
}

/// Receives every value of a configuration in the order of the block.
pub trait Visitor {
    /// A structure begins: the name of the field that holds it, empty for the whole, and the path of its type
    /// in this crate.
    fn begin(&mut self, name: &'static str, path: &'static str);
    /// A value.
    fn value(&mut self, name: &'static str, value: Value);
    /// The structure begun last ends.
    fn end(&mut self);
}

/// Passes every value of `config` to `visitor`.
pub fn visit(config: &Config, visitor: &mut impl Visitor) {
    config.visit("", visitor);
}

/// Error of [`read`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ReadError {
    /// The first four bytes are not those of a block, for example in erased flash.
    NotABlock,
    /// Fewer bytes than the size in its head.
    TooShort,
    /// The checksum does not match: at least one bit has changed.
    Damaged,
    /// Written in another format.
    Version {
        /// The block's format.
        found: u16,
    },
    /// Written for another set of values, by an older or newer release of this crate.
    Layout {
        /// The block's layout.
        found: u32,
    },
    /// The checksum matches, but a flag is neither 0 nor 1: not written by [`write()`].
    Value,
}

impl core::fmt::Display for ReadError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotABlock => f.write_str("is not a parameter block"),
            Self::TooShort => f.write_str("is shorter than the size in its head"),
            Self::Damaged => f.write_str("is damaged: the checksum does not fit"),
            Self::Version { found } => write!(f, "has format {found}, and only {VERSION} can be read"),
            Self::Layout { found } => {
                write!(f, "has layout {found:08x}, and this release reads {LAYOUT:08x}: export it again")
            }
            Self::Value => f.write_str("holds a flag that is neither 0 nor 1"),
        }
    }
}

impl core::error::Error for ReadError {}

/// The block that holds `config`, bit for bit. The configuration is not checked here, but by
/// [`crate::FlightController::new`].
#[must_use]
pub fn write(config: &Config) -> [u8; SIZE] {
    let mut block = [0; SIZE];
    let mut writer = Writer { rest: &mut block };
    writer.put(MAGIC);
    writer.put(VERSION.to_le_bytes());
    writer.put((SIZE as u16).to_le_bytes());
    writer.put(LAYOUT.to_le_bytes());
    config.visit("", &mut writer);
    if let Some((before, sum)) = block.split_last_chunk_mut::<4>() {
        *sum = crc32(0, before).to_le_bytes();
    }
    block
}

/// The configuration in the block at the start of `bytes`; bytes after the block are ignored.
///
/// # Errors
/// Names why the bytes are not a complete and undamaged block of this release. The configuration itself is
/// checked by [`crate::FlightController::new`].
pub fn read(bytes: &[u8]) -> Result<Config, ReadError> {
    let mut head = Bytes(bytes);
    if head.take() != Some(MAGIC) {
        return Err(ReadError::NotABlock);
    }
    let (version, size, found) = (u16::read(&mut head), u16::read(&mut head), head.take());
    let (Some(version), Some(size), Some(found)) = (version, size, found) else {
        return Err(ReadError::TooShort);
    };
    let block = bytes.get(..usize::from(size)).ok_or(ReadError::TooShort)?;
    let (before, sum) = block.split_last_chunk::<4>().ok_or(ReadError::Damaged)?;
    if crc32(0, before) != u32::from_le_bytes(*sum) {
        return Err(ReadError::Damaged);
    }
    if version != VERSION {
        return Err(ReadError::Version { found: version });
    }
    let found = u32::from_le_bytes(found);
    if found != LAYOUT || block.len() != SIZE {
        return Err(ReadError::Layout { found });
    }
    Config::read(&mut head).ok_or(ReadError::Value)
}

struct Writer<'a> {
    rest: &'a mut [u8],
}

impl Writer<'_> {
    fn put<const N: usize>(&mut self, bytes: [u8; N]) {
        // The block is as long as its values, so the rest is never too short.
        if let Some((first, rest)) = core::mem::take(&mut self.rest).split_first_chunk_mut() {
            *first = bytes;
            self.rest = rest;
        }
    }
}

impl Visitor for Writer<'_> {
    fn begin(&mut self, _: &'static str, _: &'static str) {}

    fn value(&mut self, _: &'static str, value: Value) {
        match value {
            Value::Number(number) => self.put(number.to_le_bytes()),
            Value::Count(count) => self.put(count.to_le_bytes()),
            Value::Flag(flag) => self.put([u8::from(flag)]),
            Value::Spin(spin) => self.put([u8::from(spin == Spin::CounterClockwise)]),
            Value::Optional(number) => {
                self.put([u8::from(number.is_some())]);
                self.put(number.unwrap_or(0.0).to_le_bytes());
            }
            Value::Vector(components) => components.into_iter().for_each(|c| self.put(c.to_le_bytes())),
        }
    }

    fn end(&mut self) {}
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::Airframe;
    use crate::mix::Geometry;

    fn config() -> Config {
        let geometry = Geometry::symmetric_x(0.16, 0.15, Spin::Clockwise, 0.013);
        let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
        Config::for_airframe(&Airframe { rotor_drag_per_s: Some(0.25), ..airframe }).unwrap()
    }

    /// A block with `change` made to it and a checksum that fits again.
    fn resealed(change: impl FnOnce(&mut [u8])) -> [u8; SIZE] {
        let mut block = write(&config());
        change(&mut block);
        let sum = crc32(0, &block[..SIZE - 4]);
        block[SIZE - 4..].copy_from_slice(&sum.to_le_bytes());
        block
    }

    #[test]
    fn every_value_comes_back_bit_for_bit() {
        let mut config = config();
        assert_eq!(read(&write(&config)), Ok(config));
        // Absent, infinite, negative zero and NaN with a payload come back too.
        config.estimate.rotor_drag_per_s = None;
        config.mix.allowance_up_n = f32::INFINITY;
        config.mix.min_thrust_n = -0.0;
        config.guard.landed_s = f32::from_bits(0x7fc0_1234);
        let back = read(&write(&config)).unwrap();
        assert_eq!(write(&back), write(&config));
        assert_eq!(back.guard.landed_s.to_bits(), 0x7fc0_1234);
        assert_eq!(back.estimate.rotor_drag_per_s, None);
    }

    #[test]
    fn every_flipped_bit_is_refused() {
        let block = write(&config());
        for bit in 0..8 * SIZE {
            let mut damaged = block;
            damaged[bit / 8] ^= 1 << (bit % 8);
            assert!(read(&damaged).is_err(), "bit {bit}");
        }
    }

    #[test]
    fn every_shortened_block_is_refused_and_what_follows_does_not_matter() {
        let block = write(&config());
        for length in 0..SIZE {
            let expected = if length < 4 { ReadError::NotABlock } else { ReadError::TooShort };
            assert_eq!(read(&block[..length]), Err(expected), "{length}");
        }
        let mut page = [0xff; SIZE + 20];
        page[..SIZE].copy_from_slice(&block);
        assert_eq!(read(&page), Ok(config()));
        assert_eq!(read(&[0xff; 2048]), Err(ReadError::NotABlock));
    }

    #[test]
    fn other_versions_layouts_and_values_have_their_own_errors() {
        assert_eq!(read(&resealed(|block| block[4] = 2)), Err(ReadError::Version { found: 2 }));
        let found = LAYOUT ^ 0x0100;
        assert_eq!(read(&resealed(|block| block[9] ^= 1)), Err(ReadError::Layout { found }));
        let flag = size_before("gyroscopic");
        assert_eq!(
            read(&resealed(|block| block[flag] ^= 1)).unwrap().rate.gyroscopic,
            !config().rate.gyroscopic
        );
        assert_eq!(read(&resealed(|block| block[flag] = 2)), Err(ReadError::Value));
    }

    /// Offset in a block of the value called `name`.
    fn size_before(name: &'static str) -> usize {
        struct Find(&'static str, usize, bool);
        impl Visitor for Find {
            fn begin(&mut self, _: &'static str, _: &'static str) {}
            fn value(&mut self, name: &'static str, value: Value) {
                self.2 |= name == self.0;
                self.1 += if self.2 { 0 } else { value.size() };
            }
            fn end(&mut self) {}
        }
        let mut find = Find(name, HEAD, false);
        visit(&config(), &mut find);
        assert!(find.2);
        find.1
    }
}
