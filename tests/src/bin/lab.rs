//! `lab [--traylight PATH] [NAME...]`: plays the scenarios of these names in virtual machines, or all but those that need a
//! system of their own.
//! Exit codes: 0 all steps passed, 1 one failed, 2 wrong usage, 3 this computer lacks something.
//!
//! Not its job: anything but arguments in and exit code out.

use std::path::PathBuf;
use std::process::ExitCode;
use traylight_tests::lab::scenarios::{ALL, Bench, Scenario, System};
use traylight_tests::lab::{host, report::Report};

fn main() -> ExitCode {
    match Wish::of(std::env::args().skip(1)) {
        Ok(wish) => play(&wish),
        Err(problem) => {
            let names: Vec<&str> = ALL.iter().map(|scenario| scenario.name).collect();
            eprintln!("lab: {problem}\nusage: lab [--traylight PATH] [NAME...]\nscenarios: {}", names.join(" "));
            ExitCode::from(2)
        }
    }
}

/// What the arguments ask for.
struct Wish {
    traylight: Option<PathBuf>,
    scenarios: Vec<&'static Scenario>,
}

impl Wish {
    fn of(mut arguments: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut wish = Self { traylight: None, scenarios: Vec::new() };
        while let Some(argument) = arguments.next() {
            if argument == "--traylight" {
                wish.traylight = Some(arguments.next().ok_or("--traylight wants the path of a program")?.into());
            } else {
                let known = ALL.iter().find(|scenario| scenario.name == argument);
                wish.scenarios.push(known.ok_or_else(|| format!("there is no scenario {argument:?}"))?);
            }
        }
        if wish.scenarios.is_empty() {
            wish.scenarios = ALL.iter().filter(|scenario| scenario.is_played_unasked()).collect();
        }
        Ok(wish)
    }
}

fn play(wish: &Wish) -> ExitCode {
    let needs_debian = wish.scenarios.iter().any(|scenario| scenario.system == System::Debian);
    if let Err(error) = host::check(needs_debian) {
        eprintln!("lab: {error}");
        return ExitCode::from(3);
    }
    let mut report = Report::default();
    report.begin("bench", "what all scenarios use");
    if let Ok(bench) =
        report.step("programs, kernel and first file system", || Bench::make(wish.traylight.as_deref(), needs_debian))
    {
        for scenario in &wish.scenarios {
            let before = report.failures();
            report.begin(scenario.name, scenario.about);
            if (scenario.play)(&bench, &mut report).is_ok() {
                continue;
            }
            report.plays_again(scenario.name, before);
            report.begin(scenario.name, scenario.about);
            if (scenario.play)(&bench, &mut report).is_err() {
                report.ended_early(scenario.name);
            }
        }
    }
    println!("\n{}", report.sums());
    if report.is_clean() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
