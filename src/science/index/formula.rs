//! A formula compiled to a short list of row operations.

use super::parse;
use super::parse::{FormulaError, Node, One, Two};

/// Pixels that are worked on at a time: every intermediate row of them stays in the first cache.
const BLOCK: usize = 256;

/// Why the pixels of a row have no index.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RowCounts {
    /// Pixels with an index.
    pub seen: u64,
    /// Pixels without a finite value in some band.
    pub missing: u64,
    /// Pixels where a denominator is not above 0 or a root's argument is negative.
    pub undefined: u64,
    /// Pixels whose index is not finite or lies outside its possible range.
    pub out_of_range: u64,
}

impl std::ops::AddAssign for RowCounts {
    fn add_assign(&mut self, other: Self) {
        self.seen += other.seen;
        self.missing += other.missing;
        self.undefined += other.undefined;
        self.out_of_range += other.out_of_range;
    }
}

/// Room for intermediate values; one for each thread, used again and again.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    registers: Vec<f64>,
}

/// Where an operation's argument comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Argument {
    Band(usize),
    Number(f64),
    Register(usize),
}

/// One operation; its result goes to the register of its own place in the list.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Step {
    Copy(Argument),
    One(One, Argument),
    Two(Two, Argument, Argument),
}

/// A compiled formula.
#[derive(Clone, Debug, PartialEq)]
pub struct Formula {
    text: String,
    bands: Vec<String>,
    steps: Vec<Step>,
    range: Option<(f64, f64)>,
    normalised_difference: bool,
}

impl Formula {
    /// Compiles a text such as `(nir - red) / (nir + red)`.
    ///
    /// Taken: `+ - * /`, unary minus, parentheses, numbers, band names (any spelling of [`super::canonical_band_name`]), `sqrt`, `abs`, `min`, `max`.
    /// A formula of the shape `(a − b) / (a + b)` has the range −1 … 1.
    ///
    /// # Errors
    /// When the text is not such an expression, names no band, or divides by a number that is not above 0.
    ///
    /// # Examples
    /// ```
    /// # use haulm::science::index::{Formula, Scratch};
    /// let ndvi = Formula::parse("(NIR - Red) / (NIR + Red)")?;
    /// assert_eq!(ndvi.bands(), ["nir", "red"]);
    /// let mut out = [0.0; 2];
    /// ndvi.evaluate_row(&[&[0.75, 0.5], &[0.25, f64::NAN]], &mut Scratch::default(), &mut out);
    /// assert_eq!(out[0], 0.5);
    /// assert!(out[1].is_nan());
    /// # Ok::<(), haulm::science::index::FormulaError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        let node = parse::parse(text)?;
        let normalised_difference = node.is_normalised_difference();
        let mut formula = Self {
            text: text.split_whitespace().collect::<Vec<_>>().join(" "),
            bands: Vec::new(),
            steps: Vec::new(),
            range: normalised_difference.then_some((-1.0, 1.0)),
            normalised_difference,
        };
        let last = formula.compile(&node);
        if formula.bands.is_empty() {
            return Err(FormulaError::NoBand);
        }
        if formula.steps.is_empty() {
            formula.steps.push(Step::Copy(last));
        }
        Ok(formula)
    }

    /// The value of one ready band, as it stands.
    pub(super) fn ready_band(name: String) -> Self {
        let steps = vec![Step::Copy(Argument::Band(0))];
        Self {
            text: name.clone(),
            bands: vec![name],
            steps,
            range: None,
            normalised_difference: false,
        }
    }

    /// With the range that its values can lie in.
    pub(super) const fn with_range(mut self, range: Option<(f64, f64)>) -> Self {
        self.range = range;
        self
    }

    /// The text that it was compiled from, with single spaces.
    pub fn text(&self) -> &str {
        &self.text
    }
    /// Canonical names of its bands, in slot order: the order in which rows are handed to [`Self::evaluate_row`].
    pub fn bands(&self) -> &[String] {
        &self.bands
    }
    /// Least and greatest value that it can take, when that is known.
    pub const fn range(&self) -> Option<(f64, f64)> {
        self.range
    }
    /// Whether it has the shape `(a − b) / (a + b)` of two bands.
    pub const fn is_normalised_difference(&self) -> bool {
        self.normalised_difference
    }

    fn compile(&mut self, node: &Node) -> Argument {
        let step = match node {
            Node::Number(value) => return Argument::Number(*value),
            Node::Band(name) => {
                let slot = self
                    .bands
                    .iter()
                    .position(|band| band == name)
                    .unwrap_or_else(|| {
                        self.bands.push(name.clone());
                        self.bands.len() - 1
                    });
                return Argument::Band(slot);
            }
            Node::One(operation, a) => Step::One(*operation, self.compile(a)),
            Node::Two(operation, a, b) => {
                let a = self.compile(a);
                Step::Two(*operation, a, self.compile(b))
            }
        };
        self.steps.push(step);
        Argument::Register(self.steps.len() - 1)
    }

    /// Evaluates one row: `bands[slot][i]` → `out[i]`, and tells how many pixels have no index, and why.
    ///
    /// A pixel is NaN where a band is missing (not a finite number, or beyond the end of its row), a denominator is not above 0, the argument of a
    /// root is negative, or the value is not finite or outside [`Self::range`]. Each pixel is counted once, by the first of these that holds.
    ///
    /// Costs about a nanosecond for each pixel and three operations.
    pub fn evaluate_row(
        &self,
        bands: &[&[f64]],
        scratch: &mut Scratch,
        out: &mut [f64],
    ) -> RowCounts {
        let needed = self.steps.len() * BLOCK;
        if scratch.registers.len() < needed {
            scratch.registers.resize(needed, 0.0);
        }
        // Bands that are missing altogether, or shorter than the row, leave the rest of the row missing.
        let readable = (0..self.bands.len())
            .map(|slot| bands.get(slot).map_or(0, |row| row.len()))
            .min()
            .unwrap_or(0)
            .min(out.len());
        let mut counts = RowCounts {
            missing: (out.len() - readable) as u64,
            ..RowCounts::default()
        };
        out[readable..].fill(f64::NAN);
        let (low, high) = self.range.unwrap_or((f64::MIN, f64::MAX));
        let pair = self.pair();
        for start in (0..readable).step_by(BLOCK) {
            let end = (start + BLOCK).min(readable);
            if let Some((a, b)) = pair
                && all_seen(
                    &bands[a][start..end],
                    &bands[b][start..end],
                    (low, high),
                    &mut out[start..end],
                )
            {
                counts.seen += (end - start) as u64;
                continue;
            }
            counts += self.evaluate_block(
                bands,
                start,
                end,
                scratch,
                &mut out[start..end],
                (low, high),
            );
        }
        counts
    }

    /// The two bands of `(a − b) / (a + b)`, when the formula is just that: the usual one is worth a loop of its own.
    fn pair(&self) -> Option<(usize, usize)> {
        let divided = Step::Two(Two::Divide, Argument::Register(0), Argument::Register(1));
        match self.steps.as_slice() {
            [
                Step::Two(Two::Subtract, Argument::Band(a), Argument::Band(b)),
                Step::Two(Two::Add, Argument::Band(c), Argument::Band(d)),
                last,
            ] if *last == divided && ((a, b) == (c, d) || (a, b) == (d, c)) => Some((*a, *b)),
            _ => None,
        }
    }

    fn evaluate_block(
        &self,
        bands: &[&[f64]],
        start: usize,
        end: usize,
        scratch: &mut Scratch,
        out: &mut [f64],
        range: (f64, f64),
    ) -> RowCounts {
        let length = end - start;
        let row = |slot: usize| &bands[slot][start..end];
        let mut poison = [0.0; BLOCK];
        let poison = &mut poison[..length];
        let mut missing = 0;
        if !(0..self.bands.len()).all(|slot| all_finite(row(slot))) {
            for slot in 0..self.bands.len() {
                poison
                    .iter_mut()
                    .zip(row(slot))
                    .for_each(|(poison, value)| *poison += value * 0.0);
            }
            missing = poison
                .iter()
                .map(|value| u64::from(value.is_nan()))
                .sum::<u64>();
            if missing == length as u64 {
                out.fill(f64::NAN);
                return RowCounts {
                    missing,
                    ..RowCounts::default()
                };
            }
        }
        for (place, step) in self.steps.iter().enumerate() {
            let (before, rest) = scratch.registers.split_at_mut(place * BLOCK);
            let into = &mut rest[..length];
            let source = |argument: Argument| match argument {
                Argument::Band(slot) => Source::Row(row(slot)),
                Argument::Number(value) => Source::Number(value),
                Argument::Register(register) => {
                    Source::Row(&before[register * BLOCK..register * BLOCK + length])
                }
            };
            match *step {
                Step::Copy(a) => apply_one(source(a), into, |x| x),
                Step::One(One::Negate, a) => apply_one(source(a), into, |x| -x),
                Step::One(One::Absolute, a) => apply_one(source(a), into, f64::abs),
                // The square root is correctly rounded everywhere; of a negative number it is NaN.
                Step::One(One::Root, a) => apply_one(source(a), into, f64::sqrt),
                Step::Two(Two::Add, a, b) => apply_two(source(a), source(b), into, |x, y| x + y),
                Step::Two(Two::Subtract, a, b) => {
                    apply_two(source(a), source(b), into, |x, y| x - y);
                }
                Step::Two(Two::Multiply, a, b) => {
                    apply_two(source(a), source(b), into, |x, y| x * y);
                }
                Step::Two(Two::Divide, a, b) => apply_two(source(a), source(b), into, |x, y| {
                    if y > 0.0 { x / y } else { f64::NAN }
                }),
                // Unlike f64::min and f64::max these hand a NaN on: a missing value never turns into a number.
                Step::Two(Two::Min, a, b) => apply_two(source(a), source(b), into, |x, y| {
                    if x <= y || x.is_nan() { x } else { y }
                }),
                Step::Two(Two::Max, a, b) => apply_two(source(a), source(b), into, |x, y| {
                    if x >= y || x.is_nan() { x } else { y }
                }),
            }
        }
        let last = (self.steps.len() - 1) * BLOCK;
        keep_seen(
            &scratch.registers[last..last + length],
            poison,
            missing,
            range,
            out,
        )
    }
}

/// Whether every value is finite: 0 times anything else is NaN, and sums in lanes are what the machine adds at once.
fn all_finite(row: &[f64]) -> bool {
    let mut lanes = [0.0; 8];
    let (blocks, rest) = row.as_chunks::<8>();
    for block in blocks {
        lanes
            .iter_mut()
            .zip(block)
            .for_each(|(lane, value)| *lane += value * 0.0);
    }
    lanes.iter().chain(rest).all(|value| value.is_finite())
}

/// Fills `out` with `(a − b) / (a + b)` and answers whether every pixel has an index; when not, the reasons are for the longer way to find.
fn all_seen(a: &[f64], b: &[f64], (low, high): (f64, f64), out: &mut [f64]) -> bool {
    let mut seen = 0_u64;
    for ((into, a), b) in out.iter_mut().zip(a).zip(b) {
        let sum = a + b;
        let value = (a - b) / sum;
        *into = value;
        // An infinite sum would divide anything down to 0.
        seen += u64::from(sum > 0.0)
            & u64::from(sum < f64::INFINITY)
            & u64::from(value >= low)
            & u64::from(value <= high);
    }
    seen == out.len() as u64
}

/// Copies what can be an index to `out`, NaN for the rest, and counts the reasons. `poison` is NaN where a band is missing, else 0.
fn keep_seen(
    result: &[f64],
    poison: &[f64],
    missing: u64,
    (low, high): (f64, f64),
    out: &mut [f64],
) -> RowCounts {
    let mut seen = 0;
    for ((into, value), poison) in out.iter_mut().zip(result).zip(poison) {
        let value = value + poison;
        let good = value >= low && value <= high;
        *into = if good { value } else { f64::NAN };
        seen += u64::from(good);
    }
    let length = out.len() as u64;
    if seen + missing == length {
        return RowCounts {
            seen,
            missing,
            ..RowCounts::default()
        };
    }
    let undefined = result
        .iter()
        .zip(poison)
        .map(|(value, poison)| u64::from(value.is_nan() && !poison.is_nan()))
        .sum::<u64>();
    RowCounts {
        seen,
        missing,
        undefined,
        out_of_range: length - seen - missing - undefined,
    }
}

/// An argument's values.
#[derive(Clone, Copy)]
enum Source<'a> {
    Row(&'a [f64]),
    Number(f64),
}

fn apply_one(a: Source<'_>, into: &mut [f64], operation: impl Fn(f64) -> f64) {
    match a {
        Source::Row(a) => into
            .iter_mut()
            .zip(a)
            .for_each(|(into, x)| *into = operation(*x)),
        Source::Number(x) => into.fill(operation(x)),
    }
}

fn apply_two(a: Source<'_>, b: Source<'_>, into: &mut [f64], operation: impl Fn(f64, f64) -> f64) {
    match (a, b) {
        (Source::Row(a), Source::Row(b)) => into
            .iter_mut()
            .zip(a)
            .zip(b)
            .for_each(|((into, x), y)| *into = operation(*x, *y)),
        (Source::Row(a), Source::Number(y)) => into
            .iter_mut()
            .zip(a)
            .for_each(|(into, x)| *into = operation(*x, y)),
        (Source::Number(x), Source::Row(b)) => into
            .iter_mut()
            .zip(b)
            .for_each(|(into, y)| *into = operation(x, *y)),
        (Source::Number(x), Source::Number(y)) => into.fill(operation(x, y)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(text: &str, bands: &[&[f64]]) -> (Vec<f64>, RowCounts) {
        let formula = Formula::parse(text).unwrap();
        let mut out = vec![0.0; bands[0].len()];
        let counts = formula.evaluate_row(bands, &mut Scratch::default(), &mut out);
        (out, counts)
    }

    #[test]
    fn arithmetic_and_precedence() {
        let (out, _) = run("-a + 2 * b / 4 - (a - b)", &[&[1.0], &[8.0]]);
        assert_eq!(out, [10.0]);
        assert_eq!(
            run(
                "min(a, b) + max(a, 3) * abs(a - b) + sqrt(b)",
                &[&[1.0], &[9.0]]
            )
            .0,
            [28.0]
        );
        assert_eq!(run("nir", &[&[0.5]]).0, [0.5]);
    }

    #[test]
    fn the_short_way_and_the_long_way_give_the_same_bits() {
        let nir: Vec<f64> = (0..600).map(|i| 0.3 + 0.001 * f64::from(i % 97)).collect();
        let mut red: Vec<f64> = (0..600)
            .map(|i| 0.02 + 0.0003 * f64::from(i % 89))
            .collect();
        red[300] = f64::NAN;
        let formula = Formula::parse("(nir - red) / (red + nir)").unwrap();
        assert_eq!(formula.pair(), Some((0, 1)));
        let (short, counts) = run("(nir - red) / (red + nir)", &[&nir, &red]);
        // Times 1 hides the shape and changes no bit.
        let (long, others) = run("1 * (nir - red) / (nir + red)", &[&nir, &red]);
        assert_eq!(
            Formula::parse("1 * (nir - red) / (nir + red)")
                .unwrap()
                .pair(),
            None
        );
        assert_eq!((counts, counts.seen, counts.missing), (others, 599, 1));
        assert!(
            short
                .iter()
                .zip(&long)
                .all(|(a, b)| a.to_bits() == b.to_bits() || a.is_nan() && b.is_nan())
        );
    }

    #[test]
    fn reasons_are_counted() {
        let nir = [0.5, f64::NAN, 0.1, -0.6, f64::INFINITY, 0.0];
        let red = [0.1, 0.1, -0.05, 0.1, 0.1, 0.0];
        let (out, counts) = run("(nir - red) / (nir + red)", &[&nir, &red]);
        assert!((out[0] - 0.4 / 0.6).abs() < 1e-15);
        assert!(out[1..].iter().all(|value| value.is_nan()));
        assert_eq!(
            counts,
            RowCounts {
                seen: 1,
                missing: 2,
                undefined: 2,
                out_of_range: 1
            }
        );
        let (_, counts) = run("sqrt(a - b) + 1 / (a + b)", &[&[1.0, 0.0], &[0.5, 2.0]]);
        assert_eq!(
            counts,
            RowCounts {
                seen: 1,
                undefined: 1,
                ..RowCounts::default()
            }
        );
    }

    #[test]
    fn a_missing_band_never_becomes_a_number() {
        let (out, counts) = run(
            "min(a, b) / max(b, a)",
            &[&[f64::NAN, 1.0], &[1.0, f64::NAN]],
        );
        assert!(out.iter().all(|value| value.is_nan()));
        assert_eq!(counts.missing, 2);
        // 1 / ∞ would be 0: a value that is not finite is not a reading.
        assert_eq!(
            run("1 / a", &[&[f64::INFINITY, 2.0]]).1,
            RowCounts {
                seen: 1,
                missing: 1,
                ..RowCounts::default()
            }
        );
        // A row that ends early leaves the rest missing.
        let formula = Formula::parse("a + b").unwrap();
        let mut out = [0.0; 3];
        let counts = formula.evaluate_row(
            &[&[1.0, 2.0, 3.0], &[1.0]],
            &mut Scratch::default(),
            &mut out,
        );
        assert_eq!((out[0], counts.missing), (2.0, 2));
        assert!(out[1].is_nan() && out[2].is_nan());
    }

    #[test]
    fn blocks_do_not_show() {
        let nir: Vec<f64> = (0..1000).map(|i| 0.4 + 0.0001 * f64::from(i)).collect();
        let red: Vec<f64> = (0..1000)
            .map(|i| if i % 7 == 0 { f64::NAN } else { 0.1 })
            .collect();
        let (out, counts) = run("(nir - red) / (nir + red)", &[&nir, &red]);
        for ((value, nir), red) in out.iter().zip(&nir).zip(&red) {
            let alone = (nir - red) / (nir + red);
            assert!(alone.is_nan() && value.is_nan() || *value == alone);
        }
        assert_eq!((counts.seen, counts.missing), (857, 143));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_refused_or_read(text in "[-+*/^() .,0-9a-z<>=!&|\\[\\]{}\"'#;:]{0,60}") {
            let _ = Formula::parse(&text);
        }
    }
}
