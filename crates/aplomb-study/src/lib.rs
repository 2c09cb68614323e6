//! Studies of a controller on a simulated craft. Data in, data out: no files, no HTML, no terminal.
//!
//! | module | answers |
//! | --- | --- |
//! | [`envelope`] | what can this craft do? |
//! | [`explain`] | why does it fly? |
//! | [`judge`] | does a flight pass its checks? |
//! | [`margins`] | how far is each loop from instability? By [`linear`] model and by injection |
//! | [`requirements`], [`verify`] | does it meet what is required, and is it as good as accepted before? |
//! | [`tune`] | which gains meet the requirements? |
//! | [`sweep`] | how do margins and figures change over a range of values? |
//! | [`disperse`] | does it hold over the dispersions of craft and air? |
//! | [`compare`] | which of two is better, and by how much? |
//! | [`estimate`] | how good is the attitude filter on recorded data? |
//!
//! | word | meaning |
//! | --- | --- |
//! | metric | a figure of a flight with its limit |
//! | evidence | what one flight contributes to a figure: samples, or the figure itself |
//! | requirement | a limit with its source, judged on every verification |
//! | probe | a built-in flight that tests one property |
//! | baseline | accepted figures, with which later ones are compared |
//! | slack | distance from a limit over the limit |

pub mod compare;
pub mod controller_model;
pub mod craft;
pub mod disperse;
pub mod envelope;
pub mod estimate;
pub mod explain;
pub mod forces;
pub mod judge;
pub mod linear;
pub mod margins;
pub mod measure;
pub mod number;
pub mod quantiles;
pub mod requirements;
pub mod signals;
pub mod sweep;
pub mod tune;
pub mod verdict;
pub mod verify;
