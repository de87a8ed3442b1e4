//! Linear mixed model with a random intercept by group: y = Xβ + Zb + ε, b ~ N(0, τ²), ε ~ N(0, σ²), θ = τ/σ.
//!
//! Four steps that can be called one at a time: centred sums of the rows ([`design`]), the fit at one θ in closed form
//! ([`criterion`]), restricted maximum likelihood ([`reml`]) and weights over θ ([`posterior`]), from which predictions
//! follow as mixtures of Student t ([`predict`], [`mixture`]). The variance structure, everything that θ touches, is
//! [`random_intercept`]. On top of these stand a group in progress ([`update`]), what leaving out rows or groups gives
//! ([`deletion`], [`leave_out`]), intervals of σ and τ ([`spread`]), new groups ([`new_groups`]) and two data sets that share
//! groups ([`pair`]). Where spreads grow with a covariate, the rows are fitted at several powers of it and averaged over
//! ([`growths`]); a row to be predicted says its size ([`row`]).
//!
//! Letters: `y` response, `x` row of the design, `beta` its coefficients, `sigma` residual sd, `tau` between-group sd,
//! `growth` = γ, the power with which spreads grow, `theta` = τ/σ (results keep it as `r`, its name in `calibration.json`), `n` rows, `p` columns, `q` pseudo-rows,
//! `nu` = n + q − p. Sources: Henderson 1953; Harville 1977; Box & Tiao 1973 ch. 5.

pub mod criterion;
pub mod deletion;
pub mod design;
pub mod groups;
pub mod growths;
pub mod leave_out;
pub mod mixture;
pub mod new_groups;
pub mod pair;
pub mod posterior;
pub mod predict;
pub mod random_intercept;
pub mod reml;
pub mod row;
pub mod spread;
pub mod update;

pub use criterion::Profile;
pub use design::{Design, PseudoRow, Rows, Scale};
pub use groups::Groups;
pub use growths::{AtGrowth, Growths};
pub use leave_out::LeaveOut;
pub use mixture::Mixture;
pub use posterior::{Node, Posterior, SpreadPrior};
pub use random_intercept::RandomIntercept;
pub use reml::Reml;
pub use row::Row;
pub use spread::Spreads;
