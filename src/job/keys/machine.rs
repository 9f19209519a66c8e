//! `[machine]`: the spreader or sprayer, and how the field is driven.

use std::path::PathBuf;

use crate::job::keys::field::{LAYER, PATH, WHERE};
use crate::job::keys::rate::{field_rate, own_rate};
use crate::job::settings::{FirstPass, StateRate, VectorSource};
use crate::key::{Any, Key, Kind, Requirement, Word, key, keys, words};
use crate::map::task_options::GridRates;
use crate::units::{Length, ProductRate, Seconds, Speed};

words!(for GridRates by word { Zone, Mean, });

const fn length(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::Amount(Requirement::Length), noun, example, about)
}

const fn seconds(noun: &'static str, example: &'static str, about: &'static str) -> Key {
    key(Kind::Amount(Requirement::Time), noun, example, about).within(
        "0 s",
        "60 s",
        "no machine is that slow",
    )
}

keys! {
    MACHINE: MachineKeys = "machine", "[machine]", "The spreader or sprayer: its width, direction, limits, and what it applies when left to itself.",
    {
        working_width: Length = length("the working width", "\"24 m\"", "Working width; cells are as wide.")
            .within("0.25 m", "150 m", "no machine is that narrow or wide")
            .above_zero()
            .required_for_a_map(),
        heading: Any = key(
            Kind::Or(&[Kind::Number, Kind::Text, Kind::Table("machine.heading")]),
            "the heading",
            "63.0",
            "Driving direction, degrees clockwise from true north; \"63.0 grid\", \"auto\", or a guidance line.",
        )
        .within("0", "360", "degrees clockwise from north")
        .or_else("\"auto\": along the boundary's longer axis"),
        line: VectorSource = key(Kind::Layer("machine.line"), "the guidance line", "\"ab.geojson\"", "Guidance line, instead of heading."),
        area: Any = key(
            Kind::Tables("machine.area"),
            "ground with a heading of its own",
            "[{ path = \"part.geojson\", heading = 20.0 }]",
            "Parts of the field that are driven their own way.",
        ),
        look_ahead: Any = key(
            Kind::Or(&[Kind::Amount(Requirement::Length), Kind::Amount(Requirement::Time)]),
            "how far machine files look ahead, which first_pass belongs to,",
            "\"12 m\"",
            "Distance or time by which machine files look ahead, so that a slow machine meets its zone.",
        )
        .within("0.1 m", "100 m", "no machine answers that much faster or later; leave it out for none")
        .required_when("with first_pass"),
        first_pass: FirstPass = key(
            Kind::Words(FirstPass::WORDS),
            "the direction of the rightmost pass, without which nobody knows which way to shift,",
            "\"along\"",
            "Direction of the rightmost pass, seen along the heading; the next one is driven the other way.",
        )
        .required_when("with look_ahead"),
        cell_length: Length = length("the cell length", "\"24 m\"", "Length of a cell along the drive.")
            .within("0.25 m", "1000 m", "cells of that length map nothing")
            .above_zero()
            .or_else("twice the response distance where speed is given, else the working width"),
        sections: i64 = key(Kind::Whole, "the sections", "3", "Boom sections of equal width that take a rate of their own; a cell is as wide as one.")
            .within("1", "200", "sections of the machine that take a rate of their own, all of one width")
            .or("1"),
        headland: Any = key(
            Kind::Table("machine.headland"),
            "the headland",
            "{ passes = 2, rate = \"field rate\" }",
            "Headland passes with a rate of their own.",
        ),
        speed: Speed = key(Kind::Amount(Requirement::Speed), "the speed, which delay and transition need,", "\"12 km/h\"", "Driving speed.")
            .within("0 m/s", "20 m/s", "72 km/h is faster than anything spreads")
            .above_zero()
            .required_when("with delay or transition"),
        delay: Seconds = seconds("the delay before a change begins, which speed and transition need,", "\"2 s\"", "Time until a change of rate begins.")
            .required_when("with speed or transition"),
        transition: Seconds = seconds("the time that a change takes, which speed and delay need,", "\"3 s\"", "Time that a change of rate takes.")
            .required_when("with speed or delay"),
        overrun: Length = length("the overrun", "\"12 m\"", "Distance beyond the boundary to which machine files hold rates.")
            .within("0 m", "500 m", "rates would run far beyond the field")
            .or_else("half the working width, or the response distance if longer"),
        minimum_rate: ProductRate = key(Kind::Amount(Requirement::Product), "the machine's minimum rate", "\"40 L/ha\"", "Minimum product rate that the machine holds."),
        maximum_rate: ProductRate = key(Kind::Amount(Requirement::Product), "the machine's maximum rate", "\"250 L/ha\"", "Maximum product rate that the machine holds.").above_zero(),
        tank: Any = key(Kind::Amount(Requirement::Capacity), "what the tank holds", "\"4000 L\"", "What the tank holds, for the number of fills.").above_zero(),
        hopper: Any = key(Kind::Amount(Requirement::Capacity), "what the hopper holds", "\"3 t\"", "What the hopper holds, for the number of fills.").above_zero(),
        grid: GridRates = key(
            Kind::Words(GridRates::WORDS),
            "rate of a cell of the task grid",
            "\"zone\"",
            "What a cell of the task grid holds: the rate of its zone, or the mean over its ground.",
        )
        .or("\"zone\""),
        on_start: StateRate = field_rate("rate on start", "What the machine applies until it has a position.").or("\"field rate\""),
        position_lost: StateRate = field_rate("rate without position", "What the machine applies when it loses its position.")
            .or_else("the field rate, or 0 with any exclusion or a hole in the boundary"),
        outside: StateRate = field_rate("rate outside the field", "What the machine applies outside the map.").or("\"0 kg N/ha\""),
    }
}

keys! {
    HEADING: HeadingKeys = "machine.heading", "heading = { … }", "The driving direction as a guidance line.",
    {
        line: PathBuf = Key {
            example: "\"ab.geojson\"",
            about: "Vector file with the guidance line.",
            ..PATH
        },
        layer: String = LAYER,
        r#where: String = WHERE,
    }
}

keys! {
    LINE: LineKeys = "machine.line", "line = { … }", "The guidance line as a layer of a file.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
    }
}

keys! {
    AREA: AreaKeys = "machine.area", "[[machine.area]]", "A part of the field that is driven its own way.",
    {
        path: PathBuf = PATH,
        layer: String = LAYER,
        r#where: String = WHERE,
        heading: Any = key(
            Kind::Or(&[Kind::Number, Kind::Text, Kind::Table("machine.heading")]),
            "the heading of this ground",
            "\"auto\"",
            "Driving direction of this part, as machine.heading.",
        )
        .within("0", "360", "degrees clockwise from north")
        .required(),
    }
}

keys! {
    HEADLAND: HeadlandKeys = "machine.headland", "headland = { … }", "Headland passes around the field.",
    {
        passes: i64 = key(
            Kind::Whole,
            "how many passes go around the field",
            "2",
            "Passes around the field, each as wide as the machine works.",
        )
        .within(
            "1",
            "10",
            "passes around the field, each as wide as the machine works",
        )
        .required(),
        rate: StateRate = own_rate("rate of the headland", "What the headland gets.").or("\"field rate\""),
    }
}
