//! `calibration.json`, both ways: the only file that knows its keys.
//!
//! The keys of the contract say what was found, in cm and at the file's level. What decisions are computed from stands
//! under `knows`, in SI units and with every digit. `check` is a sum over all the rest: a file that was cut short or
//! edited is refused, because nobody could trust a setting made from it.

use super::recoil::{LeadRecoil, Recoil, RecoilCurve};
use super::{
    Build, Calibration, Check, HandRolls, Heading, LateralBias, LeadTerm, LeftOut, Rig, RunCounts,
    SetAside, Travel, Trim, TurnPrior, TurnPriorSource,
};
use crate::fault::{Fault, Faults, beginning};
use crate::setup::Setup;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::{Node, Posterior};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

/// What `format` says.
pub const FORMAT: &str = "haltmark-calibration/1";
const CM: f64 = 100.0;
/// `curve_cm_per_m2` is 100·κ/2.
const CURVE_CM: f64 = 50.0;

/// An interval whose ends may not exist.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Ends {
    estimate: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

/// A number for a file: `None` for what is not finite, never −0.
fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x + 0.0)
}

/// A number whose product with `factor` is `x`: division alone may miss it by a rounding, and a file that is read and
/// written again must not change.
fn divided(x: f64, factor: f64) -> f64 {
    let near = x / factor;
    [near, near.next_up(), near.next_down()]
        .into_iter()
        .find(|y| y * factor == x)
        .unwrap_or(near)
}

impl Ends {
    /// An interval in another unit.
    pub fn of(interval: Interval, factor: f64) -> Self {
        let scaled = interval.scaled(factor);
        Ends {
            estimate: finite(scaled.estimate),
            low: finite(scaled.low),
            high: finite(scaled.high),
        }
    }

    /// The interval that [`Ends::of`] wrote with this factor.
    fn interval(self, factor: f64) -> Interval {
        Interval {
            estimate: self.estimate.map_or(f64::NAN, |x| divided(x, factor)),
            low: self.low.map_or(f64::NEG_INFINITY, |x| divided(x, factor)),
            high: self.high.map_or(f64::INFINITY, |x| divided(x, factor)),
        }
    }
}

#[derive(Serialize, Deserialize)]
struct File {
    format: String,
    check: String,
    level: f64,
    setup: Setup,
    /// Not in files of versions that wrote them into every rig.
    #[serde(skip_serializing_if = "Option::is_none")]
    warnings: Option<Vec<String>>,
    logs: Vec<String>,
    log_targets_m: (Option<f64>, Option<f64>),
    rigs: Vec<RigFile>,
}

#[derive(Serialize, Deserialize)]
struct RigFile {
    rig: String,
    vehicle: String,
    wheels: String,
    runs: usize,
    sessions: usize,
    void: usize,
    touched: usize,
    recoiled: usize,
    travel: TravelFile,
    heading: Vec<TrimFile>,
    lateral_bias: Vec<BiasFile>,
    bend_wanted_cm_per_m2: Option<BendFile>,
    recoil: RecoilFile,
    left_out: LeftOutFile,
    checks: Vec<CheckFile>,
    set_aside: Vec<SetAsideFile>,
    warnings: Vec<String>,
    knows: Knows,
}

#[derive(Serialize, Deserialize)]
struct TravelFile {
    distance_per_turn_cm: Ends,
    overshoot_cm: Ends,
    lead_cm_per_turn: Option<Ends>,
    prior_share: f64,
    builds: Vec<BuildFile>,
    run_to_run_cm: Ends,
    between_sessions_cm: Ends,
    hand_rolls: Option<HandRollsFile>,
}

#[derive(Serialize, Deserialize)]
struct BuildFile {
    build: String,
    overshoot_cm: Ends,
}

#[derive(Serialize, Deserialize)]
struct HandRollsFile {
    runs: usize,
    distance_per_turn_cm: Ends,
    overshoot_at: Vec<OvershootAt>,
}

#[derive(Serialize, Deserialize)]
struct OvershootAt {
    target_m: f64,
    overshoot_cm: f64,
}

#[derive(Serialize, Deserialize)]
struct TrimFile {
    trim: String,
    straight_cm_per_m: Ends,
    curve_cm_per_m2: Ends,
    prior_share: f64,
    run_to_run_cm_per_m: Ends,
    between_sessions_cm_per_m: Ends,
}

#[derive(Serialize, Deserialize)]
struct BiasFile {
    trim: String,
    distance_m: f64,
    right_cm: Ends,
}

#[derive(Serialize, Deserialize)]
struct BendFile {
    low: Option<f64>,
    high: Option<f64>,
}

#[derive(Serialize, Deserialize)]
struct RecoilFile {
    lead_limit_turns: Option<f64>,
    half_lead_turns: Option<Ends>,
    per_turn: Option<Ends>,
    chance_at: Vec<ChanceAt>,
}

#[derive(Serialize, Deserialize)]
struct ChanceAt {
    lead_turns: f64,
    chance: Ends,
}

#[derive(Serialize, Deserialize)]
struct LeftOutFile {
    sessions: usize,
    runs: usize,
    inside: usize,
}

#[derive(Serialize, Deserialize)]
struct CheckFile {
    name: String,
    p: Option<f64>,
    ok: bool,
    means: String,
}

#[derive(Serialize, Deserialize)]
struct SetAsideFile {
    log: String,
    line: usize,
    why: String,
}

/// What decisions are made from; SI units.
#[derive(Serialize, Deserialize)]
struct Knows {
    session_labels: Vec<String>,
    counts: CountsKnown,
    builds: Vec<BuildKnown>,
    newest_build: usize,
    lead_term: Option<LeadKnown>,
    turn_prior: Option<PriorKnown>,
    sigma_for_priors_m: f64,
    arc_range_m: (f64, f64),
    turns_range: (f64, f64),
    travel: PosteriorKnown,
    heading: Option<HeadingKnown>,
    time: Option<PosteriorKnown>,
}

#[derive(Serialize, Deserialize)]
struct CountsKnown {
    launches: usize,
    hand_rolls: usize,
    load_noted: usize,
    load_broken: usize,
}

#[derive(Serialize, Deserialize)]
struct BuildKnown {
    runs: usize,
    sessions: usize,
    lead_turns: Option<f64>,
    recoil: RecoilKnown,
}

#[derive(Serialize, Deserialize)]
struct RecoilKnown {
    watched: usize,
    seen: usize,
    from_all_builds: bool,
    by_lead: Vec<LeadRecoilKnown>,
    curve: Option<CurveKnown>,
}

#[derive(Serialize, Deserialize)]
struct LeadRecoilKnown {
    lead_turns: f64,
    watched: usize,
    seen: usize,
    chance: Ends,
    load_noted: usize,
    load_broken: usize,
}

#[derive(Serialize, Deserialize)]
struct CurveKnown {
    at_zero: f64,
    per_turn: Ends,
    half_lead_turns: Option<Ends>,
    lead_limit_turns: Option<f64>,
}

#[derive(Serialize, Deserialize)]
struct LeadKnown {
    mean_turns: f64,
}

#[derive(Serialize, Deserialize)]
struct PriorKnown {
    mean_m: f64,
    sd_m: f64,
    hand_rolls: bool,
}

#[derive(Serialize, Deserialize)]
struct HeadingKnown {
    trims: Vec<TrimKnown>,
    newest_trim: usize,
    curvature_prior_per_m: f64,
    sigma_for_priors_rad: f64,
    runs: usize,
    curvature_at_bound: bool,
    posterior: PosteriorKnown,
}

#[derive(Serialize, Deserialize)]
struct TrimKnown {
    runs: usize,
    sessions: usize,
    curvature_point_per_m: f64,
}

/// Degrees of freedom, and a row for each node: r, weight, RSS, β…, lower triangle of C_r….
#[derive(Serialize, Deserialize)]
struct PosteriorKnown {
    df: f64,
    columns: usize,
    nodes: Box<RawValue>,
}

impl PosteriorKnown {
    fn of(posterior: &Posterior) -> Self {
        let rows: Vec<String> = posterior
            .nodes()
            .iter()
            .map(|n| {
                let row: Vec<f64> = [n.r, n.weight, n.rss]
                    .iter()
                    .chain(&n.beta)
                    .chain(&n.covariance)
                    .map(|x| x + 0.0)
                    .collect();
                serde_json::to_string(&row).expect("a list of numbers always serialises")
            })
            .collect();
        let text = format!("[\n{}\n]", rows.join(",\n"));
        PosteriorKnown {
            df: posterior.nu(),
            columns: posterior.columns(),
            nodes: RawValue::from_string(text).expect("a list of lists of numbers is JSON"),
        }
    }

    fn posterior(&self) -> Result<Posterior, String> {
        let rows: Vec<Vec<f64>> = serde_json::from_str(self.nodes.get())
            .map_err(|e| format!("the nodes of a fit: {e}"))?;
        let p = self.columns;
        let width = 3 + p + p * (p + 1) / 2;
        let sound = self.df >= 1.0
            && p > 0
            && !rows.is_empty()
            && rows
                .iter()
                .all(|r| r.len() == width && r.iter().all(|x| x.is_finite()));
        if !sound {
            return Err("the nodes of a fit do not fit together".to_string());
        }
        let nodes = rows
            .into_iter()
            .map(|row| Node {
                r: row[0],
                weight: row[1],
                rss: row[2],
                beta: row[3..3 + p].to_vec(),
                covariance: row[3 + p..].to_vec(),
            })
            .collect();
        Ok(Posterior::from_nodes(self.df, nodes))
    }
}

/// The text of `calibration.json`.
pub fn write(calibration: &Calibration) -> String {
    let mut file = File::of(calibration);
    file.check = file.sum();
    file.text()
}

/// The sum that the file of a calibration carries as `check`.
pub fn check_sum(calibration: &Calibration) -> String {
    File::of(calibration).sum()
}

/// Reads a calibration back; `name` is the file's, for messages.
///
/// # Errors
/// What is wrong with it: another format or version, cut short, edited.
pub fn read(name: &str, text: &str) -> Result<Calibration, Faults> {
    read_for(name, text, None)
}

/// Reads one rig of a calibration back, or all where there is none of that name: a league's hundreds take a while.
///
/// # Errors
/// What is wrong with the file: another format or version, cut short, edited.
pub fn read_for(name: &str, text: &str, rig: Option<&str>) -> Result<Calibration, Faults> {
    let refuse = |expected: String| Faults(vec![Fault::error(name, expected)]);
    let mut file: File = match serde_json::from_str(text) {
        Ok(file) => file,
        Err(e) => return Err(refuse(why_not(text, &e))),
    };
    if file.format != FORMAT {
        return Err(refuse(other_format(&file.format)));
    }
    if file.check != file.sum() {
        return Err(refuse(format!(
            "it was changed since haltmark fit wrote it; {ADVICE}"
        )));
    }
    if file.rigs.iter().any(|r| Some(r.rig.as_str()) == rig) {
        file.rigs.retain(|r| Some(r.rig.as_str()) == rig);
    }
    file.calibration()
        .map_err(|what| refuse(format!("{what}; {ADVICE}")))
}

const ADVICE: &str = "please make it again with haltmark fit";

fn other_format(format: &str) -> String {
    format!(
        "its format is \"{}\"; expected \"{FORMAT}\"; {ADVICE}",
        crate::fault::shown(format)
    )
}

/// Why a text is not a calibration as this program writes it, given what its reader stumbled over.
fn why_not(text: &str, stumbled: &serde_json::Error) -> String {
    #[derive(Deserialize)]
    struct Head {
        format: String,
    }
    match serde_json::from_str::<Head>(text) {
        Ok(head) if head.format == FORMAT => format!(
            "not as haltmark fit wrote it (line {}: {}); {ADVICE}",
            stumbled.line(),
            beginning(&stumbled)
        ),
        Ok(head) => other_format(&head.format),
        Err(e) if text.contains(FORMAT) && !text.trim_end().ends_with('}') => {
            format!("the file is cut short (line {}); {ADVICE}", e.line())
        }
        Err(_) => format!("not a calibration.json that haltmark fit wrote; {ADVICE}"),
    }
}

/// Why nothing can go wrong where a file is written.
const ALWAYS_SERIALISES: &str = "plain structs with text keys always serialise";

impl File {
    fn of(calibration: &Calibration) -> Self {
        File {
            format: FORMAT.to_string(),
            check: String::new(),
            level: calibration.level.probability(),
            setup: calibration.setup.clone(),
            warnings: Some(calibration.warnings.clone()),
            logs: calibration.logs.clone(),
            log_targets_m: (
                finite(calibration.log_targets_m.0),
                finite(calibration.log_targets_m.1),
            ),
            rigs: calibration.rigs.iter().map(RigFile::of).collect(),
        }
    }

    /// FNV-1a (Fowler, Noll, Vo; 64 bits) over the file with an empty `check` and no rigs, and then over its rigs
    /// without blanks.
    fn sum(&self) -> String {
        let head = File {
            format: self.format.clone(),
            check: String::new(),
            setup: self.setup.clone(),
            warnings: self.warnings.clone(),
            logs: self.logs.clone(),
            rigs: Vec::new(),
            ..*self
        };
        let rigs = serde_json::to_vec(&self.rigs).expect(ALWAYS_SERIALISES);
        let bytes = head.text().into_bytes().into_iter().chain(rigs);
        let sum = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |sum, byte| {
            (sum ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        format!("{sum:016x}")
    }

    fn text(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).expect(ALWAYS_SERIALISES);
        text.push('\n');
        text
    }

    fn calibration(self) -> Result<Calibration, String> {
        let level = Level::new(self.level).ok_or("its level is not between 0 and 1")?;
        let log_targets_m = (
            self.log_targets_m.0.unwrap_or(f64::NAN),
            self.log_targets_m.1.unwrap_or(f64::NAN),
        );
        let rigs = self
            .rigs
            .into_iter()
            .map(RigFile::rig)
            .collect::<Result<Vec<_>, _>>()?;
        if rigs.is_empty() {
            return Err("it holds no rig".to_string());
        }
        let mut setup = self.setup;
        setup.dial.given = true;
        Ok(Calibration {
            level,
            setup,
            warnings: self.warnings.unwrap_or_default(),
            log_targets_m,
            logs: self.logs,
            rigs,
        })
    }
}

impl RigFile {
    fn of(rig: &Rig) -> Self {
        let travel = &rig.travel;
        let newest = &travel.builds[travel.newest_build];
        let curve = newest.recoil.curve.as_ref();
        RigFile {
            rig: rig.name.clone(),
            vehicle: rig.vehicle.clone(),
            wheels: rig.wheels.clone(),
            runs: rig.counts.fitted,
            sessions: rig.counts.sessions,
            void: rig.counts.void,
            touched: rig.counts.touched,
            recoiled: rig.counts.recoiled,
            travel: TravelFile {
                distance_per_turn_cm: Ends::of(travel.distance_per_turn_m, CM),
                overshoot_cm: Ends::of(newest.overshoot_m, CM),
                lead_cm_per_turn: travel.lead_m_per_turn.map(|i| Ends::of(i, CM)),
                prior_share: travel.prior_share,
                builds: travel
                    .builds
                    .iter()
                    .map(|b| BuildFile {
                        build: b.label.clone(),
                        overshoot_cm: Ends::of(b.overshoot_m, CM),
                    })
                    .collect(),
                run_to_run_cm: Ends::of(travel.run_to_run_m, CM),
                between_sessions_cm: Ends::of(travel.between_sessions_m, CM),
                hand_rolls: travel.hand_rolls.as_ref().map(|h| HandRollsFile {
                    runs: h.runs,
                    distance_per_turn_cm: Ends::of(h.distance_per_turn_m, CM),
                    overshoot_at: h
                        .overshoot_at_m
                        .iter()
                        .map(|&(target_m, o)| OvershootAt {
                            target_m,
                            overshoot_cm: CM * o,
                        })
                        .collect(),
                }),
            },
            heading: rig
                .heading
                .iter()
                .flat_map(|h| h.trims.iter().map(|t| TrimFile::of(h, t)))
                .collect(),
            lateral_bias: rig
                .lateral_bias
                .iter()
                .map(|b| BiasFile {
                    trim: b.trim.clone(),
                    distance_m: b.distance_m,
                    right_cm: Ends::of(b.right_m, CM),
                })
                .collect(),
            bend_wanted_cm_per_m2: rig.bend_wanted_per_m.map(|(low, high)| BendFile {
                low: finite(CURVE_CM * low),
                high: finite(CURVE_CM * high),
            }),
            recoil: RecoilFile {
                lead_limit_turns: curve.and_then(|c| c.lead_limit_turns),
                half_lead_turns: curve
                    .and_then(|c| c.half_lead_turns)
                    .map(|i| Ends::of(i, 1.0)),
                per_turn: curve.map(|c| Ends::of(c.per_turn, 1.0)),
                chance_at: newest
                    .recoil
                    .by_lead
                    .iter()
                    .filter(|_| newest.recoil.watched > 0)
                    .map(|l| ChanceAt {
                        lead_turns: l.lead_turns,
                        chance: Ends::of(l.chance, 1.0),
                    })
                    .collect(),
            },
            left_out: LeftOutFile {
                sessions: rig.left_out.sessions,
                runs: rig.left_out.runs,
                inside: rig.left_out.inside,
            },
            checks: rig
                .checks
                .iter()
                .map(|c| CheckFile {
                    name: c.name.clone(),
                    p: c.p.and_then(finite),
                    ok: c.ok,
                    means: c.means.clone(),
                })
                .collect(),
            set_aside: rig
                .set_aside
                .iter()
                .map(|s| SetAsideFile {
                    log: s.log.clone(),
                    line: s.line,
                    why: s.why.clone(),
                })
                .collect(),
            warnings: rig.warnings.clone(),
            knows: Knows::of(rig),
        }
    }

    fn rig(self) -> Result<Rig, String> {
        let knows = self.knows;
        let posterior = knows.travel.posterior()?;
        let columns = self.travel.builds.len() + 1 + usize::from(knows.lead_term.is_some());
        if posterior.columns() != columns
            || knows.builds.len() != self.travel.builds.len()
            || knows.newest_build >= knows.builds.len()
        {
            return Err("its builds do not fit together".to_string());
        }
        let turns_column = self.travel.builds.len();
        let builds = self
            .travel
            .builds
            .into_iter()
            .zip(knows.builds)
            .map(|(said, known)| Build {
                label: said.build,
                overshoot_m: said.overshoot_cm.interval(CM),
                runs: known.runs,
                sessions: known.sessions,
                lead_turns: known.lead_turns,
                recoil: known.recoil.recoil(),
            })
            .collect();
        let travel = Travel {
            builds,
            newest_build: knows.newest_build,
            turns_column,
            lead_term: knows.lead_term.map(|l| LeadTerm {
                column: turns_column + 1,
                mean_turns: l.mean_turns,
            }),
            posterior,
            distance_per_turn_m: self.travel.distance_per_turn_cm.interval(CM),
            lead_m_per_turn: self.travel.lead_cm_per_turn.map(|e| e.interval(CM)),
            turn_prior: knows.turn_prior.map(|p| TurnPrior {
                mean_m: p.mean_m,
                sd_m: p.sd_m,
                source: if p.hand_rolls {
                    TurnPriorSource::HandRolls
                } else {
                    TurnPriorSource::WheelDiameter
                },
            }),
            prior_share: self.travel.prior_share,
            run_to_run_m: self.travel.run_to_run_cm.interval(CM),
            between_sessions_m: self.travel.between_sessions_cm.interval(CM),
            sigma_for_priors_m: knows.sigma_for_priors_m,
            arc_range_m: knows.arc_range_m,
            turns_range: knows.turns_range,
            hand_rolls: self.travel.hand_rolls.map(|h| HandRolls {
                runs: h.runs,
                distance_per_turn_m: h.distance_per_turn_cm.interval(CM),
                overshoot_at_m: h
                    .overshoot_at
                    .iter()
                    .map(|o| (o.target_m, divided(o.overshoot_cm, CM)))
                    .collect(),
            }),
        };
        let heading = match knows.heading {
            None => None,
            Some(known) => Some(known.heading(self.heading)?),
        };
        Ok(Rig {
            name: self.rig,
            vehicle: self.vehicle,
            wheels: self.wheels,
            counts: RunCounts {
                fitted: self.runs,
                sessions: self.sessions,
                void: self.void,
                touched: self.touched,
                recoiled: self.recoiled,
                launches: knows.counts.launches,
                hand_rolls: knows.counts.hand_rolls,
                load_noted: knows.counts.load_noted,
                load_broken: knows.counts.load_broken,
            },
            travel,
            heading,
            time: knows.time.map(|t| t.posterior()).transpose()?,
            lateral_bias: self
                .lateral_bias
                .into_iter()
                .map(|b| LateralBias {
                    trim: b.trim,
                    distance_m: b.distance_m,
                    right_m: b.right_cm.interval(CM),
                })
                .collect(),
            bend_wanted_per_m: self.bend_wanted_cm_per_m2.map(|b| {
                (
                    b.low.map_or(f64::NEG_INFINITY, |x| divided(x, CURVE_CM)),
                    b.high.map_or(f64::INFINITY, |x| divided(x, CURVE_CM)),
                )
            }),
            left_out: LeftOut {
                sessions: self.left_out.sessions,
                runs: self.left_out.runs,
                inside: self.left_out.inside,
                predictions: Vec::new(),
            },
            checks: self
                .checks
                .into_iter()
                .map(|c| Check {
                    name: c.name,
                    p: c.p,
                    ok: c.ok,
                    means: c.means,
                })
                .collect(),
            set_aside: self
                .set_aside
                .into_iter()
                .map(|s| SetAside {
                    log: s.log,
                    line: s.line,
                    why: s.why,
                })
                .collect(),
            warnings: self.warnings,
            session_labels: knows.session_labels,
            story: None,
        })
    }
}

impl TrimFile {
    fn of(heading: &Heading, trim: &Trim) -> Self {
        TrimFile {
            trim: trim.label.clone(),
            straight_cm_per_m: Ends::of(trim.straight_rad, CM),
            curve_cm_per_m2: Ends::of(trim.curvature_per_m, CURVE_CM),
            prior_share: trim.prior_share,
            run_to_run_cm_per_m: Ends::of(heading.run_to_run_rad, CM),
            between_sessions_cm_per_m: Ends::of(heading.between_sessions_rad, CM),
        }
    }
}

impl Knows {
    fn of(rig: &Rig) -> Self {
        let travel = &rig.travel;
        Knows {
            session_labels: rig.session_labels.clone(),
            counts: CountsKnown {
                launches: rig.counts.launches,
                hand_rolls: rig.counts.hand_rolls,
                load_noted: rig.counts.load_noted,
                load_broken: rig.counts.load_broken,
            },
            builds: travel
                .builds
                .iter()
                .map(|b| BuildKnown {
                    runs: b.runs,
                    sessions: b.sessions,
                    lead_turns: b.lead_turns,
                    recoil: RecoilKnown::of(&b.recoil),
                })
                .collect(),
            newest_build: travel.newest_build,
            lead_term: travel.lead_term.map(|t| LeadKnown {
                mean_turns: t.mean_turns,
            }),
            turn_prior: travel.turn_prior.as_ref().map(|p| PriorKnown {
                mean_m: p.mean_m,
                sd_m: p.sd_m,
                hand_rolls: p.source == TurnPriorSource::HandRolls,
            }),
            sigma_for_priors_m: travel.sigma_for_priors_m,
            arc_range_m: travel.arc_range_m,
            turns_range: travel.turns_range,
            travel: PosteriorKnown::of(&travel.posterior),
            heading: rig.heading.as_ref().map(|h| HeadingKnown {
                trims: h
                    .trims
                    .iter()
                    .map(|t| TrimKnown {
                        runs: t.runs,
                        sessions: t.sessions,
                        curvature_point_per_m: t.curvature_point_per_m,
                    })
                    .collect(),
                newest_trim: h.newest_trim,
                curvature_prior_per_m: h.curvature_prior_per_m,
                sigma_for_priors_rad: h.sigma_for_priors_rad,
                runs: h.runs,
                curvature_at_bound: h.curvature_at_bound,
                posterior: PosteriorKnown::of(&h.posterior),
            }),
            time: rig.time.as_ref().map(PosteriorKnown::of),
        }
    }
}

impl HeadingKnown {
    fn heading(self, said: Vec<TrimFile>) -> Result<Heading, String> {
        let posterior = self.posterior.posterior()?;
        if said.len() != self.trims.len()
            || posterior.columns() != 2 * said.len()
            || self.newest_trim >= said.len()
        {
            return Err("its trims do not fit together".to_string());
        }
        let (run, between) = (
            said[0].run_to_run_cm_per_m,
            said[0].between_sessions_cm_per_m,
        );
        Ok(Heading {
            trims: said
                .into_iter()
                .zip(self.trims)
                .map(|(said, known)| Trim {
                    label: said.trim,
                    runs: known.runs,
                    sessions: known.sessions,
                    straight_rad: said.straight_cm_per_m.interval(CM),
                    curvature_per_m: said.curve_cm_per_m2.interval(CURVE_CM),
                    curvature_point_per_m: known.curvature_point_per_m,
                    prior_share: said.prior_share,
                })
                .collect(),
            newest_trim: self.newest_trim,
            posterior,
            run_to_run_rad: run.interval(CM),
            between_sessions_rad: between.interval(CM),
            curvature_prior_per_m: self.curvature_prior_per_m,
            sigma_for_priors_rad: self.sigma_for_priors_rad,
            runs: self.runs,
            curvature_at_bound: self.curvature_at_bound,
        })
    }
}

impl RecoilKnown {
    fn of(recoil: &Recoil) -> Self {
        RecoilKnown {
            watched: recoil.watched,
            seen: recoil.seen,
            from_all_builds: recoil.from_all_builds,
            by_lead: recoil
                .by_lead
                .iter()
                .map(|l| LeadRecoilKnown {
                    lead_turns: l.lead_turns,
                    watched: l.watched,
                    seen: l.seen,
                    chance: Ends::of(l.chance, 1.0),
                    load_noted: l.load_noted,
                    load_broken: l.load_broken,
                })
                .collect(),
            curve: recoil.curve.as_ref().map(|c| CurveKnown {
                at_zero: c.at_zero,
                per_turn: Ends::of(c.per_turn, 1.0),
                half_lead_turns: c.half_lead_turns.map(|i| Ends::of(i, 1.0)),
                lead_limit_turns: c.lead_limit_turns,
            }),
        }
    }

    fn recoil(self) -> Recoil {
        Recoil {
            watched: self.watched,
            seen: self.seen,
            from_all_builds: self.from_all_builds,
            by_lead: self
                .by_lead
                .into_iter()
                .map(|l| LeadRecoil {
                    lead_turns: l.lead_turns,
                    watched: l.watched,
                    seen: l.seen,
                    chance: l.chance.interval(1.0),
                    load_noted: l.load_noted,
                    load_broken: l.load_broken,
                })
                .collect(),
            curve: self.curve.map(|c| RecoilCurve {
                at_zero: c.at_zero,
                per_turn: c.per_turn.interval(1.0),
                half_lead_turns: c.half_lead_turns.map(|e| e.interval(1.0)),
                lead_limit_turns: c.lead_limit_turns,
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXAMPLE: &str = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/reports/bramble/calibration.json"
    ));

    #[test]
    fn a_file_without_warnings_of_the_season_has_none() {
        let mut file: File = serde_json::from_str(EXAMPLE).unwrap();
        file.warnings = None;
        file.check = file.sum();
        let text = file.text();
        assert!(!text.contains("\n  \"warnings\""));
        assert!(read("old", &text).unwrap().warnings.is_empty());
    }

    #[test]
    fn what_holds_for_the_season_is_read_as_it_was_written() {
        let mut calibration = read("example", EXAMPLE).unwrap();
        calibration.warnings.push("Not fitted: Lone.".to_string());
        let text = write(&calibration);
        assert_eq!(read("again", &text).unwrap().warnings, calibration.warnings);
        assert!(text.contains(&check_sum(&calibration)));
    }

    #[test]
    fn what_was_multiplied_is_found_again() {
        let mut x = 0.37f64;
        for _ in 0..20_000 {
            x = (3.99 * x * (1.0 - x)).clamp(1e-3, 1.0 - 1e-3);
            for factor in [CM, CURVE_CM] {
                let written = x * factor;
                assert_eq!(divided(written, factor) * factor, written, "{x} {factor}");
            }
        }
    }
}
