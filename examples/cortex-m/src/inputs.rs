//! Pseudo-random inputs, the same on every run.

/// Marsaglia's 32-bit xorshift (2003, triple 13, 17, 5).
pub struct Inputs(u32);

impl Inputs {
    /// A new sequence.
    #[must_use]
    pub const fn new() -> Self {
        Self(0x9e37_79b9)
    }

    /// Uniform in -1 to 1.
    pub fn unit(&mut self) -> f32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        (self.0 as i32 as f32) * (1.0 / 2_147_483_648.0)
    }

    /// `N` values, uniform in -`limit` to `limit`.
    pub fn array<const N: usize>(&mut self, limit: f32) -> [f32; N] {
        core::array::from_fn(|_| self.unit() * limit)
    }
}

impl Default for Inputs {
    fn default() -> Self {
        Self::new()
    }
}
