//! `haulm manual`: one page a command, from the same definition as the help.

use serde_json::json;

use crate::app::error::AppError;
use crate::cli::args;
use crate::cli::args::ManualArgs;
use crate::report::model::{Block, Body, Report};

pub(crate) fn run(args: &ManualArgs) -> Result<Report, AppError> {
    let refused = |error: std::io::Error| {
        AppError::refused("manual.write", "the manual pages could not be written")
            .with_fact(args.folder.display().to_string(), error.to_string())
            .with_hint("choose a folder that you may write to")
    };
    fs_err::create_dir_all(&args.folder).map_err(refused)?;
    let mut files = Vec::new();
    for (name, page) in pages()? {
        fs_err::write(args.folder.join(&name), &page).map_err(refused)?;
        files.push((name, page.len() as u64));
    }
    let names: Vec<_> = files.iter().map(|(name, _)| name.clone()).collect();
    Ok(Report {
        title: format!("Manual pages in {}", args.folder.display()),
        blocks: vec![Block {
            heading: String::new(),
            body: Body::Lines(vec![format!("man {}/haulm.1", args.folder.display())]),
        }],
        json: json!({ "folder": args.folder, "pages": names }),
        files,
        ..Report::default()
    })
}

/// File name and content of each page.
fn pages() -> Result<Vec<(String, Vec<u8>)>, AppError> {
    let mut root = args::whole_command().disable_help_subcommand(true);
    root.build();
    let mut pages = vec![("haulm.1".to_owned(), page(&root)?)];
    for command in root
        .get_subcommands()
        .filter(|command| command.get_name() != "help")
    {
        let name = format!("haulm-{}", command.get_name());
        pages.push((
            format!("{name}.1"),
            page(&command.clone().display_name(name))?,
        ));
    }
    Ok(pages)
}

fn page(command: &clap::Command) -> Result<Vec<u8>, AppError> {
    let mut text = Vec::new();
    let rendered = clap_mangen::Man::new(command.clone()).render(&mut text);
    rendered.map_err(|error| {
        AppError::fault("manual.render", "a manual page could not be made")
            .with_fact("page", error.to_string())
    })?;
    Ok(text)
}
