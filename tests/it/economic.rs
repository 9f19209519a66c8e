//! The economic optimum from outside: on request alone, printed as such, refused where it cannot be had.

use std::process::Command;

use serde_json::Value;

const QUADRATIC: &str = "curve = { shape = \"quadratic\", a = \"4 t/ha\", b = 30, c = -0.08, source = \"own trials\" }\n";
const PRICES: &str = "[prices]\ncurrency = \"EUR\"\ngrain = \"200 EUR/t\"\nnitrogen = \"1.20 EUR/kg N\"\napplication = \"8 EUR/ha\"\n";

fn rate(response: &str, more: &str) -> Result<Value, String> {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let text = format!(
        "[reference]\nreadings = [{{ strip = 0.70, beside = 0.595 }}]\n[season]\ncrop = \"corn\"\n[response]\n{response}\n[rate]\nmaximum = \"250 kg N/ha\"\nstep = \"1 kg N/ha\"\n{more}"
    );
    fs_err::write(&job, text).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(["rate", job.to_str().unwrap(), "--json"])
        .output()
        .unwrap();
    match output.status.code() {
        Some(0) => Ok(serde_json::from_slice(&output.stdout).unwrap()),
        _ => Err(String::from_utf8(output.stderr)
            .unwrap()
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")),
    }
}

fn near(value: &Value, requirement: f64) -> bool {
    value
        .as_f64()
        .is_some_and(|value| (value - requirement).abs() < 1e-6)
}

#[test]
fn the_optimum_is_where_slope_and_price_ratio_meet() {
    // 1.20 / 0.20 = 6 kg of grain a kg of nitrogen. 30 − 0.16 N = 6: N = 150. With a plateau from 180 on: 180 − 6/0.2 = 150. A line of 20 pays up to its join.
    for (curve, requirement) in [
        (QUADRATIC, 150.0),
        (
            "curve = { shape = \"quadratic plateau\", plateau = \"9 t/ha\", join = \"180 kg N/ha\", curvature = 0.2, source = \"own trials\" }\n",
            150.0,
        ),
        (
            "curve = { shape = \"linear plateau\", plateau = \"9 t/ha\", join = \"140 kg N/ha\", slope = 20, source = \"own trials\" }\n",
            140.0,
        ),
    ] {
        let value = rate(
            &format!("method = \"flat\"\neconomic = true\n{curve}"),
            PRICES,
        )
        .unwrap();
        assert!(
            near(&value["result"]["rate"]["n_exact_kg_ha"], requirement),
            "{curve}: {value}"
        );
        let economic = &value["result"]["settings"]["response"]["economic"];
        assert!(
            near(&economic["price_ratio"], 6.0) && near(&economic["optimum_kg_n_ha"], requirement),
            "{economic}"
        );
        assert!(
            value.to_string().contains("response.economic")
                && value
                    .to_string()
                    .contains("the rate is the economic optimum")
        );
    }
}

#[test]
fn what_the_crop_got_is_taken_off() {
    let before = format!("applied_before = \"40 kg N/ha\"\n{PRICES}");
    let value = rate(&format!("method = \"flat\"\neconomic = true\napplied_since_sensing = \"10 kg N/ha\"\n{QUADRATIC}"), &before).unwrap();
    assert!(
        near(&value["result"]["rate"]["n_exact_kg_ha"], 100.0),
        "{value}"
    );
    // The square root takes it off itself: √((1 − 0.85)/0.3) of 150 − 40.
    let value = rate(&format!("method = \"square root\"\nindex = \"NDRE\"\ndelta_si = 0.3\neconomic = true\n{QUADRATIC}"), &before).unwrap();
    assert!(
        near(
            &value["result"]["rate"]["n_exact_kg_ha"],
            110.0 * libm::sqrt(0.5)
        ),
        "{value}"
    );
}

#[test]
fn prices_never_move_a_rate_unasked() {
    let flat = "method = \"flat\"\nrate = \"60 kg N/ha\"\n";
    let value = rate(&format!("{flat}{QUADRATIC}"), PRICES).unwrap();
    assert!(
        near(&value["result"]["rate"]["n_exact_kg_ha"], 60.0)
            && value.to_string().contains("passed over"),
        "{value}"
    );
    assert!(value["result"]["settings"]["response"]["economic"].is_null());
}

#[test]
fn what_cannot_be_had_is_refused() {
    let flat = format!("method = \"flat\"\neconomic = true\n{QUADRATIC}");
    for (response, more, requirement) in [
        (flat.as_str(), "", "[prices]"),
        (
            "method = \"flat\"\neconomic = true\n",
            PRICES,
            "response.curve",
        ),
        (
            "method = \"flat\"\neconomic = true\ncurve = { shape = \"quadratic\", a = \"4 t/ha\", b = 30, c = 0.08, source = \"x\" }\n",
            PRICES,
            "response.curve.c",
        ),
        (
            "method = \"flat\"\neconomic = true\ncurve = { shape = \"cubic\", source = \"x\" }\n",
            PRICES,
            "cubic",
        ),
        (
            "method = \"quadratic\"\neconomic = true\n",
            PRICES,
            "response.economic",
        ),
    ] {
        let wording = rate(response, more).unwrap_err();
        assert!(wording.contains(requirement), "{response}: {wording}");
    }
    let both = rate(&format!("{flat}rate = \"60 kg N/ha\"\n"), PRICES).unwrap_err();
    assert!(
        both.contains("response.rate") && both.contains("response.economic"),
        "{both}"
    );
    let beyond = "method = \"flat\"\neconomic = true\ncurve = { shape = \"quadratic\", a = \"4 t/ha\", b = 30, c = -0.08, maximum_rate = \"120 kg N/ha\", source = \"x\" }\n";
    assert!(
        rate(beyond, PRICES)
            .unwrap()
            .to_string()
            .contains("response.beyond_trial")
    );
}
