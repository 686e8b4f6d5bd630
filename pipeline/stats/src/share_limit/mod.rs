//! Draws of yes/no curves over x in clusters, and of the place where they cross a limit.
//!
//! In group g, a row of k successes in n trials at x, in cluster f, has
//!
//! ```text
//! logit m = alpha_g + beta_g x + u_gf,   u_gf ~ N(0, sigma²),   k ~ beta-binomial(n, m, rho)
//! ```
//!
//! so every group has a line of its own, and all share sigma (clusters differ) and rho (trials of a row are alike). With `a = rho / (1 - rho)`
//! a row has the likelihood `Π_{j<k} (m + ja) Π_{j<n-k} (1 - m + ja) / Π_{j<n} (1 + ja)` (Williams 1982, Appl. Stat. 31:144-148):
//! m is the mean share of the rows of a cluster, and a = 0 is the binomial. The effects u are integrated out by adaptive Gauss-Hermite quadrature
//! (Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4:12-35).
//!
//! Priors: on (alpha, beta) Jeffreys' prior of the group's plain logistic regression, `½ log |X'WX|` with u = 0 and a = 0. That is
//! Firth's penalty (1993, Biometrika 80:27-38), under which separated rows, all successes or none keep a finite answer (Heinze & Schemper
//! 2002, Stat. Med. 21:2409-2419); with sigma = rho = 0 the mode is Firth's estimate. On sigma and rho half-normal priors.
//!
//! Computation, after Rue, Martino & Chopin (2009, J. R. Stat. Soc. B 71:319-392): a grid of (sigma, rho) laid where the posterior is; at each of its
//! nodes and for each group the mode of the line, and points of a bivariate t around it, weighed by the exact density. Their mean weight is the
//! evidence of the node, and the draws are resampled from them.

mod curve;
mod data;
mod grid;
mod likelihood;
mod line;
mod model;
mod penalty;
mod points;

pub use curve::{Line, ShareCurve, Slope};
pub use data::ShareRow;
pub use model::{ShareCurveDraws, ShareCurves, ShareSpread};
