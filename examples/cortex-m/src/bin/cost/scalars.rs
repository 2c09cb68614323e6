//! The scalar functions.

use aplomb::Math;
use aplomb_cortex_m::{
    inputs::Inputs,
    table::{Limit, Table},
};

pub fn rows<M: Math>(table: &mut Table) {
    let mut random = Inputs::new();
    let mut positive = |_| 1.5 + random.unit();
    table.row("square root", Limit::None, &mut positive, M::sqrt);
    table.row("sine (not on the tick's path)", Limit::None, &mut positive, M::sin);
}
