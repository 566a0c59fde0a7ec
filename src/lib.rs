//! placeholder
pub mod money;
pub mod measure;
pub mod trade;
