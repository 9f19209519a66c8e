//! Repairs the grid of a task: its length, its stated length, its template zone, and codes of zones that are not there.

use std::collections::BTreeMap;

use geo::{Coord, Polygon, Rect};
use roxmltree::Node;

use crate::format::iso11783::read::children;
use crate::format::iso11783::read::grid::CELLS;
use crate::format::iso11783::read::repair::{Codes, Edit, TaskRepair, set_attribute};

/// A grid by its attributes.
pub(super) struct Raster {
    south: f64,
    west: f64,
    cell_y: f64,
    cell_x: f64,
    cols: usize,
    rows: usize,
    name: String,
    zones: bool,
}

impl Raster {
    /// `None` when the attributes make no grid.
    pub(super) fn of(grid: Node<'_, '_>) -> Option<Self> {
        let number = |key: &str| {
            grid.attribute(key)?
                .trim()
                .parse::<f64>()
                .ok()
                .filter(|value| value.is_finite())
        };
        let whole = |key: &str| {
            grid.attribute(key)?
                .trim()
                .parse::<usize>()
                .ok()
                .filter(|count| *count > 0)
        };
        let zones = match grid.attribute("I")? {
            "1" => true,
            "2" => false,
            _ => return None,
        };
        let (south, west, cell_y, cell_x) =
            (number("A")?, number("B")?, number("C")?, number("D")?);
        let raster = Self {
            south,
            west,
            cell_y,
            cell_x,
            cols: whole("E")?,
            rows: whole("F")?,
            name: grid.attribute("G")?.to_owned(),
            zones,
        };
        (raster.cells()? <= CELLS && raster.cell_x > 0.0 && raster.cell_y > 0.0).then_some(raster)
    }

    fn cells(&self) -> Option<usize> {
        self.cols.checked_mul(self.rows)
    }

    fn cell(&self, k: usize) -> Polygon<f64> {
        let low = Coord {
            x: self.west + (k % self.cols) as f64 * self.cell_x,
            y: self.south + (k / self.cols) as f64 * self.cell_y,
        };
        Rect::new(
            low,
            low + Coord {
                x: self.cell_x,
                y: self.cell_y,
            },
        )
        .to_polygon()
    }
}

/// What is repaired, and with what.
pub(super) struct Look<'a, 'd> {
    pub(super) task: Node<'a, 'd>,
    pub(super) grid: Node<'a, 'd>,
    pub(super) raster: Raster,
    pub(super) codes: &'a Codes,
    /// Whether it is known where the field ends.
    pub(super) bounded: bool,
    pub(super) repair: &'a mut TaskRepair,
    pub(super) edits: &'a mut Vec<Edit>,
}

impl Look<'_, '_> {
    /// All repairs; of the grid's bytes only if told. Returns whether those were changed.
    pub(super) fn all(
        &mut self,
        set: &mut BTreeMap<String, Vec<u8>>,
        outside: &dyn Fn(Polygon<f64>) -> bool,
        bytes: bool,
    ) -> bool {
        let requirement = format!("{}.bin", self.raster.name);
        let Some(found) = set
            .keys()
            .find(|name| **name == requirement)
            .or_else(|| {
                set.keys()
                    .find(|name| name.eq_ignore_ascii_case(&requirement))
            })
            .cloned()
        else {
            self.repair.left.push(format!(
                "{requirement} is not there; only its maker has the rates"
            ));
            return false;
        };
        let mut data = set.remove(&found).unwrap_or_default();
        if found != requirement {
            self.repair
                .done
                .push(format!("{found} is called {requirement} now"));
        }
        let before = data.clone();
        let each = self.template(data.len());
        if let Some(each) = each {
            if bytes {
                self.length(&mut data, each, outside);
                if self.raster.zones {
                    self.unknown(&mut data, outside);
                }
            }
            let fits = self
                .raster
                .cells()
                .and_then(|cells| cells.checked_mul(each))
                == Some(data.len());
            let stated = self
                .grid
                .attribute("H")
                .filter(|wording| wording.trim().parse() != Ok(data.len()));
            if let Some(wording) = stated.filter(|_| fits) {
                self.edits
                    .push(set_attribute(self.grid, "H", &data.len().to_string()));
                self.repair.done.push(format!(
                    "{}: stated length (H) {wording} made {}, the file's",
                    self.raster.name,
                    data.len()
                ));
            }
        }
        let changed = data != before;
        set.insert(requirement, data);
        changed
    }

    /// Bytes of a cell, once it is known which zone says what the numbers are.
    fn template(&mut self, length: usize) -> Option<usize> {
        if self.raster.zones {
            return Some(1);
        }
        let values = |code: u16| self.codes.kinds.get(&code).map(|kind| 4 * kind.len());
        let named = self
            .grid
            .attribute("J")
            .and_then(|text| text.parse::<u16>().ok());
        if let Some(each) = named.and_then(values) {
            return Some(each);
        }
        let shown = self.grid.attribute("J").unwrap_or("missing").to_owned();
        let Some(each) = self.codes.one_kind().map(|kind| 4 * kind.len()) else {
            self.repair.left.push(format!(
                "{}: its zone (J) is {shown}, and the task's zones set different things: which of them is meant nobody can say",
                self.raster.name
            ));
            return None;
        };
        if self
            .raster
            .cells()
            .and_then(|cells| cells.checked_mul(each))
            != Some(length)
        {
            self.repair.left.push(format!(
                "{}: its zone (J) is {shown}, and its length fits none of the task's zones",
                self.raster.name
            ));
            return None;
        }
        // All zones mean the same; one that nothing else refers to is what makers set aside for it.
        let used: Vec<&str> = ["H", "I", "J"]
            .iter()
            .filter_map(|key| self.task.attribute(*key))
            .collect();
        let free = self
            .codes
            .kinds
            .keys()
            .find(|code| !used.contains(&code.to_string().as_str()));
        let code = free.or_else(|| self.codes.kinds.keys().next()).copied()?;
        self.edits
            .push(set_attribute(self.grid, "J", &code.to_string()));
        self.repair
            .done
            .push(format!("{}: its zone (J) was {shown} and is {code} now; all zones of the task set the same entry of the same product", self.raster.name));
        Some(each)
    }

    /// Bytes too many are cut if they say nothing, cells too few are filled if they lie outside the field.
    fn length(&mut self, data: &mut Vec<u8>, each: usize, outside: &dyn Fn(Polygon<f64>) -> bool) {
        let name = self.raster.name.clone();
        let Some((cells, requirement)) = self
            .raster
            .cells()
            .and_then(|cells| Some((cells, cells.checked_mul(each)?)))
        else {
            return;
        };
        let (row, column) = (self.raster.cols * each, self.raster.rows * each);
        if data.len() == requirement {
            return;
        }
        if data.len().is_multiple_of(column) && !data.len().is_multiple_of(row) {
            let counts = data.len() / column;
            self.repair.left.push(format!(
                "{name}: its bytes make {counts} columns, not {}: whether the count or the file is wrong only its maker can say",
                self.raster.cols
            ));
            return;
        }
        if data.len() > requirement {
            let more = data.len() - requirement;
            if more < each
                || data[requirement..].iter().all(|byte| *byte == 0) && !self.raster.zones
            {
                data.truncate(requirement);
                self.repair.done.push(format!(
                    "{name}: {more} bytes beyond its last cell, which say nothing, cut off"
                ));
            } else {
                self.repair.left.push(format!("{name}: {more} bytes beyond its last cell hold rates, so its counts or its bytes are wrong"));
            }
            return;
        }
        let first = data.len() / each;
        let missing = cells - first;
        let Some(nothing) = self.fill() else {
            self.repair.left.push(format!("{name}: {missing} cells are missing at its end, and no zone of 0 is there to fill them with"));
            return;
        };
        if (first..cells).all(|k| outside(self.raster.cell(k))) {
            data.truncate(first * each);
            data.resize(requirement, nothing);
            self.repair.done.push(format!(
                "{name}: {missing} cells missing at its end, all outside the field, filled with 0"
            ));
        } else {
            let why = if self.bounded {
                "some of them lie in the field"
            } else {
                "without a boundary nobody knows whether they lie in the field"
            };
            self.repair.left.push(format!(
                "{name}: {missing} cells are missing at its end, and {why}: copy the file again"
            ));
        }
    }

    /// What a cell holds that gets nothing.
    fn fill(&self) -> Option<u8> {
        if self.raster.zones {
            self.codes
                .nothing(self.task)
                .and_then(|code| u8::try_from(code).ok())
        } else {
            Some(0)
        }
    }

    /// Codes without a zone, outside the field, become that of a zone of 0.
    fn unknown(&mut self, data: &mut [u8], outside: &dyn Fn(Polygon<f64>) -> bool) {
        // A zone without a value is a zone all the same.
        let there: Vec<u16> = children(self.task, "TZN")
            .filter_map(|zone| zone.attribute("A")?.parse().ok())
            .collect();
        let strange: Vec<usize> = (0..data.len().min(self.raster.cells().unwrap_or(0)))
            .filter(|k| !there.contains(&u16::from(data[*k])))
            .collect();
        if strange.is_empty() {
            return;
        }
        let name = &self.raster.name;
        let Some(nothing) = self.fill() else {
            self.repair.left.push(format!(
                "{name}: {} cells hold codes without a zone, and no zone of 0 is there for them",
                strange.len()
            ));
            return;
        };
        let (mut repaired, mut left) = (0, 0);
        for k in strange {
            if outside(self.raster.cell(k)) {
                data[k] = nothing;
                repaired += 1;
            } else {
                left += 1;
            }
        }
        if repaired > 0 {
            self.repair.done.push(format!("{name}: {repaired} cells outside the field held codes without a zone and hold {nothing} now, a zone of 0"));
        }
        if left > 0 {
            let why = if self.bounded {
                "that lie in the field"
            } else {
                "of which nobody knows whether they lie in the field"
            };
            self.repair.left.push(format!("{name}: {left} cells {why} hold codes without a zone; only the map's maker can say what they get"));
        }
    }
}
