//! Single readings of the canopy to means of ground: which are no readings of it, how alike neighbours are, and what lies between them.

mod kriging;
mod outlier;
mod variogram;

pub use kriging::{
    CrossValidation, Estimated, Kriged, error_covariance, krige, kriging_weights, leave_one_out,
};
pub use outlier::{MINIMUM_NEIGHBOURS, Outliers, outliers};
pub use variogram::{Bin, Fit, Model, Variogram, fit, semivariances};

use rstar::{PointDistance, RTree, RTreeObject};

/// A reading at a place of a plane in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Easting. \[m\]
    pub x: f64,
    /// Northing. \[m\]
    pub y: f64,
    /// Canopy index.
    pub value: f64,
}

impl Sample {
    /// Distance to a place. \[m\]
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        libm::hypot(self.x - x, self.y - y)
    }
}

/// A sample in a search tree, with its position in the list that the tree was made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leaf {
    /// Position in the list.
    pub at: usize,
    place: [f64; 2],
}

impl RTreeObject for Leaf {
    type Envelope = rstar::AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        rstar::AABB::from_point(self.place)
    }
}

impl PointDistance for Leaf {
    fn distance_2(&self, point: &[f64; 2]) -> f64 {
        let (dx, dy) = (self.place[0] - point[0], self.place[1] - point[1]);
        dx * dx + dy * dy
    }
}

/// A list of samples that answers which are nearest.
#[derive(Debug)]
pub struct Neighbours {
    tree: RTree<Leaf>,
}

impl Neighbours {
    /// Makes the tree of some samples of a list: those for which `take` holds.
    pub fn of(samples: &[Sample], take: impl Fn(usize) -> bool) -> Self {
        let leaves = samples
            .iter()
            .enumerate()
            .filter(|(at, _)| take(*at))
            .map(|(at, s)| Leaf {
                at,
                place: [s.x, s.y],
            })
            .collect();
        Self {
            tree: RTree::bulk_load(leaves),
        }
    }
    /// How many samples it holds.
    pub fn len(&self) -> usize {
        self.tree.size()
    }
    /// Whether it holds none.
    pub fn is_empty(&self) -> bool {
        self.tree.size() == 0
    }
    /// The nearest `most` to a place that lie within `reach` \[m\] and are not `except`, as positions in the list, in the order of the list.
    ///
    /// Of several at the same distance the earlier in the list count as nearer, so that the answer does not hang on how the tree was built.
    pub fn nearest(
        &self,
        x: f64,
        y: f64,
        most: usize,
        reach: f64,
        except: Option<usize>,
    ) -> Vec<usize> {
        let mut found: Vec<(f64, usize)> = Vec::with_capacity(most + 1);
        for (leaf, d2) in self.tree.nearest_neighbor_iter_with_distance_2([x, y]) {
            if d2 > reach * reach
                || (found.len() >= most && found.last().is_some_and(|last| d2 > last.0))
            {
                break;
            }
            if Some(leaf.at) != except {
                found.push((d2, leaf.at));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.truncate(most);
        let mut list: Vec<usize> = found.into_iter().map(|(_, at)| at).collect();
        list.sort_unstable();
        list
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_come_in_the_order_of_the_list_and_ties_go_to_the_earlier() {
        let at = |x: f64, y: f64| Sample { x, y, value: 0.5 };
        let samples = [
            at(2.0, 0.0),
            at(0.0, 1.0),
            at(0.0, -1.0),
            at(1.0, 0.0),
            at(9.0, 9.0),
        ];
        let tree = Neighbours::of(&samples, |_| true);
        assert_eq!(tree.nearest(0.0, 0.0, 2, 5.0, None), [1, 2]);
        assert_eq!(tree.nearest(0.0, 0.0, 2, 5.0, Some(1)), [2, 3]);
        assert_eq!(tree.nearest(0.0, 0.0, 9, 5.0, None), [0, 1, 2, 3]);
        assert_eq!(
            Neighbours::of(&samples, |at| at != 3).nearest(1.0, 0.0, 1, 0.5, None),
            [0_usize; 0]
        );
    }
}
