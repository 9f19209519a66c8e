//! Ways between reference systems, as PROJ knows them.

use std::cell::RefCell;
use std::rc::Rc;

use crate::space::crs::{Crs, CrsError};
use proj::Proj;

/// Ways that a thread remembers. A job has some six; a program that meets more forgets the oldest.
const REMEMBERED: usize = 16;

/// A way from one system to another.
#[derive(Clone)]
pub(super) struct Way(Rc<Proj>);

thread_local! {
    /// PROJ looks a way up in its database, 1 to 2 ms each time, and every writer of a format asks for the same few.
    static WAYS: RefCell<Vec<((String, String), Way)>> = const { RefCell::new(Vec::new()) };
}

impl Way {
    /// The way between two systems: remembered, or PROJ's.
    pub(super) fn between(from: &Crs, to: &Crs) -> Result<Self, CrsError> {
        let ends = (from.definition.clone(), to.definition.clone());
        let known = WAYS.with_borrow(|ways| {
            ways.iter()
                .find(|(known, _)| *known == ends)
                .map(|(_, way)| way.clone())
        });
        if let Some(way) = known {
            return Ok(way);
        }
        let way = Proj::new_known_crs(&from.definition, &to.definition, None).map_err(|error| {
            CrsError::NoWay {
                from: from.to_string(),
                to: to.to_string(),
                reason: error.to_string(),
            }
        })?;
        let way = Self(Rc::new(way));
        WAYS.with_borrow_mut(|ways| {
            if ways.len() == REMEMBERED {
                ways.remove(0);
            }
            ways.push((ends, way.clone()));
        });
        Ok(way)
    }

    /// Carries a point over, or says why not.
    pub(super) fn point(&self, x: f64, y: f64) -> Result<(f64, f64), String> {
        self.0.convert((x, y)).map_err(|error| error.to_string())
    }

    /// PROJ's name of the operation, and its stated accuracy. \[m\]
    pub(super) fn describe(&self) -> (String, Option<f64>) {
        let info = self.0.proj_info();
        let name = info
            .description
            .unwrap_or_else(|| "unnamed operation".to_owned());
        (name, (info.accuracy >= 0.0).then_some(info.accuracy))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::crs::Projector;

    #[test]
    fn a_remembered_way_is_the_same_way() {
        for zone in (1..=60).cycle().take(90) {
            let middle = f64::from(zone) * 6.0 - 183.0;
            let (x, _) = Projector::new(&Crs::wgs84(), &Crs::utm(middle, 48.0))
                .unwrap()
                .point(middle, 48.0)
                .unwrap();
            assert!((x - 500_000.0).abs() < 1e-6, "{zone}: {x}");
        }
        assert_eq!(WAYS.with_borrow(Vec::len), REMEMBERED);
    }
}
