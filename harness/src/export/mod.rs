//! Export of a controller for firmware: as a Rust constant, as a parameter block, and as a table of the
//! block's layout.

mod constant;
mod table;

pub use aplomb::parameters::write as block;
pub use constant::constant;
pub use table::table;
