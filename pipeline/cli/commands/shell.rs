//! What a shell and `man` want to know of the program. Both are made from the help, so they cannot tell something else.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use clap::{Command, CommandFactory};
use clap_complete::Shell;
use clap_mangen::Man;

use crate::args::Cli;
use crate::failure::Failure;

/// The program's name, as it is typed.
const NAME: &str = "evenstand";

/// Prints the completions of a shell. A closed pipe is the reader's choice.
pub fn completions(shell: Shell) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), NAME, &mut script);
    match io::stdout().write_all(&script) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::new(
            format!("the completions cannot be printed: {error}"),
            "free some space, or send them somewhere else",
        )),
        _ => Ok(()),
    }
}

/// Writes a manual page for the program and one for each command into `folder`.
pub fn man(folder: &Path) -> Result<(), Failure> {
    let failed = |path: &Path, error: io::Error| {
        Failure::new(format!("{} cannot be written: {error}", path.display()), "give another folder with --out")
    };
    fs::create_dir_all(folder).map_err(|error| failed(folder, error))?;
    let mut program = Cli::command().disable_help_subcommand(true);
    program.build();
    let commands: Vec<Command> = program.get_subcommands().cloned().collect();
    for command in [&program].into_iter().chain(&commands) {
        let page = Man::new(command.clone()).source(format!("{NAME} {}", env!("CARGO_PKG_VERSION")));
        let file = folder.join(page.get_filename());
        written(&page, command).and_then(|text| fs::write(&file, text)).map_err(|error| failed(&file, error))?;
    }
    let _ = writeln!(io::stdout(), "Wrote {} pages to {}.", commands.len() + 1, folder.display());
    Ok(())
}

/// The text of a page. Examples keep their lines, which the library would fill.
fn written(page: &Man, command: &Command) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    page.render_title(&mut text)?;
    page.render_name_section(&mut text)?;
    page.render_synopsis_section(&mut text)?;
    page.render_description_section(&mut text)?;
    page.render_options_section(&mut text)?;
    if command.has_subcommands() {
        page.render_subcommands_section(&mut text)?;
    }
    if let Some(examples) = command.get_after_help() {
        writeln!(text, ".SH NOTES\n.nf")?;
        for line in examples.to_string().lines() {
            // A full stop or an apostrophe at the start of a line would be a command of the page.
            writeln!(text, "\\&{}", line.replace('\\', "\\e").replace('-', "\\-"))?;
        }
        writeln!(text, ".fi")?;
    }
    page.render_version_section(&mut text)?;
    Ok(text)
}
