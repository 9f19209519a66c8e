//! Colours of every map and legend: one source for styles, page, report and pictures.
//!
//! Pale is little, dark is much: pale yellow over green and teal to indigo. The ramp is our own. It was searched for by lightness that falls in even steps
//! (CIE 1976 L*), neighbours that stay apart with every kind of colour vision, and a darkest colour on which black still shows, so that one ink serves borders and
//! signs everywhere. Seven classes is the most that a legend holds; more are not told apart, and are drawn without classes.
//!
//! # Source
//! sRGB: IEC 61966-2-1 (constants from memory). L*a*b*: CIE 15 (from memory). Contrast: Web Content Accessibility Guidelines 2.2, "relative luminance" and
//! "contrast ratio" (from memory). The tests name what they measure with.

#[cfg(test)]
mod tests;

/// The most classes that a legend holds.
pub const MAXIMUM_CLASSES: usize = 7;

/// The ramp at seven even steps, from least to greatest.
const RAMP: [Colour; MAXIMUM_CLASSES] = [
    Colour::new(0xfd, 0xf9, 0x7b),
    Colour::new(0xc9, 0xe2, 0x90),
    Colour::new(0x9c, 0xca, 0x9b),
    Colour::new(0x78, 0xb0, 0x9d),
    Colour::new(0x58, 0x95, 0x9a),
    Colour::new(0x41, 0x7a, 0x98),
    Colour::new(0x54, 0x57, 0x8d),
];

/// An sRGB colour of 8 bits a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Colour {
    /// Red.
    pub red: u8,
    /// Green.
    pub green: u8,
    /// Blue.
    pub blue: u8,
}

/// Borders, hatches, marks and text: at least 3:1 against every colour of the ramp.
pub const INK: Colour = Colour::new(0, 0, 0);
/// Paper, and text on dark colours.
pub const PAPER: Colour = Colour::new(0xff, 0xff, 0xff);

impl Colour {
    /// A colour of its three channels.
    pub const fn new(red: u8, green: u8, blue: u8) -> Self {
        Self { red, green, blue }
    }

    /// `#rrggbb`, lower case.
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.red, self.green, self.blue)
    }

    /// Relative luminance, 0 for black to 1 for white. \[–\]
    pub fn luminance(self) -> f64 {
        let [red, green, blue] = self.linear();
        0.212_6 * red + 0.715_2 * green + 0.072_2 * blue
    }

    /// Contrast ratio of two colours, 1 to 21. \[–\]
    pub fn contrast(self, other: Self) -> f64 {
        let (a, b) = (self.luminance(), other.luminance());
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// [`INK`] or [`PAPER`], whichever is easier to read on this colour: at least 4.5:1.
    #[must_use]
    pub fn text(self) -> Self {
        if self.contrast(INK) >= self.contrast(PAPER) {
            INK
        } else {
            PAPER
        }
    }

    /// Shares of light, 0 to 1.
    fn linear(self) -> [f64; 3] {
        [self.red, self.green, self.blue].map(|channel| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.040_45 {
                c / 12.92
            } else {
                libm::pow((c + 0.055) / 1.055, 2.4)
            }
        })
    }

    /// L*, a*, b* under daylight D65.
    fn lab(self) -> [f64; 3] {
        let [red, green, blue] = self.linear();
        let f = TO_XYZ.map(|row| {
            let share =
                (row[0] * red + row[1] * green + row[2] * blue) / (row[0] + row[1] + row[2]);
            if share > 216.0 / 24_389.0 {
                libm::cbrt(share)
            } else {
                (24_389.0 / 27.0 * share + 16.0) / 116.0
            }
        });
        [
            116.0 * f[1] - 16.0,
            500.0 * (f[0] - f[1]),
            200.0 * (f[1] - f[2]),
        ]
    }

    /// The nearest colour that a screen can show.
    fn from_lab([lightness, a, b]: [f64; 3]) -> Self {
        let fy = (lightness + 16.0) / 116.0;
        let f = [fy + a / 500.0, fy, fy - b / 200.0];
        let mut xyz = [0.0; 3];
        for ((out, f), row) in xyz.iter_mut().zip(f).zip(TO_XYZ) {
            let share = if f * f * f > 216.0 / 24_389.0 {
                f * f * f
            } else {
                (116.0 * f - 16.0) / (24_389.0 / 27.0)
            };
            *out = share * (row[0] + row[1] + row[2]);
        }
        let channel = FROM_XYZ.map(|row| {
            let light = (row[0] * xyz[0] + row[1] * xyz[1] + row[2] * xyz[2]).clamp(0.0, 1.0);
            let c = if light <= 0.003_130_8 {
                light * 12.92
            } else {
                1.055 * libm::pow(light, 1.0 / 2.4) - 0.055
            };
            libm::round(c.clamp(0.0, 1.0) * 255.0) as u8
        });
        Self::new(channel[0], channel[1], channel[2])
    }
}

/// Linear sRGB to XYZ; a row's sum is white.
const TO_XYZ: [[f64; 3]; 3] = [
    [0.412_456_4, 0.357_576_1, 0.180_437_5],
    [0.212_672_9, 0.715_152_2, 0.072_175_0],
    [0.019_333_9, 0.119_192_0, 0.950_304_1],
];
/// XYZ to linear sRGB, the inverse.
const FROM_XYZ: [[f64; 3]; 3] = [
    [3.240_454_2, -1.537_138_5, -0.498_531_4],
    [-0.969_266_0, 1.876_010_8, 0.041_556_0],
    [0.055_643_4, -0.204_025_9, 1.057_225_2],
];

/// The ramp at a place between 0 (least) and 1 (greatest): straight lines in L*a*b* between its seven steps. Places beyond the ends count as the ends.
pub fn ramp(place: f64) -> Colour {
    let place = place.clamp(0.0, 1.0) * (RAMP.len() - 1) as f64;
    let step = (libm::floor(place) as usize).min(RAMP.len() - 2);
    let share = place - step as f64;
    if share == 0.0 {
        return RAMP[step];
    }
    if share == 1.0 {
        return RAMP[step + 1];
    }
    let (from, to) = (RAMP[step].lab(), RAMP[step + 1].lab());
    Colour::from_lab(std::array::from_fn(|i| from[i] + share * (to[i] - from[i])))
}

/// Colours of so many classes, least first; one class alone gets the middle. `None` for more than [`MAXIMUM_CLASSES`].
pub fn class_colours(classes: usize) -> Option<Vec<Colour>> {
    match classes {
        0 => Some(Vec::new()),
        1 => Some(vec![ramp(0.5)]),
        2..=MAXIMUM_CLASSES => Some(
            (0..classes)
                .map(|i| ramp(i as f64 / (classes - 1) as f64))
                .collect(),
        ),
        _ => None,
    }
}

/// How a ground is hatched, so that it stays itself in grey print and for every eye.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Hatch {
    /// Lines that rise to the right.
    Rising,
    /// Lines both ways.
    Crossed,
    /// Dots.
    Dotted,
}

impl Hatch {
    /// The word of it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rising => "rising lines",
            Self::Crossed => "crossed lines",
            Self::Dotted => "dots",
        }
    }
}

/// Ground that a map marks besides its rate. Where such ground has a rate, the hatch lies over the rate's colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Ground {
    /// The image does not show it.
    Unseen,
    /// Mostly bare.
    Bare,
    /// Not part of the field: exclusions, holes.
    LeftOut,
}

impl Ground {
    /// All of them, in a legend's order.
    pub const ALL: [Self; 3] = [Self::Unseen, Self::Bare, Self::LeftOut];

    /// What a legend says.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Unseen => "not seen by the image",
            Self::Bare => "bare ground",
            Self::LeftOut => "left out",
        }
    }

    /// Its hatch, drawn in [`INK`].
    pub const fn hatch(self) -> Hatch {
        match self {
            Self::Unseen => Hatch::Crossed,
            Self::Bare => Hatch::Dotted,
            Self::LeftOut => Hatch::Rising,
        }
    }

    /// Its colour where it has no rate.
    pub const fn colour(self) -> Colour {
        match self {
            Self::Unseen => Colour::new(0xbd, 0xbd, 0xbd),
            Self::Bare => Colour::new(0xd8, 0xb3, 0x8a),
            Self::LeftOut => Colour::new(0xf0, 0xf0, 0xf0),
        }
    }
}

/// One class of a legend.
#[derive(Clone, Debug, PartialEq)]
pub struct Class {
    /// Lower break, inclusive: halfway to the next smaller value, or the least value itself. In the legend's unit.
    pub from: f64,
    /// Upper break: halfway to the next greater value, or the greatest value itself. In the legend's unit.
    pub to: f64,
    /// Least value in it. In the legend's unit.
    pub minimum: f64,
    /// Greatest value in it. In the legend's unit.
    pub maximum: f64,
    /// Its colour.
    pub colour: Colour,
    /// `60 L/ha` or `120 to 160 L/ha`.
    pub label: String,
}

/// What the colours of one map mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Legend {
    /// What is shown: `Rate of UAN 28`.
    pub title: String,
    /// Unit of all numbers, as people write it.
    pub unit: String,
    /// Classes from the least up; none when the map holds no value.
    pub classes: Vec<Class>,
}

impl Legend {
    /// Classes for these values.
    ///
    /// Up to [`MAXIMUM_CLASSES`] different values are a class each. More are parted into that many classes of equal width between least and greatest; a value of 0 then
    /// keeps a class of its own, since to spread nothing is another thing than to spread little. Classes that hold no value are left out. Classes follow the values,
    /// so the same map in another unit has the same classes. Values that are not finite count as missing.
    pub fn new(
        title: impl Into<String>,
        unit: impl Into<String>,
        values: impl IntoIterator<Item = f64>,
    ) -> Self {
        let unit = unit.into();
        let mut values: Vec<f64> = values
            .into_iter()
            .filter(|value| value.is_finite())
            .map(|value| value + 0.0)
            .collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        let groups = groups(&values);
        let colours = class_colours(groups.len()).unwrap_or_default();
        let mut classes: Vec<Class> = Vec::with_capacity(groups.len());
        for (group, colour) in groups.iter().zip(colours) {
            let (Some(&minimum), Some(&maximum)) = (group.first(), group.last()) else {
                continue;
            };
            let from = classes.last_mut().map_or(minimum, |below| {
                below.to = f64::midpoint(below.maximum, minimum);
                below.to
            });
            let label = if number(minimum) == number(maximum) {
                format!("{} {unit}", number(minimum))
            } else {
                format!("{} to {} {unit}", number(minimum), number(maximum))
            };
            classes.push(Class {
                from,
                to: maximum,
                minimum,
                maximum,
                colour,
                label,
            });
        }
        Self {
            title: title.into(),
            unit,
            classes,
        }
    }

    /// The class of a value: the last whose lower break it reaches. `None` beyond the ends.
    pub fn class_of(&self, value: f64) -> Option<&Class> {
        let end = self.classes.last()?.to;
        self.classes
            .iter()
            .rev()
            .find(|class| class.from <= value && value <= end)
    }
}

/// Values, sorted and each once, parted into classes.
fn groups(values: &[f64]) -> Vec<&[f64]> {
    if values.len() <= MAXIMUM_CLASSES {
        return values.chunks(1).collect();
    }
    let (nothing, rest) = if values[0] == 0.0 {
        values.split_at(1)
    } else {
        values.split_at(0)
    };
    let count = MAXIMUM_CLASSES - nothing.len();
    let (minimum, maximum) = (rest[0], rest[rest.len() - 1]);
    // A hair upwards, so that a value on a break falls the same way in every unit.
    let class = |value: f64| {
        (libm::floor((value - minimum) / (maximum - minimum) * count as f64 + 1e-9) as usize)
            .min(count - 1)
    };
    let parts = rest.chunk_by(|a, b| class(*a) == class(*b));
    nothing.chunks(1).chain(parts).collect()
}

/// At most two decimals, none that say nothing.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" {
        "0".to_owned()
    } else {
        short.to_owned()
    }
}
