//! Help, completions and manual pages come from one definition; the walk goes over all of it.

use std::collections::BTreeSet;
use std::process::Command;

use haulm::cli::args;

/// The definition with all that clap adds to it.
fn built() -> clap::Command {
    let mut command = args::command(clap::ColorChoice::Never);
    command.build();
    command
}

/// The root and every command, with the words that call it.
fn commands() -> Vec<(String, clap::Command)> {
    let root = built();
    let below = root
        .get_subcommands()
        .filter(|command| command.get_name() != "help")
        .map(|command| (command.get_name().to_owned(), command.clone()));
    std::iter::once((String::new(), root.clone()))
        .chain(below.collect::<Vec<_>>())
        .collect()
}

fn haulm(arguments: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_haulm"))
        .args(arguments)
        .output()
        .unwrap()
}

fn help_of(name: &str, flag: &str) -> String {
    let arguments: Vec<_> = [name, flag]
        .into_iter()
        .filter(|word| !word.is_empty())
        .collect();
    let output = haulm(&arguments);
    assert!(output.status.success(), "{name} {flag}");
    assert!(output.stderr.is_empty());
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn every_command_that_is_promised_is_there() {
    let names: BTreeSet<_> = commands().into_iter().map(|(name, _)| name).collect();
    for name in [
        "new", "inspect", "map", "rate", "check", "indices", "methods", "crops", "products",
        "explain",
    ] {
        assert!(names.contains(name), "{name}");
    }
}

#[test]
fn help_fits_and_says_first_what_the_command_does() {
    for (name, command) in commands() {
        for flag in ["-h", "--help"] {
            let help = help_of(&name, flag);
            for line in help.lines() {
                assert!(
                    line.chars().count() <= 80,
                    "{name} {flag}: {line:?} has {} columns",
                    line.chars().count()
                );
            }
            let about = command.get_about().map(ToString::to_string).unwrap();
            let first = |text: &str| {
                text.split_whitespace()
                    .take(3)
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            assert!(help.starts_with(&first(&about)), "{name} {flag}:\n{help}");
            let mut after = 0;
            for part in ["Usage: ", "Options:", "Example:\n  haulm "] {
                let at = help
                    .find(part)
                    .unwrap_or_else(|| panic!("{name} {flag}: no {part:?}\n{help}"));
                assert!(at > after, "{name} {flag}: {part:?} stands too early");
                after = at;
            }
        }
    }
}

/// Splits like a shell: spaces, double quotes, a backslash before the line's end.
fn words(line: &str) -> Vec<String> {
    let line = line.replace("\\\n", " ");
    let mut words = Vec::new();
    for (at, piece) in line.split('"').enumerate() {
        if at % 2 == 0 {
            words.extend(piece.split_whitespace().map(str::to_owned));
        } else {
            words.push(piece.to_owned());
        }
    }
    words
}

#[test]
fn every_example_is_accepted_as_it_stands() {
    for (name, command) in commands() {
        let example = command
            .get_after_help()
            .unwrap_or_else(|| panic!("{name} has no example"))
            .to_string();
        let (lines, _) = example
            .strip_prefix("Example:\n")
            .unwrap()
            .split_once("\n\n")
            .unwrap_or((example.strip_prefix("Example:\n").unwrap(), ""));
        // One command a line, unless a backslash joins it with the next.
        for line in lines.replace("\\\n", " ").lines() {
            let line = line.split(" > ").next().unwrap();
            let parsed = built()
                .try_get_matches_from(words(line))
                .unwrap_or_else(|error| panic!("{line}: {error}"));
            if !name.is_empty() && name != "options" {
                assert_eq!(parsed.subcommand_name(), Some(name.as_str()));
            }
        }
    }
}

/// What a value is: a unit, or a kind of thing. clap would make one up from the option's name (`MAX_YIELD`), which says neither.
const VALUES: [&str; 41] = [
    "PART",
    "PORT",
    "ADDRESS",
    "SYSTEM",
    "METHOD",
    "RULE",
    "RATE",
    "FILTER",
    "WHEN",
    "COUNT",
    "MiB",
    "FOLDER",
    "FILE",
    "CSV",
    "NAME",
    "INDEX",
    "CROP",
    "CURVE",
    "PRODUCT",
    "YYYY-MM-DD",
    "DAYS",
    "SHARE",
    "RATIO",
    "m|ft",
    "t/ha|bu/ac",
    "kg/ha|bu/ac",
    "kg N/ha|lb N/ac",
    "PRICE/bu|PRICE/t",
    "PRICE/lb N|PRICE/kg N",
    "PRICE/t|PRICE/ton",
    "PRICE/ha|PRICE/ac",
    "SHELL",
    "NUMBER",
    "PIXELS",
    "WHAT",
    "UNIT",
    "FORMAT",
    "VERSION",
    "KIND",
    "PATH",
    "kg/ha|L/ha|lb/ac|gal/ac",
];

#[test]
fn every_option_has_a_long_name_a_value_name_and_a_default() {
    let mut seen = 0;
    for (name, command) in commands() {
        for option in command
            .get_arguments()
            .filter(|argument| !argument.is_positional())
        {
            let id = option.get_id().as_str();
            let long = option
                .get_long()
                .unwrap_or_else(|| panic!("{name}: {id} has no long name"));
            assert!(
                long.chars().all(|c| c.is_ascii_lowercase() || c == '-'),
                "{long}"
            );
            if ["help", "version"].contains(&long) {
                continue;
            }
            seen += 1;
            let help = option
                .get_help()
                .unwrap_or_else(|| panic!("{name} --{long} has no help"))
                .to_string();
            let takes_value = option.get_action().takes_values();
            let shown = !option.get_default_values().is_empty() && takes_value;
            assert!(
                shown || help.contains("[default: ") || help.contains("has no default"),
                "{name} --{long}: no default in {help:?}"
            );
            if takes_value {
                let value = option
                    .get_value_names()
                    .unwrap_or_else(|| panic!("{name} --{long} has no value name"))[0]
                    .as_str();
                assert!(
                    VALUES.contains(&value),
                    "{name} --{long}: {value:?} is neither a unit nor a kind of thing on the list"
                );
            }
        }
    }
    assert!(seen > 100, "{seen} options were looked at");
}

#[test]
fn amounts_name_their_units() {
    let units = [
        ("max_yield", "t/ha|bu/ac"),
        ("maximum", "kg N/ha|lb N/ac"),
        ("minimum", "kg N/ha|lb N/ac"),
        ("step", "kg N/ha|lb N/ac"),
        ("usual", "kg N/ha|lb N/ac"),
        ("applied_since_sensing", "kg N/ha|lb N/ac"),
        ("curve_a", "kg/ha|bu/ac"),
        ("curve_b", "DAYS"),
        ("growing_days", "DAYS"),
        ("planted", "YYYY-MM-DD"),
        ("sensed", "YYYY-MM-DD"),
        ("memory", "MiB"),
    ];
    let rate = built().find_subcommand("rate").unwrap().clone();
    for (id, unit) in units {
        let option = rate
            .get_arguments()
            .find(|option| option.get_id() == id)
            .unwrap_or_else(|| panic!("{id}"));
        assert_eq!(option.get_value_names().unwrap()[0].as_str(), unit, "{id}");
    }
}

#[test]
fn options_of_every_command_are_told_once() {
    let shared = [
        "--json",
        "--quiet",
        "--verbose",
        "--color",
        "--threads",
        "--memory",
        "--network",
        "--units",
    ];
    let notice = help_of("help", "options");
    assert_eq!(notice, help_of("options", "--help"));
    for option in shared {
        assert!(notice.contains(option), "{option}:\n{notice}");
    }
    for (name, _) in commands().iter().filter(|(name, _)| name != "options") {
        let help = help_of(name, "--help");
        for option in shared {
            assert!(!help.contains(&format!("{option} ")), "{name}: {option}");
        }
        assert!(help.contains("haulm help options"), "{name}:\n{help}");
    }
}

#[test]
fn completions_know_products_crops_methods_and_indices() {
    for shell in ["bash", "zsh", "fish", "powershell"] {
        let text = String::from_utf8(haulm(&["completions", shell]).stdout).unwrap();
        let known: &[&str] = &["UAN-28", "winter-wheat", "yield-response", "NDRE"];
        for name in known {
            // What is made for PowerShell offers names of options, not their values.
            assert!(
                shell == "powershell" || text.contains(name),
                "{shell}: {name}"
            );
        }
    }
}

#[test]
fn completions_know_every_command_and_option() {
    for shell in ["bash", "zsh", "fish", "powershell"] {
        let output = haulm(&["completions", shell]);
        assert!(output.status.success(), "{shell}");
        let text = String::from_utf8(output.stdout).unwrap();
        for (name, command) in commands() {
            assert!(text.contains(&name), "{shell}: {name}");
            for long in command.get_arguments().filter_map(clap::Arg::get_long) {
                // fish writes `-l long`, the others `--long`.
                let spelt = if shell == "fish" {
                    format!("-l {long}")
                } else {
                    format!("--{long}")
                };
                assert!(text.contains(&spelt), "{shell}: {name} {spelt}");
            }
        }
        if shell == "bash" {
            let scratch = tempfile::tempdir().unwrap();
            let file = scratch.path().join("haulm");
            fs_err::write(&file, &text).unwrap();
            assert!(
                Command::new("bash")
                    .arg("-n")
                    .arg(&file)
                    .status()
                    .unwrap()
                    .success(),
                "bash reads its completions"
            );
        }
    }
}

#[test]
fn manual_pages_know_every_option() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("man1");
    let output = haulm(&["manual", folder.to_str().unwrap()]);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    for (name, command) in commands() {
        let file = if name.is_empty() {
            "haulm.1".to_owned()
        } else {
            format!("haulm-{name}.1")
        };
        let page = fs_err::read_to_string(folder.join(&file)).unwrap();
        for long in command.get_arguments().filter_map(clap::Arg::get_long) {
            // roff writes a hyphen that is to stay one as `\-`.
            let spelt = format!("\\-\\-{}", long.replace('-', "\\-"));
            assert!(page.contains(&spelt), "{file}: {spelt}");
        }
    }
}

#[test]
fn misspelt_words_are_put_right() {
    let table = [
        ("mpa", "map"),
        ("maps", "map"),
        ("inspekt", "inspect"),
        ("chek", "check"),
        ("indexes", "indices"),
        ("indizes", "indices"),
        ("product", "products"),
        ("crop", "crops"),
        ("method", "methods"),
        ("rates", "rate"),
        ("explian", "explain"),
        ("completion", "completions"),
    ];
    for (wrong, right) in table {
        let output = haulm(&[wrong]);
        let text = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{wrong}");
        assert!(text.contains(&format!("'{right}'")), "{wrong}: {text}");
    }
    for (wrong, right) in [
        ("--ouput", "--output"),
        ("--overwite", "--overwrite"),
        ("--dryrun", "--dry-run"),
        ("--colour", "--color"),
    ] {
        let output = haulm(&["map", "job.toml", wrong]);
        let text = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{wrong}");
        assert!(text.contains(&format!("'{right}'")), "{wrong}: {text}");
    }
}
