//! The tables of all propellers in use, each computed once per process.

use std::sync::{Arc, Mutex};

use super::blade::Designation;
use super::map::Map;
use super::measured::Measured;

impl Map {
    /// Table of `designation`, computed once per process. `turned` is -1 for reversed rotation.
    pub(crate) fn of(designation: &Designation, turned: f64) -> Arc<Map> {
        Map::known((*designation, None, turned), || Map::new(designation, turned))
    }

    /// The same for a measured propeller.
    pub(crate) fn of_measured(designation: &Designation, measured: &Measured) -> Arc<Map> {
        let theory = Map::of(designation, 1.0);
        Map::known((*designation, Some(*measured), 1.0), || measured.map(designation, &theory))
    }

    fn known(key: (Designation, Option<Measured>, f64), make: impl FnOnce() -> Map) -> Arc<Map> {
        type Known = Vec<((Designation, Option<Measured>, f64), Arc<Map>)>;
        static KNOWN: Mutex<Known> = Mutex::new(Vec::new());
        let known = || KNOWN.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let found = |known: &Known| known.iter().find(|(other, _)| *other == key).map(|(_, map)| map.clone());
        if let Some(map) = found(&known()) {
            return map;
        }
        // Computed without the lock: two threads may both do so, with the same bits.
        let map = Arc::new(make());
        let mut known = known();
        if known.len() >= 64 {
            known.clear();
        }
        known.push((key, map.clone()));
        map
    }
}
