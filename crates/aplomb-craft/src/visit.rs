//! Visits of the numbers of a state.

use glam::DVec3;

/// Is given the name of a number, its index within the name, and the number; `None` for an empty slot of a
/// queue.
pub(crate) type Visit<'a> = dyn FnMut(&'static str, usize, Option<&mut f64>) + 'a;

/// Visits the components of a vector.
pub(crate) fn visit_vector(visit: &mut Visit, name: &'static str, from: usize, vector: &mut DVec3) {
    visit(name, from, Some(&mut vector.x));
    visit(name, from + 1, Some(&mut vector.y));
    visit(name, from + 2, Some(&mut vector.z));
}

/// Visits the components of a vector that may be absent.
pub(crate) fn visit_optional(visit: &mut Visit, name: &'static str, from: usize, vector: Option<&mut DVec3>) {
    match vector {
        Some(vector) => visit_vector(visit, name, from, vector),
        None => (from..from + 3).for_each(|index| visit(name, index, None)),
    }
}
