//! The folder of examples for other programs: what its README quotes is what comes out.

use std::path::Path;

use crate::cli::shell_words;
use crate::quoted::{Asked, anew, hold};
use crate::support::{program, said};

#[test]
fn the_readme_of_interchange_quotes_real_output() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = top.join("examples/interchange/README.md");
    let readme = std::fs::read_to_string(&path).unwrap_or_default();
    // It writes a folder, so it is followed in another one that holds the examples, too.
    let folder = tempfile::tempdir().unwrap_or_else(|error| unreachable!("{error}"));
    let linked = std::os::unix::fs::symlink(top.join("examples"), folder.path().join("examples"));
    assert!(linked.is_ok());
    let mut n_commands = 0;
    let fresh = anew(&readme, |asked| {
        let Asked::Command(command) = asked else {
            unreachable!("the README names no edit")
        };
        n_commands += 1;
        let output = program()
            .args(shell_words(command.trim_start_matches("preblock ")))
            .current_dir(folder.path())
            .env_remove("COLUMNS")
            .env("LC_ALL", "C.UTF-8")
            .output();
        let output = output.unwrap_or_else(|error| unreachable!("{error}"));
        said(&output.stdout)
    });
    assert!(n_commands >= 5, "{n_commands} commands");
    assert!(readme.lines().count() <= 60, "the README is too long");
    hold(&path, &readme, &fresh);
}
