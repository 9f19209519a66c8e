//! Products, their loads and cautions, and money: from the job's keys to record and terminal.

use approx::assert_relative_eq;
use serde_json::Value;

use crate::field::{Field, Wording};

const PRICES: &str = "[prices]\ncurrency = \"EUR\"\ngrain = \"210 EUR/t\"\nnitrogen = \"1.15 EUR/kg N\"\napplication = \"8 EUR/ha\"\n";

fn mapped(changes: &[(&str, &str)]) -> Value {
    let field = Field::new();
    for (old, new) in changes {
        field.job(old, new);
    }
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    field.record()
}

fn refused(changes: &[(&str, &str)]) -> Wording {
    let field = Field::new();
    for (old, new) in changes {
        field.job(old, new);
    }
    let wording = field.run(&["map"]);
    assert_eq!(wording.status, Some(1), "{}{}", wording.out, wording.err);
    wording
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn message<'a>(record: &'a Value, code: &str) -> &'a str {
    let all = record["findings"].as_array().unwrap();
    all.iter()
        .find(|finding| finding["code"] == code)
        .and_then(|finding| finding["message"].as_str())
        .unwrap_or_else(|| panic!("no {code}"))
}

#[test]
fn loads_of_a_tank() {
    let record = mapped(&[(
        "heading = \"0 grid\"",
        "heading = \"0 grid\"\ntank = \"200 L\"",
    )]);
    let (loads, total) = (&record["loads"], number(&record["totals"]["product"]));
    assert_eq!(
        (
            loads["unit"].as_str(),
            record["totals"]["product_unit"].as_str()
        ),
        (Some("L"), Some("L"))
    );
    let fills = number(&loads["fills"]);
    assert_eq!(fills, libm::ceil(total / 200.0));
    assert!(fills >= 2.0, "a field of one fill tests nothing: {total}");
    assert_relative_eq!(number(&loads["capacity"]), 200.0, max_relative = 1e-12);
    assert_relative_eq!(
        (fills - 1.0) * 200.0 + number(&loads["last_fill"]),
        total,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        fills * number(&loads["even_fill"]),
        total,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        number(&loads["leftover_of_full_fills"]),
        fills * 200.0 - total,
        max_relative = 1e-9
    );
    let field = Field::new();
    field.job(
        "heading = \"0 grid\"",
        "heading = \"0 grid\"\ntank = \"200 L\"",
    );
    assert!(field.run(&["map"]).out.contains(" of 200 L and one of "));
}

#[test]
fn loads_of_a_hopper_by_volume_use_the_least_bulk_density() {
    let record = mapped(&[
        ("name = \"UAN 28\"", "name = \"urea\""),
        (
            "heading = \"0 grid\"",
            "heading = \"0 grid\"\nhopper = \"0.1 m3\"",
        ),
    ]);
    assert_eq!(record["loads"]["unit"], "kg");
    assert_relative_eq!(
        number(&record["loads"]["capacity"]),
        70.5,
        max_relative = 1e-9
    );
}

#[test]
fn a_working_temperature_moves_the_density_and_warns_of_salt() {
    let plain = mapped(&[]);
    let cold = mapped(&[(
        "name = \"UAN 28\"",
        "name = \"UAN 28\"\ntemperature = \"3 °F\"",
    )]);
    let density = number(&cold["settings"]["product"]["density_kg_l"]);
    assert_relative_eq!(
        density,
        1.2785 - 0.00065 * ((3.0 - 32.0) / 1.8 - 15.6),
        max_relative = 1e-12
    );
    let ratio = number(&plain["totals"]["product"]) / number(&cold["totals"]["product"]);
    assert_relative_eq!(ratio, density / 1.2785, max_relative = 1e-9);
    assert_eq!(cold["totals"]["n_kg"], plain["totals"]["n_kg"]);
    assert!(
        message(&cold, "product.salt_out").contains("within 3 °C (5 °F) of it"),
        "{}",
        message(&cold, "product.salt_out")
    );
    assert!(message(&plain, "product.mixing").contains("label comes first"));
    assert!(
        message(&cold, "product.density").contains("-16.1 °C"),
        "{}",
        message(&cold, "product.density")
    );
}

#[test]
fn an_own_product_has_no_made_up_cautions() {
    let record = mapped(&[(
        "name = \"UAN 28\"",
        "name = \"barn brew\"\nnitrogen = 0.18\ndensity = \"1.2 kg/L\"",
    )]);
    assert!(message(&record, "product.own").contains("barn brew"));
    let own = mapped(&[("name = \"UAN 28\"", "name = \"UAN 28\"\nnitrogen = 0.26")]);
    assert!(
        message(&own, "product.grade").contains("26.00 %")
            && message(&own, "product.grade").contains("give density too")
    );
}

#[test]
fn what_cannot_be_loaded_is_refused() {
    let machine = |line: &str| format!("heading = \"0 grid\"\n{line}");
    for (product, line, parts) in [
        (
            "name = \"UAN 28\"",
            "tank = \"2000\"",
            vec!["2000 of what?"],
        ),
        (
            "name = \"UAN 28\"",
            "tank = \"0 L\"",
            vec!["must be above zero"],
        ),
        (
            "name = \"UAN 28\"",
            "tank = \"3 ha\"",
            vec!["an area, but a load is due"],
        ),
        (
            "name = \"UAN 28\"",
            "hopper = \"3 t\"",
            vec!["a liquid goes into a tank"],
        ),
        (
            "name = \"UAN 28\"",
            "tank = \"3 m3\"\nhopper = \"3 t\"",
            vec!["cannot stand together"],
        ),
        (
            "nitrogen = 0.3",
            "hopper = \"3 m3\"",
            vec!["no bulk density is known", "bulk_density"],
        ),
        (
            "name = \"ATS\"\ntemperature = \"10 °C\"",
            "",
            vec!["changes with temperature is not known", "density"],
        ),
        (
            "name = \"UAN 28\"\ntemperature = \"10 °C\"\ndensity = \"1.28 kg/L\"",
            "",
            vec!["cannot stand together"],
        ),
        (
            "name = \"UAN 28\"\ntemperature = \"90 °C\"",
            "",
            vec!["nothing is spread at that temperature"],
        ),
    ] {
        let wording = refused(&[
            ("name = \"UAN 28\"", product),
            ("heading = \"0 grid\"", &machine(line)),
        ]);
        let text = wording.err.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in parts {
            assert!(text.contains(part), "{part} is not in: {text}");
        }
    }
}

#[test]
fn money_adds_up() {
    let record = mapped(&[
        (
            "[output]",
            &format!("{PRICES}mapping = \"3 EUR/ha\"\n\n[output]"),
        ),
        (
            "step = \"5 kg N/ha\"",
            "step = \"5 kg N/ha\"\nusual = \"25 kg N/ha\"",
        ),
    ]);
    let money = &record["money"];
    let hectares = number(&money["area_m2"]) / 10_000.0;
    let map = &money["map"];
    // Nitrogen at 1.15, a pass at 8 and the map at 3 a hectare; the flat and the usual rate pay no map.
    assert_relative_eq!(
        number(&map["cost"]),
        1.15 * number(&map["n_kg"]) + 11.0 * hectares,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        number(&money["usual"]["cost"]),
        (1.15 * 25.0 + 8.0) * hectares,
        max_relative = 1e-9
    );
    assert_relative_eq!(
        number(&map["gross"]),
        0.21 * number(&map["grain_kg"]),
        max_relative = 1e-9
    );
    for (name, other) in [
        ("against_none", "none"),
        ("against_flat", "flat"),
        ("against_usual", "usual"),
    ] {
        let (budget, other) = (&money[name], &money[other]);
        let gain = number(&map["net"]) - number(&other["net"]);
        assert_relative_eq!(
            number(&budget["gain"]),
            gain,
            epsilon = 1e-9,
            max_relative = 1e-9
        );
        // At the nitrogen price that it names, the gain is nothing.
        if let Some(price) = budget["break_even_nitrogen_price_per_kg_n"].as_f64() {
            let moved = gain - (price - 1.15) * number(&budget["added_n_kg"]);
            assert!(moved.abs() < 1e-6, "{name}: {moved}");
            assert_relative_eq!(
                number(&budget["break_even_price_ratio"]),
                price / 0.21,
                max_relative = 1e-9
            );
        }
    }
    assert!(money["against_none"]["break_even_nitrogen_price_per_kg_n"].is_f64());
    let none = &money["against_none"];
    assert_relative_eq!(
        number(&none["marginal_return"]),
        number(&none["gain"]) / number(&map["cost"]),
        max_relative = 1e-9
    );
    let zones = money["zones"].as_array().unwrap();
    assert!(zones.len() > 1);
    for (key, whole) in [
        ("net", &map["net"]),
        ("cost", &map["cost"]),
        ("gain_over_flat", &money["gain_over_flat"]),
        ("area_m2", &money["area_m2"]),
    ] {
        assert_relative_eq!(
            zones.iter().map(|zone| number(&zone[key])).sum::<f64>(),
            number(whole),
            epsilon = 1e-6,
            max_relative = 1e-9
        );
    }
    assert_relative_eq!(
        number(&money["price_ratio"]),
        1.15 / 0.21,
        max_relative = 1e-12
    );
    assert_relative_eq!(
        number(&money["highest_price_ratio"]),
        0.5 / 0.0239,
        max_relative = 1e-12
    );
    let [low, high] = [0, 1].map(|at| number(&money["gain_over_none_by_use_efficiency"][at]));
    assert!(
        low < number(&money["gain_over_none"]) && high >= number(&money["gain_over_none"]),
        "{low} {high}"
    );
}

#[test]
fn prices_never_move_a_rate_and_a_loss_is_told() {
    let plain = mapped(&[]);
    let dear = PRICES.replace("1.15", "9");
    let record = mapped(&[("[output]", &format!("{dear}\n[output]"))]);
    assert_eq!(record["totals"], plain["totals"]);
    assert!(message(&record, "money.loss").contains("nothing spread would be cheaper"));
    assert!(number(&record["money"]["gain_over_none"]) < 0.0);
}

#[test]
fn one_flat_rate_has_the_same_budget() {
    // The trade's worked example (common practice, no source), per acre: gain 44.560, pays up to 1.909 a pound of nitrogen.
    let field = Field::new();
    field.write(
        "job.toml",
        "[reference]\nreadings = [{ strip = 0.665, beside = 0.50 }]\n[season]\ncrop = \"winter wheat\"\ngrowing_days = 94\n[response]\n\
         maximum_yield = \"100 bu/ac\"\nyield_curve = \"winter wheat, common practice\"\n[rate]\nmaximum = \"100 lb N/ac\"\nstep = \"0.01 lb N/ac\"\n\
         [product]\nname = \"UAN 28\"\n[prices]\ncurrency = \"USD\"\ngrain = \"6 USD/bu\"\nnitrogen = \"0.55 USD/lb N\"\napplication = \"6 USD/ac\"\n",
    );
    let wording = field.run(&["rate", "--json"]);
    assert_eq!(wording.status, Some(0), "{}{}", wording.out, wording.err);
    let value: Value = serde_json::from_str(&wording.out).unwrap();
    let money = &value["result"]["money"];
    let (per_ha, lb) = (
        haulm::units::M2_PER_HA / haulm::units::M2_PER_AC,
        haulm::units::KG_PER_LB,
    );
    assert_relative_eq!(
        number(&money["gain_over_none_per_ha"]) / per_ha,
        44.560,
        max_relative = 1e-3
    );
    let budget = &money["against_none_per_ha"];
    assert_relative_eq!(
        number(&budget["marginal_return"]),
        1.854,
        max_relative = 1e-3
    );
    assert_relative_eq!(
        number(&budget["break_even_nitrogen_price_per_kg_n"]) * lb,
        1.909,
        max_relative = 1e-3
    );
    assert_relative_eq!(
        number(&money["break_even_ratio"]),
        1.0392,
        max_relative = 1e-4
    );
    let codes: Vec<&str> = value["result"]["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|finding| finding["code"].as_str())
        .collect();
    assert!(codes.contains(&"product.mixing"), "{codes:?}");
    assert!(field.run(&["rate"]).out.contains("pays below"));
}
