//! What an amount is for, and the units that it may be written in.

/// What an amount is for: its name in messages and the units that it may be written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Requirement {
    /// A length.
    Length,
    /// An area.
    Area,
    /// A speed.
    Speed,
    /// A time span.
    Time,
    /// A grain yield.
    Yield,
    /// Nitrogen per area.
    Nitrogen,
    /// Product per area.
    Product,
    /// Density of a liquid.
    Density,
    /// Loose density of a solid.
    BulkDensity,
    /// What a tank or hopper holds.
    Capacity,
    /// A temperature.
    Temperature,
    /// Mass of a bushel.
    BushelMass,
    /// Price of grain.
    GrainPrice,
    /// Price of nitrogen.
    NitrogenPrice,
    /// Price of a product.
    ProductPrice,
    /// Price of a pass.
    AreaPrice,
}

impl Requirement {
    /// Its name in a sentence.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Speed => "a speed",
            Self::Time => "a time",
            Self::Yield => "a grain yield",
            Self::Nitrogen => "a nitrogen rate",
            Self::Product => "a product rate",
            Self::Density => "a density",
            Self::BulkDensity => "a bulk density",
            Self::Capacity => "a load",
            Self::Temperature => "a temperature",
            Self::BushelMass => "the mass of a bushel",
            Self::GrainPrice => "a price of grain",
            Self::NitrogenPrice => "a price of nitrogen",
            Self::ProductPrice => "a price of product",
            Self::AreaPrice => "a price per area",
        }
    }
    /// Its unit as records end a name with it.
    pub const fn recorded(self) -> &'static str {
        match self {
            Self::Length => "m",
            Self::Area => "m2",
            Self::Speed => "m_s",
            Self::Time => "s",
            Self::Yield | Self::Product => "kg_ha",
            Self::Nitrogen => "kg_n_ha",
            Self::Density => "kg_l",
            Self::BulkDensity => "kg_m3",
            Self::Capacity => "",
            Self::Temperature => "c",
            Self::BushelMass => "lb",
            Self::GrainPrice | Self::ProductPrice => "per_kg",
            Self::NitrogenPrice => "per_kg_n",
            Self::AreaPrice => "per_ha",
        }
    }
    /// The units that it may be written in; the first is metric, the last is the US one.
    pub const fn units(self) -> &'static [&'static str] {
        match self {
            Self::Length => &["m", "km", "cm", "mm", "in", "yd", "ft"],
            Self::Area => &["ha", "m2", "ft2", "ac"],
            Self::Speed => &["km/h", "m/s", "mph"],
            Self::Time => &["s", "min"],
            Self::Yield => &["t/ha", "kg/ha", "dt/ha", "lb/ac", "bu/ac"],
            Self::Nitrogen => &["kg N/ha", "lb N/ac"],
            Self::Product => &["kg/ha", "L/ha", "imp gal/ac", "lb/ac", "gal/ac"],
            Self::Density => &["kg/L", "lb/gal"],
            Self::BulkDensity => &["kg/m3", "lb/ft3"],
            Self::Capacity => &[
                "L",
                "m3",
                "kg",
                "t",
                "imp gal",
                "lb",
                "short ton",
                "ft3",
                "gal",
            ],
            Self::Temperature => &["°C", "°F"],
            Self::BushelMass => &["kg", "lb"],
            Self::GrainPrice => &["USD/t", "USD/kg", "USD/lb", "USD/bu"],
            Self::NitrogenPrice => &["USD/kg N", "USD/t N", "USD/lb N"],
            Self::ProductPrice => &[
                "USD/t",
                "USD/kg",
                "USD/L",
                "USD/lb",
                "USD/short ton",
                "USD/gal",
            ],
            Self::AreaPrice => &["USD/ha", "USD/ac"],
        }
    }
    /// Two ways of writing a number of it, metric and US: `"24 m" or "24 ft"`.
    pub fn examples(self, number: &str) -> String {
        let units = self.units();
        let (first, last) = (units.first().unwrap_or(&""), units.last().unwrap_or(&""));
        format!("\"{number} {first}\" or \"{number} {last}\"")
    }
}
