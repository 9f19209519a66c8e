//! What may name what, and what no file may hold.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Each part of `src`, and the parts that it may name besides itself.
const LAYERS: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("finding", &[]),
    ("key", &[]),
    ("science", &["units", "finding", "key"]),
    ("space", &["units", "finding"]),
    ("zones", &["units", "finding", "space"]),
    ("map", &["units", "finding", "space", "zones"]),
    ("format", &["units", "finding", "space", "map"]),
    ("job", &["units", "finding", "key", "science", "map"]),
    (
        "pipeline",
        &[
            "units", "finding", "science", "job", "space", "zones", "map",
        ],
    ),
    (
        "report",
        &["units", "finding", "zones", "map", "job", "pipeline"],
    ),
    (
        "app",
        &[
            "units", "finding", "key", "science", "job", "space", "zones", "map", "pipeline",
            "format", "report",
        ],
    ),
    (
        "cli",
        &[
            "units", "finding", "key", "science", "job", "space", "zones", "map", "pipeline",
            "format", "report", "app",
        ],
    ),
    (
        "web",
        &[
            "units", "finding", "key", "science", "job", "space", "zones", "map", "pipeline",
            "format", "report", "app",
        ],
    ),
    // A crate of its own, which names these as `haulm::part`.
    (
        "python",
        &["finding", "space", "map", "format", "report", "app"],
    ),
];

/// What formulas must not know: files, clocks, the environment, logs, other programs.
const OUTSIDE: &[&str] = &[
    "fs_err",
    "std::fs",
    "std::env",
    "std::process",
    "std::net",
    "SystemTime",
    "Instant::now",
    "Zoned::now",
    "Timestamp::now",
    "tracing",
    "gdal::",
];

/// Folders that are made, not kept.
const MADE: &[&str] = &[
    ".git",
    "target",
    "node_modules",
    ".venv",
    "__pycache__",
    "out",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn files_below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut entries: Vec<PathBuf> = fs_err::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    entries.sort();
    for path in entries {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !path.is_symlink() {
            if !MADE.contains(&name.as_str()) {
                found.extend(files_below(&path));
            }
        } else if name != ".git" {
            found.push(path);
        }
    }
    found
}

fn shown(path: &Path) -> String {
    path.strip_prefix(root()).unwrap().display().to_string()
}

/// The part of `src` that a file belongs to; `None` for `lib.rs` and `main.rs`, which tie all together.
fn part_of(file: &Path) -> Option<String> {
    let below = file.strip_prefix(root().join("src")).unwrap();
    let first = below
        .components()
        .next()
        .unwrap()
        .as_os_str()
        .to_string_lossy()
        .into_owned();
    let part = first.strip_suffix(".rs").unwrap_or(&first).to_owned();
    (part != "lib" && part != "main").then_some(part)
}

/// Code of a line: without its comment.
fn code(line: &str) -> &str {
    line.split_once("//").map_or(line, |(before, _)| before)
}

/// Parts named by `crate::part` in a line, or by `haulm::part` in the Python package.
fn named<'a>(part: &str, line: &'a str) -> impl Iterator<Item = &'a str> {
    let root = if part == "python" {
        "haulm::"
    } else {
        "crate::"
    };
    code(line).split(root).skip(1).map(|rest| {
        rest.split(|c: char| !(c.is_alphanumeric() || c == '_'))
            .next()
            .unwrap_or_default()
    })
}

/// An import's names one by one, each with its module; any other line as it is.
fn spelled_out(statement: &str) -> String {
    let Some((module, names)) = import(statement) else {
        return statement.to_owned();
    };
    let names = names
        .split(',')
        .map(|name| format!("{module}::{}", name.trim()));
    names.collect::<Vec<_>>().join("; ")
}

/// Lines of a text, each import put together from the lines that it takes: the number of its first line, and the whole of it.
fn statements(text: &str) -> Vec<(usize, String)> {
    let mut found: Vec<(usize, String)> = Vec::new();
    let mut open = false;
    for (number, line) in text.lines().enumerate() {
        if open && let Some((_, import)) = found.last_mut() {
            import.push(' ');
            import.push_str(code(line).trim());
        } else {
            found.push((number + 1, line.to_owned()));
            let start = line.trim_start().trim_start_matches("pub ");
            open =
                start.starts_with("use ") || start.starts_with("pub(") && start.contains(") use ");
        }
        open &= !code(line).contains(';');
    }
    found
}

/// Forbidden names in a text of one part: line number and name.
fn forbidden(part: &str, text: &str) -> Vec<(usize, String)> {
    let Some((_, allowed)) = LAYERS.iter().find(|(name, _)| *name == part) else {
        return vec![(
            0,
            format!("the part {part} stands in no layer: add it to LAYERS and to DEVELOPERS.md"),
        )];
    };
    let is_part = |name: &str| LAYERS.iter().any(|(known, _)| *known == name);
    let mut found = Vec::new();
    let mut in_tests = false;
    for (number, line) in statements(text) {
        let line = spelled_out(&line);
        // Tests may measure time; formulas may not know it. Layers hold for both.
        in_tests |= line.trim() == "#[cfg(test)]";
        for name in named(part, &line)
            .filter(|name| *name != part && is_part(name) && !allowed.contains(name))
        {
            found.push((number, format!("crate::{name}")));
        }
        if !in_tests && matches!(part, "science" | "units" | "finding") {
            found.extend(
                OUTSIDE
                    .iter()
                    .filter(|outside| code(&line).contains(**outside))
                    .map(|outside| (number, (*outside).to_owned())),
            );
        }
    }
    found
}

#[test]
fn every_part_names_only_what_lies_below_it() {
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for file in files_below(&root().join("src"))
        .iter()
        .filter(|file| file.extension().is_some_and(|end| end == "rs"))
    {
        let Some(part) = part_of(file) else { continue };
        looked_at += 1;
        let text = fs_err::read_to_string(file).unwrap();
        wrong.extend(
            forbidden(&part, &text)
                .into_iter()
                .map(|(line, name)| format!("{}:{line}: {part} must not name {name}", shown(file))),
        );
    }
    assert!(looked_at > 30, "only {looked_at} files looked at");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn forbidden_names_are_found() {
    let seen = |part: &str, text: &str| {
        forbidden(part, text)
            .into_iter()
            .map(|(line, _)| line)
            .collect::<Vec<_>>()
    };
    assert_eq!(
        seen(
            "science",
            "use crate::units::NRate;\nuse crate::space::cells::Cell;"
        ),
        [2]
    );
    assert_eq!(
        seen(
            "format",
            "use crate::map::prescription::Cell;\nlet x = crate::pipeline::run();"
        ),
        [2]
    );
    assert_eq!(
        seen(
            "science",
            "// crate::app is not named here\nlet now = SystemTime::now();"
        ),
        [2]
    );
    assert_eq!(
        seen(
            "science",
            "#[cfg(test)]\nmod tests { let start = Instant::now(); use crate::app::job; }"
        ),
        [2]
    );
    assert_eq!(
        seen("science", "let start = Instant::now();\n#[cfg(test)]"),
        [1]
    );
    assert_eq!(
        seen(
            "app",
            "use crate::cli::args::Args;\nuse crate::app::error::AppError;"
        ),
        [1]
    );
    assert_eq!(
        seen(
            "science",
            "use crate::{space, units};\nuse crate::finding::Finding;"
        ),
        [1]
    );
    assert_eq!(
        seen(
            "science",
            "use std::fmt;\nuse crate::{\n    units::NRate,\n    app,\n};"
        ),
        [2]
    );
    assert_eq!(seen("science", "use std::{env, fmt};"), [1]);
    assert_eq!(
        seen(
            "python",
            "use crate::job::Job;\nuse haulm::app::prepare;\nuse haulm::cli::args::Args;"
        ),
        [3]
    );
    assert_eq!(seen("attic", "fn f() {}"), [0]);
}

/// Module and names of an import, `None` for a line that is none.
fn import(statement: &str) -> Option<(&str, &str)> {
    let path = statement.trim().strip_prefix("use ")?.strip_suffix(';')?;
    path.rsplit_once("::{")
        .map(|(module, names)| (module, names.trim_end_matches('}')))
        .or_else(|| path.rsplit_once("::"))
}

/// Imports that do not stand one `use` a module: a module imported from twice in a run of imports, or braces within braces.
fn ungrouped(text: &str) -> Vec<usize> {
    let (mut found, mut modules) = (Vec::new(), Vec::new());
    for (number, statement) in statements(text) {
        let Some((module, names)) = import(&statement) else {
            // A run of imports ends with anything but a blank line; attributes make an import one of its own.
            if !statement.trim().is_empty() {
                modules.clear();
            }
            continue;
        };
        if names.contains('{')
            || module.contains('{')
            || modules.iter().any(|known| known == module)
        {
            found.push(number);
        }
        modules.push(module.to_owned());
    }
    found
}

#[test]
fn imports_are_grouped_by_module() {
    let mut wrong = Vec::new();
    for folder in ["src", "tests", "examples"] {
        for file in files_below(&root().join(folder))
            .iter()
            .filter(|file| file.extension().is_some_and(|end| end == "rs"))
        {
            let text = fs_err::read_to_string(file).unwrap();
            wrong.extend(
                ungrouped(&text)
                    .into_iter()
                    .map(|number| format!("{}:{number}", shown(file))),
            );
        }
    }
    assert!(
        wrong.is_empty(),
        "not one `use` a module:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn ungrouped_imports_are_found() {
    assert_eq!(ungrouped("use a::b;\nuse a::c;\n"), [2]);
    assert_eq!(ungrouped("use a::{\n    b,\n    c,\n};\nuse a::d;\n"), [5]);
    assert_eq!(ungrouped("use a::{b, c::{d, e}};\n"), [1]);
    assert!(ungrouped("use a::{b, c};\nuse a::b::{d, e};\n").is_empty());
    assert!(ungrouped("use a::b;\nmod tests {\n    use a::c;\n}\n").is_empty());
}

/// Files of `app` that may stand in no circle of imports; nor may any file of `pipeline`.
const IN_LINE: &[&str] = &["map", "prepare", "decide", "files", "convert", "rate"];

/// Files of `src` that may name the settings as a whole: a step takes its own section.
const MAXIMUM_SETTINGS: usize = 20;

/// Names of a module by its file, from the crate's root.
fn module_of(file: &Path) -> Vec<String> {
    let below = file.strip_prefix(root().join("src")).unwrap();
    let mut names: Vec<String> = below
        .with_extension("")
        .iter()
        .map(|name| name.to_string_lossy().into_owned())
        .collect();
    if names.last().is_some_and(|name| name == "mod") {
        names.pop();
    }
    names
}

/// A module, as names from the crate's root.
type Module = Vec<String>;

/// Modules that a text of a module imports, as far as they are `known`; not those that it holds or is held by.
fn imported(module: &[String], text: &str, known: &BTreeSet<Module>) -> BTreeSet<Module> {
    let mut found = BTreeSet::new();
    for (_, statement) in statements(text.split("#[cfg(test)]").next().unwrap_or_default()) {
        let statement = statement.trim_start().trim_start_matches("pub ");
        let whole = spelled_out(statement);
        for path in whole
            .split("; ")
            .map(|path| path.trim_start_matches("use "))
        {
            let mut names: Vec<String> = path
                .trim_end_matches(';')
                .split("::")
                .map(str::to_owned)
                .collect();
            if names.first().is_some_and(|first| first == "crate") {
                names.remove(0);
            } else if names.first().is_some_and(|first| first == "super") {
                let up = names.iter().take_while(|name| *name == "super").count();
                let kept = module.len().saturating_sub(up);
                names.splice(..up, module[..kept].iter().cloned());
            } else {
                continue;
            }
            let longest = (1..=names.len())
                .rev()
                .map(|count| names[..count].to_vec())
                .find(|names| known.contains(names));
            found.extend(longest);
        }
    }
    found.retain(|other| !other.starts_with(module) && !module.starts_with(other));
    found
}

/// Modules that can be reached from themselves.
fn circles(imports: &BTreeMap<Module, BTreeSet<Module>>) -> Vec<Module> {
    let returns = |start: &Module| {
        let (mut seen, mut open) = (BTreeSet::new(), vec![start]);
        while let Some(module) = open.pop() {
            for next in imports.get(module).into_iter().flatten() {
                if next == start {
                    return true;
                }
                if seen.insert(next) {
                    open.push(next);
                }
            }
        }
        false
    };
    imports
        .keys()
        .filter(|module| returns(module))
        .cloned()
        .collect()
}

#[test]
fn steps_and_stages_stand_in_no_circle() {
    let files: Vec<PathBuf> = ["pipeline", "app"]
        .iter()
        .flat_map(|part| files_below(&root().join("src").join(part)))
        .filter(|file| file.extension().is_some_and(|end| end == "rs"))
        .collect();
    let known: BTreeSet<Module> = files.iter().map(|file| module_of(file)).collect();
    let imports: BTreeMap<Module, BTreeSet<Module>> = files
        .iter()
        .map(|file| {
            let (module, text) = (module_of(file), fs_err::read_to_string(file).unwrap());
            let names = imported(&module, &text, &known);
            (module, names)
        })
        .collect();
    assert!(imports.values().map(BTreeSet::len).sum::<usize>() > 100);
    let watched = |module: &Module| {
        module[0] == "pipeline" || module.get(1).is_some_and(|name| IN_LINE.contains(&&**name))
    };
    let wrong: Vec<String> = circles(&imports)
        .into_iter()
        .filter(watched)
        .map(|module| module.join("/"))
        .collect();
    assert!(wrong.is_empty(), "import each other:\n{}", wrong.join("\n"));
    // No step knows who calls it.
    for (module, names) in imports.iter().filter(|(module, _)| module[0] == "pipeline") {
        let run = ["pipeline".to_owned(), "run".to_owned()];
        assert!(
            !names.contains(run.as_slice()),
            "{} imports run",
            module.join("/")
        );
    }
}

#[test]
fn circles_are_found() {
    let module = |text: &str| -> Module { text.split('/').map(str::to_owned).collect() };
    let known: BTreeSet<Module> = ["p/a", "p/b", "p/c", "p/c/d"].map(module).into();
    let text = "use crate::p::b::{B, C};\npub use super::c::D;\nuse std::fmt;\n#[cfg(test)]\nuse crate::p::c::d::E;";
    let names = imported(&module("p/a"), text, &known);
    assert_eq!(names, [module("p/b"), module("p/c")].into());
    assert!(imported(&module("p/c"), "use super::c::d::E;", &known).is_empty());
    let imports = [
        (module("p/a"), [module("p/b")].into()),
        (module("p/b"), [module("p/c")].into()),
        (module("p/c"), [module("p/b")].into()),
    ];
    assert_eq!(circles(&imports.into()), [module("p/b"), module("p/c")]);
}

#[test]
fn few_files_name_the_settings_as_a_whole() {
    let names = |text: &str| {
        text.split(|c: char| !(c.is_alphanumeric() || c == '_'))
            .any(|word| word == "Settings")
    };
    let found: Vec<String> = files_below(&root().join("src"))
        .iter()
        .filter(|file| file.extension().is_some_and(|end| end == "rs"))
        .filter(|file| names(&fs_err::read_to_string(file).unwrap()))
        .map(|file| shown(file))
        .collect();
    assert!(
        found.len() > 3 && found.len() <= MAXIMUM_SETTINGS,
        "{found:#?}"
    );
    let steps = found
        .iter()
        .filter(|file| file.starts_with("src/pipeline/"));
    assert_eq!(steps.collect::<Vec<_>>(), ["src/pipeline/run.rs"]);
}

/// Files that hold the same word for something else.
const OTHER_MEANING: &[&str] = &[
    // Endings of files that the page takes.
    "src/web/files.rs",
    // Names in what a stick's check prints as JSON.
    "src/app/stick/against.rs",
    "src/app/stick/mod.rs",
    // A kind of table in a description file.
    "src/format/sidecars/text.rs",
];

/// A format of maps is its row and its folder: its word stands as a literal in the row alone. Elsewhere in `map` two of them are called as people do.
#[test]
fn a_formats_word_stands_in_its_row_alone() {
    let folder = root().join("src");
    let mut wrong = Vec::new();
    for format in haulm::format::Format::ALL {
        let literal = format!("\"{}\"", format.word());
        let own = folder.join("format").join(format.word());
        assert!(own.is_dir(), "{} has no folder of its own", format.word());
        let row = folder.join("map/formats.rs");
        let mut holders = 0;
        let files = files_below(&folder);
        let sources = files
            .iter()
            .filter(|file| file.extension().is_some_and(|end| end == "rs"));
        for file in sources {
            let text = fs_err::read_to_string(file).unwrap();
            let plain = text
                .split("#[cfg(test)]\nmod tests {")
                .next()
                .unwrap_or_default();
            let holds = plain.lines().any(|line| code(line).contains(&literal));
            if holds && *file == row {
                holders += 1;
            } else if holds
                && !file.starts_with(folder.join("map"))
                && !OTHER_MEANING.contains(&shown(file).as_str())
            {
                wrong.push(format!("{}: {literal}", shown(file)));
            }
        }
        assert_eq!(holders, 1, "{literal} in its row");
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// Hosts of package registries, and folders of single machines. In two halves, so that this file does not hold them itself.
fn unwanted() -> Vec<String> {
    let hosts = [
        ("index.crates", ".io"),
        ("static.crates", ".io"),
        ("://crates", ".io"),
        ("pypi", ".org"),
        ("files.python", "hosted.org"),
        ("registry.npm", "js.org"),
        ("registry.yarn", "pkg.com"),
        ("deb.deb", "ian.org"),
    ];
    let folders = [
        ("/ro", "ot/"),
        ("/ho", "me/"),
        ("/wo", "rk/"),
        ("/tm", "p/"),
        ("/Use", "rs/"),
    ];
    hosts
        .iter()
        .chain(&folders)
        .map(|(a, b)| format!("{a}{b}"))
        .collect()
}

/// Line and word of what a text must not hold. A folder counts only where a path begins: `a/work/b` is no folder of a machine.
fn held(text: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (number, line) in text.lines().enumerate() {
        for word in unwanted() {
            let begins = |at: usize| {
                !word.starts_with('/')
                    || !line[..at]
                        .ends_with(|c: char| c.is_alphanumeric() || "._-~}$/*".contains(c))
            };
            if line.match_indices(&word).any(|(at, _)| begins(at)) {
                found.push((number + 1, word));
            }
        }
    }
    found
}

#[test]
fn no_file_names_a_registry_host_or_a_machine_folder() {
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for file in files_below(root()) {
        looked_at += 1;
        let bytes = fs_err::read(&file).unwrap();
        wrong.extend(
            held(&String::from_utf8_lossy(&bytes))
                .into_iter()
                .map(|(line, word)| format!("{}:{line}: {word}", shown(&file))),
        );
    }
    assert!(looked_at > 50, "only {looked_at} files looked at");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn hosts_and_folders_are_found() {
    let [host, folder] = [
        format!("see https://{}", unwanted()[3]),
        format!("cd {}x", unwanted()[10]),
    ];
    assert_eq!(
        held(&format!("fine\n{host}\n{folder}"))
            .iter()
            .map(|(line, _)| *line)
            .collect::<Vec<_>>(),
        [2, 3]
    );
    assert!(held(&format!("target{}x", unwanted()[10])).is_empty());
}
