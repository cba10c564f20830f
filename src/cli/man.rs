//! `man`: the manual, a page a topic, and the page of the program or of a command.

use super::failure::Failure;
use crate::console;
use crate::manual::{self, CHANGED, PAGES};
use clap::builder::{PossibleValue, PossibleValuesParser};
use clap_mangen::Man;
use std::io::IsTerminal;
use std::process::ExitCode;

/// Columns of plain text where there is no terminal to ask, and the most that there are:
/// longer lines are hard to read.
const COLUMNS: usize = 80;
const MOST: usize = 100;
const FEWEST: usize = 40;

#[derive(clap::Args)]
pub struct Args {
    /// The topic or the command; without one, the list of both, or with --roff the page of
    /// the program.
    #[arg(value_name = "TOPIC")]
    page: Option<String>,
    /// Print roff, for the program man, instead of plain text.
    #[arg(long)]
    roff: bool,
    /// List the topics and commands.
    #[arg(long, conflicts_with_all = ["page", "roff"])]
    list: bool,
}

/// Gives `man` the topics and commands that there are, for its help, for completion in a
/// shell, and to say what is nearest to a word that is neither.
pub fn with_topics(program: clap::Command) -> clap::Command {
    let topics = PAGES
        .iter()
        .map(|p| PossibleValue::new(p.topic).help(p.title()));
    let commands = program.get_subcommands().map(|c| {
        let about = c.get_about().map(ToString::to_string);
        PossibleValue::new(c.get_name().to_owned()).help(about.unwrap_or_default())
    });
    let all = PossibleValuesParser::new(topics.chain(commands).collect::<Vec<_>>());
    program.mut_subcommand("man", |man| {
        man.mut_arg("page", |page| page.value_parser(all))
    })
}

pub fn run(args: &Args, mut program: clap::Command) -> Result<ExitCode, Failure> {
    // So that a command's page has its full name, and the options that all commands have.
    program.build();
    let terminal = std::io::stdout().is_terminal();
    let text = match (&args.page, args.roff) {
        (None, false) => contents(&program, columns(terminal)),
        (None, true) => roff(program)?,
        (Some(name), as_roff) => match (PAGES.iter().find(|p| p.topic == name), as_roff) {
            (Some(page), true) => page.roff(env!("CARGO_PKG_VERSION"))?,
            (Some(page), false) => page.plain(columns(terminal))?,
            (None, as_roff) => {
                let command = program.find_subcommand_mut(name);
                let command =
                    command.ok_or_else(|| Failure::Usage(format!("unknown topic '{name}'")))?;
                match as_roff {
                    false => command.render_long_help().to_string(),
                    true => roff(command.clone())?,
                }
            }
        },
    };
    console::print(text)?;
    Ok(ExitCode::SUCCESS)
}

fn columns(terminal: bool) -> usize {
    match ratatui::crossterm::terminal::size() {
        Ok((columns, _)) if terminal => usize::from(columns).clamp(FEWEST, MOST),
        _ => COLUMNS,
    }
}

/// Topics and commands, and how to get at them.
fn contents(program: &clap::Command, width: usize) -> String {
    let commands: Vec<(String, String)> = program
        .get_subcommands()
        .filter(|c| c.get_name() != "help")
        .map(|c| {
            let about = c.get_about().map(ToString::to_string);
            (c.get_name().to_owned(), about.unwrap_or_default())
        })
        .collect();
    manual::contents(&commands, width)
}

fn roff(page: clap::Command) -> std::io::Result<String> {
    let mut text = Vec::new();
    Man::new(page).date(CHANGED).render(&mut text)?;
    Ok(String::from_utf8_lossy(&text).into_owned())
}
