//! Linear mixed model with a random intercept by group: y = Xβ + Zb + ε, b ~ N(0, τ²), ε ~ N(0, σ²), r = τ/σ.
//!
//! Four steps that can be called one at a time: sums ([`design`]), closed form at one ratio ([`objective`]),
//! restricted maximum likelihood ([`reml`]) and weights over the ratio ([`posterior`]), from which predictions
//! follow as mixtures of Student t ([`mixture`]). Letters: `y` response, `x` row of the design, `beta` its
//! coefficients, `sigma` sd within groups, `tau` sd between groups, `r` = τ/σ, `n` rows, `p` columns, `q`
//! pseudo-rows, `nu` = n + q − p. Sources: Henderson 1953; Harville 1977; Box & Tiao 1973 ch. 5; `model.md` §2.

mod between;
pub mod deletion;
pub mod design;
pub mod groups;
mod leaving_out;
pub mod mixture;
pub mod new_groups;
mod new_row;
pub mod objective;
pub mod pair;
pub mod posterior;
pub mod reml;
pub mod spread;
pub mod update;

pub use deletion::Rows;
pub use design::{Design, GroupSums, PseudoRow};
pub use groups::Groups;
pub use leaving_out::LeavingOut;
pub use mixture::Mixture;
pub use new_row::NewRow;
pub use posterior::{Node, Posterior};
pub use reml::Reml;
