//! haltmark: from a season's run log of a small stopping vehicle to settings that can be trusted.
//!
//! A brake stops the vehicle after a number of wheel turns wound on beforehand, near a target whose distance is announced
//! on the day. This library turns a notebook of runs into what has to be set for any announced target, says how far to
//! trust it, and corrects it on the day. The program is a thin shell around it.
//!
//! # Data flow
//!
//! Each arrow is a function that takes the left and gives the right, and has no other effect:
//!
//! ```text
//! bytes -> Season -> Calibration -> Situation -> Setting, Prediction -> view -> File -> disk
//!     log::read  calibration::fit          decide::advise            report::files  cli::output
//! ```
//!
//! * [`log`] reads text and spreadsheets into a season: typed runs in metres, each with its place, and every fault.
//! * [`calibration`] fits two mixed models for each rig (arc on turns, heading excess on arc) and what else a season tells.
//! * [`predict`] says where a run at one setting may come to rest, given what is known of arc and heading.
//! * [`decide`] turns what is known into settings, corrections after today's runs, plans and comparisons.
//! * [`report`] lays results out as pages and figures. It computes nothing.
//! * [`cli`] takes arguments, calls the others in that order, prints, and alone writes files, when nothing can fail any more.
//! * [`simulate`] plays invented seasons from a known truth with forward formulas of its own, so that fitting one is a real
//!   check of [`calibration`].
//!
//! # Who may use whom
//!
//! A room uses rooms below it, never above or beside:
//!
//! ```text
//! main -> cli -> report -> decide -> calibration -> predict -> log, stats, geometry -> setup, columns, keys, units, fault, error
//!           \--> simulate -----------------------------------> log::run
//! ```
//!
//! [`log`], [`stats`] and [`geometry`] do not know of each other. [`stats`] is general statistics: no vehicle, no file.
//! Inside the library lengths are in metres, angles in radians, the dial in turns; they are converted where they come in
//! ([`log`], [`setup`]) and where they go out ([`calibration::file`] and the results in [`cli`]).
//!
//! # Where to start reading
//!
//! 1. [`model`]: the mathematics, beginning with six runs worked by hand. A comment that says "`model.md` §2" means section
//!    2 of that page.
//! 2. [`contract`]: what goes in and what comes out, name by name.
//! 3. `src/cli/fit.rs`: the main job, from log to report, in the order in which it happens.
//! 4. [`stats::mixed`]: the engine; then [`calibration::travel`], its first use.
//! 5. [`decide::dial`]: from what is known to a setting.
//!
//! `DEVELOPERS.md` has the glossary, walks through typical changes, and how to test.

#![forbid(unsafe_code)]

pub mod calibration;
pub mod cli;
pub mod columns;
pub mod decide;
pub mod error;
pub mod fault;
pub mod geometry;
pub mod keys;
pub mod log;
pub mod predict;
pub mod report;
pub mod setup;
pub mod simulate;
pub mod stats;
pub mod units;
pub mod watch;

#[doc = include_str!("contract.md")]
pub mod contract {}

#[doc = include_str!("model.md")]
pub mod model {}
