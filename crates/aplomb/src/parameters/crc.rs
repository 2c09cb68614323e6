//! CRC-32 as in ISO/IEC 3309 and ITU-T V.42: polynomial 0x04C11DB7, bits reflected, register and result
//! inverted.

const REFLECTED_POLYNOMIAL: u32 = 0xedb8_8320;

/// Checksum of a message that ends with `bytes`; `before` is the checksum of the part before them, 0 for
/// none.
///
/// Bit by bit, without a table, since a block is read only at the start. Detects every error burst of up to
/// 32 bits, and all but one in 2^32 of the others.
pub(super) const fn crc32(before: u32, mut bytes: &[u8]) -> u32 {
    let mut register = !before;
    while let [first, rest @ ..] = bytes {
        register ^= *first as u32;
        let mut bit = 0;
        while bit < 8 {
            let carry = register & 1;
            register >>= 1;
            if carry == 1 {
                register ^= REFLECTED_POLYNOMIAL;
            }
            bit += 1;
        }
        bytes = rest;
    }
    !register
}

#[cfg(test)]
mod tests {
    use super::crc32;

    #[test]
    fn checksum_equals_a_general_purpose_librarys() {
        let library = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
        let bytes: [u8; 300] = core::array::from_fn(|i| (i * i + 7 * i) as u8);
        for length in 0..bytes.len() {
            assert_eq!(crc32(0, &bytes[..length]), library.checksum(&bytes[..length]), "{length}");
        }
        assert_eq!(crc32(crc32(0, &bytes[..113]), &bytes[113..]), crc32(0, &bytes));
        // The check value that the catalogue of parametrised CRC algorithms (Cook) prints for this one.
        assert_eq!(crc32(0, b"123456789"), 0xcbf4_3926);
    }
}
