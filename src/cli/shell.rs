//! `preblock completions` and `preblock man`: the command line, for shells and for readers of manuals.

use std::path::PathBuf;

use clap::{Args, CommandFactory as _};
use clap_complete::Shell;
use clap_mangen::Man;

use crate::cli::{Done, ExitStatus, NotDone, atomic_write, draw};

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
pub(crate) struct Manual {
    /// Write a page for each command into this folder, instead of the first page to standard output
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Prints what a shell reads to complete our commands.
pub(crate) fn completions(arguments: &Completions) -> Done {
    let mut script = Vec::new();
    let mut command = crate::cli::Arguments::command();
    clap_complete::generate(arguments.shell, &mut command, "preblock", &mut script);
    draw::plain(&String::from_utf8_lossy(&script));
    Ok(ExitStatus::Clean)
}

/// Prints or writes the manual.
pub(crate) fn manual(arguments: &Manual) -> Done {
    let mut command = crate::cli::Arguments::command();
    command.build();
    let Some(folder) = &arguments.out else {
        draw::plain(&page("preblock", &command));
        return Ok(ExitStatus::Clean);
    };
    let mut pages = Vec::new();
    collect("preblock", &command, &mut pages);
    std::fs::create_dir_all(folder).map_err(|error| {
        let shown = folder.display();
        NotDone::not_written(format!("the folder `{shown}` cannot be made: {error}"))
    })?;
    for (name, page) in &pages {
        atomic_write::write(&folder.join(name), page, true).map_err(NotDone::not_written)?;
    }
    draw::note(&format!("{} written", draw::counted(pages.len(), "page")));
    Ok(ExitStatus::Clean)
}

/// The page of a command and those of all below it, by the names of their files.
fn collect(name: &str, command: &clap::Command, pages: &mut Vec<(String, String)>) {
    pages.push((format!("{name}.1"), page(name, command)));
    for below in command
        .get_subcommands()
        .filter(|it| it.get_name() != "help")
    {
        collect(&format!("{name}-{}", below.get_name()), below, pages);
    }
}

fn page(name: &str, command: &clap::Command) -> String {
    let mut page = Vec::new();
    // Writing into memory does not fail.
    let _ = Man::new(command.clone())
        .title(name)
        .section("1")
        .render(&mut page);
    String::from_utf8_lossy(&page).into_owned()
}
